"""Schedules against RFC 5545, published clock changes, and a minute-by-minute second way."""

from __future__ import annotations

import datetime as dt
import time
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from audit.arithmetic.recurrence import (
    DAY,
    ScheduleError,
    Span,
    coming_year,
    event_openings,
    read_icalendar,
)
from audit.arithmetic.three import NO, UNCLEAR, YES
from audit.arithmetic.weeks import (
    EVERY_DAY,
    HOLIDAY,
    Change,
    Schedule,
    Window,
    clock_changes,
    holiday_marks,
    in_change,
    openings,
    opens,
    overlaps,
    parse_days,
    window,
    within,
)
from audit.facts.hours import build_year

NEW_YORK = ZoneInfo("America/New_York")
DUBLIN = ZoneInfo("Europe/Dublin")
AS_OF = dt.date(2026, 9, 30)  # a Wednesday


def event(*lines: str) -> str:
    body = "\r\n".join(("BEGIN:VEVENT", "UID:a", "DTSTAMP:19970101T000000Z", *lines, "END:VEVENT"))
    return f"BEGIN:VCALENDAR\r\n{body}\r\nEND:VCALENDAR\r\n"


def starts(text: str, first: str, days: int = 366, zone: ZoneInfo = NEW_YORK) -> list[str]:
    """The wall-clock starts of an event in a span."""
    span = Span(dt.date.fromisoformat(first), days)
    origin = dt.datetime.combine(span.first, dt.time())
    return [
        (origin + dt.timedelta(minutes=a)).strftime("%Y-%m-%d %H:%M")
        for a, _ in event_openings(text, span, zone)
    ]


def rfc(start: str, rule: str, *more: str) -> str:
    return event(
        f"DTSTART;TZID=America/New_York:{start}T090000", "DURATION:PT15M", f"RRULE:{rule}", *more
    )


# --- days ------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("words", "days"),
    [
        ("mon-fri", {0, 1, 2, 3, 4}),
        ("sat sun", {5, 6}),
        ("daily", set(range(8))),
        ("holiday", {7}),
        ("fri-mon", {4, 5, 6, 0}),
        ("sun-mon", {6, 0}),
        ("mon-mon", {0}),
        ("Mon, Wed; fri", {0, 2, 4}),
        ("mon - fri holiday", {0, 1, 2, 3, 4, 7}),
        ("Saturday", {5}),
    ],
)
def test_day_words(words: str, days: set[int]) -> None:
    assert parse_days(words) == days


@pytest.mark.parametrize("words", ["", "mo", "mon-holiday", "mon-", "-", "daily-fri", "weekly"])
def test_other_words_are_not_guessed(words: str) -> None:
    assert parse_days(words) is None


@pytest.mark.parametrize(
    ("start", "end", "minutes"),
    [(480, 1080, 600), (1320, 360, 480), (0, 1440, 1440), (480, 480, 1440), (1440, 360, 360)],
)
def test_an_end_at_or_before_the_start_runs_into_the_next_day(
    start: int, end: int, minutes: int
) -> None:
    w = window(EVERY_DAY, start, end)
    assert w.end - w.start == minutes


# --- RFC 5545 --------------------------------------------------------------------------

