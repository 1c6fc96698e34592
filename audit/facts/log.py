"""Events: what happened at the doors, grouped once and asked many times.

A file of millions of rows is coded to numbers once (doors, events, times); every question is
then a count or a sort over those arrays. Times are microseconds of UTC inside, and the site's
wall clock wherever a day is meant or a time is shown.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from audit.arithmetic.three import YES, Bools, Ints
from audit.contract import TEXT, Dataset
from audit.facts.standing import EVENTS as WORDS
from audit.facts.standing import event_codes
from audit.schema import TABLES

CODE: Final = {word: code for code, word in enumerate(WORDS)}


@dataclass(frozen=True)
class Log:
    """The events as numbers, in the file's order: time, event word (CODE) and door.

    `doors` names the doors in the order of their codes; `counts` is doors by words.
    """

    time: Ints
    event: npt.NDArray[np.int8]
    door: Ints
    doors: pd.Series
    counts: Ints

    def rows(self, *words: str) -> Ints:
        """Positions of the events of these kinds."""
        wanted = np.zeros(len(WORDS), bool)
        wanted[[CODE[w] for w in words]] = True
        return np.flatnonzero(wanted[self.event])

    def count(self, *words: str) -> Ints:
        """Events of these kinds at each door."""
        return np.asarray(self.counts[:, [CODE[w] for w in words]].sum(axis=1), np.int64)


def log(data: Dataset) -> Log:
    """The site's events, coded once."""
    return data.once(_log)


def _log(data: Dataset) -> Log:
    events = data["events"]
    door, doors = pd.factorize(events["door_id"])
    code = event_codes(data)
    width = len(WORDS)
    counts = np.bincount(door * width + code, minlength=len(doors) * width)
    return Log(
        events["time"].to_numpy("datetime64[us]").view(np.int64),
        code,
        door.astype(np.int64),
        pd.Series(doors, dtype=TEXT),
        counts.reshape(len(doors), width),
    )


def counted(data: Dataset) -> Bools:
    """Which events count: those later than the previous recorded review; all where there is none.

    So that what was put right is not found again for as long as the log is kept.
    """
    return data.once(_counted)


def _counted(data: Dataset) -> Bools:
    time = log(data).time
    if data.reviewed is None:
        return np.ones(len(time), bool)
    after = pd.Timestamp(data.reviewed) + pd.Timedelta(days=1)
    first = after.tz_localize(data.zone, ambiguous=True, nonexistent="shift_forward")
    return np.asarray(time >= first.tz_convert("UTC").value // 1000, bool)


MONITORS: Final = TABLES["doors"].column("status_monitor").words
"""`none` first."""


_AFTER_DEPARTURE: Final = (
    "person", "card", "pin", "fails", "last_day", "uses", "last", "times", "doors", "sources",
)  # fmt: skip


WITHDRAWN: Final = ("lost", "returned", "destroyed", "stock")


def _gravest(verdict: npt.NDArray[np.int8], row: Ints, scope: Bools, *ids: pd.Series) -> Ints:
    """Where in `row` each subject in scope has its gravest verdict; `ids` make the subject."""
    kept = np.flatnonzero(scope)
    codes = [pd.factorize(i.array.take(row[kept]))[0] for i in ids]
    rank = YES - verdict[kept]
    order = np.lexsort([row[kept], rank, *codes])
    new = np.ones(len(order), bool)
    if len(order) > 1:
        new[1:] = np.any([c[order][1:] != c[order][:-1] for c in codes], axis=0)
    return kept[np.sort(order[new])]
