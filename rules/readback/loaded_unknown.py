import numpy as np
import pandas as pd

from audit.arithmetic.columns import gravest
from audit.arithmetic.plain import given, taken, texts, word_codes
from audit.arithmetic.three import NO, UNCLEAR, YES, nullable
from audit.contract import Cause, Dataset, Step, rule
from audit.facts.matching import NOT_SHOWN
from audit.facts.readback import _first_texts, read_back, unreadable_pins_at


@rule(
    title="Unregistered card or PIN loaded at a door",
    finds="A card or PIN loaded at a door when it was read back that is not in the register.",
    priority="immediate",
    needs={"loaded": ()},
    uses=("cards", "pins", "permissions", "people", "door_groups", "doors", "stations"),
    subjects=("door", "number"),
    cause=Cause("unknown", ("door", "number")),
    summary="Door {door} has a card or PIN loaded that is not in the register ({number}).",
    do=(
        Step(
            "Find out who holds it. Delete it from the door's controller, or, if you find"
            " the holder, add it to the register.",
            who="panel technician",
            does="cut",
        ),
    ),
    cites=(
        "nist-sp-800-53-rev-5-1-1-pe-2-5",
        "iso-iec-27002-2022-5-18-3",
    ),
    cannot={"out": "every credential that was read back is either explained or not"},
)
def loaded_unknown(data: Dataset) -> pd.DataFrame:
    """Someone has a way in, and nobody can say who."""
    return unexplained(data)


def unexplained(data: Dataset) -> pd.DataFrame:
    """Every credential that was read back, by door and number: does the register explain it?

    Columns: `door`, `number`, `fails` (nullable), `sources`. A PIN that no row explains is
    NOT_SHOWN, one that a row explains goes by its id; a card's number written in two ways is
    one, named as the first in order of letters.
    """
    back, rows = read_back(data), data["loaded"]
    by_card, by_pin = back.cards.states(), back.pins.states()
    card, pin = back.cards.code, back.pins.code
    verdict = np.full(len(rows), YES, np.int8)
    digits = (by_pin == UNCLEAR) & given(rows["secret"])
    if digits.any() and data.has("pins"):
        by_pin[digits & ~rows["door_id"].isin(unreadable_pins_at(data)).to_numpy(bool)] = NO
    vague = (by_card == UNCLEAR) | (by_pin == UNCLEAR) | ((card < 0) & (pin < 0))
    verdict[vague] = UNCLEAR
    verdict[(by_card == YES) | (by_pin == YES)] = NO
    # what is said of it: a card by its number, a PIN by the id of the row that explains it; a code
    # that was read back as a card is told as a code
    card = np.where(word_codes(rows["number"], (NOT_SHOWN,)) == 0, -1, card)
    as_card = (card >= 0) & ((pin < 0) | (by_card == YES))
    as_pin = ~as_card & (by_pin == YES)
    holder = np.full(back.pins.size + 1, -1)
    holder[back.pins.of[::-1]] = back.pins.row[::-1]
    subject = np.select(
        [as_card, as_pin, card >= 0], [card, holder[pin], card], back.cards.size
    ) + np.where(as_pin, back.cards.size + 1, 0)
    at, sources = gravest(verdict, rows.index.to_numpy(), "loaded", back.door, subject)
    number = pd.Series(texts([NOT_SHOWN] * len(at)))
    cards_here, pins_here = as_card[at], as_pin[at]
    if pins_here.any():
        ids = taken(data["pins"]["pin_id"], holder[pin[at]])
        number = number.mask(pins_here, pd.Series(ids))
    if cards_here.any():
        shown = np.flatnonzero(as_card | ((card >= 0) & given(rows["number"])))
        first = _first_texts(rows["number"].iloc[shown], card[shown], back.cards.size)
        number = number.mask(
            cards_here | (~pins_here & (card[at] >= 0)), pd.Series(first[card[at]])
        )
    return pd.DataFrame(
        {
            "door": taken(rows["door_id"], at),
            "number": number,
            "fails": nullable(verdict[at]),
            "sources": sources,
        }
    )
