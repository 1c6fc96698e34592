import pandas as pd

from audit.contract import Cause, Dataset, Step, rule
from rules.stations._shared import stations


@rule(
    title="Administrator's code as delivered",
    finds="A station whose administrator's code is still the one it was delivered with.",
    priority="immediate",
    upload=True,
    needs={"stations": ("admin_code",)},
    subjects=("station",),
    cause=Cause("column", ("=stations.admin_code",)),
    summary="Station {station} still has the administrator's code that it was delivered with.",
    do=(
        Step(
            "Set a code of its own at this station, and keep it where the site keeps its secrets.",
            who="panel technician",
            does="fit",
        ),
    ),
    cites=(
        "nist-sp-800-53-rev-5-1-1-ia-5-e",
        "en-60839-11-1-2013-table-7-line-16",
    ),
    cannot={"out": "every station that is listed may have an administrator's code"},
)
def admin_code_default(data: Dataset) -> pd.DataFrame:
    """The code that a station is delivered with stands in its manual, which anyone can read.

    Whoever knows it can add a PIN, open the door and change every setting.
    """
    rows = stations(data)
    return rows.assign(
        station=rows["station_id"],
        fails=(rows["admin_code"] == "default")
        .astype("boolean")
        .mask(rows["admin_code"] == "unknown"),
    )
