"""PINs that are hard to guess by construction, and card numbers in their written forms."""

import itertools
import random
from datetime import date

from .rows import Row, Site

KEYPAD = {digit: divmod(place, 3) for place, digit in enumerate("123456789")} | {"0": (3, 1)}


def reads_as_date(code: str) -> bool:
    """Whether the digits are a calendar date in any order, with or without the century."""
    if len(code) == 4:
        return _day_and_month(code[:2], code[2:]) or _day_and_month(code[2:], code[:2])
    if len(code) not in (6, 8):
        return False
    tail = len(code) - 4
    return any(
        _day_and_month(day, month)
        for day, month in (
            (code[:2], code[2:4]),
            (code[2:4], code[:2]),
            (code[tail + 2 :], code[tail : tail + 2]),
            (code[tail : tail + 2], code[tail + 2 :]),
        )
    )


def _day_and_month(day: str, month: str) -> bool:
    if not 1 <= int(month) <= 12 or int(day) < 1:
        return False
    try:
        date(2024, int(month), int(day))  # a leap year: 29 February is a date
    except ValueError:
        return False
    return True


def hard_to_guess(code: str) -> bool:
    """Stricter than any list: no repeats, runs, steps, mirrors, dates, years, keypad lines."""
    digits = [int(digit) for digit in code]
    length = len(digits)
    if len(set(digits)) < max(4, length - (1 if length < 8 else 2)):
        return False
    steps = [(b - a) % 10 for a, b in itertools.pairwise(digits)]
    if 0 in steps or sum(step in (1, 9) for step in steps) > 1:
        return False
    if any(a in (b, 10 - b) for a, b in itertools.pairwise(steps)):
        return False  # a run in any step, or there and back
    if len({code[:3], code[-3:], code[:3][::-1], code[-3:][::-1]}) < 4:
        return False
    if any(code[at : at + 2] in ("19", "20") for at in range(length - 3)):
        return False
    keys = [KEYPAD[digit] for digit in code]
    moves = [(r2 - r1, c2 - c1) for (r1, c1), (r2, c2) in itertools.pairwise(keys)]
    if any(a == b for a, b in itertools.pairwise(moves)):
        return False
    if sum(max(abs(down), abs(across)) == 1 for down, across in moves) > max(1, length // 3):
        return False
    if len({row for row, _ in keys}) < 3 or len({column for _, column in keys}) < 3:
        return False
    return not reads_as_date(code)


def far_from_others(site: Site, number: int) -> bool:
    """More than ten from every other code: codes in equal small steps cannot arise."""
    return all(number + step not in site.codes for step in range(-10, 11))


def new_code(site: Site, rng: random.Random, length: int = 6, forbidden: str = "") -> str:
    """A code unlike every other one of the site, and no part of the `forbidden` digits."""
    while True:
        code = f"{rng.randrange(10**length):0{length}d}"
        if hard_to_guess(code) and code not in forbidden and far_from_others(site, int(code)):
            site.codes.add(int(code))
            return code


def new_number(site: Site, rng: random.Random, form: str, facility: int = 0) -> tuple[str, str]:
    """`(number, facility_code)` of a card in this form, unlike every other number of the site.

    Forms: `decimal` (ten digits), `hex` and `hex-reversed` (seven bytes beginning with 04),
    `wiegand26` (facility and number in two cells), `pair` (both in one cell).
    """
    while True:
        if form == "decimal":
            value = rng.randrange(10**9, 10**10)
        elif form in ("wiegand26", "pair"):
            value = facility * 65536 + rng.randrange(1000, 65000)
        else:
            value = int(serial(rng, "04", 7), 16)
        if value not in site.numbers:
            site.numbers.add(value)
            return written(value, form)


def serial(rng: random.Random, first: str, size: int) -> str:
    """A serial number of so many bytes that begins with the byte `first`, in hexadecimal."""
    while True:
        text = first + "".join(rng.choices("0123456789ABCDEF", k=2 * size - 2))
        if sum(letter in "ABCDF" for letter in text) >= 2:  # neither decimal nor exponent
            return text


def written(value: int, form: str) -> tuple[str, str]:
    """`(number, facility_code)` of a canonical value in a form."""
    if form == "decimal":
        return str(value), ""
    if form == "wiegand26":
        return str(value % 65536), str(value // 65536)
    if form == "pair":
        return f"{value // 65536},{value % 65536}", ""
    text = f"{value:014X}"
    return (reversed_bytes(text) if form == "hex-reversed" else text), ""


def reversed_bytes(text: str) -> str:
    """Hexadecimal digits with the order of their bytes turned round."""
    return bytes.fromhex(text)[::-1].hex().upper()


def as_logged(card: Row) -> str:
    """How a controller writes a card's number: no form stated, so one that is recognised."""
    number, facility, form = card["number"], card["facility_code"], card["number_form"]
    if facility:
        return f"{facility},{number}"
    if form == "hex-reversed":
        return reversed_bytes(number)
    return number


def set_digits(site: Site, pin: Row, digits: str) -> None:
    """Give a PIN other digits, at the controllers that hold it by its digits too."""
    for row in site.tables["loaded"]:
        if row["credential_kind"] == "pin" and row["number"] == pin["pin"]:
            row["number"] = digits
    pin["pin"] = digits
    site.codes.add(int(digits))
