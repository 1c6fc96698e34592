import pandas as pd

from audit.contract import OUT, Dataset, Example, Reference, rule
from audit.trade.lines import call_numbers


@rule(
    title="One call number for several dwellings",
    finds="Two answering units of different dwellings in one building that a caller would dial"
    " by the same number.",
    priority="planned",
    upload=True,
    needs={"stations": ("kind", "dwelling_id", "number"), "dwellings": ("building",)},
    subjects=("station",),
    summary="{building:In building % the|The} number {number} calls {dwellings:dwelling %|the"
    " dwellings %}.",
    evidence=("building", "number", "dwellings"),
    remedy="Give each dwelling's unit the number by which its callers should reach it.",
    references=(
        Reference(
            "practice of door-entry systems",
            "a number dialled at the panel rings at one dwelling",
            sure="common practice, no source",
        ),
    ),
)
def call_number_repeated(data: Dataset) -> pd.DataFrame:
    """A caller who dials this number reaches a neighbour, who may open the door for a stranger."""
    rows = call_numbers(data)
    return rows.assign(fails=(rows["homes"] > 1).astype("boolean"))


EXAMPLES = (
    Example(
        "two units of one dwelling may share a number, and so may two buildings",
        """
        dwellings
        dwelling_id | building
        D1          | North
        D2          | North
        D3          | South
        D4          |

        stations
        station_id | kind           | dwelling_id | number
        U1         | answering-unit | D1          | 101
        U2         | answering-unit | D2          | 0101
        U3         | answering-unit | D1          | 102
        U4         | answering-unit | D1          | 102
        U5         | answering-unit | D3          | 101
        U6         | answering-unit | D4          | 101
        U7         | answering-unit | D9          | 101
        U8         | answering-unit | D2          |
        X1         | extension-unit | D2          | 101
        X2         |                | D2          | 101
        """,
        expect={
            "U1+U2": True,
            "U3+U4": False,
            "U5": False,
            "U6": None,
            "U7": None,
            "U8": None,
            "X1": OUT,
            "X2": None,
        },
    ),
)
