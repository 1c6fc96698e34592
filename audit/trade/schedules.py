"""Schedules: weekly windows and iCalendar events as openings of the coming year.

One representation for both: an *opening* is a stretch of wall-clock minutes, counted from
midnight of the as-of date. From openings follow everything: overlaps, the minutes that a
clock change hits, a schedule that never opens, and `Year`, in which a set of hours is one
whole number (a bit for each stretch of minutes that every schedule treats alike), so that
union and intersection are `|` and `&` and stay exact to the minute.

What cannot be known is kept apart: an opening is `sure`, or only possible (a calendar that
is not in its table, a window that could not be read).

Sources: RFC 5545 3.3.5, 3.3.10, 3.6.1, 3.8.5 (recurrences); data.md (day words, windows).
"""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cache
from typing import Any, Final, NamedTuple
from zoneinfo import ZoneInfo, available_timezones

import numpy as np
import numpy.typing as npt
import pandas as pd

from audit.contract import Dataset

DAY: Final = 1440
HOLIDAY: Final = 7
"""The eighth kind of day, after Monday (0) to Sunday (6)."""
EVERY_DAY: Final = frozenset(range(8))
NAMES: Final = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun", "holidays")
MOST_OCCURRENCES: Final = 50_000
"""Above this an event is no door's schedule; nobody need wait for it."""

Minutes = npt.NDArray[np.int64]
Flags = npt.NDArray[np.bool_]


class ScheduleError(ValueError):
    """A recurrence that can't be read, or that no door could follow; the text says why."""


# --- windows ---------------------------------------------------------------------------

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

    Minutes count from midnight of the day on which the window begins; `end` may lie in the
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

    starts: Minutes
    ends: Minutes
    sure: Flags
    whole: Flags


class Span(NamedTuple):
    """The coming year: from the as-of date to the eve of the same date next year."""

    first: dt.date
    days: int

    @property
    def weekdays(self) -> npt.NDArray[np.int64]:
        """The weekday of the day before the span, and of each of its dates."""
        return (np.arange(-1, self.days) + self.first.weekday()) % 7


def coming_year(as_of: dt.date) -> Span:
    """The span of 365 or 366 dates that begins with the as-of date."""
    try:
        after = as_of.replace(year=as_of.year + 1)
    except ValueError:  # 29 February
        after = dt.date(as_of.year + 1, 3, 1)
    return Span(as_of, (after - as_of).days)


NO, PERHAPS, YES = 0, 1, 2


def holiday_marks(
    schedule: Schedule,
    holidays: Mapping[str, frozenset[dt.date]],
    incomplete: frozenset[str],
    span: Span,
) -> npt.NDArray[np.int8]:
    """NO, PERHAPS or YES for the day before the span and each of its dates.

    A calendar that is not in its table, or of which a row could not be read, makes every
    date that it does not list a PERHAPS; so does a part of the schedule that could not be
    read, for it may name a calendar.
    """
    marks = np.zeros(span.days + 1, np.int8)
    if not schedule.readable or any(
        c in incomplete or c not in holidays for c in schedule.calendars
    ):
        marks[:] = PERHAPS
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
        must = np.where(marks == PERHAPS, ordinary & festive, may)
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
    plain = openings(schedule, np.where(marks == PERHAPS, NO, marks).astype(np.int8), span)
    if _shared(plain.starts, plain.ends) or _shared(festive[:, 0], festive[:, 1]):
        return True
    o = openings(schedule, marks, span)
    if not schedule.readable or _shared(o.starts, o.ends):
        return None
    return False


def _shared(starts: Minutes, ends: Minutes) -> bool:
    return len(starts) > 1 and bool((starts[1:] < np.maximum.accumulate(ends)[:-1]).any())


# --- the clock -------------------------------------------------------------------------


