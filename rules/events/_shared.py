"""What the rules on events ask of the log: uses, who was granted, and when."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from audit.arithmetic.moments import FOREVER, NEVER
from audit.arithmetic.plain import listed, taken
from audit.arithmetic.three import YES, Ints
from audit.contract import Dataset
from audit.facts import card_register as card_numbers
from audit.facts.log import CODE, counted, log
from audit.facts.matching import Match, cards_named, pins_named


def day_after(data: Dataset, days: pd.Series) -> Ints:
    """The moment (microseconds of UTC) at which the day after each date begins on site.

    NEVER where no date is given.
    """
    following = pd.DatetimeIndex(days.to_numpy()).as_unit("us") + pd.Timedelta(days=1)
    first = following.tz_localize(
        data.zone, ambiguous=np.ones(len(following), bool), nonexistent="shift_forward"
    )
    return np.asarray(first.tz_convert("UTC").asi8, np.int64)


def clock(data: Dataset, time: Ints) -> list[str]:
    """Moments as the site's wall clock showed them, `2026-09-30 14:05:00`."""
    if not len(time):
        return []
    utc = pd.DatetimeIndex(time.view("datetime64[us]")).tz_localize("UTC")
    wall = utc.tz_convert(data.zone).tz_localize(None).to_numpy("datetime64[s]")
    return [t.replace("T", " ") for t in np.datetime_as_string(wall).tolist()]


def happened(data: Dataset, *words: str, ever: bool = False) -> pd.DataFrame:
    """A row a door of the file: how often any of these happened there, and when.

    Of the events that count since the previous review; with `ever` of all.

    Columns: `door`, `count` (int), `times` (list of site times in order), `last` (the last of
    them), `sources`.
    """
    book = log(data)
    rows = book.rows(*words)
    rows = rows if ever else rows[counted(data)[rows]]
    count = np.bincount(book.door[rows], minlength=len(book.doors))
    return _told(data, rows, book.door[rows]).assign(count=count)


def _told(data: Dataset, rows: Ints, door: Ints) -> pd.DataFrame:
    """A row a door: the times of the given events there, and their places in the file."""
    book = log(data)
    n = len(book.doors)
    order = np.lexsort((rows, book.time[rows], door))
    rows, door = rows[order], door[order]
    at = np.unique(door)
    first, end = np.searchsorted(door, at), np.searchsorted(door, at, "right")
    times, labels = clock(data, book.time[rows]), data["events"].index.to_numpy()[rows].tolist()
    spans = list(zip(at.tolist(), first.tolist(), end.tolist(), strict=True))
    last = np.full(n, None, object)
    last[at] = [times[b - 1] for _, _, b in spans]
    return pd.DataFrame(
        {
            "door": book.doors,
            "times": listed(n, {d: times[a:b] for d, a, b in spans}),
            "last": last,
            "sources": listed(n, {d: [("events", r) for r in labels[a:b]] for d, a, b in spans}),
        }
    )


def uses(data: Dataset, table: str) -> Match:
    """The cards, or the PINs, that the events name, and the register rows they stand for."""
    return data.once(_USES[table])


def _card_uses(data: Dataset) -> Match:
    code, numbers = card_numbers.of_events(data)
    return cards_named(data, code, numbers, data["events"]["card_number"])


def _pin_uses(data: Dataset) -> Match:
    events = data["events"]
    return pins_named(data, events["pin_id"], events["secret"])


_USES = {"cards": _card_uses, "pins": _pin_uses}


def granted(data: Dataset, table: str) -> tuple[Ints, Ints]:
    """Where granted events that count name a card (or a PIN), and each code's last time."""
    return data.once(_GRANTED[table])


def _granted_of(table: str) -> Callable[[Dataset], tuple[Ints, Ints]]:
    def last(data: Dataset) -> tuple[Ints, Ints]:
        book, used = log(data), uses(data, table)
        uses_ = (book.event == CODE["granted"]) & (used.code >= 0)
        rows = np.flatnonzero(uses_ & counted(data))
        times = np.full(used.size, NEVER)
        np.maximum.at(times, used.code[rows], book.time[rows])
        return rows, times

    return last


_GRANTED = {"cards": _granted_of("cards"), "pins": _granted_of("pins")}


def _names_credentials(data: Dataset) -> bool:
    """Whether the file has a column that could say whose card or PIN it was."""
    return data.has("events", "card_number") or data.has("events", "pin_id")


def _late_uses(
    data: Dataset, table: str, verdict: npt.NDArray[np.int8], codes: Ints, limits: Ints
) -> dict[str, Any]:
    """When and where each failing credential was used at or after its limit, as columns."""
    book, found = log(data), uses(data, table)
    n = len(verdict)
    failing = np.flatnonzero(verdict == YES)
    last = np.full(n, None, object)
    count = np.zeros(n, np.int64)
    times: dict[int, list[str]] = {}
    doors: dict[int, list[str]] = {}
    sources: dict[int, list[tuple[str, int]]] = {}
    if failing.size:
        rows, _ = granted(data, table)
        late = np.full(found.size, FOREVER)
        np.minimum.at(late, codes[failing], limits[failing])
        rows = rows[book.time[rows] >= late[found.code[rows]]]
        rows = rows[np.lexsort((rows, book.time[rows], found.code[rows]))]
        first = np.searchsorted(found.code[rows], codes[failing])
        end = np.searchsorted(found.code[rows], codes[failing], "right")
        shown = clock(data, book.time[rows])
        labels = data["events"].index.to_numpy()[rows].tolist()
        where = taken(book.doors, book.door[rows]).tolist()
        for at, a, b in zip(failing.tolist(), first.tolist(), end.tolist(), strict=True):
            times[at] = shown[a:b]
            doors[at] = sorted(set(where[a:b]))
            sources[at] = [("events", label) for label in labels[a:b]]
            last[at], count[at] = shown[b - 1], b - a
    return {
        "uses": count,
        "last": last,
        "times": listed(n, times),
        "doors": listed(n, doors),
        "sources": listed(n, sources),
    }
