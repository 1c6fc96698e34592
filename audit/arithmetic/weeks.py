"""Weekly hours: windows by weekday and holiday, overlaps, and the hours a time zone skips."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from functools import cache
from typing import Final, NamedTuple
from zoneinfo import ZoneInfo, available_timezones

import numpy as np
import numpy.typing as npt
import pandas as pd

from audit.arithmetic.recurrence import DAY, ICALENDAR, ScheduleError, Span, event_openings
from audit.arithmetic.three import NO, UNCLEAR, YES, Bools, Ints

HOLIDAY: Final = 7
"""The eighth kind of day, after Monday (0) to Sunday (6)."""


EVERY_DAY: Final = frozenset(range(8))


NAMES: Final = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun", "holidays")


_WEEKDAYS: Final = {
    word: i
    for i, full in enumerate(
        ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")
    )
    for word in (full, full[:3])
}


_HOLIDAYS: Final = frozenset(("holiday", "holidays"))


_DASH: Final = re.compile(r"\s*[-–—]\s*")


def parse_days(text: str) -> frozenset[int] | None:
    """The kinds of day (0 Monday … 6 Sunday, 7 holiday) that day words mean; None: unreadable.

    Words and ranges in a list (`mon-fri`, `sat sun`, `fri-mon, holiday`); a range may wrap;
    `daily` is every date, holidays too.
    """
    days: set[int] = set()
    for word in re.split(r"[\s,;+/&]+", _DASH.sub("-", text.strip().casefold())):
        if word == "daily":
            days |= EVERY_DAY
        elif word in _HOLIDAYS:
            days.add(HOLIDAY)
        elif word in _WEEKDAYS:
            days.add(_WEEKDAYS[word])
        else:
            ends = [_WEEKDAYS.get(end) for end in word.split("-")]
            if len(ends) != 2 or ends[0] is None or ends[1] is None:
                return None
            days |= {(ends[0] + i) % 7 for i in range((ends[1] - ends[0]) % 7 + 1)}
    return frozenset(days)


class Window(NamedTuple):
    """One window: kinds of day, first minute, and the minute after the last.

    Ints count from midnight of the day on which the window begins; `end` may lie in the
    next day (above 1440).
    """

    days: frozenset[int]
    start: int
    end: int


def window(days: frozenset[int], start: int, end: int) -> Window:
    """A window; an end at or before the start runs into the next day."""
    return Window(days, start, end if end > start else end + DAY)


@dataclass(frozen=True)
class Schedule:
    """One schedule: its windows, its openings from iCalendar, and what is not known of it.

    `readable` is False when part of it could not be read: it may then be open at any time.
    `calendars` are the calendars that any of its windows names; they hold for all of them.
    """

    name: str
    windows: tuple[Window, ...] = ()
    events: tuple[tuple[int, int], ...] = ()
    calendars: tuple[str, ...] = ()
    readable: bool = True


class Openings(NamedTuple):
    """Stretches [start, end) in minutes from midnight of the as-of date, by start.

    `sure` is False where it hangs on a calendar that is not known; `whole` marks the
    windows from midnight to midnight.
    """

    starts: Ints
    ends: Ints
    sure: Bools
    whole: Bools


def holiday_marks(
    schedule: Schedule,
    holidays: Mapping[str, frozenset[dt.date]],
    incomplete: frozenset[str],
    span: Span,
) -> npt.NDArray[np.int8]:
    """NO, UNCLEAR or YES for the day before the span and each of its dates.

    A calendar that is not in its table, or of which a row could not be read, makes every
    date that it does not list a UNCLEAR; so does a part of the schedule that could not be
    read, for it may name a calendar.
    """
    marks = np.zeros(span.days + 1, np.int8)
    if not schedule.readable or any(
        c in incomplete or c not in holidays for c in schedule.calendars
    ):
        marks[:] = UNCLEAR
    for calendar in schedule.calendars:
        for date in holidays.get(calendar, ()):
            at = (date - span.first).days + 1
            if 0 <= at <= span.days:
                marks[at] = YES
    return marks


def openings(schedule: Schedule, marks: npt.NDArray[np.int8], span: Span) -> Openings:
    """Every opening of the schedule that touches the span, in order of its start."""
    weekdays = span.weekdays
    offset = np.arange(-1, span.days, dtype=np.int64) * DAY
    starts, ends, sure, whole = [], [], [], []
    for w in schedule.windows:
        ordinary = np.isin(weekdays, [d for d in w.days if d != HOLIDAY])
        festive = HOLIDAY in w.days
        may = np.where(marks == NO, ordinary, np.where(marks == YES, festive, ordinary | festive))
        must = np.where(marks == UNCLEAR, ordinary & festive, may)
        starts.append(offset[may] + w.start)
        ends.append(offset[may] + w.end)
        sure.append(must[may])
        whole.append(np.full(int(may.sum()), w.start % DAY == 0 and w.end - w.start == DAY))
    if schedule.events:
        pairs = np.array(schedule.events, np.int64).reshape(-1, 2)
        starts.append(pairs[:, 0])
        ends.append(pairs[:, 1])
        sure.append(np.ones(len(pairs), bool))
        whole.append((pairs[:, 0] % DAY == 0) & (pairs[:, 1] % DAY == 0))
    if not starts:
        none = np.empty(0, np.int64)
        return Openings(none, none, np.empty(0, bool), np.empty(0, bool))
    begin = np.concatenate(starts)
    order = np.argsort(begin, kind="stable")
    stop = np.concatenate(ends)[order]
    begin = begin[order]
    seen = (stop > 0) & (begin < span.days * DAY)
    return Openings(
        begin[seen],
        stop[seen],
        np.concatenate(sure)[order][seen],
        np.concatenate(whole)[order][seen],
    )


def overlaps(schedule: Schedule, marks: npt.NDArray[np.int8], span: Span) -> bool | None:
    """Whether two windows of one schedule share a minute; None where it can't be known.

    A date's windows and the night windows of the date before it count; so do two windows
    of one holiday, though the calendar may hold no date in the coming year.
    """
    festive = np.array(
        sorted((w.start, w.end) for w in schedule.windows if HOLIDAY in w.days), np.int64
    ).reshape(-1, 2)
    # whatever the calendar says, not every date of a weekday is a holiday
    plain = openings(schedule, np.where(marks == UNCLEAR, NO, marks).astype(np.int8), span)
    if _shared(plain.starts, plain.ends) or _shared(festive[:, 0], festive[:, 1]):
        return True
    o = openings(schedule, marks, span)
    if not schedule.readable or _shared(o.starts, o.ends):
        return None
    return False


def _shared(starts: Ints, ends: Ints) -> bool:
    return len(starts) > 1 and bool((starts[1:] < np.maximum.accumulate(ends)[:-1]).any())


class Change(NamedTuple):
    """A clock change: the local hour [start, end) that is skipped, or comes twice.

    Ints from midnight of the as-of date, by the wall clock.
    """

    start: int
    end: int
    skipped: bool


def clock_changes(zone: ZoneInfo, span: Span) -> tuple[Change, ...]:
    """Every change of the zone's offset whose local hour begins within the span."""
    origin = dt.datetime.combine(span.first, dt.time(), dt.UTC)
    found = []

    def offset(minute: int) -> int:
        at = (origin + dt.timedelta(minutes=minute)).astimezone(zone).utcoffset()
        assert at is not None
        return round(at.total_seconds()) // 60

    # a day on either side: the local date is at most a day from that of UTC
    steps = range(-DAY, (span.days + 1) * DAY + 1, DAY)
    before = offset(steps[0])
    for lo in steps[:-1]:
        after = offset(lo + DAY)
        if after != before:
            low, high = lo, lo + DAY
            while high - low > 1:
                middle = (low + high) // 2
                low, high = (middle, high) if offset(middle) == before else (low, middle)
            first, last = high + min(before, after), high + max(before, after)
            if 0 <= first < span.days * DAY:
                found.append(Change(first, last, after > before))
        before = after
    return tuple(found)


