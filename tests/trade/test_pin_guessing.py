"""The guessing order against published lists, another judge, and an exhaustive count.

No message of a failing test shows a code: sets are compared by their size.
"""

from __future__ import annotations

import itertools
import math
from functools import cache

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from zxcvbn import zxcvbn
from zxcvbn.frequency_lists import FREQUENCY_LISTS

from audit.arithmetic import pin_guessing as guessing
from audit.arithmetic.pin_guessing import TEXT, guess_order, guessable, tries

MINIMUM = 3000  # the default of pin_guesses_minimum
TEN = "0123456789"


@cache
def every(digits: int) -> pd.Series:
    """The whole code space."""
    numbers = pd.Series(np.arange(10**digits), dtype="int64[pyarrow]")
    return numbers.astype(TEXT).str.zfill(digits)


def text(codes: object) -> pd.Series:
    return pd.Series(list(codes), dtype=TEXT)  # type: ignore[call-overload]


def words(listed: str) -> list[str]:
    return listed.split()


def missed(codes: object, minimum: int = MINIMUM) -> int:
    """How many of the codes are not guessable."""
    return int((~guessable(text(codes), minimum)["easy"]).sum())


# --- published lists --------------------------------------------------------------------


def test_every_code_of_the_four_digit_easy_list() -> None:
    """Markert and others, IEEE S&P 2020, rules of the 274 list: access.md 4.4."""
    singles = words("""
        0102 0103 0110 0111 0123 1004 1101 1102 1103 1110 1112 1123 1201 1202 1203 1210 1211 1234
        2229 2580 4321 5683 7465 7667
    """)
    easy = {a * 4 for a in TEN} | {a + b + a + b for a in TEN for b in TEN}
    easy |= {a + a + b + b for a in TEN for b in TEN} | set(singles)
    easy |= {str(year) for year in range(1956, 2016)}
    assert len(easy) == 274
    assert missed(easy) == 0


def test_every_code_of_the_six_digit_easy_list() -> None:
    """Markert and others, IEEE S&P 2020, rules of the 2,910 list: access.md 4.4."""
    singles = words("""
        012345 123456 234567 345678 456789 543210 654321 765432 876543 987654 098765 123654 321654
        789456 112233 147258 159753 030379 101471 520131
    """)
    three = ["".join(t) for t in itertools.product(TEN, repeat=3)]
    easy = {t + t for t in three} | {t + t[::-1] for t in three}
    easy |= {a + b + a + b + a + c for a, b, c in three} | set(singles)
    assert len(easy) == 2910
    assert missed(easy) == 0


def test_the_twenty_most_popular() -> None:
    """PIN analysis, DataGenetics 2012: access.md 4.1; in that order, before all others."""
    top = words("""
        1234 1111 0000 1212 7777 1004 2000 4444 2222 6969 9999 3333 5555 6666 1122 1313 8888 4321
        2001 1010
    """)
    assert tries(text(top))["tries"].tolist() == list(range(1, 21))


def test_the_rarest_has_no_pattern() -> None:
    """PIN analysis, DataGenetics 2012: 8068 is the rarest of all (access.md 4.1)."""
    assert tries(text(["8068"]))["pattern"].item() == guessing.OTHER


def test_the_most_popular_of_six_digits() -> None:
    """Markert and others 2020, the first 29 of the data-driven list: access.md 4.4."""
    top = words("""
        123456 654321 111111 000000 123123 666666 121212 112233 789456 159753 555555 999999 123321
        987654 222222 888888 456789 123654 696969 777777 101010 131313 333333 246810 159357 232323
        252525 147258 147852
    """)
    assert tries(text(top))["tries"].tolist() == list(range(1, 30))


def test_the_data_driven_list_of_four_digits_but_one() -> None:
    """Markert and others 2020, the first 27: access.md 4.4.

    Together with the easy list, the steps, the columns and the runs there are 301; the 25th of
    these 27 is the 301st.
    """
    top = words("""
        1234 0000 2580 1111 5555 5683 0852 2222 1212 1998 6969 1379 1997 2468 9999 7777 1996 2011
        3333 1999 8888 1995 2525 1590 1994 4444
    """)
    assert missed(top) == 0
    assert 300 < tries(text(["1235"]))["tries"].item() < 400


def test_keypad_shapes_and_steps() -> None:
    """Codes that a rule set without keypad misses: access.md 5.1; the last two, a column and its
    beginning again, are common practice, no source.
    """
    six = words("""
        159357 147852 123789 852456 134679 124578 142536 741852 456123 753951 135790 246810 666999
        314159 315475
        258025 085208
    """)
    four = words("0246 0369 1357 2468 3579 6420 7531 8642 9630 9753 0258 8520")
    assert missed(six + four) == 0


