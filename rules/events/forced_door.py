import pandas as pd

from audit.contract import Cause, Dataset, Step, rule
from rules.events._shared import happened


@rule(
    title="Door forced or tampered with",
    finds="Forced-door or tamper events; one finding per door.",
    priority="planned",
    needs={"events": ()},
    subjects=("door",),
    cause=Cause("watch", ("door",)),
    summary="Door {door} was forced or tampered with {count:once, on|% times, most recently on}"
    " {last}.",
    evidence=("count", "last", "times"),
    do=(
        Step(
            "Inspect the door, its contact and its panel.",
            who="panel technician",
            does="fit",
        ),
        Step(
            "Find out who was there at those times.",
            who="office",
            does="record",
        ),
    ),
    cites=("nist-sp-800-53-rev-5-1-1-pe-6-b",),
    cannot={"unclear": "an event row without time, door or event is set aside and reported"},
)
def forced_door(data: Dataset) -> pd.DataFrame:
    """Anyone can walk through a forced door, and it often does not lock again."""
    rows = happened(data, "forced", "tamper")
    return rows.assign(fails=(rows["count"] > 0).astype("boolean"))
