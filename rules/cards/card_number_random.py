import pandas as pd

from audit.contract import Cause, Dataset, Step, rule
from audit.facts.subjects import once_each
from rules.cards._shared import faulty


@rule(
    title="Card number made anew at each reading",
    finds="A live card whose 4-byte serial number begins with 08: such a number is made up anew"
    " at every reading.",
    priority="planned",
    upload=True,
    needs={"cards": ()},
    subjects=("card",),
    cause=Cause("card", ("card",)),
    summary="Card {card}: its number {number} begins with 08, and such a number is made up anew"
    " at each reading.",
    evidence=("number",),
    do=(
        Step(
            "Give its holder another card; this one can't be told from a stranger's.",
            who="office",
            does="cut",
        ),
    ),
    cites=("iso-iec-14443-3-2",),
)
def card_number_random(data: Dataset) -> pd.DataFrame:
    """The card shows another number each time, so the one in the register never opens again."""
    rows = faulty(data)
    rows = rows[rows["live"].fillna(True)]
    return once_each(data, rows.assign(fails=rows["live"] & rows["random"]), "cards", "card")