# RFC 5545 (September 2009) 3.8.5.3, examples, as in references/access.md 6.1. [S] = the
# printed result was read; [C] = computed there with the recurrence library alone.
RFC_EXAMPLES = [
    # [S] the start of the week decides
    (
        "19970805",
        "FREQ=WEEKLY;INTERVAL=2;COUNT=4;BYDAY=TU,SU;WKST=MO",
        "1997-08-01",
        ["08-05", "08-10", "08-19", "08-24"],
    ),
    (
        "19970805",
        "FREQ=WEEKLY;INTERVAL=2;COUNT=4;BYDAY=TU,SU;WKST=SU",
        "1997-08-01",
        ["08-05", "08-17", "08-19", "08-31"],
    ),
    # [S] 30 February is passed over
    (
        "20070115",
        "FREQ=MONTHLY;BYMONTHDAY=15,30;COUNT=5",
        "2007-01-01",
        ["01-15", "01-30", "02-15", "03-15", "03-30"],
    ),
    # [C]
    (
        "19970902",
        "FREQ=WEEKLY;COUNT=10;WKST=SU;BYDAY=TU,TH",
        "1997-09-01",
        ["09-02", "09-04", "09-09", "09-11", "09-16", "09-18", "09-23", "09-25", "09-30", "10-02"],
    ),
    ("19970902", "FREQ=MONTHLY;BYDAY=FR;BYMONTHDAY=13", "1998-01-01", ["02-13", "03-13", "11-13"]),
    ("19970512", "FREQ=YEARLY;BYWEEKNO=20;BYDAY=MO", "1999-01-01", ["05-17"]),
    ("19970519", "FREQ=YEARLY;BYDAY=20MO", "1998-01-01", ["05-18"]),
    (
        "19970930",
        "FREQ=MONTHLY;COUNT=10;BYMONTHDAY=1,-1",
        "1997-09-30",
        ["09-30", "10-01", "10-31", "11-01", "11-30", "12-01", "12-31", "01-01", "01-31", "02-01"],
    ),
    (
        "19970929",
        "FREQ=MONTHLY;BYDAY=MO,TU,WE,TH,FR;BYSETPOS=-2;COUNT=7",
        "1997-09-01",
        ["09-29", "10-30", "11-27", "12-30", "01-29", "02-26", "03-30"],
    ),
    (
        "19970913",
        "FREQ=MONTHLY;BYDAY=SA;BYMONTHDAY=7,8,9,10,11,12,13;COUNT=8",
        "1997-09-01",
        ["09-13", "10-11", "11-08", "12-13", "01-10", "02-07", "03-07", "04-11"],
    ),
    (
        "19961105",
        "FREQ=YEARLY;INTERVAL=4;BYMONTH=11;BYDAY=TU;BYMONTHDAY=2,3,4,5,6,7,8",
        "2008-01-01",
        ["11-04"],
    ),
]


@pytest.mark.parametrize(("start", "rule", "first", "dates"), RFC_EXAMPLES)
def test_the_examples_of_rfc_5545(start: str, rule: str, first: str, dates: list[str]) -> None:
    found = starts(rfc(start, rule), first)
    assert [f[5:10] for f in found] == dates
    assert {f[11:] for f in found} == {"09:00"}


def test_rfc_5545_daily_until_christmas_eve_1997() -> None:
    """RFC 5545 3.8.5.3 [C]: 113 times, the last on 23 December, across the clock change."""
    found = starts(rfc("19970902", "FREQ=DAILY;UNTIL=19971224T000000Z"), "1997-09-01")
    assert (len(found), found[-1]) == (113, "1997-12-23 09:00")


def test_rfc_5545_every_other_week_on_monday_wednesday_friday() -> None:
    """RFC 5545 3.8.5.3 [C]: 25 times, first 1, 3, 5, 15 September, last 22 December."""
    rule = "FREQ=WEEKLY;INTERVAL=2;UNTIL=19971224T000000Z;WKST=SU;BYDAY=MO,WE,FR"
    found = starts(rfc("19970901", rule), "1997-08-01")
    assert len(found) == 25
    assert [f[5:10] for f in found[:4]] == ["09-01", "09-03", "09-05", "09-15"]
    assert found[-1][:10] == "1997-12-22"


@pytest.mark.parametrize(
    "rule",
    [
        "FREQ=DAILY;BYHOUR=9,10,11,12,13,14,15,16;BYMINUTE=0,20,40",
        "FREQ=MINUTELY;INTERVAL=20;BYHOUR=9,10,11,12,13,14,15,16",
    ],
)
def test_rfc_5545_every_20_minutes_from_9_to_16_40(rule: str) -> None:
    """RFC 5545 3.8.5.3 [C]: 24 times a day; the RFC prints both rules for it."""
    found = starts(rfc("19970902", rule), "1997-09-02", 2)
    assert len(found) == 48
    assert (found[0], found[23]) == ("1997-09-02 09:00", "1997-09-02 16:40")


def test_rfc_5545_every_three_hours() -> None:
    """RFC 5545 3.8.5.3 with the UNTIL of its erratum (access.md 6.1): 09:00, 12:00, 15:00."""
    found = starts(rfc("19970902", "FREQ=HOURLY;INTERVAL=3;UNTIL=19970902T210000Z"), "1997-09-02")
    assert [f[11:] for f in found] == ["09:00", "12:00", "15:00"]


