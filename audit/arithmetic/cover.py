"""The fewest actions that close what is to be closed: a set cover, greedy and then pruned.

Finding the very fewest is a hard problem (Karp 1972, set covering); the greedy choice is never
worse than the logarithm of the number of needs allows (Chvátal, A greedy heuristic for the
set-covering problem, 1979; from memory), and what prune leaves can lose no member.
"""

from __future__ import annotations

import heapq
from collections import defaultdict
from collections.abc import Callable, Collection, Iterable, Sequence
from typing import NamedTuple


class Need(NamedTuple):
    """Something that is met when at least `least` of `members` are chosen."""

    members: frozenset[str]
    least: int

    def met(self, chosen: Collection[str]) -> bool:
        """Whether these meet it."""
        return sum(m in chosen for m in self.members) >= self.least


def fewest(needs: Sequence[Need]) -> frozenset[str]:
    """Members that meet every need, none of which can be left out; the same for every run.

    ValueError where a need asks for more members than it has.
    """
    if any(n.least > len(n.members) for n in needs):
        raise ValueError("a need asks for more than it has")
    forced = {m for n in needs if n.least == len(n.members) for m in n.members}
    lacking = {
        i: n.least - sum(m in forced for m in n.members)
        for i, n in enumerate(needs)
        if not n.met(forced)
    }
    chosen = forced | _greedy(needs, lacking, forced)
    return _irredundant(needs, chosen)


def _greedy(needs: Sequence[Need], lacking: dict[int, int], taken: set[str]) -> set[str]:
    """Members that meet what is lacking: each time the one that helps the most needs."""
    of: dict[str, list[int]] = defaultdict(list)
    for i in lacking:
        for member in needs[i].members - taken:
            of[member].append(i)
    queue = [(-len(where), member) for member, where in of.items()]
    heapq.heapify(queue)
    chosen: set[str] = set()
    while lacking:
        said, member = heapq.heappop(queue)
        helps = [i for i in of[member] if i in lacking]
        if len(helps) < -said:  # it helped more when it was queued
            if helps:
                heapq.heappush(queue, (-len(helps), member))
            continue
        chosen.add(member)
        for i in helps:
            lacking[i] -= 1
            if not lacking[i]:
                del lacking[i]
    return chosen


def _irredundant(needs: Sequence[Need], chosen: Iterable[str]) -> frozenset[str]:
    kept = set(chosen)
    of: dict[str, list[int]] = defaultdict(list)
    spare = []
    for i, need in enumerate(needs):
        held = need.members & kept
        spare.append(len(held) - need.least)
        for member in held:
            of[member].append(i)
    for member in sorted(kept, key=lambda m: (len(of[m]), m)):
        if all(spare[i] > 0 for i in of[member]):
            kept.discard(member)
            for i in of[member]:
                spare[i] -= 1
    return frozenset(kept)


def prune(members: Sequence[str], spared: Callable[[frozenset[str]], bool]) -> frozenset[str]:
    """Those of `members` that can be left out, by trial; what stays can lose no further one.

    `spared` says whether all is still well without these. It is asked of halves first, so
    that few needless ones among many are found in few trials.
    """
    out: frozenset[str] = frozenset()
    work = [tuple(members)]
    while work:
        part = work.pop()
        if not part:
            continue
        if spared(out | set(part)):
            out |= set(part)
        elif len(part) > 1:
            middle = len(part) // 2
            work += [part[middle:], part[:middle]]
    return out