@pytest.mark.parametrize("digits", range(4, 13))
def test_runs_and_repeats_of_every_length(digits: int) -> None:
    """Straight runs up and down: 14, 12 and 10 at 4, 5 and 6 digits (access.md 4.6)."""
    line = TEN * 2
    runs = {line[i : i + digits] for i in range(max(11 - digits, 0))}
    runs |= {run[::-1] for run in runs}
    assert len(runs) == {4: 14, 5: 12, 6: 10}.get(digits, 2 * max(11 - digits, 0))
    assert missed(runs | {a * digits for a in TEN}) == 0


# --- another judge ----------------------------------------------------------------------


def test_what_another_judge_finds_in_a_thousand_guesses() -> None:
    """zxcvbn 4.5.0: access.md 5.1. No exception is needed.

    Asked about all million codes once, it came to exactly 200 within a thousand guesses, and
    every one was guessable. Here: its own strings both ways, blocks, runs, and what its
    letters-for-digits reading makes of words; these hold all 200.
    """
    known = {p for p in FREQUENCY_LISTS["passwords"] if len(p) == 6 and p.isdigit()}
    blocks = {a + b for a, b in itertools.product(TEN, repeat=2)}
    asked = known | {p[::-1] for p in known} | {b * 3 for b in blocks}
    asked |= {f"{i:03d}" * 2 for i in range(1000)} | {"412345", "123454", "800800"}
    asked |= {(TEN * 2)[i : i + 6] for i in range(10)} | {
        (TEN[::-1] * 2)[i : i + 6] for i in range(10)
    }
    found = [code for code in asked if zxcvbn(code)["guesses"] <= 1000]
    assert len(found) == 200
    assert missed(found) == 0


# --- how many -----------------------------------------------------------------------------


def test_how_many_random_codes_are_guessable() -> None:
    """Exhaustive: 300 of 10,000 four-digit codes (3 %; at most 6 %), 3,000 of a million (0.3 %;
    at most 1 %), and a tenth of those at five digits."""
    shares = {d: int(guessable(every(d), MINIMUM)["easy"].sum()) / 10**d for d in (4, 5, 6)}
    assert shares == {4: 0.03, 5: 0.003, 6: 0.003}
    assert shares[4] <= 0.06
    assert shares[6] <= 0.01