@pytest.mark.parametrize(
    ("local", "read_as", "utc"),
    [
        ("20071104T013000", "2007-11-04 01:30", "2007-11-04 05:30"),
        ("20070311T023000", "2007-03-11 03:30", "2007-03-11 07:30"),
    ],
)
def test_rfc_5545_a_time_that_comes_twice_or_not_at_all(local: str, read_as: str, utc: str) -> None:
    """RFC 5545 3.3.5 [S]: the first of two; the offset before the gap (05:30, 07:30 UTC)."""
    text = event(f"DTSTART;TZID=America/New_York:{local}", "DURATION:PT15M")
    assert starts(text, "2007-01-01") == [read_as]
    assert starts(text, "2007-01-01", zone=ZoneInfo("UTC")) == [utc]


def test_exdate_rdate_and_changed_instances() -> None:
    text = (
        "BEGIN:VCALENDAR\r\n"
        "BEGIN:VEVENT\r\nUID:a\r\nDTSTART:20261005T080000\r\nDTEND:20261005T180000\r\n"
        "RRULE:FREQ=WEEKLY;COUNT=4\r\nEXDATE:20261012T080000\r\nRDATE:20261014T080000\r\n"
        "END:VEVENT\r\n"
        "BEGIN:VEVENT\r\nUID:a\r\nRECURRENCE-ID:20261019T080000\r\nDTSTART:20261020T100000\r\n"
        "DTEND:20261020T110000\r\nEND:VEVENT\r\nEND:VCALENDAR\r\n"
    )
    ((name, cell),) = read_icalendar(text)
    assert name == "a"
    assert starts(cell, "2026-09-30", zone=DUBLIN) == [
        "2026-10-05 08:00",
        "2026-10-14 08:00",
        "2026-10-20 10:00",
        "2026-10-26 08:00",
    ]


def test_the_schedule_is_named_by_the_property_asked_for() -> None:
    text = event("DTSTART;VALUE=DATE:20261005", "X-DOOR-HOURS:Reception")
    assert read_icalendar(text, "X-DOOR-HOURS")[0][0] == "Reception"
    with pytest.raises(ScheduleError, match="SUMMARY"):
        read_icalendar(text, "SUMMARY")


def test_an_event_of_dates_lasts_whole_days_and_one_of_times_without_end_none() -> None:
    """RFC 5545 3.6.1: no end: a date lasts a day, a time ends where it begins."""
    span = Span(dt.date(2026, 10, 1), 31)
    assert event_openings(event("DTSTART;VALUE=DATE:20261005"), span, DUBLIN) == [(5760, 7200)]
    assert event_openings(event("DTSTART:20261005T080000"), span, DUBLIN) == []


@pytest.mark.parametrize(
    "rule",
    [
        "FREQ=SECONDLY",
        "FREQ=SECONDLY;BYHOUR=3;BYMONTH=2;BYMONTHDAY=30",
        "FREQ=MINUTELY",
        "FREQ=MINUTELY;BYMONTH=2;BYMONTHDAY=30;BYHOUR=3",
        "FREQ=HOURLY;BYDAY=MO;BYSETPOS=40",
        "FREQ=DAILY;BYMONTH=2;BYMONTHDAY=30",
        "FREQ=WEEKLY;BYSETPOS=300",
        "FREQ=YEARLY;BYMONTH=2;BYMONTHDAY=31;COUNT=1000000000",
        "FREQ=DAILY;BYHOUR="
        + ",".join(map(str, range(24)))
        + ";BYMINUTE="
        + ",".join(map(str, range(60)))
        + ";BYSECOND="
        + ",".join(map(str, range(60))),
        "FREQ=DAILY;INTERVAL=0",
        "FREQ=DAILY;INTERVAL=999999999",
        "FREQ=MINUTELY;COUNT=99999999999",
    ],
)
def test_a_hostile_recurrence_ends_fast(rule: str) -> None:
    """Either there is nothing, or it is said that no door can follow; never a hang."""
    before = time.process_time()
    try:
        found = event_openings(
            event("DTSTART:19700101T000000", "DURATION:PT1M", f"RRULE:{rule}"),
            coming_year(AS_OF),
            DUBLIN,
        )
    except ScheduleError:
        found = []
    assert found == []
    assert time.process_time() - before < 5


def test_an_unbounded_rule_is_bounded_to_the_year() -> None:
    span = coming_year(AS_OF)
    text = event("DTSTART:19970805T080000", "DURATION:PT1H", "RRULE:FREQ=DAILY")
    assert len(event_openings(text, span, DUBLIN)) == span.days == 365


def test_a_rule_that_cannot_be_read_is_not_a_single_day() -> None:
    text = event("DTSTART:20261005T080000", "DURATION:PT1H", "RRULE:FREQ=SOMETIMES")
    with pytest.raises(ScheduleError):
        event_openings(text, coming_year(AS_OF), DUBLIN)


