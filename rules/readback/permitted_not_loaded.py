import numpy as np
import numpy.typing as npt
import pandas as pd

from audit.arithmetic.columns import gravest
from audit.arithmetic.plain import given, places, taken, texts, word_codes
from audit.arithmetic.three import NO, UNCLEAR, YES, Bools, Credential, Ints, nullable
from audit.contract import OUT, Dataset, Example, Reference, rule
from audit.facts import card_register as card_numbers
from audit.facts.matching import NOT_SHOWN
from audit.facts.readback import ROW_ID, _held, _same, permitted, read_back
from audit.facts.standing import by_id


@rule(
    title="Permission that the door does not know",
    finds="A live card or PIN with a permission for a door that was read back and does not hold"
    " it.",
    priority="planned",
    upload=True,
    needs={"loaded": (), "permissions": (), "doors": ("entry",)},
    uses=("cards", "pins", "people", "door_groups", "stations"),
    subjects=("door", "card", "pin"),
    summary="Door {door} does not hold {card:card %|cards %|}{pin:PIN %|PINs %|}, which has a"
    " permission there.",
    remedy="Send the permission to the door's controller; end it if its holder should not come in.",
    references=(
        Reference(
            "practice of door-entry systems",
            "a permission is prepared at the desk and then sent; until then the door knows nothing",
            sure="common practice, no source",
        ),
    ),
)
def permitted_not_loaded(data: Dataset) -> pd.DataFrame:
    """The register says that it opens the door, and the door will refuse it."""
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


EXAMPLES = (
    Example(
        "cards where the door takes cards, PINs where it takes PINs, of doors that were read",
        """
        people
        person_id | role     | dwelling_id
        A1        | resident | F1
        A2        | guest    | F1

        doors
        door_id | entry
        D1      | card
        D2      | pin
        D3      | card-and-pin
        D4      | key
        D5      |
        D6      | card

        door_groups
        door_group | member_id
        G1         | D1
        G1         | D2
        G1         | D3
        G1         | D4
        G1         | D5
        G1         | D6

        cards
        card_id | number | person_id | status
        C1      | 1001   | A1        |
        C2      | 1002   | A1        | lost
        C3      | 1003   | A2        |
        C4      | 10 QQ  | A1        |

        pins
        pin_id | pin    | person_id
        P1     | 482915 | A1

        permissions
        permission_id | holder_kind | holder_id | door_group
        M1            | person      | A1        | G1
        M2            | role        | resident  | G1

        loaded
        door_id | credential_kind | number | read_on
        D1      | card            | 1001   | 2026-09-10
        D1      | card            | 7777   | 2026-09-10
        D2      | pin             | 482915 | 2026-09-10
        D3      | card            | 7777   | 2026-09-10
        D4      | card            | 7777   | 2026-09-10
        D5      | card            | 7777   | 2026-09-10
        """,
        expect={
            "D1 C1": False,
            "D1 C2": OUT,
            "D1 C3": None,
            "D1 C4": None,
            "D1 P1": OUT,
            "D2 P1": False,
            "D2 C1": OUT,
            "D3 C1": True,
            "D3 C3": None,
            "D3 C4": None,
            "D3 P1": True,
            "D4 C1": OUT,
            "D5 C1": None,
            "D5 C3": None,
            "D5 C4": None,
            "D5 P1": None,
            "D6 C1": OUT,
        },
    ),
    Example(
        "as of the door's latest reading: sent by then, valid by then, issued by then",
        """
        doors
        door_id | entry
        D1      | card-or-pin

        cards
        card_id | number | valid_from | valid_to   | issued_on
        C1      | 1001   |            | 2026-09-10 | 2026-09-10
        C2      | 1002   |            |            | 2026-09-11
        C3      | 1003   | 2026-09-01 |            | 2026-09-20
        C4      | 1004   |            | 2026-09-09 |
        C5      | 1005   |            |            |
        C6      | 1006   |            |            |
        C7      | 1007   |            |            |

        pins
        pin_id | pin    | set_on     | door_id | kind
        P1     | ****   | 2026-09-10 |         | delivery
        P2     | 482915 | 2026-09-11 |         | delivery
        P3     | 594827 | 2026-09-10 |         | delivery
        P4     | 739186 | 2026-09-10 | D1      | delivery

        permissions
        permission_id | holder_kind | holder_id | door_id | valid_to   | applied_on
        M1            | card        | C1        | D1      |            | 2026-09-10
        M2            | card        | C2        | D1      |            | 2026-09-01
        M3            | card        | C3        | D1      |            | 2026-09-01
        M4            | card        | C4        | D1      |            | 2026-09-01
        M5            | card        | C5        | D1      |            | 2026-09-11
        M6            | card        | C6        | D1      |            |
        M7            | card        | C7        | D1      | 2026-09-09 | 2026-09-01
        M8            | pin         | P1        | D1      |            | 2026-09-01
        M9            | pin         | P2        | D1      |            | 2026-09-01
        M10           | pin         | P3        | D1      |            | 2026-09-01

        loaded
        door_id | credential_kind | number | read_on
        D1      | card            | 7777   | 2026-09-01
        D1      | pin             | 111222 | 2026-09-10
        """,
        expect={
            "D1 C1": True,
            "D1 C2": OUT,
            "D1 C3": True,
            "D1 C4": OUT,
            "D1 C5": OUT,
            "D1 C6": OUT,
            "D1 C7": OUT,
            "D1 P1": None,
            "D1 P2": OUT,
            "D1 P3": True,
            "D1 P4": OUT,
        },
    ),
)
