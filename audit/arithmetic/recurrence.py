"""Recurring windows by iCalendar (RFC 5545), over the coming year."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from typing import Any, Final, NamedTuple
from zoneinfo import ZoneInfo

import numpy as np
import numpy.typing as npt

from audit.arithmetic.three import Bools

DAY: Final = 1440


MOST_OCCURRENCES: Final = 50_000
"""Above this an event is no door's schedule; nobody need wait for it."""


class ScheduleError(ValueError):
    """A recurrence that can't be read, or that no door could follow; the text says why."""


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
    hit: Bools = since >= 0
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
