"""Whether a list of card numbers is a register's, written in another form.

Forms (the data contract, "another form"): the bytes in the other order, the number without its
facility code, with one that the register lacks, or the last bytes of a longer number. A form
holds where it makes at least FEWEST of the unexplained numbers, and at least half of them, the
number of exactly one card each.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Final, NamedTuple

FORMS: Final = ("reversed", "without-facility", "with-facility", "low-bytes")
FEWEST: Final = 5
WIDTHS: Final = (3, 4, 7, 10)


class Number(NamedTuple):
    """A card number as read: its canonical text, whole value, bytes as written, and parts."""

    canonical: str
    value: int
    width: int | None = None  # of a number written in hexadecimal
    facility: int | None = None
    number: int | None = None


class Found(NamedTuple):
    """The form that holds, and the register's canonical number for each that it explains."""

    form: str | None
    numbers: Mapping[str, str]
    unexplained: int


def number(canonical: str, form: str, text: str) -> Number | None:
    """A canonical number (`card_numbers`) with what its form and text tell; None: not readable."""
    digits = "".join(c for c in text.upper() if c.isalnum()).removeprefix("0X")
    width = len(digits) // 2 if form in ("hex", "hex-reversed") else None
    if canonical.startswith("hex ") and width in WIDTHS and len(digits) % 2 == 0:
        return Number(canonical, int(canonical[4:], 16), width)
    if "," in canonical:
        facility, rest = map(int, canonical.split(","))
        return Number(canonical, facility * 65536 + rest, None, facility, rest)
    if not canonical.isdecimal():
        return None
    value = int(canonical)
    if form in ("wiegand26", "bits"):
        return Number(canonical, value, None, value >> 16, value & 0xFFFF)
    return Number(canonical, value, width)


def another_form(unexplained: Sequence[Number | None], register: Iterable[Number]) -> Found:
    """Which form holds of the unexplained numbers, each given once; None: not readable."""
    size = len(unexplained)
    if size < FEWEST:
        return Found(None, {}, size)
    cards = list(register)
    best = Found(None, {}, size)
    for form, table in _ways(cards).items():
        explained = {}
        for asked in filter(None, unexplained):
            held = set(_cards(asked, form, table))
            if len(held) == 1:
                explained[asked.canonical] = cards[held.pop()].canonical
        holds = len(explained) >= FEWEST and 2 * len(explained) >= size
        if holds and len(explained) > len(best.numbers):
            best = Found(form, explained, size)
    return best


def _ways(cards: Sequence[Number]) -> dict[str, dict[int, set[int]]]:
    """For each form the value that a card would be written with, and the cards' places."""
    ways: dict[str, dict[int, set[int]]] = {form: {} for form in FORMS}
    for at, card in enumerate(cards):
        values: dict[str, list[int | None]] = {
            "reversed": [_turned(card)],
            "without-facility": [card.number],
            "with-facility": [card.value if card.facility is None else None],
            "low-bytes": [card.value % 256**w for w in (3, 4) if _bytes(card) > w],
        }
        for form, found in values.items():
            for value in found:
                if value is not None:
                    ways[form].setdefault(value, set()).add(at)
        # the other way round, for a register that tells no width where the table does
        ways["reversed"].setdefault(-1 - card.value, set()).add(at)
    return ways


def _cards(asked: Number, form: str, table: Mapping[int, set[int]]) -> set[int]:
    if form == "reversed":
        turned = _turned(asked)
        back = set() if turned is None else table.get(-1 - turned, set())
        return table.get(asked.value, set()) | back
    if form == "with-facility":
        return set(table.get(asked.value & 0xFFFF, ())) if asked.value > 0xFFFF else set()
    return set(table.get(asked.value, set()))


def _bytes(card: Number) -> int:
    """How many bytes a number has: as written, else the fewest of WIDTHS that hold it."""
    if card.width is not None:
        return card.width
    return next((w for w in WIDTHS if card.value < 256**w), WIDTHS[-1] + 1)


def _turned(card: Number) -> int | None:
    width = _bytes(card)
    if width not in WIDTHS:
        return None
    return int.from_bytes(card.value.to_bytes(width, "big"), "little")
