import pandas as pd

from audit.contract import Cause, Dataset, Step, rule
from rules.schedules._shared import in_use


@rule(
    title="Clock set by hand",
    finds="A panel or unit whose clock is set by hand, on a site that uses schedules.",
    priority="planned",
    upload=True,
    needs={"stations": ("time_source",)},
    uses=("permissions", "doors", "schedules"),
    subjects=("station",),
    cause=Cause("column", ("=stations.time_source",)),
    cannot={"out": "every station is in scope"},
    summary="Station {station} has its clock set by hand, but the site uses schedules.",
    do=(
        Step(
            "Synchronise the clock to network time or to its controller.",
            who="panel technician",
            does="fit",
        ),
    ),
    cites=(
        "en-60839-11-1-2013-6-4-4",
        "en-60839-11-1-2013-table-4-line-1-6-4",
    ),
)
def clock_not_synchronised(data: Dataset) -> pd.DataFrame:
    """A clock that drifts lets people in at the wrong times, and its log proves nothing."""
    stations = data["stations"]
    used = any_in_use(data, stations.index)
    return stations.assign(
        station=stations["station_id"],
        fails=used & (stations["time_source"] == "manual").astype("boolean"),
    )


def any_in_use(data: Dataset, index: pd.Index) -> pd.Series:
    """Whether any schedule is (boolean, the same everywhere): NA where no column could name one."""
    told = data.has("permissions", "schedule_id") or data.has("doors", "unlock_schedule")
    used = in_use(data)
    any_ = True if used.fillna(False).any() else pd.NA if len(used) or not told else False
    return pd.Series(any_, index=index, dtype="boolean")