class Change(NamedTuple):
    """A clock change: the local hour [start, end) that is skipped, or comes twice.

    Minutes from midnight of the as-of date, by the wall clock.
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

    Minutes from midnight; an end at or before the start runs into the next day. None where
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

    def some(starts: Minutes, ends: Minutes) -> bool:
        starts, ends = np.maximum(starts, 0), np.minimum(ends, span.days * DAY)
        real = ends > starts
        for c in changes:
            if c.skipped:
                real &= ~((starts >= c.start) & (ends <= c.end))
        return bool(real.any())

    if some(o.starts[o.sure], o.ends[o.sure]):
        return True
    return None if not readable or some(o.starts, o.ends) else False


# --- iCalendar -------------------------------------------------------------------------

ICALENDAR: Final = "BEGIN:VCALENDAR"
"""A `days` cell that begins so holds one iCalendar event (with its changed instances)."""


def read_icalendar(content: bytes | str, name_property: str = "UID") -> list[tuple[str, str]]:
    """The schedules of an iCalendar file: (schedule, text for its `days` cell), one an event.

    The schedule is the event's UID or the property named. An event and its changed
    instances (RECURRENCE-ID) come as one text. ScheduleError, in one line without the
    content, where the file can't be read.
    """
    import icalendar

    try:
        calendars = icalendar.Calendar.from_ical(content, multiple=True)
    except (ValueError, IndexError, KeyError, TypeError, AttributeError) as e:
        raise ScheduleError("this is no iCalendar file that can be read") from e
    plain = content if isinstance(content, str) else content.decode("utf-8", "replace")
    if not plain.rstrip().upper().endswith("END:VCALENDAR"):
        raise ScheduleError("the iCalendar file breaks off before its end")
    found: list[tuple[str, str]] = []
    for calendar in calendars:
        zones = b"".join(zone.to_ical() for zone in calendar.walk("VTIMEZONE"))
        series: dict[str, list[Any]] = {}
        for i, event in enumerate(calendar.walk("VEVENT")):
            series.setdefault(str(event.get("UID", f"#{i}")), []).append(event)
        for events in series.values():
            named = [str(e[name_property]) for e in events if name_property in e]
            if not named:
                raise ScheduleError(f"an event has no {name_property}")
            body = b"".join(e.to_ical() for e in events)
            text = b"BEGIN:VCALENDAR\r\n" + zones + body + b"END:VCALENDAR\r\n"
            found.append((named[0].strip(), text.decode("utf-8", "replace")))
    return found


def event_openings(text: str, span: Span, zone: ZoneInfo) -> list[tuple[int, int]]:
    """The openings of one event and its changed instances that touch the span.

    RRULE, RDATE and EXDATE are honoured, an unbounded rule within the span only; a local
    time that the clock skips or repeats is read as RFC 5545 3.3.5 says. ScheduleError where
    it can't be read, or occurs too often for a door.
    """
    import icalendar

    try:
        events: list[Any] = icalendar.Calendar.from_ical(text).walk("VEVENT")
        changed = [e for e in events if "RECURRENCE-ID" in e]
        found: list[tuple[int, int]] = []
        for event in events:
            if str(event.get("STATUS", "")).upper() == "CANCELLED":
                continue
            instead = [] if event in changed else [e["RECURRENCE-ID"].dt for e in changed]
            found += _event(event, instead, event in changed, span, zone)
    except ScheduleError:
        raise
    except (ValueError, KeyError, TypeError, AttributeError, OverflowError, IndexError) as e:
        raise ScheduleError("the recurrence can't be read") from e
    return sorted(found)


def _event(
    event: Any, instead: Sequence[Any], alone: bool, span: Span, site: ZoneInfo
) -> list[tuple[int, int]]:
    if event.errors:  # a part that the reader could not take, and left out
        raise ScheduleError("a part of the event can't be read")
    begin = event["DTSTART"].dt
    all_day = not isinstance(begin, dt.datetime)
    zone: dt.tzinfo = site if all_day or begin.tzinfo is None else begin.tzinfo
    start = _wall(begin, zone)
    days, exact = _duration(event, begin, zone, all_day)
    length = days + exact
    edge = dt.datetime.combine(span.first, dt.time())
    low = edge - length - dt.timedelta(days=2)
    high = edge + dt.timedelta(days=span.days + 2)

    rules = [] if alone else _listed(event.get("RRULE"))
    starts: set[dt.datetime] = set() if rules else {start}
    for r in rules:
        starts.update(occurrences(r, start, low, high, zone))
    lengths: dict[dt.datetime, dt.timedelta] = {}
    for value in _dates(event.get("RDATE")):
        if isinstance(value, tuple):  # a period: its own end or duration
            at, until = _wall(value[0], zone), value[1]
            lengths[at] = until if isinstance(until, dt.timedelta) else _wall(until, zone) - at
            starts.add(at)
        else:
            starts.add(_wall(value, zone))
    out_days: set[dt.date] = set()
    for value in [*_dates(event.get("EXDATE")), *instead]:
        if isinstance(value, dt.datetime) or all_day:
            starts.discard(_wall(value, zone))
        else:
            out_days.add(value)

    found = []
    for at in starts:
        if not low <= at < high or at.date() in out_days:
            continue
        first, last = at, at + lengths.get(at, length)
        if not all_day:
            # fold 0: the first of two, and the offset before a gap (RFC 5545 3.3.5)
            moment = at.replace(tzinfo=zone).astimezone(dt.UTC)
            whole = lengths.get(at)
            stop = (
                moment + whole
                if whole is not None
                else (at + days).replace(tzinfo=zone).astimezone(dt.UTC) + exact
            )
            first = moment.astimezone(site).replace(tzinfo=None)
            last = stop.astimezone(site).replace(tzinfo=None)
        opening = (_minute(first - edge, up=False), _minute(last - edge, up=True))
        if opening[0] < opening[1] and opening[1] > 0 and opening[0] < span.days * DAY:
            found.append(opening)
    return found


def _duration(
    event: Any, begin: Any, zone: dt.tzinfo, all_day: bool
) -> tuple[dt.timedelta, dt.timedelta]:
    """(nominal days, exact time) of an event: RFC 5545 3.3.6, 3.6.1, 3.8.5.3."""
    none = dt.timedelta()
    if "DURATION" in event:
        given: dt.timedelta = event["DURATION"].dt
        return dt.timedelta(days=given.days), given - dt.timedelta(days=given.days)
    if "DTEND" in event:
        end = event["DTEND"].dt
        if all_day:
            return _wall(end, zone) - _wall(begin, zone), none
        exact = _wall(end, zone).replace(tzinfo=zone).astimezone(dt.UTC) - _wall(
            begin, zone
        ).replace(tzinfo=zone).astimezone(dt.UTC)
        return none, exact
    return (dt.timedelta(days=1), none) if all_day else (none, none)


def _wall(value: Any, zone: dt.tzinfo) -> dt.datetime:
    """A date or time as the zone's wall clock shows it."""
    if not isinstance(value, dt.datetime):
        return dt.datetime.combine(value, dt.time())
    return value if value.tzinfo is None else value.astimezone(zone).replace(tzinfo=None)


