import pandas as pd

from audit.contract import OUT, Dataset, Example, Reference, rule
from audit.facts.subjects import once_each
from rules.pins._shared import unheld


@rule(
    title="PIN without a holder",
    finds="A personal PIN that names neither a person nor a dwelling, or a shared, delivery or"
    " unit-release PIN that names neither a dwelling nor a door nor a station.",
    priority="planned",
    upload=True,
    needs={"pins": ("kind",)},
    subjects=("pin",),
    summary="PIN {pin} ({kind}) names no holder, nor a place where it belongs.",
    evidence=("kind",),
    remedy="Find out whose PIN it is and enter that, or delete it.",
    references=(
        Reference(
            "EN 60839-11-1:2013, 6.4",
            "from grade 2, each authorised user has an identity of their own",
            sure="quoted",
        ),
        Reference(
            "NIST SP 800-53 revision 5.1.1, AC-2 (3)",
            "accounts that belong to nobody are disabled",
            sure="read",
        ),
    ),
)
def pin_without_holder(data: Dataset) -> pd.DataFrame:
    """A code that belongs to nobody is never handed back, and nobody is asked about it."""
    pins = unheld(data)
    return once_each(data, pins.assign(fails=pins["live"] & pins["unheld"]), "pins", "pin")


EXAMPLES = (
    Example(
        "a personal PIN has a person or a dwelling, one of several people a place",
        """
        pins
        pin_id | kind         | person_id | dwelling_id | door_id | station_id | status
        P1     | personal     |           |             | E1      | S1         |
        P2     | personal     | A         |             |         |            |
        P3     | personal     |           | D1          |         |            |
        P4     | shared       | A         |             |         |            |
        P5     | delivery     |           |             |         |            |
        P6     | unit-release |           |             |         |            |
        P7     | shared       |           | D1          |         |            |
        P8     | delivery     |           |             | E1      |            |
        P9     | unit-release |           |             |         | S1         |
        P10    | duress       |           |             |         |            |
        P11    | admin        |           |             |         |            |
        P12    |              |           |             |         |            |
        P13    | personal     |           |             |         |            | suspended
        P14    | personal     |           |             |         |            | perhaps
        P15    | personal     | A         |             |         |            | perhaps
        """,
        expect={
            "P1": True,
            "P2": False,
            "P3": False,
            "P4": True,
            "P5": True,
            "P6": True,
            "P7": False,
            "P8": False,
            "P9": False,
            "P10": OUT,
            "P11": OUT,
            "P12": None,
            "P13": OUT,
            "P14": None,
            "P15": False,
        },
    ),
    Example(
        "a column that is not there may have held the holder",
        """
        pins
        pin_id | kind     | person_id
        P1     | personal |
        P2     | personal | A
        P3     | shared   |
        """,
        expect={"P1": None, "P2": False, "P3": None},
    ),
)
