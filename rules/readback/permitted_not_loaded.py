import numpy as np
import numpy.typing as npt
import pandas as pd

from audit.arithmetic.columns import gravest
from audit.arithmetic.plain import given, places, taken, texts, word_codes
from audit.arithmetic.three import NO, UNCLEAR, YES, Bools, Credential, Ints, nullable
from audit.contract import Cause, Dataset, Step, rule
from audit.facts import card_register as card_numbers
from audit.facts.matching import NOT_SHOWN
from audit.facts.readback import ROW_ID, _held, _same, permitted, read_back
from audit.facts.standing import by_id


@rule(
    title="Permission not loaded at the door",
    finds="A live card or PIN with a permission for a door, missing when that door was read back.",
    priority="planned",
    needs={"loaded": (), "permissions": (), "doors": ("entry",)},
    uses=("cards", "pins", "people", "door_groups", "stations"),
    subjects=("door", "card", "pin"),
    cause=Cause("card", ("card", "pin")),
    summary="Door {door} does not have {card:card %|cards %|}{pin:PIN %|PINs %|} loaded, although"
    " the register gives a permission there.",
    do=(
        Step(
            "Send the permission to the door's controller, or end it if the holder should"
            " not have access.",
            who="panel technician",
            does="record",
        ),
    ),
    cites=("practice-of-door-entry-systems-5",),
)
def permitted_not_loaded(data: Dataset) -> pd.DataFrame:
    """The register says it should work, but the door will refuse it."""
    return lacking(data)


def lacking(data: Dataset) -> pd.DataFrame:
    """Credentials that should be at the doors that were read back: are they?

    A row a door and card or pin. Columns: those, `fails` (nullable), `sources`. Where there is
    neither a card nor a PIN register, one row without subject says that it is unclear.
    """
    if not data.has("cards") and not data.has("pins"):
        return pd.DataFrame({"door": [None], "fails": pd.array([pd.NA], dtype="boolean")})
    frames = []
    others: dict[Credential, str] = {"cards": "pin", "pins": "card"}
    for table, other in others.items():
        row, door, verdict = _lacking(data, table)
        ids, labels = data[table][ROW_ID[table]], data[table].index.to_numpy()
        at, sources = gravest(verdict, labels[row], table, _same(ids)[row], door)
        frames.append(
            pd.DataFrame(
                {
                    "door": by_id(data, "doors").index.array.take(door[at]),
                    table[:-1]: taken(ids, row[at]),
                    other: texts([None] * len(at)),
                    "fails": nullable(verdict[at]),
                    "sources": sources,
                }
            )
        )
    some = [frame for frame in frames if len(frame)] or frames[:1]
    return some[0] if len(some) == 1 else pd.concat(some, ignore_index=True)


def _lacking(data: Dataset, table: Credential) -> tuple[Ints, Ints, npt.NDArray[np.int8]]:
    """(row, place of door, verdict) of every credential that should be there."""
    back = read_back(data)
    row, door, sure = permitted(data, table)
    held = _held(back, back.match(table), row, door)
    verdict = np.where(held, NO, YES).astype(np.int8)
    verdict[~held & (~sure | _unreadable(data, table, row, door))] = UNCLEAR
    return row, door, verdict


def _unreadable(data: Dataset, table: Credential, row: Ints, door: Ints) -> Bools:
    """Credentials of which the read-back could hold an unrecognised copy at that door."""
    back, rows = read_back(data), data["loaded"]
    if table == "cards":
        unread_number = ~given(card_numbers.register(data)["canonical"])
        odd = back.cards.states() == UNCLEAR
        if odd.any():
            unread_number |= places(back.card_texts[odd], data["cards"]["number"]) >= 0
        return unread_number[row]
    digits = np.zeros(len(by_id(data, "doors")) + 1, bool)
    hidden = word_codes(rows["number"], (NOT_SHOWN,)) == 0
    digits[back.place[back.door[hidden]]] = True
    return ~given(data["pins"]["secret"])[row] & digits[door]
