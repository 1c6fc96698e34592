"""How many people pass each place of a network, everybody counted once however the ways part.

Where every way out is single the counts simply add up. Where ways part and meet again the same
people would be counted twice, so whoever stands before a parting is kept as one bit of a set.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np
import numpy.typing as npt


def passing(
    size: int, steps: Iterable[tuple[int, int]], people: Sequence[Sequence[int]]
) -> list[tuple[int, ...]]:
    """For each place, the people of every place from which it can be reached, its own included.

    `steps` are pairs (from, to) of places 0..size-1, circles allowed; `people` holds a list of
    counts a kind of people, and so does each answer. Near-linear where ways seldom part; places
    times partings / 64 at worst.
    """
    onward: list[set[int]] = [set() for _ in range(size)]
    for a, b in steps:
        if a != b:
            onward[a].add(b)
    circle, circles = _circles(onward)
    next_circles: list[set[int]] = [set() for _ in range(circles)]
    own = np.zeros((circles, len(people)), np.int64)
    for place, c in enumerate(circle):
        next_circles[c].update(circle[b] for b in onward[place] if circle[b] != c)
        for kind, counts in enumerate(people):
            own[c, kind] += counts[place]

    added = own.copy()  # people who come by single ways only
    sets = [0] * circles  # the partings behind, as bits
    partings: list[int] = []
    for c in range(circles - 1, -1, -1):  # a circle's number is above those it leads to
        ways = next_circles[c]
        if len(ways) == 1:
            (only,) = ways
            added[only] += added[c]
            sets[only] |= sets[c]
        elif ways:
            behind = sets[c] | 1 << len(partings)
            partings.append(c)
            for b in ways:
                sets[b] |= behind
    weights = added[partings]
    known: dict[int, npt.NDArray[np.int64]] = {0: np.zeros(len(people), np.int64)}
    total: list[tuple[int, ...]] = []
    for c in range(circles):
        if sets[c] not in known:
            known[sets[c]] = _weigh(sets[c], weights)
        total.append(tuple(int(v) for v in added[c] + known[sets[c]]))
    return [total[c] for c in circle]


def _weigh(members: int, weights: npt.NDArray[np.int64]) -> npt.NDArray[np.int64]:
    octets = np.frombuffer(members.to_bytes(-(-members.bit_length() // 8), "little"), np.uint8)
    chosen = np.flatnonzero(np.unpackbits(octets, bitorder="little"))
    total: npt.NDArray[np.int64] = weights[chosen].sum(axis=0)
    return total


def _circles(onward: Sequence[Iterable[int]]) -> tuple[list[int], int]:
    """The circle (strongly connected component) of each place, and how many there are.

    Numbered so that every way leads to a lower number or stays. R. Tarjan, "Depth-first search
    and linear graph algorithms", SIAM J. Comput. 1(2), 1972; without recursion.
    """
    size = len(onward)
    number, low, circle = [-1] * size, [0] * size, [-1] * size
    open_places: list[int] = []
    count = reached = 0
    for start in range(size):
        if number[start] >= 0:
            continue
        walk = [(start, iter(onward[start]))]
        number[start] = low[start] = reached
        reached += 1
        open_places.append(start)
        while walk:
            place, ways = walk[-1]
            for b in ways:
                if number[b] < 0:
                    number[b] = low[b] = reached
                    reached += 1
                    open_places.append(b)
                    walk.append((b, iter(onward[b])))
                    break
                if circle[b] < 0:
                    low[place] = min(low[place], number[b])
            else:
                walk.pop()
                if walk:
                    low[walk[-1][0]] = min(low[walk[-1][0]], low[place])
                if low[place] == number[place]:
                    while True:
                        member = open_places.pop()
                        circle[member] = count
                        if member == place:
                            break
                    count += 1
    return circle, count
