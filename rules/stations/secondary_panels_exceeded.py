import numpy as np
import pandas as pd

from audit.arithmetic.plain import given
from audit.contract import OUT, Dataset, Example, Reference, rule
from audit.facts.stations import KINDS, beyond
from rules.stations._shared import board


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


def panels(data: Dataset) -> pd.DataFrame:
    """Every entrance panel (and station of unknown kind) with its secondary panels.

    Columns: `station_id`, `kind`, `secondary` (Int64: those that surely extend it), `perhaps`
    (Int64: those too that may). A secondary panel without `main_id` extends the site's one
    entrance panel; where there are several, it may extend any.
    """
    return data.once(_panels)


def _panels(data: Dataset) -> pd.DataFrame:
    b = board(data)
    at = b.of_kind("entrance-panel")
    surely = b.kind == KINDS.index("secondary-panel")
    size = len(b.kind)
    secondary = np.bincount(b.main[surely & (b.main >= 0)], minlength=size)[at]
    maybe = np.bincount(b.main[(b.kind < 0) & (b.main >= 0)], minlength=size)[at]
    loose = int((surely & ~given(b.frame["main_id"])).sum())
    perhaps = secondary + maybe + loose
    if len(at) == 1 and b.kind[at[0]] >= 0:
        secondary = secondary + loose
    return b.told(
        at,
        secondary=pd.array(secondary, dtype="Int64"),
        perhaps=pd.array(perhaps, dtype="Int64"),
    )


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