def _minute(delta: dt.timedelta, *, up: bool) -> int:
    seconds = delta.days * 86_400 + delta.seconds
    return -(-seconds // 60) if up else seconds // 60


def _listed(value: Any) -> list[Any]:
    return [] if value is None else value if isinstance(value, list) else [value]


def _dates(value: Any) -> list[Any]:
    return [d.dt for one in _listed(value) for d in one.dts]


# The Gregorian calendar repeats every 400 years (146,097 days, whole weeks). Nineteen turns
# later the recurrence library's last year, 9999, is near: a rule that never occurs ends soon.
_TURN: Final = dt.timedelta(days=146_097 * 19)
_BY_DATE: Final = ("BYMONTH", "BYMONTHDAY", "BYYEARDAY", "BYWEEKNO", "BYDAY")
_READ: Final = frozenset(
    ["FREQ", "UNTIL", "COUNT", "INTERVAL", "BYSECOND", "BYMINUTE", "BYHOUR", "BYSETPOS", "WKST"]
).union(_BY_DATE)


def occurrences(
    rule: Mapping[str, Any],
    start: dt.datetime,
    low: dt.datetime,
    high: dt.datetime,
    zone: dt.tzinfo,
) -> list[dt.datetime]:
    """The starts in [low, high) of a recurrence that begins at `start`; wall-clock times.

    `rule` maps RRULE parts to lists of values. ScheduleError where it recurs by the second,
    more than 50,000 times, or since before 1900.
    """
    if set(rule) - _READ:
        raise ScheduleError("the recurrence has a part that is not read")
    if not 1900 <= start.year <= 2300 or high.year > 2300:
        raise ScheduleError("the recurrence begins before 1900")
    frequency = str(rule["FREQ"][0]).upper()
    interval = int(rule.get("INTERVAL", [1])[0])
    if interval < 1:
        raise ScheduleError("the recurrence has no interval")
    until = high
    if "UNTIL" in rule:
        last = rule["UNTIL"][0]
        end = _wall(last, zone)
        if not isinstance(last, dt.datetime):  # a date: that day is included
            end += dt.timedelta(days=1, seconds=-1)
        until = min(high, end + dt.timedelta(seconds=1))
    if frequency == "SECONDLY":
        raise ScheduleError("it recurs by the second: no door can follow it")
    if frequency in ("HOURLY", "MINUTELY"):
        return _grid(rule, frequency, interval, start, low, until)
    if "COUNT" not in rule:
        step = {"DAILY": 1, "WEEKLY": 7}.get(frequency)
        if step is not None and low > start:
            # nearer, in step with the rule
            stride = dt.timedelta(days=step * interval)
            start += (low - start) // stride * stride
    return _listed_by_library(_rule_text(rule), start, low, until)


def _rule_text(rule: Mapping[str, Any], without: Sequence[str] = ()) -> str:
    parts = [
        f"{key}={','.join(str(v) for v in values)}"
        for key, values in rule.items()
        if key != "UNTIL" and key not in without
    ]
    return ";".join(parts)


def _listed_by_library(
    text: str, start: dt.datetime, low: dt.datetime, until: dt.datetime
) -> list[dt.datetime]:
    from dateutil.rrule import rrulestr

    found = []
    for n, at in enumerate(rrulestr(text, dtstart=start + _TURN)):
        if n >= MOST_OCCURRENCES:
            raise ScheduleError(f"it recurs more than {MOST_OCCURRENCES:,} times")
        at -= _TURN
        if at >= until:
            break
        if at >= low:
            found.append(at)
    return found


def _grid(
    rule: Mapping[str, Any],
    frequency: str,
    interval: int,
    start: dt.datetime,
    low: dt.datetime,
    until: dt.datetime,
) -> list[dt.datetime]:
    """Recurrences by the hour or minute, as a grid of minutes: however dense, it ends fast."""
    if "BYSETPOS" in rule or len(rule.get("BYSECOND", [])) > 1:
        raise ScheduleError("the recurrence has a part that is not read by the hour or minute")
    counted = "COUNT" in rule
    base = start.replace(second=0, microsecond=0)
    from_day = base if counted else max(base, low)
    from_day = from_day.replace(hour=0, minute=0)
    length = (until - from_day).days + 1
    if length > 366 * 8:
        raise ScheduleError("it is counted by the hour or minute since too many years")
    if length <= 0:
        return []
    minute = np.arange(length * DAY, dtype=np.int64)
    since = minute + int((from_day - base).total_seconds()) // 60
    hit: Flags = since >= 0
    clock = minute % DAY
    if frequency == "HOURLY":
        hour_start = base.replace(minute=0)
        hours = (minute + int((from_day - hour_start).total_seconds()) // 60) // 60
        hit &= hours % interval == 0
        hit &= np.isin(clock % 60, [int(m) for m in rule.get("BYMINUTE", [base.minute])])
    else:
        hit &= since % interval == 0
        if "BYMINUTE" in rule:
            hit &= np.isin(clock % 60, [int(m) for m in rule["BYMINUTE"]])
    if "BYHOUR" in rule:
        hit &= np.isin(clock // 60, [int(h) for h in rule["BYHOUR"]])
    by_date = {k: v for k, v in rule.items() if k in (*_BY_DATE, "WKST")}
    if any(k in rule for k in _BY_DATE):
        # days in step with nothing: the grid keeps the interval
        dates = _listed_by_library(
            _rule_text({"FREQ": ["DAILY"], **by_date}),
            from_day,
            from_day,
            from_day + dt.timedelta(days=length),
        )
        days = np.zeros(length, bool)
        days[[(d - from_day).days for d in dates]] = True
        hit &= days[minute // DAY]
    at = minute[hit]
    if counted:
        at = at[: int(rule["COUNT"][0])]
    second = dt.timedelta(seconds=int(rule.get("BYSECOND", [start.second])[0]))
    at = at[at >= (low - from_day).total_seconds() / 60 - 1]
    if len(at) > MOST_OCCURRENCES:
        raise ScheduleError(f"it recurs more than {MOST_OCCURRENCES:,} times")
    times = [from_day + dt.timedelta(minutes=int(m)) + second for m in at]
    return [t for t in times if low <= t < until]


# --- the year --------------------------------------------------------------------------


class Kind(NamedTuple):
    """A kind of day: dates that every schedule treats alike. `weekday` 7 is a holiday."""

    weekday: int
    dates: npt.NDArray[np.int64]  # days after the as-of date


Hours = int
"""A set of minutes of the coming year: bit i stands for the i-th stretch of a `Year`."""


@dataclass(frozen=True, eq=False)
class Year:
    """The coming year in as few stretches of minutes as its schedules tell apart.

    `stretch` (kinds × 1440) says to which bit a minute of a kind of day belongs. `sure` and
    `possible` hold each schedule's hours; of a schedule that is not known only `always` is
    possible and nothing sure (`hours_of`).
    """

    span: Span
    kinds: tuple[Kind, ...]
    stretch: npt.NDArray[np.int64]
    always: Hours
    sure: Mapping[str, Hours]
    possible: Mapping[str, Hours]
    schedules: Mapping[str, Schedule] = field(default_factory=dict)
    marks: Mapping[str, npt.NDArray[np.int8]] = field(default_factory=dict)
    changes: tuple[Change, ...] = ()

    def hours_of(self, schedule: str | None) -> tuple[Hours, Hours]:
        """(sure, possible) hours of a schedule; no schedule is always."""
        if schedule is None:
            return self.always, self.always
        return self.sure.get(schedule, 0), self.possible.get(schedule, self.always)

    def openings(self, schedule: str) -> Openings:
        """The openings of a schedule of the table."""
        return openings(self.schedules[schedule], self.marks[schedule], self.span)

    def minutes(self, hours: Hours) -> Flags:
        """kinds × 1440: which minutes of which kind of day are in the set."""
        count = self.always.bit_length()
        raw = np.frombuffer(hours.to_bytes(-(-count // 8) or 1, "little"), np.uint8)
        member: Flags = np.unpackbits(raw, bitorder="little", count=count).astype(bool)
        return member[self.stretch]

    def total(self, hours: Hours) -> int:
        """Minutes of the coming year in the set, by the wall clock."""
        each = self.minutes(hours).sum(axis=1)
        return int(sum(int(m) * len(k.dates) for m, k in zip(each, self.kinds, strict=True)))

    def week_minutes(self, hours: Hours) -> int:
        """Minutes of an average week in the set (10,080 is always)."""
        return round(self.total(hours) * 7 / self.span.days)

    def clock_hit(self, schedule: str) -> bool | None:
        """Whether a window begins or ends in the hour of a clock change (`in_change`)."""
        hit = in_change(self.openings(schedule), self.changes)
        return hit if hit or self.schedules[schedule].readable else None

    def opens(self, schedule: str) -> bool | None:
        """Whether the schedule has a single open minute in the coming year."""
        return opens(
            self.openings(schedule), self.changes, self.span, self.schedules[schedule].readable
        )

    def overlaps(self, schedule: str) -> bool | None:
        """Whether windows of the schedule overlap."""
        return overlaps(self.schedules[schedule], self.marks[schedule], self.span)

    def within(self, schedule: str, start: int, end: int) -> bool | None:
        """Whether the schedule is open within the hours [start, end) of any day; NA: unknown."""
        if schedule not in self.schedules:
            return None
        hit = within(self.openings(schedule), start, end)
        return hit if hit or self.schedules[schedule].readable else None

    def at(self, moment: dt.datetime) -> Hours:
        """The single stretch that holds a wall-clock time within the coming year.

        ValueError outside it.
        """
        day = (moment.date() - self.span.first).days
        if not 0 <= day < self.span.days:
            raise ValueError("the time lies outside the year that begins with the as-of date")
        for kind, stretch in zip(self.kinds, self.stretch, strict=True):
            if day in kind.dates:
                return 1 << int(stretch[moment.hour * 60 + moment.minute])
        raise AssertionError("every date has its kind")

    def text(self, hours: Hours) -> str:
        """The hours in words, by day: `Mon-Fri 08:00-18:00; holidays 10:00-12:00`."""
        return describe(self, hours)


def year(data: Dataset) -> Year:
    """The site's coming year, computed once a dataset."""
    return data.once(_year)


def _year(data: Dataset) -> Year:
    span = coming_year(data.as_of)
    rows = data["schedules"]
    aside = _aside(data, "schedules")
    schedules = schedules_of(rows, span, data.zone, aside)
    calendars = data["calendars"]
    dated = calendars[calendars["date"].notna()]
    holidays: dict[str, set[dt.date]] = {}
    for name, date in zip(dated["calendar"], dated["date"].dt.date, strict=True):
        holidays.setdefault(name, set()).add(date)
    incomplete = _aside(data, "calendars") | frozenset(
        calendars["calendar"][calendars["date"].isna()].dropna()
    )
    return build_year(
        schedules,
        {name: frozenset(dates) for name, dates in holidays.items()},
        incomplete,
        span,
        clock_changes(data.zone, span),
    )


def table(data: Dataset) -> pd.DataFrame:
    """One row a schedule of the table: index its first row, column `schedule` its name."""
    rows = data["schedules"]
    first = rows[rows["schedule_id"].notna()].drop_duplicates("schedule_id")
    return pd.DataFrame({"schedule": first["schedule_id"]})


def asked(ask: Callable[[str], bool | None], names: pd.Series) -> pd.Series:
    """A question put to each schedule, as a nullable boolean aligned with the names."""
    told = {name: ask(name) for name in names.dropna().unique()}
    return pd.Series([told.get(name) for name in names], index=names.index, dtype="boolean")


def in_use(data: Dataset) -> frozenset[str]:
    """Schedules that a permission which is not over, or a door's unlocking, refers to."""
    return data.once(_in_use)


def _in_use(data: Dataset) -> frozenset[str]:
    permissions = data["permissions"]
    over = (permissions["valid_to"] < data.today).to_numpy(dtype=bool)
    named = pd.concat([permissions["schedule_id"][~over], data["doors"]["unlock_schedule"]])
    return frozenset(named.dropna().unique())


def any_in_use(data: Dataset, index: pd.Index) -> pd.Series:
    """Whether any schedule is (boolean, the same everywhere): NA where no column could name one."""
    told = data.has("permissions", "schedule_id") or data.has("doors", "unlock_schedule")
    return pd.Series(bool(in_use(data)) if told else pd.NA, index=index, dtype="boolean")


def same_clock(a: ZoneInfo, b: ZoneInfo, span: Span) -> bool:
    """Whether two zones show the same time all through the span."""
    start = dt.datetime.combine(span.first, dt.time(), dt.UTC)
    return start.astimezone(a).utcoffset() == start.astimezone(b).utcoffset() and (
        clock_changes(a, span) == clock_changes(b, span)
    )


def shows_site_time(data: Dataset, names: pd.Series) -> pd.Series:
    """Whether each time zone shows the site's time all through the coming year (boolean)."""
    span = coming_year(data.as_of)

    def same(name: str) -> bool | None:
        zone = zone_named(name)
        return None if zone is None else same_clock(zone, data.zone, span)

    return asked(same, names)


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


def _aside(data: Dataset, table: str) -> frozenset[str]:
    found = data.tables.get(table)
    return frozenset() if found is None else frozenset(found.set_aside["id"].dropna())


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


def build_year(
    schedules: Mapping[str, Schedule],
    holidays: Mapping[str, frozenset[dt.date]],
    incomplete: frozenset[str],
    span: Span,
    changes: tuple[Change, ...] = (),
) -> Year:
    """The year in which these schedules are told apart, exact to the minute.

    `holidays` maps calendars to their dates; `incomplete` names calendars of which a row
    could not be read.
    """
    n = span.days
    marks = {name: holiday_marks(s, holidays, incomplete, span) for name, s in schedules.items()}
    weekdays = span.weekdays
    labels = weekdays[1:].copy()
    rows: list[npt.NDArray[np.int64]] = []
    masks: list[list[int]] = []  # of each row: the distinct day masks, 1440 bits each
    where: dict[str, tuple[int, int]] = {}  # schedule -> rows of its sure and possible masks
    for name, s in schedules.items():
        labels[marks[name][1:] == YES] = HOLIDAY
        sure, possible = _day_masks(s, weekdays, marks[name], n)
        pair = []
        for code, distinct in (sure, possible) if possible is not sure else (sure,):
            pair.append(len(rows))
            rows.append(code)
            masks.append(distinct)
        where[name] = (pair[0], pair[-1])

    table = np.vstack([labels, *rows])
    kept, inverse = np.unique(table, axis=1, return_inverse=True)
    inverse = inverse.reshape(-1)
    order = np.argsort(inverse, kind="stable")
    cuts = np.searchsorted(inverse[order], np.arange(kept.shape[1] + 1))
    kinds = tuple(
        Kind(int(kept[0, k]), order[cuts[k] : cuts[k + 1]].astype(np.int64))
        for k in range(kept.shape[1])
    )

    # minutes with the same memberships everywhere are one stretch: compare by a hash of
    # memberships first, 64 random bits a mask, fixed so that runs agree
    random = np.random.default_rng(5545)
    bits: list[Flags] = []
    key = np.zeros(len(kinds) * DAY, np.uint64)
    for r, distinct in enumerate(masks):
        member = np.concatenate([_unpack(distinct[int(kept[r + 1, k])]) for k in range(len(kinds))])
        key += member.astype(np.uint64) * random.integers(1, 2**63, dtype=np.uint64)
        bits.append(member)
    _, first, stretch = np.unique(key, return_index=True, return_inverse=True)
    hours = [_pack(member[first]) for member in bits]
    always = (1 << len(first)) - 1
    return Year(
        span,
        kinds,
        stretch.reshape(len(kinds), DAY).astype(np.int64),
        always,
        {name: hours[where[name][0]] for name in schedules},
        {name: hours[where[name][1]] if s.readable else always for name, s in schedules.items()},
        schedules,
        marks,
        changes,
    )


Coded = tuple[npt.NDArray[np.int64], list[int]]


def _day_masks(
    s: Schedule, weekdays: npt.NDArray[np.int64], marks: npt.NDArray[np.int8], n: int
) -> tuple[Coded, Coded]:
    """For each date of the span the number of its mask, and the masks: sure, possible."""
    surely = _coded(s, weekdays, marks, n, sure=True)
    if not (marks == PERHAPS).any():
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


def _unpack(mask: int) -> Flags:
    raw = np.frombuffer(mask.to_bytes(DAY // 8, "little"), np.uint8)
    return np.unpackbits(raw, bitorder="little").astype(bool)


def _pack(member: Flags) -> Hours:
    return int.from_bytes(np.packbits(member, bitorder="little").tobytes(), "little")


# --- words -----------------------------------------------------------------------------


def clock(minute: int) -> str:
    """Minutes from midnight as HH:MM; 1440 is 24:00."""
    return f"{minute // 60:02d}:{minute % 60:02d}"


def stretches(day: Flags) -> tuple[tuple[int, int], ...]:
    """The stretches [start, end) of a day's open minutes (1440 flags)."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], day, [False]]).astype(np.int8)))
    return tuple((int(a), int(b)) for a, b in zip(edges[::2], edges[1::2], strict=True))


def describe(year: Year, hours: Hours) -> str:
    """`Mon-Fri 08:00-18:00; holidays 10:00-12:00`, `always`, `never`.

    Where the dates of a weekday differ, most of them speak for it and the others are named:
    up to three by date, more by their number.
    """
    if hours == year.always:
        return "always"
    if hours == 0:
        return "never"
    by_day: dict[int, dict[str, list[int]]] = {}
    for kind, flags in zip(year.kinds, year.minutes(hours), strict=True):
        words = ", ".join(f"{clock(a)}-{clock(b)}" for a, b in stretches(flags))
        by_day.setdefault(kind.weekday, {}).setdefault(words, []).extend(kind.dates.tolist())
    usual: dict[int, str] = {}
    rest: list[str] = []
    for weekday in sorted(by_day):
        ways = sorted(by_day[weekday].items(), key=lambda way: (-len(way[1]), way[0]))
        usual[weekday] = ways[0][0]
        count = sum(len(dates) for _, dates in ways)
        for words, dates in ways[1:]:
            if len(dates) <= 3:
                named = ", ".join(
                    (year.span.first + dt.timedelta(days=d)).isoformat() for d in sorted(dates)
                )
                rest.append(f"{named} {words or 'none'}")
            else:
                rest.append(f"{NAMES[weekday]} {words or 'none'} on {len(dates)} of {count} dates")
    return "; ".join(_grouped(usual) + rest)


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
