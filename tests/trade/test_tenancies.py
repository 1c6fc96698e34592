"""Overlapping households: against a slow look at every couple, and at every possible date."""

import datetime as dt
from itertools import product

from hypothesis import given, settings
from hypothesis import strategies as st

from audit.ingest.tables import from_text
from audit.site import site_from
from rules.register._tenancies import overlapping

SITE = site_from({"site": {"name": "Example", "timezone": "Europe/Dublin"}})
AS_OF = dt.date(2026, 9, 30)
HEADER = ["person_id", "dwelling_id", "start_date", "end_date", "status"]
FIRST = dt.date(1969, 12, 1)  # around the day that computers count from
DAYS = [FIRST + dt.timedelta(days=n) for n in (0, 30, 31, 32, 61, 62, 63, 64, 93, 94, 95, 125)]
ROW = st.tuples(
    st.sampled_from(["A1", "A2"]),
    st.sampled_from(DAYS),
    st.sampled_from(DAYS),
    st.booleans(),
    st.sampled_from([None, None, None, "start", "end"]),
)


def slow(rows: list) -> dict[str, list[str]]:
    """Dwelling -> people, by every couple of one who left and one who is there."""
    found: dict[str, set[str]] = {}
    for i, (home, start, end, left, _) in enumerate(rows):
        if not left:
            continue
        there = [(j, r[1]) for j, r in enumerate(rows) if r[0] == home and not r[3]]
        if any(other <= start + dt.timedelta(days=31) for _, other in there):
            continue
        for j, other in there:
            common = [
                d
                for d in (start + dt.timedelta(days=n) for n in range((end - start).days + 1))
                if d >= other
            ]
            if len(common) > 31:
                found.setdefault(home, set()).update({f"P{i}", f"P{j}"})
    return {home: sorted(people) for home, people in found.items()}


def table(rows: list) -> list[list[str]]:
    return [
        [
            f"P{i}",
            home,
            "" if hidden == "start" else str(start),
            str(end) if left and hidden != "end" else "",
            "departed" if left else "",
        ]
        for i, (home, start, end, left, hidden) in enumerate(rows)
    ]


@settings(max_examples=50, deadline=None)
@given(st.lists(ROW, max_size=7))
def test_with_every_date_given(rows: list) -> None:
    shown = [(*r[:4], None) for r in rows]
    frame = overlapping(from_text({"people": (HEADER, table(shown))}, SITE, AS_OF))
    assert not frame["fails"].isna().any()
    got = frame[frame["fails"].astype(bool)]
    assert dict(zip(got["dwelling"], got["person"], strict=True)) == slow(shown)


@settings(max_examples=40, deadline=None)
@given(st.lists(ROW, max_size=5).filter(lambda rows: sum(r[4] is not None for r in rows) <= 2))
def test_a_verdict_holds_whatever_the_missing_dates_were(rows: list) -> None:
    frame = overlapping(from_text({"people": (HEADER, table(rows))}, SITE, AS_OF))
    verdicts = dict(zip(frame["dwelling"], frame["fails"], strict=True))
    choices = [DAYS if r[4] else [None] for r in rows]
    for choice in product(*choices):
        world = [
            (home, day if hidden == "start" else start, day if hidden == "end" else end, left, None)
            for (home, start, end, left, hidden), day in zip(rows, choice, strict=True)
        ]
        found = slow(world)
        for home, fails in verdicts.items():
            assert fails is not True or home in found
            assert fails is not False or home not in found
