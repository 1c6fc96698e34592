import pandas as pd

from audit.contract import OUT, Dataset, Example, Reference, rule
from audit.trade.lines import beyond, extensions, named


@rule(
    title="Extension unit without main unit, or with a number that can't ring",
    finds="An extension unit without a main unit, with a number that another extension has, or"
    " with a number outside the range that the equipment allows.",
    priority="planned",
    upload=True,
    needs={"stations": ("kind", "number")},
    subjects=("station",),
    summary="Extension unit {station}: {fault}.",
    evidence=("fault", "limit"),
    remedy="Bind the unit to its main unit, and give it the lowest number that is free there.",
    references=(
        Reference(
            "the equipment's data sheet",
            "how many extension units ring with a dwelling's main unit (site.toml, [equipment])",
            sure="common practice, no source",
        ),
    ),
)
def extension_number_wrong(data: Dataset) -> pd.DataFrame:
    """Such a unit does not ring: somebody waits for a call that arrives elsewhere, or nowhere."""
    rows = extensions(data)
    limit = data.equipment.extension_units_per_dwelling
    outside = (rows["own_number"] < 1) | beyond(rows["own_number"], limit)
    faults = {
        "there is no main unit": ~rows["main"],
        "its number is another's too": rows["repeated"],
        "its number is outside the units' range": outside,
    }
    return rows.assign(
        station=rows["station_id"],
        limit=limit,
        fault=named(faults),
        fails=(~rows["main"] | rows["repeated"] | outside).mask(rows["kind"].isna()),
    )


EXAMPLES = (
    Example(
        "numbers 1 to 5 ring, each once",
        """
        stations
        station_id | kind            | dwelling_id | number | main_id
        M1         | answering-unit  | D1          | 101    |
        M2         | answering-unit  | D2          | 102    |
        M3         | answering-unit  | D3          | 103    |
        E1         | extension-unit  | D1          | 1      |
        E5         | extension-unit  | D1          | 5      | M1
        E6         | extension-unit  | D1          | 6      |
        E0         | extension-unit  | D1          | 0      |
        EA         | extension-unit  | D1          | A      |
        F1         | extension-unit  | D2          | 1      |
        F2         | extension-unit  | D2          | 01     | M2
        G1         | extension-unit  | D9          | 1      |
        G2         | extension-unit  | D3          | 2      | C1
        H1         | extension-unit  | D3          | 3      | gone
        H2         | extension-unit  |             | 4      |
        H3         | extension-unit  | D3          |        |
        H4         |                 | D3          | 9      |
        C1         | controller      |             |        |
        """,
        equipment={"extension_units_per_dwelling": 5},
        expect={
            "E1": False,
            "E5": False,
            "E6": True,
            "E0": True,
            "EA": True,
            "F1": True,
            "F2": True,
            "G1": True,
            "G2": True,
            "H1": None,
            "H2": None,
            "H3": None,
            "H4": None,
            "M1": OUT,
            "C1": OUT,
        },
    ),
    Example(
        "without the equipment's limit a number is never surely in range",
        """
        stations
        station_id | kind            | dwelling_id | number
        M1         | answering-unit  | D1          | 101
        E1         | extension-unit  | D1          | 1
        E0         | extension-unit  | D1          | 0
        """,
        expect={"E1": None, "E0": True},
    ),
)
