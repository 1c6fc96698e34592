"""Lines of devices: which follows which, what stands twice, what runs in a circle."""

from __future__ import annotations

import ipaddress

import numpy as np
import numpy.typing as npt
import pandas as pd

from audit.arithmetic.three import Bools, Ints

START = -1
"""In `follow`: the chain ends here."""


UNKNOWN = -2
"""In `follow`: the chain goes on to something that is not known."""


def follow(above: npt.ArrayLike) -> tuple[Ints, Bools, Bools]:
    """Lengths of the chains that start at each of n members.

    `above[i]` is the member that i hangs on (0..n-1), or START, or UNKNOWN. Returns the number
    of distinct members from i to the end of its chain, itself included (in a circle: those
    before it and all of it); whether that length is certain (the chain ends at a START); and
    whether i is on a circle. By pointer doubling: log2(n) passes over arrays.
    """
    step = np.asarray(above, dtype=np.int64)
    count, jump = _doubled(step)
    looped = jump >= 0
    circle = np.zeros(len(step), np.int64)
    if looped.any():
        circle = _circles(step, jump)
        # opened before its circle, a chain's length is that of its tail and one of the circle
        tail, _ = _doubled(np.where(circle > 0, START, step))
        count[looped] = (tail - 1)[looped] + circle[jump[looped]]
    return count, jump == START, circle > 0


def _doubled(step: Ints) -> tuple[Ints, Ints]:
    count = np.ones(len(step), np.int64)
    jump = step.copy()
    for _ in range(len(step).bit_length() + 1):
        on = np.flatnonzero(jump >= 0)
        if not on.size:
            break
        then = jump[on]
        more, further = count[then], jump[then]
        count[on] += more
        jump[on] = further
    return count, jump


def _circles(step: Ints, jump: Ints) -> Ints:
    """The size of the circle each member is on, 0 where it is on none."""
    size = np.zeros(len(step), np.int64)
    # having gone on at least n times, the `jump` of a looped member lies on its circle
    for start in np.unique(jump[jump >= 0]).tolist():
        if size[start]:
            continue
        ring = [start]
        while (following := int(step[ring[-1]])) != start:
            ring.append(following)
        size[ring] = len(ring)
    return size


def pairs_of(first: Ints, second: Ints) -> tuple[Ints, int]:
    """A code for each pair of codes, -1 where either is -1; and the number of pairs."""
    known = (first >= 0) & (second >= 0)
    key = first * (int(second.max(initial=0)) + 1) + second
    distinct, found = np.unique(key[known], return_inverse=True)
    codes = np.full(len(key), -1, np.int64)
    codes[known] = found.reshape(-1)
    return codes, len(distinct)


def plain_number(text: str) -> str:
    """A port or dial number as people mean it: case, leading zeros and `.0` aside."""
    plain = text.casefold()
    if plain.endswith(".0") and plain[:-2].isdecimal():
        plain = plain[:-2]
    bare = plain.lstrip("0")
    return bare if bare[:1].isdecimal() else "0" + bare if plain[:1] == "0" else plain


def _plain_codes(column: pd.Series) -> tuple[Ints, list[str]]:
    codes, distinct = pd.factorize(column)
    plain: dict[str, int] = {}
    meant = [plain.setdefault(plain_number(t), len(plain)) for t in distinct.tolist()]
    return np.array([*meant, -1], np.int64)[codes], list(plain)


def canonical_address(text: str) -> str | None:
    """An IPv4 or IPv6 address in its one spelling (RFC 5952); None where it is none.

    Leading zeros of dotted numbers (a spreadsheet's habit) are read as decimal; a prefix
    length (`/24`) is left aside.
    """
    plain = text.strip().partition("/")[0].strip("[]")
    if plain.count(".") == 3 and ":" not in plain:
        plain = ".".join(p.lstrip("0") or "0" if p.isdecimal() else p for p in plain.split("."))
    try:
        return str(ipaddress.ip_address(plain))
    except ValueError:
        return None
