import pandas as pd

from audit.contract import Cause, Dataset, Step, rule
from audit.facts.missing import why
from audit.facts.subjects import once_each
from rules.cards._shared import faulty


@rule(
    title="Invalid card number",
    finds="A live card whose number cannot be read in the stated form, or does not fit it:"
    " outside the site's formats or facility codes, facility code above 255 or card number"
    " above 65535 at 26 bits, wrong parity, a serial number that is not 4, 7 or 10 bytes,"
    " or only the first part of a longer one.",
    priority="planned",
    upload=True,
    needs={"cards": ()},
    subjects=("card",),
    cause=Cause("card", ("card",)),
    summary="Card {card}: number {number} is not valid as {form}: {fault}.",
    evidence=("number", "form", "fault"),
    do=(
        Step(
            "Read the card at a reader and enter the number shown.",
            who="office",
            does="record",
        ),
    ),
    cites=(
        "sia-ac-01-1996-10-the-26-bit-format",
        "iso-iec-14443-3",
    ),
)
def card_number_malformed(data: Dataset) -> pd.DataFrame:
    """A card entered with a wrong number will not open the door, and the card that does is not
    in the register.
    """
    rows = faulty(data)
    rows = rows[rows["live"].fillna(True)]
    rows = rows.assign(fails=rows["live"] & rows["malformed"])
    told = why(
        rows["fails"],
        (rows["form"] == "bits", "what the readers send is not recorded", "[cards] formats"),
        (
            rows["form"].isna(),
            "how some numbers are written is not understood",
            "cards.number_form",
        ),
    )
    return once_each(data, rows.assign(**told), "cards", "card")
