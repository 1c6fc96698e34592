import pandas as pd

from audit.contract import Cause, Dataset, Step, rule
from audit.trade.escape import controlled_escape_doors


@rule(
    title="Escape door without emergency release",
    finds="A controlled door on an escape route without a mechanical exit and without a manual"
    " release that cuts the lock's power.",
    priority="immediate",
    upload=True,
    life_safety=True,
    needs={"doors": ("escape_route", "lock", "mechanical_exit", "emergency_release")},
    subjects=("door",),
    cause=Cause("door", ("door",)),
    summary="Door {door} is on an escape route, has no mechanical exit, and no manual release"
    " that cuts the lock's power.",
    do=(
        Step(
            "Fit a manual release on the escape side that cuts the lock's power directly, or a"
            " mechanical exit; have a competent person confirm it by the local code.",
            who="door fitter",
            does="free",
        ),
    ),
    cites=(
        "approved-document-b-england-2019-with-amendments-4",
        "international-building-code-2018-sensor-release-2",
    ),
)
def escape_door_without_emergency_release(data: Dataset) -> pd.DataFrame:
    """When the electronics hang, a hand must still be able to take the lock's power away."""
    doors = controlled_escape_doors(data, "mechanical", "emergency_release")
    return doors.assign(
        fails=doors["concerned"] & ~doors["mechanical"] & ~doors["emergency_release"]
    )
