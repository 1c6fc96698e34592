import numpy as np
import pandas as pd

from audit.contract import OUT, Dataset, Example, Reference, rule
from audit.facts.log import log
from rules.events._shared import clock, happened


@rule(
    title="Door often held open",
    finds="A door that was held open more than once a week on average, over the days of the"
    " events (seven at least).",
    priority="advisory",
    needs={"events": ()},
    subjects=("door",),
    summary="Door {door} was held open {count:once|% times} in {days:1 day|% days}, more than"
    " once a week.",
    evidence=("count", "days"),
    remedy="Ask who props it open and why; adjust the closer, or the time the door needs.",
    references=(
        Reference(
            "EN 60839-11-1:2013, Table 3 line 32",
            "a door left open past the permitted time raises an alert",
            sure="quoted",
        ),
    ),
    cannot={"unclear": "an event row without time, door or event is set aside and reported"},
)
def held_open_often(data: Dataset) -> pd.DataFrame:
    """A door that stands open lets in anyone who walks by, and stops no fire."""
    days = max(days_covered(data), 7)
    rows = happened(data, "held")
    return rows.assign(days=days, fails=rows["count"] * 7 > days)


def days_covered(data: Dataset) -> int:
    """The days from the file's first event to its last, both counted, by the site's clock."""
    time = log(data).time
    if not len(time):
        return 0
    first, last = (pd.Timestamp(t[:10]) for t in clock(data, np.array([time.min(), time.max()])))
    return (last - first).days + 1


EXAMPLES = (
    Example(
        "two in two weeks are in order, three are not",
        """
        events
        time                 | door_id | event
        2026-09-01T10:00:00Z | D1      | held
        2026-09-02T10:00:00Z | D1      | held
        2026-09-01T10:00:00Z | D2      | held
        2026-09-02T10:00:00Z | D2      | held
        2026-09-03T10:00:00Z | D2      | held
        2026-09-14T10:00:00Z | D3      | opened

        doors
        door_id
        D4
        """,
        expect={"D1": False, "D2": True, "D3": False, "D4": OUT},
    ),
    Example(
        "a file of less than a week counts as one",
        """
        events
        time                 | door_id | event
        2026-09-01T10:00:00Z | D1      | held
        2026-09-02T10:00:00Z | D2      | held
        2026-09-03T10:00:00Z | D2      | held
        """,
        expect={"D1": False, "D2": True},
    ),
)
