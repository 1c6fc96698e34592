import pandas as pd

from audit.contract import Cause, Dataset, Step, rule
from audit.facts.permissions import repeated


@rule(
    title="A permission that adds nothing",
    finds="Two permissions in force of one holder, one of which opens no further door and gives"
    " no further hour.",
    priority="advisory",
    upload=True,
    needs={"permissions": ()},
    uses=("doors", "door_groups", "schedules", "calendars"),
    subjects=("permission",),
    cause=Cause("rule", ("=permission-repeated",)),
    summary="Of permissions {permission}, of one holder, one adds neither a door nor an hour.",
    do=(Step("Keep the wider permission and end the other.", who="office", does="cut"),),
    cites=("nist-sp-800-53-rev-5-1-1-ac-6-7-2",),
)
def permission_repeated(data: Dataset) -> pd.DataFrame:
    """When access is withdrawn, the second permission is easily forgotten and still opens."""
    found = repeated(data)
    return found.assign(fails=found["repeated"])
