"""How many people a clear width passes, by a local code's table; whole people, exact arithmetic.

Never in binary floats: 28.4 in at 0.2 in a person is 142 people, and a float says 141
(references/egress.md 3.7).
"""

from __future__ import annotations

from collections.abc import Sequence
from decimal import ROUND_CEILING, Decimal

Bands = Sequence[tuple[int, int]]
"""Pairs (from mm, people), rising; empty where a code only divides."""

UNLIMITED = 10**12
"""Stands for the capacity of a door whose width is not given, when we hope for the best."""


def people_through(width_mm: Decimal, bands: Bands, mm_per_person: Decimal) -> int:
    """People that a clear width passes: a band where one holds, else the width divided.

    From the last band's width on, the quotient rounded down, at least the band's own people.
    Source: references/egress.md 2.2 and 3.7; the numbers are the pack's.
    """
    if bands and width_mm < bands[-1][0]:
        return max((people for start, people in bands if width_mm >= start), default=0)
    return max(bands[-1][1] if bands else 0, int(width_mm // mm_per_person))


def width_needed(people: int, bands: Bands, mm_per_person: Decimal) -> int:
    """The least whole millimetres of clear width that pass so many people."""
    for start, passed in bands:
        if people <= passed:
            return start
    needed = (people * mm_per_person).to_integral_value(rounding=ROUND_CEILING)
    return max(int(needed), bands[-1][0] if bands else 0)


def together(capacities: Sequence[int]) -> int:
    """People that several exits pass with the widest out of use; one alone counts whole."""
    return sum(capacities) - (max(capacities) if len(capacities) > 1 else 0)


def together_bounds(
    sure: Sequence[tuple[int, int]], doubtful: Sequence[tuple[int, int]]
) -> tuple[int, int]:
    """Least and most that a zone's exits may pass together, given that there is an exit at all.

    Each door is (least, most) people; a `doubtful` door may turn out to be no exit. A second
    exit can lower the sum, because only then is the widest taken out of use.
    """
    low, high = [d[0] for d in sure], [d[1] for d in sure]
    more_low, more_high = [d[0] for d in doubtful], [d[1] for d in doubtful]
    most = together(high + more_high)
    if len(sure) > 1 or not doubtful:
        return together(low), most
    return min(low + more_low), max([most, *high, *more_high])


def merging_exit_mm(people: int, stair_mm: int) -> Decimal:
    """Width of a final exit where people from a stair and from the ground storey merge, mm.

    W = (N / 2.5 + 60 S) / 80 in metres, N people from the ground storey, S the stair's width
    (Building Bulletin 100, 1.8; Approved Document B volume 2: references/egress.md 2.2).
    """
    return (Decimal(people) * 1000 / Decimal("2.5") + 60 * Decimal(stair_mm)) / 80
