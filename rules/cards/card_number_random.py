import pandas as pd

from audit.contract import Cause, Dataset, Step, rule
from audit.facts.subjects import once_each
from rules.cards._shared import faulty


@rule(
    title="Card with a changing serial number",
    finds="A live card whose 4-byte serial number begins with 08. Such cards send a new random"
    " number at every read.",
    priority="planned",
    upload=True,
    needs={"cards": ()},
    subjects=("card",),
    cause=Cause("card", ("card",)),
    summary="Card {card}: number {number} begins with 08, so the card sends a new random number at"
    " every read.",
    evidence=("number",),
    do=(
        Step(
            "Issue a different card. This one cannot be recognised by its number.",
            who="office",
            does="fit",
        ),
    ),
    cites=("iso-iec-14443-3-2",),
)
def card_number_random(data: Dataset) -> pd.DataFrame:
    """The card sends a different number each time, so the one in the register will never open
    the door again.
    """
    rows = faulty(data)
    rows = rows[rows["live"].fillna(True)]
    return once_each(data, rows.assign(fails=rows["live"] & rows["random"]), "cards", "card")
