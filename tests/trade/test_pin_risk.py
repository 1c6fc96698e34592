"""Chances against scipy, exact fractions, and the tables of access.md 7."""

from __future__ import annotations

import datetime as dt
from fractions import Fraction

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from audit.arithmetic.pin_guessing import TEXT
from audit.arithmetic.pin_risk import (
    birth_codes,
    birth_dates,
    chance_of_at_least,
    crowded,
    odds_of_a_hit,
    tries_in_a_visit,
)

# possible codes, codes in use, tries, chance: access.md 7
TABLE = [
    (10**4, 1, 3, 0.0003),
    (10**4, 10, 3, 0.0029973005),
    (10**4, 10, 10, 0.0099595823),
    (10**4, 50, 5, 0.0247561491),
    (10**4, 100, 3, 0.0297039408),
    (10**4, 100, 10, 0.0956590585),
    (10**4, 100, 100, 0.6358054848),
    (10**4, 200, 100, 0.8687223826),
    (10**5, 100, 100, 0.0952527136),
    (10**6, 1, 100, 0.0001),
    (10**6, 100, 100, 0.0099511515),
    (10**6, 500, 100, 0.0487848254),
    (10**6, 1000, 10, 0.0099551644),
    (10**6, 1000, 100, 0.0952123364),
]


@pytest.mark.parametrize(("possible", "codes", "tries", "chance"), TABLE)
def test_the_table(possible: int, codes: int, tries: int, chance: float) -> None:
    """access.md 7, computed there in exact fractions and with scipy."""
    assert odds_of_a_hit(possible, codes, tries).chance == pytest.approx(chance, abs=5e-11)


def test_an_ace_in_five_cards() -> None:
    """Textbook: 1 - C(48,5)/C(52,5) = 0.341158 (access.md 7)."""
    assert odds_of_a_hit(52, 4, 5).chance == pytest.approx(0.341158, abs=5e-7)


def test_tries_for_an_even_chance() -> None:
    """access.md 7: 69 tries for 100 of 10,000; 693 for 1,000 of a million."""
    for possible, codes, tries in ((10**4, 10, 670), (10**4, 50, 138), (10**4, 100, 69),
                                   (10**6, 100, 6908), (10**6, 1000, 693)):  # fmt: skip
        assert odds_of_a_hit(possible, codes, tries).chance >= 0.5
        assert odds_of_a_hit(possible, codes, tries - 1).chance < 0.5


@settings(max_examples=150, deadline=None)
@given(st.integers(1, 400), st.data())
def test_against_fractions_and_scipy(possible: int, data: st.DataObject) -> None:
    codes = data.draw(st.integers(0, possible))
    tries = data.draw(st.integers(0, possible + 3))
    miss = Fraction(1)
    for i in range(min(tries, possible)):
        miss *= Fraction(max(possible - codes - i, 0), possible - i)
    odds = odds_of_a_hit(possible, codes, tries)
    exact = 1 - miss
    assert odds.chance == pytest.approx(float(exact), abs=1e-15)
    if codes * tries <= 60 * possible:
        assert Fraction(odds.cases, odds.of) == exact
    judge = stats.hypergeom.sf(0, possible, codes, min(tries, possible))
    assert odds.chance == pytest.approx(float(judge), rel=1e-9, abs=1e-12)


def test_the_limit_itself_does_not_exceed() -> None:
    """One code of 10,000 and 100 tries: exactly 0.01, which a float product misses."""
    assert not odds_of_a_hit(10**4, 1, 100).exceeds(0.01)
    assert odds_of_a_hit(10**4, 1, 101).exceeds(0.01)
    assert not odds_of_a_hit(10, 10, 5).exceeds(1)
    assert not odds_of_a_hit(10**6, 0, 100).exceeds(0)
    assert odds_of_a_hit(10**12, 1, 1).exceeds(0)


def test_what_makes_no_sense_is_an_error() -> None:
    for numbers in ((10, 11, 1), (10, -1, 1), (10, 1, -1)):
        with pytest.raises(ValueError, match="make no sense"):
            odds_of_a_hit(*numbers)


@pytest.mark.parametrize(
    ("attempts", "lockout", "visit", "tries"),
    [
        (5, 5, 30, 35),  # data.md: attempts x (1 + floor(visit / lockout)), the defaults
        (5, 7, 30, 25),
        (5, 31, 30, 5),
        (5, 30, 30, 10),
        (3, 0.1, 0.3, 12),  # binary floats would say 9
        (5, 0, 30, 300),  # ten a minute
        (5, 0, 0.25, 2),
        (5, 5, 0, 5),
    ],
)
def test_tries_in_a_visit(attempts: int, lockout: float, visit: float, tries: int) -> None:
    assert tries_in_a_visit(attempts, lockout, visit) == tries


