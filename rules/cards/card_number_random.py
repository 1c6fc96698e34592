import pandas as pd

from audit.contract import OUT, Dataset, Example, Reference, rule
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
    summary="Card {card}: its number {number} begins with 08, and such a number is made up anew"
    " at each reading.",
    evidence=("number",),
    remedy="Give its holder another card; this one can't be told from a stranger's.",
    references=(
        Reference(
            "ISO/IEC 14443-3",
            "a first byte 08 marks a random serial number, which changes at each reading",
            sure="quoted",
        ),
    ),
)
def card_number_random(data: Dataset) -> pd.DataFrame:
    """The card shows another number each time, so the one in the register never opens again."""
    rows = faulty(data)
    rows = rows[rows["live"].fillna(True)]
    return once_each(data, rows.assign(fails=rows["live"] & rows["random"]), "cards", "card")


EXAMPLES = (
    Example(
        "a 4-byte serial number that begins with 08",
        """
        cards
        card_id | number         | number_form | technology | status
        C1      | 08A1B2C3       |             | hf-uid     |
        C2      | 08A1B2C3       |             |            |
        C3      | 08A1B2C3       |             | lf-open    |
        C4      | 08A1B2C3D4E5F6 |             | hf-uid     |
        C5      | 09A1B2C3       |             | hf-uid     |
        C6      | 08123456       |             | hf-uid     |
        C7      | 08123456       | hex         | hf-uid     |
        C8      | 08A1B2C3       |             | hf-uid     | returned
        C9      | 08A1B2C3       |             | hf-uid     | ?
        C10     | 08A1B2C3       |             | glass      |
        C11     | 08A1B2C3       | roman       | hf-uid     |
        C12     | 09A1B2C3       |             | hf-uid     | ?
        """,
        expect={
            "C1": True,
            "C2": True,
            "C3": False,
            "C4": False,
            "C5": False,
            "C6": False,
            "C7": True,
            "C8": OUT,
            "C9": None,
            "C10": None,
            "C11": None,
            "C12": False,
        },
    ),
)