def test_a_broken_file_is_one_line_without_its_content() -> None:
    with pytest.raises(ScheduleError) as caught:
        read_icalendar(b"BEGIN:VCALENDAR\r\nBEGIN:VEVENT\r\n\x00secret words")
    assert "secret" not in str(caught.value)


@given(st.binary(max_size=200))
@settings(max_examples=40, deadline=None)
def test_any_bytes_are_read_or_refused(content: bytes) -> None:
    try:
        found = read_icalendar(b"BEGIN:VCALENDAR\r\n" + content)
    except ScheduleError:
        return
    assert isinstance(found, list)


# --- the clock -------------------------------------------------------------------------

# Directive 2000/84/EC art. 2 and 3: last Sunday of March and of October, 01:00 UTC; local
# hours as in references/access.md 6.3. New York for contrast, from the same place.
CHANGES = [
    ("Europe/Brussels", 2025, "03-30", "10-26", 120),
    ("Europe/Brussels", 2026, "03-29", "10-25", 120),
    ("Europe/Brussels", 2027, "03-28", "10-31", 120),
    ("Europe/London", 2025, "03-30", "10-26", 60),
    ("Europe/London", 2026, "03-29", "10-25", 60),
    ("Europe/London", 2027, "03-28", "10-31", 60),
]


@pytest.mark.parametrize(("zone", "year", "spring", "autumn", "minute"), CHANGES)
def test_summer_time_2025_to_2027(
    zone: str, year: int, spring: str, autumn: str, minute: int
) -> None:
    span = coming_year(dt.date(year, 1, 1))
    expected = []
    for day, skipped in ((spring, True), (autumn, False)):
        at = (dt.date.fromisoformat(f"{year}-{day}") - span.first).days * DAY + minute
        expected.append(Change(at, at + 60, skipped))
    assert list(clock_changes(ZoneInfo(zone), span)) == expected


def test_other_zones_change_otherwise() -> None:
    """New York 2026-03-08 and 11-01 at 02:00 (access.md 6.3); half an hour on Lord Howe."""
    year = coming_year(dt.date(2026, 1, 1))
    lengths = [(c.start % DAY, c.end - c.start) for c in clock_changes(NEW_YORK, year)]
    assert lengths == [(120, 60), (60, 60)]
    howe = clock_changes(ZoneInfo("Australia/Lord_Howe"), year)
    assert {c.end - c.start for c in howe} == {30}
    assert clock_changes(ZoneInfo("Asia/Tokyo"), year) == ()


@pytest.mark.parametrize(
    ("days", "start", "end", "hit"),
    [
        ("sun", 60, 300, True),  # begins at the first minute of the hour
        ("sun", 120, 300, False),  # begins when it is over
        ("sun", 0, 60, False),  # ends as it begins
        ("sun", 0, 61, True),
        ("sun", 0, 120, True),  # ends with it
        ("sat", 1320, 90, True),  # Saturday night ends in it
        ("mon-sat", 90, 300, False),  # never on the Sunday of a change
        ("daily", 0, 1440, False),
        ("sun", 30, 300, False),  # runs across it
    ],
)
def test_windows_in_the_hour_of_a_change(days: str, start: int, end: int, hit: bool) -> None:
    """Dublin, 25 October 2026 and 28 March 2027, 01:00 to 02:00 (access.md 6.3)."""
    span = coming_year(AS_OF)
    parsed = parse_days(days)
    assert parsed is not None
    s = Schedule("S", (window(parsed, start, end),))
    marks = holiday_marks(s, {}, frozenset(), span)
    assert in_change(openings(s, marks, span), clock_changes(DUBLIN, span)) is hit


# --- a second way, minute by minute ----------------------------------------------------

HOLIDAYS = {"bank": frozenset((dt.date(2026, 10, 26), dt.date(2026, 12, 25), dt.date(2026, 9, 29)))}

windows = st.builds(
    window,
    st.frozensets(st.integers(0, 7), min_size=1),
    st.integers(0, 24).map(lambda h: h * 60),
    st.integers(0, 96).map(lambda q: q * 15),
)
schedules = st.lists(
    st.builds(
        Schedule,
        st.just("S"),
        st.lists(windows, min_size=1, max_size=3).map(tuple),
        st.just(()),
        st.sampled_from([(), ("bank",), ("lost",)]),
    ),
    min_size=1,
    max_size=3,
)


