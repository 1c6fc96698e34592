import pandas as pd

from audit.contract import OUT, Dataset, Example, Reference, rule
from audit.trade.lines import beyond, panels


@rule(
    title="More secondary panels than the entrance panel serves",
    finds="More secondary panels to an entrance panel than the equipment allows.",
    priority="planned",
    upload=True,
    needs={"stations": ("kind",)},
    equipment=("secondary_panels",),
    subjects=("station",),
    summary="Entrance panel {station} has {secondary:1 secondary panel|% secondary panels}; it"
    " serves {limit}.",
    evidence=("secondary", "limit"),
    remedy="Move the surplus panels to an entrance panel of their own.",
    references=(
        Reference(
            "the equipment's data sheet",
            "how many secondary panels an entrance panel serves (site.toml, [equipment])",
            sure="common practice, no source",
        ),
    ),
)
def secondary_panels_exceeded(data: Dataset) -> pd.DataFrame:
    """A panel beyond what the equipment serves does not ring, or now and then only."""
    rows = panels(data)
    limit = data.equipment.secondary_panels
    over = beyond(rows["secondary"], limit)
    unclear = rows["kind"].isna() | (~over & beyond(rows["perhaps"], limit))
    return rows.assign(station=rows["station_id"], limit=limit, fails=over.mask(unclear))


EXAMPLES = (
    Example(
        "a panel that names no main panel belongs to the site's one entrance panel",
        """
        stations
        station_id | kind            | main_id
        P1         | entrance-panel  |
        S1         | secondary-panel | P1
        S2         | secondary-panel |
        S3         | secondary-panel | gone
        A1         | answering-unit  | P1
        """,
        equipment={"secondary_panels": 1},
        expect={"P1": True, "S1": OUT, "A1": OUT},
    ),
    Example(
        "the limit itself is in order",
        """
        stations
        station_id | kind            | main_id
        P1         | entrance-panel  |
        S1         | secondary-panel | P1
        S2         | secondary-panel |
        """,
        equipment={"secondary_panels": 2},
        expect={"P1": False},
    ),
    Example(
        "with two entrance panels, one that names none may belong to either",
        """
        stations
        station_id | kind            | main_id
        P1         | entrance-panel  |
        P2         | entrance-panel  |
        P3         | entrance-panel  |
        S1         | secondary-panel | P1
        S2         | secondary-panel | P1
        S3         | secondary-panel | P2
        S4         | secondary-panel |
        X1         |                 |
        """,
        equipment={"secondary_panels": 1},
        expect={"P1": True, "P2": None, "P3": False, "X1": None},
    ),
)
