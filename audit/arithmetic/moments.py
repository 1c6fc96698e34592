"""Moments and days as whole numbers: which lie within, behind, apart, overdue."""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt

from audit.arithmetic.three import NO, UNCLEAR, YES, Bools, Ints

MINUTE: Final = 60_000_000
"""Microseconds."""


FOREVER: Final = int(np.iinfo(np.int64).max)


NEVER: Final = int(np.iinfo(np.int64).min)


def within(group: Ints, time: Ints, window: int, *, closed: bool) -> Ints:
    """How many events of the same group follow each within `window`, itself included.

    Both arrays are sorted by group, then time; the result is aligned with them. `closed`: an
    event exactly `window` later counts too.
    """
    if not len(time):
        return np.zeros(0, np.int64)
    moments, rank = np.unique(time, return_inverse=True)
    end = np.searchsorted(moments, moments + window, "right" if closed else "left")
    place = group * (len(moments) + 1)
    ends = np.searchsorted(place + rank, place + end[rank], "left")
    return np.asarray(np.maximum(ends - np.arange(len(time)), 0), np.int64)


def behind(door: Ints, time: Ints, tolerance: int) -> Ints:
    """How far each event lies behind the latest before it at its door, in the given order.

    0 where it is not behind by more than `tolerance`.
    """
    if not len(time) or (np.maximum.accumulate(time) - time).max() <= tolerance:
        return np.zeros(len(time), np.int64)
    order = np.argsort(door, kind="stable")
    ranked, rank = np.unique(time, return_inverse=True)
    lift = door[order] * len(ranked)
    highest = ranked[np.maximum.accumulate(rank[order] + lift) - lift]
    result = np.zeros(len(time), np.int64)
    result[order] = highest - time[order]
    return np.where(result > tolerance, result, 0)


def apart(card: Ints, time: Ints, zones: Ints, window: int) -> Bools:
    """Events followed, sooner than `window`, by one of the same card where no zone is shared.

    Rows are sorted by card, then time. `zones` (n by 2) codes the two sides of each event's
    door; a door shares its own. For each event those in its window that touch one of its two
    zones are counted; where they are fewer than the window holds, some are apart. So it takes
    n log n, however many fall into one window.
    """
    n = len(time)
    here = np.arange(n)
    ends = here + within(card, time, window, closed=False)
    low, high = zones.min(axis=1), zones.max(axis=1)
    two = low != high
    sides = np.sort(np.concatenate([low * (n + 1) + here, (high * (n + 1) + here)[two]]))
    _, pair = np.unique(low * (int(high.max(initial=0)) + 1) + high, return_inverse=True)
    pairs = np.sort(pair * (n + 1) + here)

    def touching(sorted_keys: Ints, value: Ints) -> Ints:
        first = np.searchsorted(sorted_keys, value * (n + 1) + here)
        return np.asarray(np.searchsorted(sorted_keys, value * (n + 1) + ends) - first, np.int64)

    shared = touching(sides, low) + np.where(two, touching(sides, high) - touching(pairs, pair), 0)
    return np.asarray(shared < ends - here, bool)


def overdue(
    code: Ints, limit: Ints, sure: Bools, counts: Bools, last: Ints
) -> npt.NDArray[np.int8]:
    """Whether each register row was used at or after its limit: YES, NO, UNCLEAR.

    Row i stands for credential `code[i]`, last used at `last[code]` (NEVER: not used), and may
    be used before `limit[i]` (FOREVER: always); `sure[i]` False: the limit is not known. Where
    several rows stand for one credential, the most favourable explains a use, of those that
    `counts` (of all, where none does), and only it is answered for: the others are in order.
    """
    heard = np.zeros(len(last), bool)
    heard[code[counts]] = True
    speaks = counts | ~heard[code]
    best = np.full(len(last), NEVER)
    known = speaks & sure
    np.maximum.at(best, code[known], limit[known])
    vague = np.zeros(len(last), bool)
    vague[code[speaks & ~sure]] = True
    used = last[code]
    late = (used >= best[code]) & (used > NEVER)
    answers = speaks & late & (~sure | (limit == best[code]))
    return np.where(answers, np.where(vague[code], UNCLEAR, YES), NO).astype(np.int8)
