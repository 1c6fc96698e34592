import pandas as pd

from audit.contract import Cause, Dataset, Step, rule
from rules.events._shared import happened


@rule(
    title="Door forced, or its equipment tampered with",
    finds="Forced or tamper events of a door, all of one door in one finding.",
    priority="planned",
    needs={"events": ()},
    subjects=("door",),
    cause=Cause("watch", ("door",)),
    summary="Door {door} was forced or tampered with {count:once, on|% times, the last time on}"
    " {last}.",
    evidence=("count", "last", "times"),
    do=(
        Step(
            "Look at the door, its contact and its panel, and ask who was there at those times.",
            who="office",
            does="cut",
        ),
    ),
    cites=("nist-sp-800-53-rev-5-1-1-pe-6-b",),
    cannot={"unclear": "an event row without time, door or event is set aside and reported"},
)
def forced_door(data: Dataset) -> pd.DataFrame:
    """A forced door lets anyone in, and often does not lock again afterwards."""
    rows = happened(data, "forced", "tamper")
    return rows.assign(fails=(rows["count"] > 0).astype("boolean"))
