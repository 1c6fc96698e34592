import pandas as pd

from audit.contract import Cause, Dataset, Step, rule
from rules.stations._shared import stations


@rule(
    title="Default administrator code",
    finds="A station whose administrator code is still the factory default.",
    priority="immediate",
    upload=True,
    needs={"stations": ("admin_code",)},
    subjects=("station",),
    cause=Cause("column", ("=stations.admin_code",)),
    summary="Station {station} still has its default administrator code.",
    do=(
        Step(
            "Set a new administrator code on this device and keep it with the site's other"
            " secrets.",
            who="panel technician",
            does="cut",
        ),
    ),
    cites=(
        "nist-sp-800-53-rev-5-1-1-ia-5-e",
        "en-60839-11-1-2013-table-7-line-16",
    ),
    cannot={"out": "every station that is listed may have an administrator's code"},
)
def admin_code_default(data: Dataset) -> pd.DataFrame:
    """The default code is printed in the manual, which anyone can read.

    Whoever knows it can add a PIN, open the door and change every setting.
    """
    rows = stations(data)
    return rows.assign(
        station=rows["station_id"],
        fails=(rows["admin_code"] == "default")
        .astype("boolean")
        .mask(rows["admin_code"] == "unknown"),
    )