@pytest.mark.parametrize("minimum", [0, 1, 1000, 3000, 20_000])
def test_the_limit_is_a_number_of_tries(minimum: int) -> None:
    """At six digits as many codes are guessable as there are tries; a tenth of them at four."""
    six, four = (int(guessable(every(d), minimum)["easy"].sum()) for d in (6, 4))
    if minimum <= 3000:
        assert (six, four) == (minimum, minimum // 10)
    assert six == pytest.approx(minimum, rel=0.1)
    assert four == pytest.approx(min(minimum // 10, 1175), rel=0.1)  # 1,175 have a pattern


@pytest.mark.parametrize("digits", [1, 2, 3, 4, 5, 6])
def test_tries_are_a_rank(digits: int) -> None:
    """Every listed code has a try of its own, from 1 on; no try lies beyond the space."""
    answer = tries(every(digits))
    assert answer["tries"].between(1, 10**digits).all()
    listed = len(guessing._order_of(digits))
    small = answer["tries"][answer["tries"] <= listed]
    assert sorted(small) == list(range(1, listed + 1))


@pytest.mark.parametrize("digits", [4, 5, 6])
def test_tries_against_an_order_written_out(digits: int) -> None:
    """The large classes written out code by code and counted without repetition: the tries
    by formula lie within a fifth of the true rank."""
    half = -(-digits // 2)
    classes: list[list[str]] = []
    numbers = [f"{i:0{half}d}" for i in range(10**half)]
    mirrored = [n + n[::-1][2 * half - digits :] for n in numbers]
    paired = ["".join(a * 2 for a in n)[:digits] for n in numbers]
    classes += [mirrored, paired] if digits >= 5 else [mirrored]
    for block in range(3, digits):
        if 2 * (digits - block) > block:
            classes.append([(f"{i:0{block}d}" * 3)[:digits] for i in range(10**block)])
    dates = []
    for year in dict.fromkeys(y % 100 for y in guessing.YEARS):
        full = 2000 if year == 0 else 1900 + year
        for order in guessing.DATE_ORDERS[digits]:
            for day in pd.date_range(f"{full}-01-01", f"{full}-12-31"):
                parts = {"D": str(day.day), "M": str(day.month), "Y": f"{year:02d}"}
                word = "".join(parts[k].zfill(order.count(k)) for k in dict.fromkeys(order))
                if len(word) == digits:
                    dates.append(word)
        if digits == 4:
            break
    if digits == 4:
        dates.insert(59, "2902")
    classes.append(dates)
    true = dict.fromkeys(code for code, _ in guessing._order_of(digits))
    for members in sorted(classes, key=lambda c: len(set(c))):
        true.update(dict.fromkeys(m for m in members if m not in true))
    codes = text(true)
    told = tries(codes)["tries"].to_numpy(float)
    rank = np.arange(1, len(codes) + 1)
    assert (told >= rank).all()
    assert np.quantile(told / rank, 0.99) < 1.3


def test_dates_are_counted_as_published() -> None:
    """access.md 4.6: 588 four-digit codes read as a date; of six digits 36,525 each way, 58,650
    as day-month-year or month-day-year, 84,050 in any of three."""
    four, six = (guessing._dates(d).places for d in (4, 6))
    assert int((four(guessing.digits_of(np.arange(10**4), 4)) >= 0).sum()) == 588
    assert int((six(guessing.digits_of(np.arange(10**6), 6)) >= 0).sum()) == 84_050
    table, leap = guessing.day_table(("DDMM", "MMDD"))
    assert int((table >= 0).sum()) == 588
    assert leap.sum() == 2


# --- explained ----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("code", "pattern"),
    [
        ("0000", "one digit repeated"),
        ("2580", "keypad column"),
        ("2580852", "keypad line repeated or to and fro"),
        ("8642", "run in steps"),
        ("789456", "two keypad lines"),
        ("890123", "run of digits, 0 after 9"),
        ("838383", "two digits in turn"),
        ("837738", "mirrored: three digits and back"),
        ("83788378", "block of 4 digits again and again"),
        ("170583", "date"),
        ("830517", "date"),
        ("051783", "date"),
        ("17051983", "date"),
        ("290283", guessing.OTHER),
        ("290284", "date"),
        ("2031", guessing.OTHER),
        ("2016", "year"),
        ("839146", guessing.OTHER),
    ],
)
def test_patterns_have_names(code: str, pattern: str) -> None:
    assert tries(text([code]))["pattern"].item() == pattern


@pytest.mark.parametrize("digits", range(1, 13))
def test_classes_add_up(digits: int) -> None:
    """Sizes and first tries of the classes, one after the other."""
    order = guess_order(digits)
    first = 1
    for group in order:
        assert group.first_try == first
        first += group.codes
    listed = [c for c in order if c.first_try <= len(guessing._order_of(digits))]
    assert sum(c.codes for c in listed) == len(guessing._order_of(digits))


@pytest.mark.parametrize("digits", [4, 6, 8, 10, 12])
def test_a_finding_does_not_spell_the_code_out(digits: int) -> None:
    """Pattern and told tries leave several codes to choose from."""
    answer = guessable(text(code for code, _ in guessing._order_of(digits)), MINIMUM)
    easy = answer[answer["easy"]]
    assert easy.groupby(["pattern", "told"]).size().min() >= 2
    limit = guessing.most_tries_of_easy(MINIMUM, digits)
    assert easy["told"].between(1, limit).all()


# --- what is not a code --------------------------------------------------------------------


def test_what_is_no_code_is_not_ranked() -> None:
    odd = text([None, "", "12a4", "１２３４", "1" * 19, " 1234", "-123", "1" * 18])
    answer = tries(odd)
    assert answer["tries"].isna().tolist() == [True] * 7 + [False]
    assert answer["pattern"].isna().tolist() == [True] * 7 + [False]
    assert guessable(odd, MINIMUM)["easy"].isna().tolist() == [True] * 7 + [False]


def test_an_empty_series() -> None:
    assert len(tries(text([]))) == 0


@settings(max_examples=25, deadline=None)
@given(st.lists(st.from_regex(r"[0-9]{1,12}", fullmatch=True), min_size=1, max_size=12))
def test_a_code_is_ranked_alike_in_any_company(codes: list[str]) -> None:
    together = tries(text(codes))
    alone = [tries(text([c]))["tries"].item() for c in codes]
    assert (together["tries"] == alone).all()
    spaces = [10 ** len(c) for c in codes]
    assert (together["tries"] <= spaces).all()
    assert not math.isnan(float(together["tries"].sum()))
