import pandas as pd

from audit.contract import Cause, Dataset, Step, rule
from audit.trade.escape import controlled_escape_doors


@rule(
    title="Escape door that the fire alarm does not release",
    finds="A controlled door on an escape route without a mechanical exit that the fire alarm"
    " does not release.",
    priority="immediate",
    upload=True,
    life_safety=True,
    needs={"doors": ("escape_route", "lock", "mechanical_exit", "alarm_release")},
    subjects=("door",),
    cause=Cause("door", ("door",)),
    summary="Door {door} is on an escape route, has no mechanical exit, and is not released by"
    " the fire alarm.",
    do=(
        Step(
            "Have the fire alarm release the lock, or fit a mechanical exit; have a competent"
            " person confirm it by the local code, and see it release at the alarm test.",
            who="door fitter",
            does="free",
        ),
    ),
    cites=(
        "approved-document-b-england-2019-with-amendments-3",
        "nfpa-72-electrically-locked-doors-2010-21-9-2019",
    ),
)
def escape_door_without_alarm_release(data: Dataset) -> pd.DataFrame:
    """When the alarm sounds everybody comes to this door at once, and it must be open by then."""
    doors = controlled_escape_doors(data, "mechanical", "alarm_release")
    return doors.assign(fails=doors["concerned"] & ~doors["mechanical"] & ~doors["alarm_release"])