def in_change(o: Openings, changes: Iterable[Change]) -> bool | None:
    """Whether an opening begins in [start, end) or ends in (start, end] of a changed hour.

    Openings from midnight to midnight aside; None where it hangs on an unknown calendar.
    """
    hit = np.zeros(len(o.starts), bool)
    for c in changes:
        hit |= ((o.starts >= c.start) & (o.starts < c.end)) | (
            (o.ends > c.start) & (o.ends <= c.end)
        )
    hit &= ~o.whole
    if hit[o.sure].any():
        return True
    return None if hit.any() else False


def within(o: Openings, start: int, end: int) -> bool | None:
    """Whether an opening shares a minute with the hours [start, end) of any day.

    Ints from midnight; an end at or before the start runs into the next day. None where
    it hangs on an unknown calendar.
    """
    last = end if end > start else end + DAY
    # shift each opening to the day on which it begins: the hours of that day, of the day
    # before and of the next can meet it, and a longer one meets every hour
    begin = o.starts % DAY
    stop = begin + (o.ends - o.starts)
    meets = stop - begin >= DAY
    for day in (-DAY, 0, DAY):
        meets |= (begin < last + day) & (stop > start + day)
    meets &= o.ends > o.starts
    if meets[o.sure].any():
        return True
    return None if meets.any() else False