def slowly(
    s: Schedule, span: Span, day: int, *, known: bool
) -> tuple[set[int], set[int], list[int]]:
    """(sure, possible) minutes of one date by asking each window of it and of its eve."""

    def kinds(date: dt.date) -> list[int]:
        if any(date in HOLIDAYS.get(c, ()) for c in s.calendars):
            return [HOLIDAY]
        if not known and "lost" in s.calendars:
            return [date.weekday(), HOLIDAY]
        return [date.weekday()]

    counts = [0] * DAY
    results = []
    for every in (all, any):
        minutes = set()
        for m in range(DAY):
            own, eve = span.first + dt.timedelta(day), span.first + dt.timedelta(day - 1)
            today = [
                any(k in w.days and w.start <= m < w.end for w in s.windows) for k in kinds(own)
            ]
            before = [
                any(k in w.days and w.start <= m + DAY < w.end for w in s.windows)
                for k in kinds(eve)
            ]
            if every(today) or every(before):
                minutes.add(m)
            if every is any:
                counts[m] = sum(
                    k in w.days and w.start <= m < w.end for w in s.windows for k in kinds(own)
                ) + sum(
                    k in w.days and w.start <= m + DAY < w.end
                    for w in s.windows
                    for k in kinds(eve)
                )
        results.append(minutes)
    return results[0], results[1], counts


@given(schedules, st.integers(0, 364))
@settings(max_examples=40, deadline=None)
def test_the_year_agrees_with_asking_minute_by_minute(some: list[Schedule], day: int) -> None:
    span = coming_year(AS_OF)
    named = {f"S{i}": Schedule(f"S{i}", s.windows, (), s.calendars) for i, s in enumerate(some)}
    year = build_year(named, HOLIDAYS, frozenset(), span)
    assert sum(len(k.dates) for k in year.kinds) == span.days
    (at,) = [i for i, k in enumerate(year.kinds) if day in k.dates]
    for name, s in named.items():
        sure, possible, _ = slowly(s, span, day, known=False)
        assert set(np.flatnonzero(year.minutes(year.sure[name])[at])) == sure
        assert set(np.flatnonzero(year.minutes(year.possible[name])[at])) == possible
    both = year.possible["S0"] & year.possible[name]
    mine = slowly(named["S0"], span, day, known=False)[1]
    theirs = slowly(named[name], span, day, known=False)[1]
    assert set(np.flatnonzero(year.minutes(both)[at])) == mine & theirs


@given(schedules.map(lambda some: some[0]))
@settings(max_examples=12, deadline=None)
def test_overlaps_agree_with_counting_windows_at_each_minute(s: Schedule) -> None:
    span = Span(AS_OF, 28)  # four weeks with one holiday
    s = Schedule("S", s.windows, (), tuple(c for c in s.calendars if c == "bank"))
    marks = holiday_marks(s, HOLIDAYS, frozenset(), span)
    crowded = any(max(slowly(s, span, day, known=True)[2]) > 1 for day in range(span.days))
    festive = [w for w in s.windows if HOLIDAY in w.days]
    crowded |= any(
        a.start < b.end and b.start < a.end for i, a in enumerate(festive) for b in festive[:i]
    )
    # the last date's night runs out of the counted days
    if crowded:
        assert overlaps(s, marks, span) is True
    else:
        last = [w for w in s.windows if w.end > DAY]
        assert overlaps(s, marks, span) is False or last


# --- three verdicts --------------------------------------------------------------------


def one(*rows: tuple[str, int, int], calendar: str | None = None) -> Schedule:
    parsed = []
    for days, start, end in rows:
        kinds = parse_days(days)
        assert kinds is not None
        parsed.append(window(kinds, start, end))
    return Schedule("S", tuple(parsed), (), (calendar,) if calendar else ())


def verdicts(s: Schedule) -> tuple[bool | None, bool | None]:
    span = coming_year(AS_OF)
    marks = holiday_marks(s, HOLIDAYS, frozenset(), span)
    return overlaps(s, marks, span), opens(openings(s, marks, span), (), span, s.readable)


