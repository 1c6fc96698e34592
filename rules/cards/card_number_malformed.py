import pandas as pd

from audit.contract import Cause, Dataset, Step, rule
from audit.facts.subjects import once_each
from rules.cards._shared import faulty


@rule(
    title="Card number that no reader sends",
    finds="A live card whose number can't be read in its form or lies outside what the form can"
    " hold: facility code above 255 or number above 65535 at 26 bits, wrong parity, a serial"
    " number that is not 4, 7 or 10 bytes long, or only the beginning of a longer one.",
    priority="planned",
    upload=True,
    needs={"cards": ()},
    subjects=("card",),
    cause=Cause("card", ("card",)),
    summary="Card {card}: the number {number}, read as {form}, is wrong: {fault}.",
    evidence=("number", "form", "fault"),
    do=(
        Step(
            "Present the card at a reader and enter the number that it shows.",
            who="office",
            does="cut",
        ),
    ),
    cites=(
        "sia-ac-01-1996-10-the-26-bit-format",
        "iso-iec-14443-3",
    ),
)
def card_number_malformed(data: Dataset) -> pd.DataFrame:
    """A card entered like this does not open the door, and the one that does is in no register."""
    rows = faulty(data)
    rows = rows[rows["live"].fillna(True)]
    return once_each(data, rows.assign(fails=rows["live"] & rows["malformed"]), "cards", "card")
