import pandas as pd

from audit.contract import Cause, Dataset, Step, rule
from audit.facts.permissions import repeated


@rule(
    title="Redundant permission",
    finds="Two permissions in force for one holder, one of which adds no door and no time.",
    priority="advisory",
    upload=True,
    needs={"permissions": ()},
    uses=("doors", "door_groups", "schedules", "calendars"),
    subjects=("permission",),
    cause=Cause("rule", ("=permission-repeated",)),
    summary="One of permissions {permission} (same holder) adds no door and no time.",
    do=(
        Step(
            "Keep the wider permission and end the other.",
            who="office",
            does="record",
        ),
    ),
    cites=("nist-sp-800-53-rev-5-1-1-ac-6-7-2",),
)
def permission_repeated(data: Dataset) -> pd.DataFrame:
    """When access is removed, the second permission is easily overlooked and keeps the door
    open to them.
    """
    found = repeated(data)
    return found.assign(fails=found["repeated"])
