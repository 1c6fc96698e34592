import pandas as pd

from audit.contract import Cause, Dataset, Step, rule
from rules.events._shared import happened


@rule(
    title="Somebody signalled duress",
    finds="A duress signal from a door in the events, all of one door in one finding.",
    priority="immediate",
    needs={"events": ()},
    subjects=("door",),
    cause=Cause("watch", ("door",)),
    summary="At door {door} duress was signalled {count:once, on|% times, the last time on}"
    " {last}.",
    evidence=("count", "last", "times"),
    do=(
        Step(
            "Ask the holder at once, and in private, what happened; tell those who respond.",
            who="office",
            does="cut",
        ),
    ),
    cites=("en-60839-11-1-2013-6-5",),
    cannot={"unclear": "an event row without time, door or event is set aside and reported"},
)
def duress_used(data: Dataset) -> pd.DataFrame:
    """Somebody may have been made to open this door under threat, and nobody has answered yet."""
    rows = happened(data, "duress")
    return rows.assign(fails=(rows["count"] > 0).astype("boolean"))
