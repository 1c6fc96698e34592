import pandas as pd

from audit.contract import Dataset, Example, Reference, rule
from rules.schedules._shared import in_use


@rule(
    title="A clock that is set by hand",
    finds="A station whose clock is set by hand, on a site that uses schedules.",
    priority="planned",
    upload=True,
    needs={"stations": ("time_source",)},
    uses=("permissions", "doors", "schedules"),
    subjects=("station",),
    cannot={"out": "every station is in scope"},
    summary="Station {station} has its clock set by hand, while schedules are in use here.",
    remedy="Let the station follow network time or its controller.",
    references=(
        Reference(
            "EN 60839-11-1:2013, 6.4",
            "grades 3 and 4: clocks are set by a master at least every 24 h",
            sure="read",
        ),
        Reference(
            "EN 60839-11-1:2013, Table 4 line 1; 6.4",
            "from grade 2 the clock keeps to 10 s a week and handles summer time and leap years",
            sure="read",
        ),
    ),
)
def clock_not_synchronised(data: Dataset) -> pd.DataFrame:
    """A clock that drifts lets people in at the wrong hours, and its records prove nothing."""
    stations = data["stations"]
    used = any_in_use(data, stations.index)
    return stations.assign(
        station=stations["station_id"],
        fails=used & (stations["time_source"] == "manual").astype("boolean"),
    )


def any_in_use(data: Dataset, index: pd.Index) -> pd.Series:
    """Whether any schedule is (boolean, the same everywhere): NA where no column could name one."""
    told = data.has("permissions", "schedule_id") or data.has("doors", "unlock_schedule")
    return pd.Series(bool(in_use(data)) if told else pd.NA, index=index, dtype="boolean")


EXAMPLES = (
    Example(
        "three sources, one not given",
        """
        stations
        station_id | kind           | time_source
        NET        | controller     | network
        LINE       | entrance-panel | controller
        HAND       | controller     | manual
        BLUR       | controller     |

        permissions
        permission_id | holder_id | door_id | schedule_id
        R1            | P         | D1      | DAY
        """,
        expect={"NET": False, "LINE": False, "HAND": True, "BLUR": None},
    ),
    Example(
        "no schedule is in use",
        """
        stations
        station_id | kind       | time_source
        HAND       | controller | manual

        permissions
        permission_id | holder_id | door_id | schedule_id
        R1            | P         | D1      |
        """,
        expect={"HAND": False},
    ),
    Example(
        "nothing says whether a schedule is in use",
        """
        stations
        station_id | kind       | time_source
        NET        | controller | network
        HAND       | controller | manual
        """,
        expect={"NET": False, "HAND": None},
    ),
)
