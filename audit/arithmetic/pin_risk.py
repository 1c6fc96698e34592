"""What chance does: a stranger's tries at a shared door, and birth dates among codes.

Sources: access.md 7 (sampling without repetition: the hypergeometric distribution; the chance
of at least one hit), 1.4 and 1.5 (codes per possible codes), data.md (tries in a visit).
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Sequence
from fractions import Fraction
from typing import Final, NamedTuple

import numpy as np
import pandas as pd

from audit.arithmetic.pin_guessing import (
    DAYS_OF_YEAR,
    LEAP_DAY,
    among,
    by_length,
    distinct,
    leap_years,
    most_tries_of_easy,
    within,
)
from audit.arithmetic.three import Ints

TRIES_A_MINUTE: Final = 10
"""Without a lockout (data.md, words used by the rules)."""


POSSIBLE_PER_CODE: Final = 1000
"""Possible codes for each code in use (EN 50133-1, recognition class 1: access.md 1.4)."""


CERTAIN: Final = 60
"""Expected hits above which a miss has a chance below 1 in 10**26: no need to multiply out."""


RARE: Final = 0.01
"""rules.md, pin-dated: a chance below 1 in 100."""


BIRTH_AGES: Final = (16, 99)


BIRTH_ORDERS: Final = {
    "dmy": {6: "DDMMYY", 8: "DDMMYYYY"},
    "mdy": {6: "MMDDYY", 8: "MMDDYYYY"},
    "ymd": {6: "YYMMDD", 8: "YYYYMMDD"},
}


def tries_in_a_visit(attempts: int, lockout_minutes: float, visit_minutes: float) -> int:
    """Attempts before lockout x (1 + floor(visit / lockout)); ten a minute without lockout.

    Decimal fractions are taken as written: 0.3 minutes hold 0.1 three times.
    """
    visit, lockout = Fraction(str(visit_minutes)), Fraction(str(lockout_minutes))
    if not lockout:
        return math.floor(visit * TRIES_A_MINUTE)
    return attempts * (1 + visit // lockout)


class Odds(NamedTuple):
    """A chance as whole numbers: so many cases of all."""

    cases: int
    of: int

    @property
    def chance(self) -> float:
        """The nearest float."""
        return self.cases / self.of

    def exceeds(self, limit: float) -> bool:
        """Whether the chance is above the limit, which is taken as the decimal it shows."""
        bound = Fraction(str(limit))
        return self.cases * bound.denominator > bound.numerator * self.of


def odds_of_a_hit(possible: int, codes: int, tries: int) -> Odds:
    """The chance that one of `tries` different codes of `possible` is among `codes` valid ones.

    1 - C(S - N, k) / C(S, k), exact; beyond CERTAIN expected hits it counts as certain.
    Raises ValueError where the numbers are negative or there are more codes than possible.
    """
    if not 0 <= codes <= possible or tries < 0:
        raise ValueError(f"{codes} of {possible} codes and {tries} tries make no sense")
    tries = min(tries, possible)
    if codes * tries > CERTAIN * possible or codes + tries > possible:
        return Odds(1, 1)
    few, many = sorted((codes, tries))
    every = math.perm(possible, few)
    return Odds(every - math.perm(possible - many, few), every)


def crowded(codes: int, shortest_digits: int) -> bool:
    """Whether there is more than one code per 1,000 possible ones of the shortest length."""
    possible: int = 10**shortest_digits
    return codes * POSSIBLE_PER_CODE > possible


def birth_codes(as_of: dt.date, order: str, digits: int) -> Ints:
    """The codes, as sorted numbers, that read as a birth date of someone aged 16 to 99."""
    letters = BIRTH_ORDERS[order][digits]
    youngest, oldest = BIRTH_AGES
    years = np.arange(as_of.year - oldest - 1, as_of.year - youngest + 1, dtype=np.int64)
    days = np.array(DAYS_OF_YEAR, np.int64)
    year, month = np.repeat(years, len(days)), np.tile(days[:, 0], len(years))
    day = np.tile(days[:, 1], len(years))
    to_come = month * 100 + day > as_of.month * 100 + as_of.day
    age = as_of.year - year - to_come
    real = np.repeat(leap_years(years), len(days)) | (
        month * 100 + day != LEAP_DAY[0] * 100 + LEAP_DAY[1]
    )
    right = real & (age >= youngest) & (age <= oldest)
    number = np.zeros(int(right.sum()), np.int64)
    for letter in dict.fromkeys(letters):
        width = letters.count(letter)
        part = {"D": day, "M": month, "Y": year % 10**width}[letter]
        number = number * 10**width + part[right]
    return distinct(number)


class Dated(NamedTuple):
    """Codes that read as birth dates: how many, how many by chance, and how likely so many."""

    reads: pd.Series  # boolean, aligned with the codes; NA where no digits can be read
    found: int  # different codes that do
    expected: float
    chance: float  # that as many or more do by chance

    @property
    def beyond_chance(self) -> pd.Series:
        """The codes that are too many birth dates together (boolean; NA as in `reads`)."""
        return self.reads if self.chance < RARE else self.reads.where(self.reads.isna(), False)


def birth_dates(codes: pd.Series, as_of: dt.date, order: str, guesses_minimum: int) -> Dated:
    """Which codes read as a birth date and are not guessable, against what chance explains.

    codes: text of digits. Each different code counts once; those of six and eight digits are
    draws from their whole code space, of which the exact share reads so.
    """
    reads = np.zeros(len(codes), bool)
    readable = np.zeros(len(codes), bool)
    draws: list[tuple[int, float]] = []
    found = 0
    for digits, at, numbers in by_length(codes):
        readable[at] = True
        if digits not in BIRTH_ORDERS[order]:
            continue
        births = birth_codes(as_of, order, digits)
        births = births[~within(births, digits, most_tries_of_easy(guesses_minimum, digits))]
        different = distinct(numbers)
        reads[at] = among(numbers, births)
        found += int(among(different, births).sum())
        draws.append((len(different), len(births) / 10**digits))
    marked = pd.Series(pd.arrays.BooleanArray(reads, ~readable), index=codes.index)
    expected = sum(n * share for n, share in draws)
    return Dated(marked, found, expected, chance_of_at_least(found, draws))


def chance_of_at_least(count: int, draws: Sequence[tuple[int, float]]) -> float:
    """P(X >= count), X the hits of all draws; each of the pairs is (draws, chance of a hit)."""
    if count <= 0:
        return 1.0
    if len(draws) == 1:  # summed from the far side, so that small chances stay exact
        number, chance = draws[0]
        return float(min(1.0, _binomial(number, chance, number + 1)[count:].sum()))
    fewer = np.ones(1)
    for number, chance in draws:
        fewer = np.convolve(fewer, _binomial(number, chance, count))[:count]
    return float(max(0.0, 1.0 - fewer.sum()))


def _binomial(number: int, chance: float, terms: int) -> np.ndarray:
    """The chances of 0, 1, … hits in so many draws, as many terms as asked (or there are)."""
    terms = min(terms, number + 1)
    if not 0 < chance < 1:
        sure = np.zeros(terms)
        at = number if chance >= 1 else 0
        sure[at : at + 1] = 1.0
        return sure
    hits = np.arange(1, terms)
    steps = np.log((number - hits + 1) / hits) + math.log(chance / (1 - chance))
    start = number * math.log1p(-chance)
    return np.exp(start + np.concatenate(([0.0], np.cumsum(steps))))
