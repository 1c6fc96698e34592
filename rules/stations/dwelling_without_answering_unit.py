import pandas as pd

from audit.contract import OUT, Dataset, Example, Reference, rule
from audit.trade.lines import answering


@rule(
    title="Occupied dwelling without answering unit",
    finds="An occupied dwelling for which the stations table has no answering unit.",
    priority="advisory",
    upload=True,
    needs={"dwellings": ("occupied",), "stations": ("kind", "dwelling_id")},
    subjects=("dwelling",),
    summary="Dwelling {dwelling} is occupied and has no answering unit.",
    remedy="Enter the dwelling's answering unit in the register, or fit one.",
    references=(
        Reference(
            "practice of door-entry systems",
            "a dwelling is called at an answering unit of its own",
            sure="common practice, no source",
        ),
    ),
)
def dwelling_without_answering_unit(data: Dataset) -> pd.DataFrame:
    """Nobody can ring these people at the entrance, and they can let nobody in."""
    rows = answering(data)
    rows = rows[rows["occupied"].fillna(True)]
    return rows.assign(dwelling=rows["dwelling_id"], fails=~rows["unit"] & rows["occupied"])


EXAMPLES = (
    Example(
        "an extension unit alone does not answer",
        """
        dwellings
        dwelling_id | occupied
        D1          | yes
        D2          | yes
        D3          | no
        D4          |
        D5          |
        D6          | yes

        stations
        station_id | kind           | dwelling_id
        U1         | answering-unit | D1
        E2         | extension-unit | D2
        U5         | answering-unit | D5
        X6         |                | D6
        """,
        expect={"D1": False, "D2": True, "D3": OUT, "D4": None, "D5": False, "D6": None},
    ),
)
