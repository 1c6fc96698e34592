"""Series of codes: rows handed out in equal steps."""

from __future__ import annotations

from typing import Final

import numpy as np

from audit.arithmetic.three import Ints

STEPS: Final = range(1, 11)
"""rules.md, pin-series: equal steps of 1 to 10."""


def series_length(digits: int) -> int:
    """How many PINs make a series: three; four where chance alone makes threes (four digits)."""
    return 3 if digits > 4 else 4


def rows_of_codes(codes: Ints, need: int) -> list[tuple[int, Ints]]:
    """(step, chain of each code or -1): the longest rows of codes in equal steps of 1 to 10.

    A row has `need` different codes or more, and lies within no row of a smaller step.
    """
    distinct, place = np.unique(codes, return_inverse=True)
    found: dict[int, Ints] = {}
    for step in STEPS:
        order = np.argsort(distinct % step, kind="stable")
        ordered = distinct[order]
        chain = np.concatenate(([0], np.cumsum(np.diff(ordered) != step)))
        length = np.bincount(chain)
        first = np.flatnonzero(np.diff(chain, prepend=-1))
        last = first + length - 1
        keep = length >= need
        for smaller, earlier in found.items():
            if step % smaller == 0:
                one, other = earlier[order[first]], earlier[order[last]]
                keep &= ~((one >= 0) & (one == other))
        number = np.where(keep, np.cumsum(keep) - 1, -1)
        if keep.any():
            of_code = np.empty(len(distinct), np.int64)
            of_code[order] = number[chain]
            found[step] = of_code
    return [(step, chain[place]) for step, chain in found.items()]
