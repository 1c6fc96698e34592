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
from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt
import pandas as pd

from audit.arithmetic.recurrence import DAY, Span, coming_year
from audit.arithmetic.three import NO, UNCLEAR, YES, Bools, Small
from audit.arithmetic.weeks import (
    HOLIDAY,
    NAMES,
    Change,
    Hours,
    Kind,
    Openings,
    Schedule,
    _day_masks,
    _grouped,
    _pack,
    _unpack,
    clock,
    clock_changes,
    holiday_marks,
    in_change,
    openings,
    opens,
    overlaps,
    schedules_of,
    stretches,
    within,
)
from audit.contract import Dataset


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

    def minutes(self, hours: Hours) -> Bools:
        """kinds × 1440: which minutes of which kind of day are in the set."""
        return self.members(hours)[self.stretch]

    def members(self, hours: Hours) -> Bools:
        """Which stretches are in the set."""
        count = self.always.bit_length()
        raw = np.frombuffer(hours.to_bytes(-(-count // 8) or 1, "little"), np.uint8)
        member: Bools = np.unpackbits(raw, bitorder="little", count=count).astype(bool)
        return member

    def total(self, hours: Hours) -> int:
        """Ints of the coming year in the set, by the wall clock."""
        each = self.minutes(hours).sum(axis=1)
        return int(sum(int(m) * len(k.dates) for m, k in zip(each, self.kinds, strict=True)))

    def week_minutes(self, hours: Hours) -> int:
        """Ints of an average week in the set (10,080 is always)."""
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
    return _year_from(data, data.as_of)


def _year_from(data: Dataset, first: dt.date) -> Year:
    span = coming_year(first)
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


def open_at(data: Dataset, schedule: pd.Series, wall: pd.DatetimeIndex) -> Small:
    """Whether each schedule is open at a moment: YES, NO, UNCLEAR; no schedule is always open.

    `wall` are the site's wall-clock times, aligned by position, of any years.
    """
    code, names = pd.factorize(schedule)
    verdict = np.full(len(code), YES, np.int8)
    asked = np.flatnonzero(code >= 0)
    if not asked.size:
        return verdict
    day = wall.normalize().to_numpy("datetime64[D]").astype(np.int64)
    minute = (wall.hour * 60 + wall.minute).to_numpy(np.int64)
    while asked.size:
        start = int(day[asked].min())
        times = _year_from(data, dt.date(1970, 1, 1) + dt.timedelta(days=start))
        within_it = day[asked] < start + times.span.days
        here, asked = asked[within_it], asked[~within_it]
        kind = np.zeros(times.span.days, np.int64)
        for number, one in enumerate(times.kinds):
            kind[one.dates] = number
        stretch = times.stretch[kind[day[here] - start], minute[here]]
        for number in np.unique(code[here]):
            rows = code[here] == number
            sure, possible = (times.members(h) for h in times.hours_of(names[number]))
            at = stretch[rows]
            verdict[here[rows]] = np.where(sure[at], YES, np.where(possible[at], UNCLEAR, NO))
    return verdict


def table(data: Dataset) -> pd.DataFrame:
    """One row a schedule of the table: index its first row, column `schedule` its name."""
    rows = data["schedules"]
    first = rows[rows["schedule_id"].notna()].drop_duplicates("schedule_id")
    return pd.DataFrame({"schedule": first["schedule_id"]})


def _aside(data: Dataset, table: str) -> frozenset[str]:
    found = data.tables.get(table)
    return frozenset() if found is None else frozenset(found.set_aside["id"].dropna())


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
    bits: list[Bools] = []
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