def opens(o: Openings, changes: Iterable[Change], span: Span, readable: bool = True) -> bool | None:
    """Whether a single minute of the span is open: a minute that the clock skips is none."""

    def some(starts: Ints, ends: Ints) -> bool:
        starts, ends = np.maximum(starts, 0), np.minimum(ends, span.days * DAY)
        real = ends > starts
        for c in changes:
            if c.skipped:
                real &= ~((starts >= c.start) & (ends <= c.end))
        return bool(real.any())

    if some(o.starts[o.sure], o.ends[o.sure]):
        return True
    return None if not readable or some(o.starts, o.ends) else False


class Kind(NamedTuple):
    """A kind of day: dates that every schedule treats alike. `weekday` 7 is a holiday."""

    weekday: int
    dates: npt.NDArray[np.int64]  # days after the as-of date


Hours = int
"""A set of minutes of the coming year: bit i stands for the i-th stretch of a `Year`."""


def asked(ask: Callable[[str], bool | None], names: pd.Series) -> pd.Series:
    """A question put to each schedule, as a nullable boolean aligned with the names."""
    told = {name: ask(name) for name in names.dropna().unique()}
    return pd.Series([told.get(name) for name in names], index=names.index, dtype="boolean")


def same_clock(a: ZoneInfo, b: ZoneInfo, span: Span) -> bool:
    """Whether two zones show the same time all through the span."""
    start = dt.datetime.combine(span.first, dt.time(), dt.UTC)
    return start.astimezone(a).utcoffset() == start.astimezone(b).utcoffset() and (
        clock_changes(a, span) == clock_changes(b, span)
    )


def zone_named(name: str) -> ZoneInfo | None:
    """The IANA time zone of that name; None where there is none."""
    try:
        return ZoneInfo(name)
    except (KeyError, ValueError, OSError):
        proper = _zone_names().get(name.casefold())
        return None if proper is None else ZoneInfo(proper)


@cache
def _zone_names() -> dict[str, str]:
    return {name.casefold(): name for name in available_timezones()}


def schedules_of(
    rows: pd.DataFrame, span: Span, zone: ZoneInfo, aside: frozenset[str] = frozenset()
) -> dict[str, Schedule]:
    """The schedules of a schedules table, by name; `aside`: those with a row set aside.

    A cell that can't be read (NA) makes the schedule not `readable`.
    """
    windows: dict[str, list[Window]] = {name: [] for name in sorted(aside)}
    events: dict[str, list[tuple[int, int]]] = {}
    calendars: dict[str, dict[str, None]] = {}
    broken = set(aside)
    read: dict[str, frozenset[int] | None] = {}
    columns = ("schedule_id", "days", "start", "end", "calendar")
    for name, days, start, end, calendar in zip(*(rows[c] for c in columns), strict=True):
        if pd.isna(name):
            continue
        own = windows.setdefault(name, [])
        if not pd.isna(calendar):
            calendars.setdefault(name, {})[calendar] = None
        if not pd.isna(days) and days.startswith(ICALENDAR):
            try:
                events.setdefault(name, []).extend(event_openings(days, span, zone))
            except ScheduleError:
                broken.add(name)
            continue
        if not pd.isna(days) and days not in read:
            read[days] = parse_days(days)
        kinds = None if pd.isna(days) else read[days]
        if kinds is None or pd.isna(start) or pd.isna(end):
            broken.add(name)
        else:
            own.append(window(kinds, int(start), int(end)))
    return {
        name: Schedule(
            name,
            tuple(own),
            tuple(sorted(events.get(name, ()))),
            tuple(calendars.get(name, ())),
            name not in broken,
        )
        for name, own in windows.items()
    }


