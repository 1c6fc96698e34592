"""Events: windows, order and use after the end, against loops over every pair of events."""

from __future__ import annotations

import datetime as dt
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
from hypothesis import given, settings
from hypothesis import strategies as st

from audit.arithmetic import moments as numbers
from audit.arithmetic.moments import FOREVER, MINUTE, NEVER
from audit.arithmetic.three import NO, UNCLEAR, YES
from audit.contract import Dataset
from audit.ingest.tables import from_text
from audit.site import site_from
from rules.events import (
    _misuse,
    _shared,
    event_out_of_time,
    held_open_often,
    refused_burst,
    used_unknown,
)

Text = dict[str, tuple[list[str], list[list[str]]]]


def site(tables: Text, as_of: str = "2026-12-31", zone: str = "Europe/Dublin") -> Dataset:
    place = {"site": {"name": "x", "timezone": zone}}
    return from_text(tables, site_from(place), dt.date.fromisoformat(as_of))


def events(*rows: tuple[str, str, str]) -> Text:
    return {"events": (["time", "door_id", "event"], [list(r) for r in rows])}


small = st.integers(0, 3)
moments = st.integers(0, 12)


@given(st.lists(st.tuples(small, moments)), st.integers(0, 6), st.booleans())
def test_window_as_counted(rows: list[tuple[int, int]], window: int, closed: bool) -> None:
    rows.sort()
    group, time = (np.array([r[i] for r in rows], np.int64) for i in (0, 1))
    counted = [
        sum(
            g == other and (t <= later <= t + window if closed else t <= later < t + window)
            for other, later in rows[i:]
        )
        for i, (g, t) in enumerate(rows)
    ]
    assert numbers.within(group, time, window, closed=closed).tolist() == counted


@given(st.lists(st.tuples(small, moments)), st.integers(0, 6))
def test_steps_back_as_seen_one_by_one(rows: list[tuple[int, int]], tolerance: int) -> None:
    door, time = (np.array([r[i] for r in rows], np.int64) for i in (0, 1))
    seen = []
    for i, (d, t) in enumerate(rows):
        lag = max(earlier for o, earlier in rows[: i + 1] if o == d) - t
        seen.append(lag if lag > tolerance else 0)
    assert numbers.behind(door, time, tolerance).tolist() == seen


zone_pairs = st.tuples(st.integers(0, 4), st.integers(0, 4))


@settings(max_examples=300)
@given(st.lists(st.tuples(small, moments, zone_pairs), max_size=12), st.integers(1, 8))
def test_two_places_as_every_pair_says(
    rows: list[tuple[int, int, tuple[int, int]]], window: int
) -> None:
    rows.sort(key=lambda r: r[:2])
    card, time = (np.array([r[i] for r in rows], np.int64) for i in (0, 1))
    zones = np.array([r[2] for r in rows], np.int64).reshape(-1, 2)
    said = [
        any(
            c == other and later - t < window and not set(pair) & set(far)
            for other, later, far in rows[i:]
        )
        for i, (c, t, pair) in enumerate(rows)
    ]
    assert numbers.apart(card, time, zones, window).tolist() == said


@given(
    st.lists(st.tuples(small, st.integers(1, 6), st.booleans(), st.booleans())),
    st.lists(st.integers(0, 7), min_size=4, max_size=4),
)
def test_overdue_as_argued_use_by_use(
    rows: list[tuple[int, int, bool, bool]], last: list[int]
) -> None:
    code, limit = (np.array([r[i] for r in rows], np.int64) for i in (0, 1))
    sure, counts = (np.array([r[i] for r in rows], bool) for i in (2, 3))
    used = np.array([t or NEVER for t in last], np.int64)
    got = numbers.overdue(code, limit, sure, counts, used)
    for i, (c, end, known, heard) in enumerate(rows):
        mine = [r for r in rows if r[0] == c]
        speakers = [r for r in mine if r[3]] or mine
        speaks = heard or not any(r[3] for r in mine)
        best = max((r[1] for r in speakers if r[2]), default=None)
        late = last[c] > 0 and (best is None or last[c] >= best)
        if not late or not speaks or (known and end != best):
            assert got[i] == NO
        elif any(not r[2] for r in speakers):
            assert got[i] == UNCLEAR
        else:
            assert got[i] == YES


def test_the_day_ends_by_the_sites_clock() -> None:
    # 2026-03-29 and 2026-10-25: summer time begins and ends (Directive 2000/84/EC, access.md 6.3)
    data = site(events())
    days = pd.Series(pd.to_datetime(["2026-03-28", "2026-03-29", "2026-10-24", "2026-10-25"]))
    begins = pd.to_datetime(_shared.day_after(data, days), unit="us")
    assert [t.isoformat() for t in begins] == [
        "2026-03-29T00:00:00",
        "2026-03-29T23:00:00",
        "2026-10-24T23:00:00",
        "2026-10-26T00:00:00",
    ]


@settings(max_examples=60, deadline=None)
@given(
    st.datetimes(dt.datetime(2026, 1, 1), dt.datetime(2027, 1, 1)),
    st.sampled_from(["Europe/Dublin", "America/Havana", "Pacific/Apia", "Australia/Lord_Howe"]),
)
def test_after_a_day_means_a_later_local_date(moment: dt.datetime, zone: str) -> None:
    data = site(events(), zone=zone)
    local = moment.replace(tzinfo=dt.UTC).astimezone(ZoneInfo(zone)).date()
    at = int(np.datetime64(moment, "us").astype(np.int64))
    for days in (-1, 0, 1):
        day = local + dt.timedelta(days=days)
        begins = _shared.day_after(data, pd.Series([pd.Timestamp(day)]))[0]
        assert (at >= begins) == (local > day)


