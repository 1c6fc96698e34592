import pandas as pd

from audit.contract import OUT, Dataset, Example, Reference, rule
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
    summary="Card {card}: the number {number}, read as {form}, is wrong: {fault}.",
    evidence=("number", "form", "fault"),
    remedy="Present the card at a reader and enter the number that it shows.",
    references=(
        Reference(
            "SIA AC-01-1996.10, the 26-bit format",
            "facility 0 to 255, number 0 to 65535, even parity before and odd parity after",
            sure="quoted",
        ),
        Reference(
            "ISO/IEC 14443-3",
            "serial numbers of 4, 7 or 10 bytes; 88 goes before the next part of a longer one",
            sure="quoted",
        ),
    ),
)
def card_number_malformed(data: Dataset) -> pd.DataFrame:
    """A card entered like this does not open the door, and the one that does is in no register."""
    rows = faulty(data)
    rows = rows[rows["live"].fillna(True)]
    return once_each(data, rows.assign(fails=rows["live"] & rows["malformed"]), "cards", "card")


EXAMPLES = (
    Example(
        "26 bits: the last number that fits and the first that does not",
        """
        cards
        card_id | number                     | facility_code | number_form | status
        C1      | 65535                      | 255           |             |
        C2      | 65536                      | 255           |             |
        C3      | 65535                      | 256           |             |
        C4      | 255,65535                  |               |             |
        C5      | 256,0                      |               |             |
        C6      | 10111101110110010011011101 |               | wiegand26   |
        C7      | 10111101110110010011011100 |               | wiegand26   |
        C8      | 2F764DC                    |               | wiegand26   |
        C9      | 45678                      |               | wiegand26   |
        C10     | 65536                      | 255           |             | lost
        C11     | 65536                      | 255           |             | gone?
        C12     | 45678                      | 255           | pentagonal  |
        C13     | 45678                      | many          |             |
        C14     | 65535                      | 255           |             | gone?
        """,
        expect={
            "C1": False,
            "C2": True,
            "C3": True,
            "C4": False,
            "C5": True,
            "C6": False,
            "C7": True,
            "C8": True,
            "C9": True,
            "C10": OUT,
            "C11": None,
            "C12": None,
            "C13": None,
            "C14": False,
        },
    ),
    Example(
        "serial numbers of 4, 7 or 10 bytes, and the stump of a longer one",
        """
        cards
        card_id | number               | number_form | technology
        C1      | 04A1B2C3             |             | hf-secure
        C2      | 04A1B2C3D4E5F6       |             | hf-secure
        C3      | 04A1B2C3D4E5F6071829 |             | hf-secure
        C4      | 04A1B2C3D4           |             | hf-secure
        C5      | 4A1B2C3              |             | hf-secure
        C6      | 88A1B2C3             |             | hf-broken
        C7      | 88A1B2C3             |             |
        C8      | 88A1B2C3             |             | lf-open
        C9      | 88A1B2C3             |             | mobile
        C10     | 88A1B2C3D4E5F6       |             | hf-uid
        C11     | 88A1B2C3             |             | crystal
        C12     | 88123456             |             | hf-uid
        C13     | 88123456             | hex         | hf-uid
        C14     | 12G4                 |             |
        C15     | 12A4                 | decimal     |
        C16     | 88A1B2C3             |             | unknown
        """,
        expect={
            "C1": False,
            "C2": False,
            "C3": False,
            "C4": True,
            "C5": True,
            "C6": True,
            "C7": True,
            "C8": False,
            "C9": False,
            "C10": False,
            "C11": None,
            "C12": False,
            "C13": True,
            "C14": True,
            "C15": True,
            "C16": True,
        },
    ),
)
