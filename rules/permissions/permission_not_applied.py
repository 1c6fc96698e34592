import pandas as pd

from audit.contract import Cause, Dataset, Step, rule
from audit.facts.standing import in_force


@rule(
    title="A permission that was never sent to the doors",
    finds="A permission in force that was never sent to the controllers, where the register"
    " records the sending of others.",
    priority="planned",
    upload=True,
    needs={"permissions": ("applied_on",)},
    subjects=("permission",),
    cause=Cause("column", ("=permissions.applied_on",)),
    summary="Permission {permission} is in force and was never sent to the controllers.",
    do=(
        Step(
            "Send the permission to the controllers, or end it where it is no longer wanted.",
            who="office",
            does="cut",
        ),
    ),
    cites=("how-a-permission-reaches-a-door",),
)
def permission_not_applied(data: Dataset) -> pd.DataFrame:
    """The register says that someone may enter, and the door will not let them in."""
    permissions = data["permissions"].assign(force=in_force(data))
    blank = data.blank("permissions", "applied_on")
    permissions = permissions.assign(
        permission=permissions["permission_id"], fails=permissions["force"] & blank
    )
    in_use = not blank.all()
    return permissions[permissions["force"].fillna(True) & in_use]