@settings(max_examples=40, deadline=None)
@given(st.lists(st.tuples(st.sampled_from("AB"), st.integers(0, 900)), min_size=1, max_size=40))
def test_refusals_as_counted(tries: list[tuple[str, int]]) -> None:
    begin = dt.datetime(2026, 9, 1, 10)
    rows = [((begin + dt.timedelta(seconds=s)).isoformat(), d, "denied") for d, s in tries]
    found = refused_burst.refusals(site(events(*rows)), 5).set_index("door")
    for door in {d for d, _ in tries}:
        own = [s for d, s in tries if d == door]
        most = max(sum(s <= t <= s + 300 for t in own) for s in own)
        first = min(s for s in own if sum(s <= t <= s + 300 for t in own) == most)
        assert found.at[door, "most"] == most
        assert found.at[door, "since"] == str(begin + dt.timedelta(seconds=first))
        assert len(found.at[door, "sources"]) == most


def back(data: Dataset) -> dict[str, int]:
    return event_out_of_time.out_of_time(data).set_index("door")["backwards"].to_dict()


def test_small_steps_back_add_up() -> None:
    times = ["10:00:00", "09:59:30", "09:59:00", "09:58:59"]
    rows = [(f"2026-09-01T{t}", "D", "opened") for t in times]
    assert back(site(events(*rows, ("2026-09-01T12:00", "E", "opened")))) == {"D": 1, "E": 0}


def test_descending_file_with_one_step_forward_is_not_descending() -> None:
    rows = [(f"2026-09-01T{h:02}:00", "D", "opened") for h in (12, 11, 10, 9)]
    assert back(site(events(*rows))) == {"D": 0}
    assert back(site(events(*rows, ("2026-09-01T09:00:01", "D", "opened")))) == {"D": 4}


def test_the_hour_that_the_clock_repeats_is_no_step_back() -> None:
    # Dublin, 2026-10-25: 01:00 to 02:00 comes twice; without offset the first is read
    local = ["00:50", "01:40", "01:59", "01:05", "01:50", "02:10"]
    rows = [(f"2026-10-25T{t}:00", "D", "opened") for t in local]
    assert back(site(events(*rows))) == {"D": 0}
    assert back(site(events(*rows[::-1]))) == {"D": 0}
    # the same step an hour earlier is one
    early = [(t.replace("T01", "T00").replace("T02", "T01"), d, e) for t, d, e in rows]
    assert back(site(events(*early))) == {"D": 3}


def test_days_are_counted_from_the_first_to_the_last() -> None:
    one = ("2026-09-01T23:59:00", "D", "held")
    assert held_open_often.days_covered(site(events(one))) == 1
    assert (
        held_open_often.days_covered(site(events(one, ("2026-09-08T00:00:00", "D", "held")))) == 8
    )
    assert held_open_often.days_covered(site(events())) == 0


def test_one_zone_with_many_doors_stays_quick_and_in_order() -> None:
    """All of 20,000 grants of one card within five seconds, at doors that share one zone."""
    n = 20_000
    zones = np.stack([np.zeros(n, np.int64), 1 + np.arange(n) % 9_000], axis=1)
    card, time = np.zeros(n, np.int64), np.sort(np.arange(n) * 200 % 4_000_000)
    assert not numbers.apart(card, time, zones, 5_000_000).any()
    zones[n // 2] = (-1, -2)
    assert numbers.apart(card, time, zones, 5_000_000)[0]


def test_limits_are_constants_of_the_clock() -> None:
    assert MINUTE == 60 * 10**6
    assert NEVER < 0 < FOREVER


def test_no_digits_in_what_is_told() -> None:
    """A PIN's digits stand in no answer, whether the register explains them or not."""
    tables: Text = {
        "pins": (["pin_id", "pin", "person_id"], [["P1", "739164", "A1"]]),
        "people": (["person_id", "end_date"], [["A1", "2026-08-31"]]),
        "events": (
            ["time", "door_id", "event", "pin_id"],
            [
                ["2026-09-01T10:00:00Z", "D1", "granted", "739164"],
                ["2026-09-01T10:00:00Z", "D1", "granted", "528461"],
            ],
        ),
    }
    data = site(tables)
    told = [used_unknown.unknown_uses(data), _misuse.after_departure(data)]
    assert [len(t) for t in told] == [2, 1]
    shown = "".join(t.to_csv() for t in told)
    assert not any(digits in shown for digits in ("739164", "528461"))
    assert "P1" in shown


def test_what_the_previous_review_saw_does_not_count_again() -> None:
    """data.md, rules.md: events later than the as-of day of the previous recorded review."""
    log = events(
        ("2026-07-01T23:59:59", "D1", "duress"),
        ("2026-07-02T00:00:00", "D1", "duress"),
        ("2026-06-30T12:00:00", "D2", "duress"),
    )
    assert _shared.happened(site(log), "duress")["count"].tolist() == [2, 1]
    data = site(log)
    data.reviewed = dt.date(2026, 7, 1)
    assert _shared.happened(data, "duress")["count"].tolist() == [1, 0]
    assert _shared.happened(data, "duress", ever=True)["count"].tolist() == [2, 1]
