import pandas as pd

from audit.contract import Cause, Dataset, Step, rule
from audit.facts.standing import in_force


@rule(
    title="Permission never sent to the controllers",
    finds="A permission in force with no date sent, where others in the register have one.",
    priority="planned",
    needs={"permissions": ("applied_on",)},
    subjects=("permission",),
    cause=Cause("column", ("=permissions.applied_on",)),
    summary="Permission {permission} is in force but has never been sent to the controllers.",
    do=(
        Step(
            "Send the permission to the controllers, or end it if it is no longer needed.",
            who="panel technician",
            does="record",
        ),
    ),
    cites=("how-a-permission-reaches-a-door",),
)
def permission_not_applied(data: Dataset) -> pd.DataFrame:
    """The register allows entry, but the door will refuse it."""
    permissions = data["permissions"].assign(force=in_force(data))
    blank = data.blank("permissions", "applied_on")
    permissions = permissions.assign(
        permission=permissions["permission_id"], fails=permissions["force"] & blank
    )
    in_use = not blank.all()
    return permissions[permissions["force"].fillna(True) & in_use]
