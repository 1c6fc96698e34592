import pandas as pd

from audit.contract import Cause, Dataset, Step, rule
from rules.events._shared import happened


@rule(
    title="Duress alarm",
    finds="Duress events from a door; one finding per door.",
    priority="immediate",
    needs={"events": ()},
    subjects=("door",),
    cause=Cause("watch", ("door",)),
    summary="Duress alarm at door {door}: {count:once, on|% times, most recently on} {last}.",
    evidence=("count", "last", "times"),
    do=(
        Step(
            "Follow the site's duress procedure. Do not call the door.",
            who="office",
            does="free",
        ),
        Step(
            "Check on the holder in private and tell whoever responds to alarms"
            " (keyholder, police).",
            who="office",
            does="free",
        ),
    ),
    cites=("en-60839-11-1-2013-6-5",),
    cannot={"unclear": "an event row without time, door or event is set aside and reported"},
)
def duress_used(data: Dataset) -> pd.DataFrame:
    """Someone may have been forced to open this door. The log shows no response."""
    rows = happened(data, "duress")
    return rows.assign(fails=(rows["count"] > 0).astype("boolean"))