@pytest.mark.parametrize(("digits", "most"), [(3, 1), (4, 10), (5, 100), (6, 1000), (8, 100_000)])
def test_codes_for_a_length(digits: int, most: int) -> None:
    """access.md 1.4: the users allowed at one code in a thousand."""
    assert not crowded(most, digits)
    assert crowded(most + 1, digits)


# --- birth dates ----------------------------------------------------------------------


@settings(max_examples=40, deadline=None)
@given(
    st.lists(st.tuples(st.integers(0, 60), st.floats(0, 1).map(lambda p: round(p, 6))), max_size=2),
    st.integers(0, 130),
)
def test_at_least_so_many(draws: list[tuple[int, float]], count: int) -> None:
    """Against scipy: one binomial, or the sum of two term by term."""
    if not draws:
        assert chance_of_at_least(count, draws) == (1.0 if count == 0 else 0.0)
        return
    first, *rest = draws
    if not rest:
        expected = stats.binom.sf(count - 1, *first)
    else:
        (second,) = rest
        expected = sum(
            stats.binom.pmf(i, *first) * stats.binom.sf(count - i - 1, *second)
            for i in range(first[0] + 1)
        )
    assert chance_of_at_least(count, draws) == pytest.approx(float(expected), abs=1e-9)


def test_small_chances_stay_exact() -> None:
    """Against scipy at sizes where 1 minus the rest would say nothing."""
    for number, chance, count in ((1000, 0.03, 120), (1_000_000, 0.0307, 32_000)):
        told = chance_of_at_least(count, [(number, chance)])
        assert told == pytest.approx(float(stats.binom.sf(count - 1, number, chance)), rel=1e-6)


@pytest.mark.parametrize("as_of", ["2026-09-30", "2028-02-29", "2027-02-28", "2027-01-01"])
@pytest.mark.parametrize("order", ["dmy", "mdy", "ymd"])
@pytest.mark.parametrize("digits", [6, 8])
def test_birth_codes_day_by_day(as_of: str, order: str, digits: int) -> None:
    """Against a walk over the calendar with Python's own dates."""
    day = dt.date.fromisoformat(as_of)
    form = {"dmy": "%d%m{}", "mdy": "%m%d{}", "ymd": "{}%m%d"}[order]
    form = form.format("%y" if digits == 6 else "%Y")
    walk = dt.date(day.year - 101, 1, 1)
    seen = set()
    while walk <= day:
        age = day.year - walk.year - ((day.month, day.day) < (walk.month, walk.day))
        if 16 <= age <= 99:
            seen.add(int(walk.strftime(form)))
        walk += dt.timedelta(days=1)
    assert set(birth_codes(day, order, digits).tolist()) == seen


def text(codes: list[str | None]) -> pd.Series:
    return pd.Series(codes, dtype=TEXT)


def test_each_code_counts_once() -> None:
    """Codes that several hold, codes that can't be read, and other lengths are no more draws."""
    day = dt.date(2026, 9, 30)
    once = birth_dates(text(["170583", "241171", "839146"]), day, "dmy", 3000)
    more = birth_dates(
        text(["170583", "241171", "839146", "170583", None, "8391"]), day, "dmy", 3000
    )
    assert (once.found, once.chance) == (more.found, more.chance) == (2, once.chance)
    assert more.reads.tolist()[:4] == [True, True, False, True]
    assert more.reads.isna().tolist() == [False] * 4 + [True, False]


def test_guessable_dates_are_no_evidence() -> None:
    """010101 is three digits twice; 121212 two in turn: guessable, so not counted."""
    day = dt.date(2026, 9, 30)
    assert birth_dates(text(["010101", "101010"]), day, "dmy", 3000).found == 0


def test_random_codes_are_seldom_called_dated() -> None:
    """A hundred houses of 150 random codes: about one in a hundred is called, or fewer."""
    rng = np.random.default_rng(7)
    called = 0
    for _ in range(100):
        codes = pd.Series(rng.choice(10**6, 150, replace=False), dtype="int64[pyarrow]")
        dated = birth_dates(codes.astype(TEXT).str.zfill(6), dt.date(2026, 9, 30), "dmy", 3000)
        called += bool(dated.beyond_chance.any())
    assert called <= 4
