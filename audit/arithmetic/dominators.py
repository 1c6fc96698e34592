"""What every way passes through: dominators of a directed graph, in near-linear time.

Lengauer and Tarjan, "A fast algorithm for finding dominators in a flowgraph", ACM TOPLAS 1(1),
1979, with path compression; without recursion, so that a chain of any length will do.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class DominatorTree:
    """`parent[v]` is v's immediate dominator (the root's is itself, -1 where v is unreachable).

    `order` lists the reachable nodes, every node after its parent.
    """

    parent: list[int]
    order: list[int]
    first: list[int]
    last: list[int]

    def reached(self, node: int) -> bool:
        """Whether the node can be reached from the root."""
        return self.parent[node] >= 0

    def dominates(self, a: int, b: int) -> bool:
        """Whether every way from the root to b passes a (both reachable; a node passes itself)."""
        return self.first[a] <= self.first[b] <= self.last[a]


def dominator_tree(successors: Sequence[Sequence[int]], root: int = 0) -> DominatorTree:
    """The dominator tree of nodes 0..n-1 from the root; parallel edges and loops may stand."""
    n = len(successors)
    vertex, number, above = _depth_first(successors, root)
    count = len(vertex)
    before: list[list[int]] = [[] for _ in range(count)]
    for i, v in enumerate(vertex):
        for w in successors[v]:
            before[number[w]].append(i)

    # from here on nodes go by their depth-first number
    semi = list(range(count))
    label = list(range(count))
    ancestor = [-1] * count
    dominator = [0] * count
    bucket: list[list[int]] = [[] for _ in range(count)]

    def lowest(v: int) -> int:
        if ancestor[v] < 0:
            return v
        path = []
        while ancestor[ancestor[v]] >= 0:
            path.append(v)
            v = ancestor[v]
        for u in reversed(path):
            top = ancestor[u]
            if semi[label[top]] < semi[label[u]]:
                label[u] = label[top]
            ancestor[u] = ancestor[top]
        return label[path[0] if path else v]

    for w in range(count - 1, 0, -1):
        for v in before[w]:
            semi[w] = min(semi[w], semi[lowest(v)])
        bucket[semi[w]].append(w)
        ancestor[w] = above[w]
        for v in bucket[above[w]]:
            u = lowest(v)
            dominator[v] = u if semi[u] < semi[v] else above[w]
        bucket[above[w]].clear()
    for w in range(1, count):
        if dominator[w] != semi[w]:
            dominator[w] = dominator[dominator[w]]

    parent = [-1] * n
    parent[root] = root
    for w in range(1, count):
        parent[vertex[w]] = vertex[dominator[w]]
    return DominatorTree(parent, *_intervals(parent, vertex, root))


def _depth_first(
    successors: Sequence[Sequence[int]], root: int
) -> tuple[list[int], list[int], list[int]]:
    """Nodes in depth-first order, each node's number (-1: unreachable), its parent's number."""
    number = [-1] * len(successors)
    number[root] = 0
    vertex, above = [root], [-1]
    walk = [iter(successors[root])]
    at = [0]
    while walk:
        for w in walk[-1]:
            if number[w] < 0:
                number[w] = len(vertex)
                vertex.append(w)
                above.append(at[-1])
                at.append(number[w])
                walk.append(iter(successors[w]))
                break
        else:
            walk.pop()
            at.pop()
    return vertex, number, above


def _intervals(
    parent: list[int], vertex: list[int], root: int
) -> tuple[list[int], list[int], list[int]]:
    """The tree in preorder; first and last preorder number below each node."""
    children: dict[int, list[int]] = {}
    for v in vertex[1:]:
        children.setdefault(parent[v], []).append(v)
    first, last = [-1] * len(parent), [-1] * len(parent)
    order: list[int] = []
    stack = [root]
    while stack:
        v = stack.pop()
        first[v] = last[v] = len(order)
        order.append(v)
        stack.extend(children.get(v, ()))
    for v in reversed(order):
        if v != root:
            last[parent[v]] = max(last[parent[v]], last[v])
    return order, first, last
