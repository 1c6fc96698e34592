import numpy as np
import pandas as pd

from audit.arithmetic.plain import given
from audit.contract import Cause, Dataset, Step, rule
from audit.facts.stations import KINDS, beyond
from rules.stations._shared import board


@rule(
    title="Too many secondary panels",
    finds="More secondary panels on an entrance panel than the equipment allows.",
    priority="planned",
    upload=True,
    needs={"stations": ("kind",)},
    equipment=("secondary_panels",),
    subjects=("station",),
    cause=Cause("station", ("station",)),
    summary=(
        "Entrance panel {station} has {secondary:1 secondary panel|% secondary panels}; the"
        " limit is {limit}."
    ),
    evidence=("secondary", "limit"),
    do=(
        Step(
            "Move the extra panels to another entrance panel.",
            who="panel technician",
            does="fit",
        ),
    ),
    cites=("the-equipment-s-data-sheet-4",),
)
def secondary_panels_exceeded(data: Dataset) -> pd.DataFrame:
    """Panels beyond the limit will not ring, or only now and then."""
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
