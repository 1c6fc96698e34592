"""People that a width passes, by the tables of published codes; dominators of published graphs."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction
from itertools import product

import networkx as nx
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from audit import packs
from audit.arithmetic.capacity import merging_exit_mm, people_through, together, width_needed
from audit.arithmetic.dominators import dominator_tree

ENGLAND, NFPA = packs.load("england").values, packs.load("nfpa").values


def england(width: str | int) -> int:
    return people_through(Decimal(width), ENGLAND["width_bands"], Decimal(ENGLAND["mm_per_person"]))


def nfpa(inches: str) -> int:
    return people_through(
        Decimal(inches) * Decimal("25.4"), NFPA["width_bands"], Decimal(NFPA["mm_per_person"])
    )


# --- the numbers of published codes ---------------------------------------------------


@pytest.mark.parametrize(
    ("width", "people"),
    [
        # Approved Document B volume 2, width of escape routes and exits, Table 2.3, and the same
        # bands after Building Bulletin 100 (references/egress.md 2.2 and 8 row 2)
        (749, 0),
        (750, 60),
        (849, 60),
        (850, 110),
        (1049, 110),  # not interpolated
        (1050, 220),
        (1100, 220),
        (1104, 220),
        (1105, 221),
        (1500, 300),
    ],
)
def test_widths_of_the_bands(width: int, people: int) -> None:
    assert england(width) == people


@pytest.mark.parametrize(("people", "width"), [(60, 750), (110, 850), (220, 1050), (221, 1105)])
def test_least_width_for_people(people: int, width: int) -> None:
    """egress.md 8 row 2; 300 people need 1500 mm (2.2)."""
    each = Decimal(ENGLAND["mm_per_person"])
    assert width_needed(people, ENGLAND["width_bands"], each) == width
    assert width_needed(300, ENGLAND["width_bands"], each) == 1500


@pytest.mark.parametrize(
    ("inches", "people"),
    [
        # International Building Code 1005.3.2, 0.2 in a person (egress.md 3.7 and 8 row 10)
        ("32", 160),
        ("33", 165),
        ("34", 170),
        # where a binary float loses one (egress.md 3.7)
        ("28.4", 142),
        ("32.4", 162),
        ("33.4", 167),
    ],
)
def test_people_a_width_passes_at_a_fifth_of_an_inch(inches: str, people: int) -> None:
    assert nfpa(inches) == people


def test_no_width_loses_a_person() -> None:
    """Against exact fractions, over the widths of egress.md 3.7 (28.0 to 59.9 in by 0.1)."""
    for tenths in range(280, 600):
        assert nfpa(f"{tenths / 10:.1f}") == int(Fraction(tenths, 10) / Fraction(1, 5))


def test_stair_at_three_tenths_of_an_inch() -> None:
    """44 in at 0.3 in: 146; 32 in at 0.15 in: 213; 34 in at 0.15: 226 (egress.md 3.7)."""
    assert people_through(Decimal(44), (), Decimal("0.3")) == 146
    assert people_through(Decimal(32), (), Decimal("0.15")) == 213
    assert people_through(Decimal(34), (), Decimal("0.15")) == 226


def test_three_doors_with_the_widest_out_of_use() -> None:
    """1500, 1050 and 850 mm: 330 people (egress.md 8 row 3)."""
    assert together([england(1500), england(1050), england(850)]) == 330


def test_two_doors_of_34_inches() -> None:
    """Losing one of two leaves 170 of 340 (egress.md 3.7)."""
    assert nfpa("34") * 2 == 340
    assert together([nfpa("34"), nfpa("34")]) == 170


def test_merging_exit() -> None:
    """250 people, a stair of 1.2 m: 2.150 m (Building Bulletin 100, 1.8; egress.md 8 row 1)."""
    assert merging_exit_mm(250, 1200) == 2150


_EDGES = st.lists(st.tuples(st.integers(0, 7), st.integers(0, 7)), max_size=20)


@settings(max_examples=150, deadline=None)
@given(_EDGES)
def test_dominators_are_networkx_s(edges: list[tuple[int, int]]) -> None:
    graph = nx.MultiDiGraph(edges)
    graph.add_nodes_from(range(8))
    expected = {v: d for v, d in nx.immediate_dominators(graph, 0).items() if v != 0}
    tree = dominator_tree([[b for a, b in edges if a == v] for v in range(8)])
    assert {v: d for v, d in enumerate(tree.parent) if d >= 0 and v != 0} == expected
    for a, b in product(range(8), repeat=2):
        if tree.reached(a) and tree.reached(b):
            ancestors = {b}
            while b != 0:
                b = expected[b]
                ancestors.add(b)
            assert tree.dominates(a, max(ancestors, key=lambda v: tree.first[v])) == (
                a in ancestors
            )


def test_dominators_of_published_graphs() -> None:
    """networkx's own documentation, and the 13-node graph of Lengauer and Tarjan 1979
    (edges from memory, result as published): references/egress.md 7."""
    tree = dominator_tree([[], [2, 3], [5], [4], [5], []], root=1)
    assert tree.parent[2:] == [1, 1, 3, 1]
    edges = "RA RB RC AD BA BD BE CF CG DL EH FI GI GJ HE HK IK JI KI KR LH"
    names = "RABCDEFGHIJKL"
    successors: list[list[int]] = [[] for _ in names]
    for a, b in edges.split():
        successors[names.index(a)].append(names.index(b))
    parent = dominator_tree(successors).parent
    found = {n: names[parent[i]] for i, n in enumerate(names) if i}
    assert found == {**dict.fromkeys("ABCDEHIK", "R"), "F": "C", "G": "C", "J": "G", "L": "D"}
