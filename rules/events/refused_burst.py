import numpy as np
import pandas as pd

from audit.arithmetic.moments import MINUTE, within
from audit.arithmetic.plain import listed
from audit.contract import Cause, Dataset, Step, rule
from audit.facts.log import counted, log
from rules.events._shared import clock


@rule(
    title="Burst of refused attempts",
    finds="Ten or more refused attempts at one door within five minutes.",
    priority="planned",
    needs={"events": ()},
    subjects=("door",),
    cause=Cause("watch", ("door",)),
    summary="Door {door} refused {most} attempts within five minutes, starting {since}.",
    evidence=("most", "since"),
    do=(
        Step(
            "Find out who it was. If the door opens by PIN, change the PINs.",
            who="office",
            does="cut",
        ),
    ),
    cites=("nist-sp-800-53-rev-5-1-1-ac-7",),
    cannot={"unclear": "an event row without time, door or event is set aside and reported"},
)
def refused_burst(data: Dataset) -> pd.DataFrame:
    """Someone was trying codes, or a card that does not work there, and may come back."""
    rows = refusals(data, minutes=5)
    return rows.assign(fails=(rows["most"] >= 10).astype("boolean"))


def _tries(door: str, *times: str) -> str:
    return "\n".join(f"        2026-09-01T10:{t}Z | {door} | denied" for t in times)


_NINE = [f"0{minute}:00" for minute in (0, 0, 1, 1, 2, 2, 3, 3, 4)]


def refusals(data: Dataset, minutes: int) -> pd.DataFrame:
    """A row a door of the file: the most refusals that came within `minutes`, both ends counted.

    Columns: `door`, `most` (int), `since` (site time at which the first such crowd began; NA
    without a refusal), `sources` (the refusals of that crowd).
    """
    book = log(data)
    rows = book.rows("denied")
    rows = rows[counted(data)[rows]]
    door, time = book.door[rows], book.time[rows]
    order = np.lexsort((time, door))
    rows, door, time = rows[order], door[order], time[order]
    crowd = within(door, time, minutes * MINUTE, closed=True)
    most = np.zeros(len(book.doors), np.int64)
    np.maximum.at(most, door, crowd)
    peak = np.flatnonzero(crowd == most[door])
    at, first = np.unique(door[peak], return_index=True)
    start = peak[first]
    n = len(book.doors)
    since = np.full(n, None, object)
    since[at] = clock(data, time[start])
    labels = data["events"].index.to_numpy()[rows]
    sources = {
        one: [("events", label) for label in labels[begin : begin + size].tolist()]
        for one, begin, size in zip(at.tolist(), start.tolist(), crowd[start].tolist(), strict=True)
    }
    return pd.DataFrame(
        {"door": book.doors, "most": most, "since": since, "sources": listed(n, sources)}
    )
