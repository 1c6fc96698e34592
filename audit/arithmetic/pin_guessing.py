"""In which order an informed guesser tries the codes of a keypad, and what that makes of one.

The order is made of classes, the most likely codes first: published popular codes, repeats,
runs, keypad lines, repeated blocks, mirrors, years, dates. Small classes stand before large
ones, for a guesser spends the fewest tries where one in many people chooses. Each class has a
pattern name and a size, so that a number of tries can be explained.

Sources: access.md 4.1 (DataGenetics 2012), 4.4 (Markert and others, IEEE S&P 2020; the two easy
lists and the rules that reproduce them), 5.1 (zxcvbn 4.5.0), 5.2 (Django 5.2 common passwords).
The order of the classes among themselves is our judgement: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from functools import lru_cache
from itertools import permutations, product
from typing import Final, NamedTuple

import numpy as np
import numpy.typing as npt
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc

from audit.arithmetic.three import Bools, Ints

Digits = npt.NDArray[np.int8]


TEXT: Final = pd.StringDtype("pyarrow", na_value=pd.NA)


LONGEST: Final = 18
"""The longest code that is ranked; ISO 9564-1 knows PINs of 4 to 12 digits (access.md 3.1)."""


OTHER: Final = "no known pattern"


POPULAR: Final = "published popular code"


POPULAR_CODES: Final[dict[int, str]] = {
    # access.md 4.1, the top twenty in order; then those of 4.4's data-driven 27 not among them
    4: """1234 1111 0000 1212 7777 1004 2000 4444 2222 6969 9999 3333 5555 6666 1122 1313 8888 4321
        2001 1010  2580 5683 0852 1998 1379 1997 2468 1996 2011 1999 1995 2525 1590 1994""",
    # access.md 5.2, then the five-digit strings of the zxcvbn 4.5.0 list among its first 5,000
    5: """12345 11111 12413 55555 00000  12312 01011 13579 12121 12332 10203 90210 10101 11223
        15975 12365 69696 78945 24680""",
    # access.md 4.4, the 29 most popular; 5.1, the keypad shapes and the zxcvbn list's other
    # strings of its first thousand; 5.2, Django's first forty; then, forwards or backwards,
    # what zxcvbn 4.5.0 comes to within a thousand guesses
    6: """123456 654321 111111 000000 123123 666666 121212 112233 789456 159753 555555 999999 123321
        987654 222222 888888 456789 123654 696969 777777 101010 131313 333333 246810 159357 232323
        252525 147258 147852  123789 852456 134679 124578 142536 741852 456123 753951 135790 666999
        314159 315475  102030 010203 212121 111222 290966 444444 098765  357951 456321 654987
        030201 574513 852741 222111 302010 258741""",
    # the seven-digit strings of the zxcvbn 4.5.0 list among its first 3,000
    7: """1234567 7777777 8675309 9379992 1478963 1234321 7895123 6751520 1366613 7753191 2128506
        5551212 7779311""",
    # access.md 5.2; then the eight-digit strings of the zxcvbn 4.5.0 list among its first 2,000
    8: """12345678 11111111 88888888 12341234 00000000  12344321 01012011 11223344 01011980 01012000
        31415926 01011990 11235813 14789632 01012010 25802580 12369874 12312312 11112222 01012001
        01011991 15426378""",
    # the strings of the zxcvbn 4.5.0 list among its first 3,000, or the first few
    9: """123456789 789456123 147258369 123654789 741852963 147852369 123454321 111222333 147896325
        123321123 192837465 123698745 321654987 963852741 123789456 135792468""",
    10: """1234567890 4815162342 1234554321 1029384756 1123581321 1122334455 1357924680 1234567891
        7894561230""",
    11: "12345678910",
    12: """123456654321 112233445566 123456789123 010203040506 102030405060 159753456852
        012345678910 123456789101""",
}


FURTHER_CODES: Final[dict[int, str]] = {
    # access.md 4.4, the 25th; 4.1, ranks 23, 26 and soon after; 5.1, popular only as words
    4: "1235 0007 1984 0070 1357 5150 2112 4128 1701 1221 1225 1066 1001 1000 0420 1024",
}


EASY_SINGLES: Final[dict[int, str]] = {
    # access.md 4.4: what the rules for the two easy lists name one by one
    4: """0102 0103 0110 0111 0123 1004 1101 1102 1103 1110 1112 1123 1201 1202 1203 1210 1211 1234
        2229 2580 4321 5683 7465 7667""",
    6: """012345 123456 234567 345678 456789 543210 654321 765432 876543 987654 098765 123654 321654
        789456 112233 147258 159753 030379 101471 520131""",
}


EASY_YEARS: Final = range(1956, 2016)
"""access.md 4.4: the years of the four-digit easy list."""


YEARS: Final = tuple(sorted(range(1900, 2030), key=lambda y: (abs(y - 1990), y)))
"""Years that people put into codes, the likeliest first (fixed, so that no result drifts)."""


ROWS: Final = ("123", "456", "789")


COLUMNS: Final = ("147", "258", "369")


DIAGONALS: Final = ("159", "357")


LONG_COLUMN: Final = "2580"


NEIGHBOURS: Final = {
    "1": "24", "2": "135", "3": "26", "4": "157", "5": "2468",
    "6": "359", "7": "48", "8": "5790", "9": "68", "0": "8",
}  # fmt: skip


def _both_ways(lines: Iterable[str]) -> list[str]:
    return [way for line in lines for way in (line, line[::-1])]


def _parallel_lines(digits: int) -> Iterator[str]:
    """Two or three whole parallel lines, each one way or the other, cut to the length."""
    for lines in (ROWS, COLUMNS, DIAGONALS):
        count = min(-(-digits // 3), len(lines))
        for order in permutations(lines, count):
            for turned in product((1, -1), repeat=count):
                text = "".join(line[::way] for line, way in zip(order, turned, strict=True))
                if digits == 10 and len(text) == 9:
                    yield from (text + "0", "0" + text)
                elif len(text) >= digits:
                    yield text[:digits]


def _to_and_fro(digits: int) -> Iterator[str]:
    """One keypad line again and again, or out and back, cut to the length."""
    for line in _both_ways((LONG_COLUMN, *COLUMNS, *ROWS, *DIAGONALS)):
        for block in (line, line + line[::-1], line + line[-2:0:-1]):
            yield (block * digits)[:digits]


def _keypad_paths(digits: int) -> Iterator[str]:
    """Paths from key to neighbouring key, no key twice."""
    paths = list(NEIGHBOURS)
    for _ in range(digits - 1):
        paths = [p + key for p in paths for key in NEIGHBOURS[p[-1]] if key not in p]
    return iter(paths)


def _steps(digits: int, step: int, *, wrap: bool) -> Iterator[str]:
    """Runs in equal steps, up and down; with `wrap`, 0 follows 9."""
    for way in (step, -step):
        for first in range(10):
            keys = [first + way * i for i in range(digits)]
            if wrap or 0 <= keys[-1] <= 9:
                yield "".join(str(k % 10) for k in keys)


def _pairs_in_turn(digits: int) -> list[str]:
    return [((a + b) * digits)[:digits] for a in _TEN for b in _TEN if a != b]


def _two_halves(digits: int) -> list[str]:
    half = digits // 2
    return [a * half + b * (digits - half) for a in _TEN for b in _TEN if a != b]


def _doubled_run(digits: int) -> Iterator[str]:
    """112233: every digit twice, the digits in a run."""
    for run in _steps(-(-digits // 2), 1, wrap=False):
        yield "".join(key * 2 for key in run)[:digits]


_TEN: Final = "0123456789"


_ONCE: Final = [f"{i:03d}" for i in range(1000)]


Class = tuple[str, Iterable[str]]


def _head(digits: int) -> Iterator[Class]:
    """The small classes, in guessing order; every code as text of the right length."""
    runs = list(_steps(digits, 1, wrap=False)) if digits > 1 else []
    yield POPULAR, POPULAR_CODES.get(digits, "").split()
    yield "one digit repeated", [key * digits for key in _TEN]
    if digits == 4:
        yield from _head_of_four(runs)
    elif digits == 6:
        yield from _head_of_six(runs)
    else:
        yield from _head_of_any(digits, runs)
    yield "run of digits, 0 after 9", _steps(digits, 1, wrap=True)
    if digits == 4:
        yield "year", [str(year) for year in YEARS]
        yield POPULAR, FURTHER_CODES[4].split()
    yield "keypad line repeated or to and fro", _to_and_fro(digits)
    yield "two digits, each repeated", _two_halves(digits)
    for step in (2, 3, 4):
        yield "run in steps, 0 after 9", _steps(digits, step, wrap=True)
    if 4 <= digits <= 10:
        yield "keypad path from key to key", _keypad_paths(digits)


def _head_of_four(runs: list[str]) -> Iterator[Class]:
    """Three hundred codes: the easy list, the keypad columns, the steps, and the runs.

    Together with the popular ones they are 301, so 1235, the 25th of 27, waits its turn.
    """
    yield "run of digits", runs
    yield "keypad column", _both_ways([LONG_COLUMN, LONG_COLUMN[-1] + LONG_COLUMN[:-1]])
    for step in (2, 3):
        yield "run in steps", _steps(4, step, wrap=False)
    yield "two digits in turn", _pairs_in_turn(4)
    yield "year", [str(year) for year in YEARS if year in EASY_YEARS]
    yield "two digits, each repeated", _two_halves(4)
    yield POPULAR, EASY_SINGLES[4].split()


def _head_of_six(runs: list[str]) -> Iterator[Class]:
    """Three thousand codes: the easy list and the ninety likeliest that are not on it."""
    yield "run of digits", runs
    yield "two keypad lines", _parallel_lines(6)
    yield "run of digits, 0 after 9", _steps(6, 1, wrap=True)
    yield "every digit of a run twice", _doubled_run(6)
    yield "even or odd digits in a row", ["135790", "246810"]
    yield "keypad line repeated or to and fro", [(c * 2)[:6] for c in _both_ways([LONG_COLUMN])]
    yield "two digits in turn", _pairs_in_turn(6)
    yield POPULAR, EASY_SINGLES[6].split()
    yield "three digits twice", [block * 2 for block in _ONCE]
    yield "mirrored: three digits and back", [block + block[::-1] for block in _ONCE]
    yield "two digits in turn, then any", [(c[:2] * 3)[:5] + c[2] for c in _ONCE]


def _head_of_any(digits: int, runs: list[str]) -> Iterator[Class]:
    yield "run of digits", runs
    if digits == 3:
        yield "keypad line", _both_ways((*ROWS, *COLUMNS, *DIAGONALS, LONG_COLUMN[1:]))
    for step in (2, 3, 4):
        yield "run in steps", _steps(digits, step, wrap=False) if digits > 2 else []
    if digits > 2:
        yield "two digits in turn", _pairs_in_turn(digits)
    if 5 <= digits <= 10:
        yield "two or three keypad lines", _parallel_lines(digits)
    if digits >= 5:
        yield "every digit of a run twice", _doubled_run(digits)
    for parts in (2, 3):
        part, rest = divmod(digits, parts)
        if part >= 4 and not rest:
            popular = [code for code, _ in _order_of(part)[:300]]
            times = "twice" if parts == 2 else "three times"
            yield f"an easy code {times}", [p * parts for p in popular]
            if parts == 2:
                yield "an easy code and back", [p + p[::-1] for p in popular]
    if digits >= 7:
        yield "three digits again and again", [(block * digits)[:digits] for block in _ONCE]


@lru_cache(maxsize=32)
def _order_of(digits: int) -> list[tuple[str, str]]:
    """(code, pattern) of the small classes, each code once, in guessing order.

    A popular code is named for what it looks like, where it looks like something.
    """
    pattern: dict[str, str] = {}
    for name, codes in _head(digits):
        for code in codes:
            if pattern.setdefault(code, name) == POPULAR:
                pattern[code] = name
    return list(pattern.items())


class _Large(NamedTuple):
    """A class too large to list: its size, and each code's place in it (from 0; -1: none)."""

    pattern: str
    size: int
    places: Callable[[Digits], Ints]


