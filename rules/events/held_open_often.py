import numpy as np
import pandas as pd

from audit.contract import Cause, Dataset, Step, rule
from audit.facts.log import log
from rules.events._shared import clock, happened


@rule(
    title="Door often held open",
    finds="A door that was held open more than once a week on average, over the days of the"
    " events (seven at least).",
    priority="advisory",
    needs={"events": ()},
    subjects=("door",),
    cause=Cause("door", ("door",)),
    summary="Door {door} was held open {count:once|% times} in {days:1 day|% days}: more than once"
    " a week.",
    evidence=("count", "days"),
    do=(
        Step(
            "Find out who props it open and why. Adjust the closer or the permitted open"
            " time after asking those who use the door.",
            who="door fitter",
            does="fit",
        ),
    ),
    cites=("en-60839-11-1-2013-table-3-line-32",),
    cannot={"unclear": "an event row without time, door or event is set aside and reported"},
)
def held_open_often(data: Dataset) -> pd.DataFrame:
    """A door standing open lets anyone in and holds back no fire."""
    days = max(days_covered(data), 7)
    rows = happened(data, "held", ever=True)
    return rows.assign(days=days, fails=(rows["count"] * 7 > days).astype("boolean"))


def days_covered(data: Dataset) -> int:
    """The days from the file's first event to its last, both counted, by the site's clock."""
    time = log(data).time
    if not len(time):
        return 0
    first, last = (pd.Timestamp(t[:10]) for t in clock(data, np.array([time.min(), time.max()])))
    return (last - first).days + 1