def test_holidays_of_an_unknown_calendar_are_perhaps() -> None:
    assert verdicts(one(("holiday", 0, 600), calendar="bank")) == (False, True)
    assert verdicts(one(("holiday", 0, 600))) == (False, False)  # no calendar: no holiday
    assert verdicts(one(("holiday", 0, 600), calendar="lost")) == (False, None)
    assert verdicts(one(("mon-fri", 480, 1080), ("holiday", 600, 720), calendar="lost"))[0] is None
    assert verdicts(one(("holiday", 0, 600), ("holiday", 540, 660))) == (True, False)
    marks = holiday_marks(
        one(("daily", 0, 1), calendar="bank"), HOLIDAYS, frozenset(("bank",)), Span(AS_OF, 27)
    )
    assert (marks[0], marks[1], marks[27]) == (YES, UNCLEAR, YES)
    assert holiday_marks(one(("daily", 0, 1)), {}, frozenset(), Span(AS_OF, 2)).tolist() == [NO] * 3


def test_nights_overlap_the_next_morning() -> None:
    assert verdicts(one(("mon", 1320, 360), ("tue", 300, 480)))[0] is True
    assert verdicts(one(("mon", 1320, 360), ("tue", 360, 480)))[0] is False
    assert verdicts(one(("sun", 1320, 360), ("mon", 300, 480)))[0] is True
    # Christmas Day 2026 is a Friday: Thursday's night runs into it
    night = one(("thu", 1320, 360), ("holiday", 0, 1440), calendar="bank")
    assert verdicts(night)[0] is True
    assert verdicts(one(("daily", 480, 480)))[0] is False


@pytest.mark.parametrize(
    ("start", "end", "meets"),
    [(480, 1320, False), (480, 1321, True), (360, 480, False), (359, 480, True), (60, 120, True)],
)
def test_secure_hours_touch_at_the_minute(start: int, end: int, meets: bool) -> None:
    span = coming_year(AS_OF)
    s = one(("mon", start, end))
    o = openings(s, holiday_marks(s, {}, frozenset(), span), span)
    assert within(o, 22 * 60, 6 * 60) is meets


def test_a_minute_that_the_clock_skips_is_not_open() -> None:
    """A holiday on 28 March 2027 only, 01:00 to 02:00 in Dublin: that hour does not exist."""
    span = coming_year(AS_OF)
    changes = clock_changes(DUBLIN, span)
    holidays = {"odd": frozenset((dt.date(2027, 3, 28),))}
    for end, expected in ((120, False), (121, True)):
        s = one(("holiday", 60, end), calendar="odd")
        o = openings(s, holiday_marks(s, holidays, frozenset(), span), span)
        assert opens(o, changes, span) is expected


# --- words -----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("rows", "text"),
    [
        ((("mon-fri", 480, 1080),), "Mon-Fri 08:00-18:00"),
        ((("daily", 0, 1440),), "always"),
        ((("daily", 480, 1080),), "daily 08:00-18:00"),
        (
            (("mon-fri", 480, 1080), ("holiday", 600, 720)),
            "Mon-Fri 08:00-18:00; holidays 10:00-12:00",
        ),
        ((("sat sun", 480, 1080), ("mon", 480, 1080)), "Sat-Mon 08:00-18:00"),
        ((("mon wed", 0, 60),), "Mon 00:00-01:00; Wed 00:00-01:00"),
    ],
)
def test_hours_in_words(rows: tuple[tuple[str, int, int], ...], text: str) -> None:
    year = build_year({"S": one(*rows, calendar="bank")}, HOLIDAYS, frozenset(), coming_year(AS_OF))
    assert year.text(year.sure["S"]) == text
    assert year.text(0) == "never"


def test_dates_that_differ_from_their_weekday_are_named() -> None:
    """Friday's night is missing before the Saturday after Christmas Day 2026, a Friday."""
    s = one(("fri", 1320, 360), calendar="bank")
    year = build_year({"S": s}, HOLIDAYS, frozenset(), coming_year(AS_OF))
    assert year.text(year.sure["S"]) == ("Fri 22:00-24:00; Sat 00:00-06:00; 2026-12-26 none")


def test_every_second_tuesday_says_on_how_many_dates() -> None:
    span = coming_year(AS_OF)
    text = event("DTSTART:20261006T100000", "DURATION:PT2H", "RRULE:FREQ=WEEKLY;INTERVAL=2")
    s = Schedule("S", (), tuple(event_openings(text, span, DUBLIN)))
    year = build_year({"S": s}, {}, frozenset(), span)
    assert "Tue 10:00-12:00" in year.text(year.sure["S"])
    assert "26 of 52 dates" in year.text(year.sure["S"])
    assert year.total(year.sure["S"]) == 26 * 120
    assert year.week_minutes(year.always) == 7 * DAY


def test_a_window_is_plain_data() -> None:
    assert window(frozenset((0,)), 1320, 360) == Window(frozenset((0,)), 1320, 1800)
