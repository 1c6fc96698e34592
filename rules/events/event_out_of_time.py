import numpy as np
import pandas as pd

from audit.arithmetic.moments import MINUTE, behind
from audit.arithmetic.three import Ints
from audit.contract import Cause, Dataset, Step, rule
from audit.facts.log import log
from rules.events._shared import _told, day_after


@rule(
    title="Events with impossible times",
    finds="Events at a door dated after the audit date, or whose times run backwards by more"
    " than a minute in file order.",
    priority="advisory",
    needs={"events": ()},
    subjects=("door",),
    cause=Cause("watch", ("door",)),
    summary="Event times at door {door} cannot be right{later:: 1 event is dated after the audit"
    " date|: % events are dated after the audit date|}{backwards:; times run backwards"
    " once|; times run backwards % times|}.",
    evidence=("later", "backwards", "times"),
    do=(
        Step(
            "Set the clock on the door's controller and synchronise it to network time.",
            who="panel technician",
            does="fit",
        ),
    ),
    cites=("en-60839-11-1-2013-table-4-line-1",),
    cannot={"unclear": "an event row without time, door or event is set aside and reported"},
)
def event_out_of_time(data: Dataset) -> pd.DataFrame:
    """If the clock is wrong, the log proves nothing and schedules open the door at the wrong
    times.
    """
    rows = out_of_time(data)
    fails = (rows["later"] > 0) | (rows["backwards"] > 0)
    return rows.assign(fails=fails.astype("boolean"))


def out_of_time(data: Dataset) -> pd.DataFrame:
    """A row a door of the file: events later than the as-of day, and such as run backwards.

    Columns: `door`, `later` and `backwards` (int), `times` (list), `sources`. An event of an
    hour that the clock repeats is no step back where the hour's other reading is none.
    """
    book = log(data)
    later = book.time >= day_after(data, pd.Series([data.today]))[0]
    turn = slice(None, None, -1) if _descending(data, book.time) else slice(None)
    lag = behind(book.door[turn], book.time[turn], MINUTE)[turn]
    back = lag > MINUTE
    suspect = np.flatnonzero(back)
    if suspect.size:
        back[suspect] = lag[suspect] - _other_reading(data, book.time[suspect]) > MINUTE
    n = len(book.doors)
    rows = np.flatnonzero(later | back)
    return _told(data, rows, book.door[rows]).assign(
        later=np.bincount(book.door[later], minlength=n),
        backwards=np.bincount(book.door[back], minlength=n),
    )


def _descending(data: Dataset, time: Ints) -> bool:
    """Whether the file is wholly in descending order, the hour that the clock repeats aside."""
    if len(time) < 2 or time[0] <= time[-1]:
        return False
    rise = np.diff(time)
    up = np.flatnonzero(rise > 0)
    if not up.size:
        return True
    if rise.max() > 180 * MINUTE:  # no clock is ever put back further
        return False
    return bool((rise[up] <= _other_reading(data, time[up])).all())


def _other_reading(data: Dataset, time: Ints) -> Ints:
    """How much later (microseconds) the other reading of a repeated wall time is, else 0."""
    utc = pd.DatetimeIndex(time.view("datetime64[us]")).tz_localize("UTC")
    wall = utc.tz_convert(data.zone).tz_localize(None)
    second = wall.tz_localize(
        data.zone, ambiguous=np.zeros(len(wall), bool), nonexistent="shift_forward"
    )
    return np.asarray(np.maximum(second.asi8 - time, 0), np.int64)