def digits_of(codes: Ints, digits: int) -> Digits:
    """Codes of one length, as numbers -> one row a digit, one column a code."""
    rows = np.empty((digits, len(codes)), np.int8)
    left = codes
    for row in rows[::-1]:
        left, row[:] = np.divmod(left, 10)
    return rows


def _number(digits: Digits) -> Ints:
    """The rows read as one number a code."""
    value: Ints = np.zeros(digits.shape[1], np.int64)
    for row in digits:
        value *= 10
        value += row
    return value


def _among(fits: Bools, digits: Digits) -> Ints:
    """The number that these digits make, where they fit; -1 elsewhere."""
    places = np.full(len(fits), -1, np.int64)
    places[fits] = _number(digits[:, fits])
    return places


def _blocks(block: int) -> Callable[[Digits], Ints]:
    return lambda d: _among((d[block:] == d[:-block]).all(axis=0), d[:block])


def _mirrored(d: Digits) -> Ints:
    half = len(d) // 2
    return _among((d[:half] == d[: -half - 1 : -1]).all(axis=0), d[: -(-len(d) // 2)])


def _in_pairs(d: Digits) -> Ints:
    even = len(d) // 2 * 2
    return _among((d[:even:2] == d[1:even:2]).all(axis=0), d[::2])


DATE_ORDERS: Final[dict[int, tuple[str, ...]]] = {
    4: ("DDMM", "MMDD"),
    5: ("DMMYY", "DDMYY", "MDDYY", "MMDYY", "YYMDD", "YYMMD"),
    6: ("DDMMYY", "MMDDYY", "YYMMDD"),
    7: ("DMMYYYY", "DDMYYYY", "MDDYYYY", "MMDYYYY", "YYYYMDD", "YYYYMMD"),
    8: ("DDMMYYYY", "MMDDYYYY", "YYYYMMDD"),
}
"""How dates are written in so many digits: a letter a digit, D, M and Y."""


LEAP_DAY: Final = (2, 29)


DAYS_OF_YEAR: Final = [
    (month, day)
    for month, days in enumerate((31, 29, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31), 1)
    for day in range(1, days + 1)
]


@lru_cache(maxsize=32)
def day_table(orders: tuple[str, ...]) -> tuple[Ints, Bools]:
    """For every number that day and month make in these orders: its place, and leap day only.

    Places run from 0, order by order through the year, each number once; -1 is no date.
    """
    width = len(orders[0])
    places, leap = np.full(10**width, -1, np.int64), np.zeros(10**width, bool)
    count = 0
    for order in orders:
        for month, day in DAYS_OF_YEAR:
            parts = {"D": f"{day:0{order.count('D')}d}", "M": f"{month:0{order.count('M')}d}"}
            text = "".join(parts[letter] for letter in dict.fromkeys(order))
            if len(text) > width:
                continue
            number = int(text)
            leap[number] = (month, day) == LEAP_DAY and (places[number] < 0 or leap[number])
            if places[number] < 0:
                places[number] = count
                count += 1
    return places, leap


def leap_years(years: Ints) -> Bools:
    """Gregorian leap years; of a year in two digits, 00 is one (2000)."""
    leap: Bools = (years % 4 == 0) & ((years % 100 != 0) | (years % 400 == 0))
    return leap


def _year_places(letters: int) -> Ints:
    """The place of each year of four or two digits in YEARS; -1: not among them."""
    years = dict.fromkeys(year % 10**letters for year in YEARS)
    places = np.full(10**letters, -1, np.int64)
    places[list(years)] = np.arange(len(years))
    return places


def _dates(digits: int) -> _Large:
    """Dates, year by year from the likeliest; in each year, order by order."""
    orders = DATE_ORDERS[digits]
    letters = orders[0].count("Y")
    tables, first = [], 0
    for year_first in (False, True):
        same = tuple(o.replace("Y", "") for o in orders if o.startswith("Y") == year_first)
        if same:
            table, leap_only = day_table(same)
            tables.append((year_first, table, leap_only, first))
            first += int(table.max()) + 1
    in_year = first
    years = _year_places(letters) if letters else np.zeros(1, np.int64)

    def places(d: Digits) -> Ints:
        best: Ints = np.full(d.shape[1], -1, np.int64)
        for year_first, table, leap_only, start in tables:
            split = letters if year_first else len(d) - letters
            ahead, behind = _number(d[:split]), _number(d[split:])
            year, day = (ahead, behind) if year_first else (behind, ahead)
            fits = (table[day] >= 0) & (years[year] >= 0)
            if letters:
                fits &= ~leap_only[day] | leap_years(year)
            place = years[year] * in_year + start + table[day]
            best = np.where(fits & ((best < 0) | (place < best)), place, best)
        return best

    return _Large("date", in_year * int(years.max() + 1), places)


def _large(digits: int) -> list[_Large]:
    """The large classes, the smallest first. A block counts when over half of it comes again.

    Mirrored codes of six digits, and blocks of three from six digits on, are listed.
    """
    half = -(-digits // 2)
    classes = []
    if digits >= 3 and digits != 6:
        classes.append(_Large("mirrored", 10**half, _mirrored))
    if digits >= 5:
        classes.append(_Large("digits in pairs", 10**half, _in_pairs))
    for block in range(4 if digits >= 6 else 3, digits):
        if 2 * (digits - block) > block:
            name = f"block of {block} digits again" + ("" if digits < 2 * block else " and again")
            classes.append(_Large(name, 10**block, _blocks(block)))
    if digits in DATE_ORDERS:
        classes.append(_dates(digits))
    return sorted(classes, key=lambda c: c.size)


class GuessClass(NamedTuple):
    """A class of the guessing order: how many codes it adds, and the first one's try."""

    pattern: str
    first_try: int
    codes: int


def guess_order(digits: int) -> tuple[GuessClass, ...]:
    """The classes for codes of that many digits (1 to LONGEST), in guessing order.

    What is listed is counted without repetition; of a large class, its whole size is counted.
    """
    _check_length(digits)
    seen: set[str] = set()
    classes: list[GuessClass] = []
    for name, codes in _head(digits):
        new = dict.fromkeys(c for c in codes if c not in seen)
        if new:
            classes.append(GuessClass(name, len(seen) + 1, len(new)))
            seen.update(new)
    first = len(seen) + 1
    for large in _large(digits):
        classes.append(GuessClass(large.pattern, first, large.size))
        first += large.size
    return tuple(classes)


def most_tries_of_easy(minimum: int, digits: int) -> int:
    """Within how many tries a code of that length counts as guessable.

    `pin_guesses_minimum` at six digits and more; a tenth of it below (data.md, site.toml).
    """
    return minimum if digits >= 6 else minimum // 10


class _Listed(NamedTuple):
    codes: Ints
    tries: Ints
    patterns: npt.NDArray[np.int64]
    names: tuple[str, ...]


@lru_cache(maxsize=32)
def _listed(digits: int) -> _Listed:
    order = _order_of(digits)
    codes = np.fromiter((int(code) for code, _ in order), np.int64, len(order))
    names = tuple(dict.fromkeys(name for _, name in order))
    number = {name: i for i, name in enumerate(names)}
    patterns = np.fromiter((number[name] for _, name in order), np.int64, len(order))
    by_code = np.argsort(codes)
    return _Listed(codes[by_code], by_code + 1, patterns[by_code], names)


def _check_length(digits: int) -> None:
    if not 1 <= digits <= LONGEST:
        raise ValueError(f"codes of 1 to {LONGEST} digits are ranked, not of {digits}")


def tries_of(codes: Ints, digits: int) -> tuple[Ints, npt.NDArray[np.int64], tuple[str, ...]]:
    """For codes of one length, as numbers: tries, the number of the pattern, and the names.

    A code of no class is expected halfway through all that no class holds.
    """
    _check_length(digits)
    listed = _listed(digits)
    at = np.minimum(np.searchsorted(listed.codes, codes), len(listed.codes) - 1)
    found = listed.codes[at] == codes
    tries = np.where(found, listed.tries[at], 0)
    patterns = np.where(found, listed.patterns[at], -1)
    large = _large(digits)
    names = (*listed.names, *(c.pattern for c in large), OTHER)
    open_ = np.flatnonzero(~found)
    matrix = digits_of(codes[open_], digits)
    reached, space = len(listed.codes), 10**digits
    for number, group in enumerate(large, len(listed.names)):
        places = group.places(matrix)
        hits = places >= 0
        tries[open_[hits]] = np.minimum(reached + places[hits] + 1, space)
        patterns[open_[hits]] = number
        open_, matrix = open_[~hits], matrix[:, ~hits]
        reached = min(reached + group.size, space)
    tries[open_] = (reached + space + 1) // 2
    patterns[open_] = len(names) - 1
    return tries, patterns, names


def by_length(codes: pd.Series) -> Iterator[tuple[int, Ints, Ints]]:
    """(digits, positions, codes as numbers) for each length of 1 to LONGEST that occurs."""
    text = pa.array(codes.astype(TEXT).array)
    known = pc.match_substring_regex(text, f"^[0-9]{{1,{LONGEST}}}$")
    text = pc.if_else(known, text, None)
    lengths = np.asarray(pc.fill_null(pc.utf8_length(text), 0), np.int64)
    numbers = np.asarray(pc.fill_null(pc.cast(text, pa.int64()), 0), np.int64)
    there = np.flatnonzero(np.bincount(lengths, minlength=1)[1:]) + 1
    for digits in there.tolist():
        at = np.flatnonzero(lengths == digits).astype(np.int64)
        yield digits, at, numbers[at]


def within(codes: Ints, digits: int, limit: int) -> Bools:
    """Which codes of one length, as numbers, a guesser comes to within so many tries."""
    listed = _listed(digits)
    if limit > len(listed.codes):
        return tries_of(codes, digits)[0] <= limit
    return among(codes, listed.codes[listed.tries <= limit])


def among(codes: Ints, ordered: Ints) -> Bools:
    """Which codes stand in the sorted array."""
    if not len(ordered):
        return np.zeros(len(codes), bool)
    found: Bools = ordered[np.searchsorted(ordered[:-1], codes)] == codes
    return found


def distinct(values: Ints) -> Ints:
    """The different values, sorted. By sorting: numpy's own hash is slow on numbers in a row."""
    ordered = np.sort(values)
    return ordered[np.flatnonzero(np.diff(ordered, prepend=-1))]


def tries(codes: pd.Series) -> pd.DataFrame:
    """How many tries an informed guesser needs for each code, and the pattern's name.

    codes: text of digits; index kept. Returns tries (Int64, from 1) and pattern (string);
    both NA where the code is NA, no row of digits 0 to 9, or longer than LONGEST.
    """
    counts = np.zeros(len(codes), np.int64)
    patterns = pd.array([pd.NA] * 0, dtype=TEXT)
    numbers = np.full(len(codes), -1, np.int64)
    names: list[str] = []
    for digits, at, values in by_length(codes):
        places, distinct = pd.factorize(values)
        found, pattern, known = tries_of(distinct, digits)
        counts[at] = found[places]
        numbers[at] = pattern[places] + len(names)
        names.extend(known)
    patterns = pd.array(names, dtype=TEXT).take(numbers, allow_fill=True)
    unknown = numbers < 0
    return pd.DataFrame(
        {"tries": pd.arrays.IntegerArray(counts, unknown), "pattern": patterns},
        index=codes.index,
    )


ROUND_TRIES: Final = (10, 100, 1000)


def guessable(codes: pd.Series, minimum: int) -> pd.DataFrame:
    """`tries`, with `easy`: whether the code falls within the tries of a policy's minimum.

    easy: boolean, NA where tries is. told: Int64, the tries of an easy code as a finding may
    tell them: those of its pattern's middle code, rounded up to the next of ROUND_TRIES or the
    limit, so that they tell no code from its like.
    """
    answer = tries(codes)
    digits = np.asarray(codes.astype(TEXT).str.len().astype("Int64").fillna(0), np.int64)
    limits = np.where(digits < 6, most_tries_of_easy(minimum, 4), minimum)
    easy = answer["tries"] <= limits
    told = np.zeros(len(codes), np.int64)
    found = easy.fillna(False).to_numpy(bool)
    for length in np.unique(digits[found]).tolist():
        own = np.flatnonzero(found & (digits == length))
        middles = middle_tries(length)
        patterns, names = pd.factorize(answer["pattern"].iloc[own])
        middle = np.array([middles[n] for n in names], np.int64)[patterns]
        steps = np.array([*ROUND_TRIES, np.iinfo(np.int64).max])
        told[own] = np.minimum(steps[np.searchsorted(steps, middle)], limits[own])
    return answer.assign(easy=easy, told=pd.arrays.IntegerArray(told, ~found))


@lru_cache(maxsize=32)
def middle_tries(digits: int) -> dict[str, int]:
    """For each pattern the try at which half of its codes are found, to one digit, at least 10.

    What a finding tells: the exact try would spell the code out to whoever knows the order.
    """
    listed, large = _listed(digits), _large(digits)
    middles = {
        name: int(np.median(listed.tries[listed.patterns == i]))
        for i, name in enumerate(listed.names)
    }
    reached, space = len(listed.codes), 10**digits
    for group in large:
        middles.setdefault(group.pattern, min(reached + group.size // 2, space))
        reached = min(reached + group.size, space)
    middles[OTHER] = (reached + space + 1) // 2
    return {name: max(10, round(m, 1 - len(str(m)))) for name, m in middles.items()}
