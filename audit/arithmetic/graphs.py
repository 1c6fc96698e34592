"""Directed graphs: what contains itself."""

from __future__ import annotations

from collections.abc import Hashable, Mapping, Sequence
from typing import TypeVar

Node = TypeVar("Node", bound=Hashable)


def knots(inside: Mapping[Node, Sequence[Node]]) -> list[list[Node]]:
    """The strongly connected parts of a graph, each after those it points to.

    Tarjan 1972, without recursion: a chain of groups may be thousands deep.
    """
    number: dict[Node, int] = {}
    low: dict[Node, int] = {}
    held: dict[Node, None] = {}
    found: list[list[Node]] = []
    for root in inside:
        if root in number:
            continue
        number[root] = low[root] = len(number)
        held[root] = None
        work = [(root, iter(inside[root]))]
        while work:
            at, rest = work[-1]
            for to in rest:
                if to not in number:
                    number[to] = low[to] = len(number)
                    held[to] = None
                    work.append((to, iter(inside[to])))
                    break
                if to in held:
                    low[at] = min(low[at], number[to])
            else:
                work.pop()
                if work:
                    low[work[-1][0]] = min(low[work[-1][0]], low[at])
                if low[at] == number[at]:
                    knot = []
                    while True:
                        member, _ = held.popitem()
                        knot.append(member)
                        if member == at:
                            break
                    found.append(knot)
    return found