Coded = tuple[npt.NDArray[np.int64], list[int]]


def _day_masks(
    s: Schedule, weekdays: npt.NDArray[np.int64], marks: npt.NDArray[np.int8], n: int
) -> tuple[Coded, Coded]:
    """For each date of the span the number of its mask, and the masks: sure, possible."""
    surely = _coded(s, weekdays, marks, n, sure=True)
    if not (marks == UNCLEAR).any():
        return surely, surely
    return surely, _coded(s, weekdays, marks, n, sure=False)


def _coded(
    s: Schedule, weekdays: npt.NDArray[np.int64], marks: npt.NDArray[np.int8], n: int, *, sure: bool
) -> Coded:
    full = (1 << DAY) - 1
    today, next_day = [0] * 8, [0] * 8
    for w in s.windows:
        bits = ((1 << (w.end - w.start)) - 1) << w.start
        for d in w.days:
            today[d] |= bits & full
            next_day[d] |= bits >> DAY
    code = weekdays * 3 + marks  # what a date is: 0..20

    def mask(of: list[int], c: int) -> int:
        weekday, mark = divmod(c, 3)
        if mark == NO:
            return of[weekday]
        if mark == YES:
            return of[HOLIDAY]
        return of[weekday] & of[HOLIDAY] if sure else of[weekday] | of[HOLIDAY]

    pairs, inverse = np.unique(code[:-1] * 21 + code[1:], return_inverse=True)
    numbers: dict[int, int] = {}
    own = [mask(today, int(p) % 21) | mask(next_day, int(p) // 21) for p in pairs]
    numbering = np.array([numbers.setdefault(m, len(numbers)) for m in own], np.int64)
    coded = numbering[inverse.reshape(-1)]
    if s.events:
        extra: dict[int, int] = {}
        for start, end in s.events:
            for day in range(max(start // DAY, 0), min(-(-end // DAY), n)):
                low, high = max(start - day * DAY, 0), min(end - day * DAY, DAY)
                extra[day] = extra.get(day, 0) | ((1 << high) - (1 << low))
        masks = list(numbers)
        for day, bits in extra.items():
            m = masks[coded[day]] | bits
            if m not in numbers:
                numbers[m] = len(numbers)
                masks.append(m)
            coded[day] = numbers[m]
    return coded, list(numbers)


def _unpack(mask: int) -> Bools:
    raw = np.frombuffer(mask.to_bytes(DAY // 8, "little"), np.uint8)
    return np.unpackbits(raw, bitorder="little").astype(bool)


def _pack(member: Bools) -> Hours:
    return int.from_bytes(np.packbits(member, bitorder="little").tobytes(), "little")


def clock(minute: int) -> str:
    """Ints from midnight as HH:MM; 1440 is 24:00."""
    return f"{minute // 60:02d}:{minute % 60:02d}"


def stretches(day: Bools) -> tuple[tuple[int, int], ...]:
    """The stretches [start, end) of a day's open minutes (1440 flags)."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], day, [False]]).astype(np.int8)))
    return tuple((int(a), int(b)) for a, b in zip(edges[::2], edges[1::2], strict=True))


def _grouped(usual: Mapping[int, str]) -> list[str]:
    if len(usual) >= 7 and len(set(usual.values())) == 1:
        words = next(iter(usual.values()))
        return [f"daily {words}"] if words else []
    groups: list[tuple[list[int], str]] = []
    for weekday in range(7):
        words = usual.get(weekday, "")
        if groups and groups[-1][1] == words:
            groups[-1][0].append(weekday)
        else:
            groups.append(([weekday], words))
    # the week is a ring: Sunday joins Monday
    if len(groups) > 2 and groups[0][1] == groups[-1][1]:
        groups[0] = (groups.pop()[0] + groups[0][0], groups[0][1])
    found = [
        f"{NAMES[d[0]] if len(d) == 1 else f'{NAMES[d[0]]}-{NAMES[d[-1]]}'} {words}"
        for d, words in groups
        if words
    ]
    if usual.get(HOLIDAY):
        found.append(f"{NAMES[HOLIDAY]} {usual[HOLIDAY]}")
    return found
