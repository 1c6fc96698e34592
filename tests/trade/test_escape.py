"""Ways out against a slow second implementation, networkx, and the numbers of published codes."""

from __future__ import annotations

import json
import time
from decimal import Decimal
from fractions import Fraction
from itertools import product

import networkx as nx
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from audit import packs
from audit.contract import Example
from audit.trade.capacity import (
    merging_exit_mm,
    people_through,
    together,
    together_bounds,
    width_needed,
)
from audit.trade.dominators import dominator_tree
from audit.trade.escape import (
    FIRE,
    STATES,
    Fire,
    Plan,
    Verdict,
    Ways,
    both,
    either,
    fire,
    free_in,
    free_out,
    picture,
    ways_out,
)
from audit.trade.passing import passing
from tests.sites import dataset

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


def test_packs_hold_the_contract() -> None:
    """The table of local codes, and words for how sure each document is."""
    rows = {
        "one_way_out_people": (60, 60, 49),
        "opens_against_people": (60, 60, 49),
        "exit_delay_s": (15, 15, 15),
        "narrowest_escape_door_mm": (750, 750, 813),
        "mm_per_person": ("5", "5", "5.08"),
        "door_test_every_months": (6, 3, 12),
    }
    found = [packs.load(name) for name in ("generic", "england", "nfpa")]
    for key, values in rows.items():
        assert tuple(p.values[key] for p in found) == values
    for pack in found:
        assert pack.values.keys() == pack.references.keys()
        for cited in (c for group in pack.references.values() for c in group):
            assert cited.sure in packs.SURE
            assert cited.document
            assert cited.says
            # a clause's number moves between editions: document, edition and title are named
            assert cited.sure == "common practice, no source" or (cited.edition and cited.clause)
        assert pack.title
        assert "competent person" in pack.note or "edition adopted" in pack.note


def test_unknown_pack_names_the_nearest() -> None:
    with pytest.raises(ValueError, match=r"englnd.*england"):
        packs.load("englnd")


def test_override_names_lead_to_values() -> None:
    for name, threshold in packs.NAMES.items():
        assert name == f"pack_{threshold.value}"
        assert threshold.value in packs.load("generic").values


# --- free to leave --------------------------------------------------------------------

_GUESSES = {"lock": ("none", "magnet"), "word": ("none", "other"), "flag": (False, True)}


def _all(value: object, choices: tuple[object, ...]) -> tuple[object, ...]:
    return choices if value is None else (value,)


@given(
    st.sampled_from(["none", "magnet", "strike", None]),
    st.sampled_from(["none", "lever", None]),
    st.sampled_from(["none", "button", None]),
    st.sampled_from(["unlocks", "stays-locked", None]),
    st.sampled_from([True, False, None]),
    st.sampled_from(["none", "card", "closed", None]),
)
def test_free_to_leave_is_what_every_completion_says(
    lock: str | None,
    lever: str | None,
    button: str | None,
    power: str | None,
    alarm: bool | None,
    entry: str | None,
) -> None:
    """data.md, free to leave, word for word, over everything a blank could have been."""
    out, back = set(), set()
    for k, m, x, p, a, e in product(
        _all(lock, ("none", "magnet")),
        _all(lever, ("none", "lever")),
        _all(button, ("none", "button")),
        _all(power, ("unlocks", "stays-locked")),
        _all(alarm, (True, False)),
        _all(entry, ("none", "card", "closed")),
    ):
        out.add(
            (
                k == "none" or m != "none" or x != "none",
                k == "none" or m != "none" or p == "unlocks",
                k == "none" or m != "none" or a is True,
            )
        )
        back.add(
            (
                e != "closed" and (e == "none" or k == "none"),
                e != "closed" and (k == "none" or p == "unlocks"),
                e != "closed" and (k == "none" or a is True),
            )
        )
    for state in range(3):
        seen = {o[state] for o in out}
        assert free_out(lock, lever, button, power, alarm)[state] is (
            None if len(seen) > 1 else seen.pop()
        )
        seen = {b[state] for b in back}
        assert free_in(lock, entry, power, alarm)[state] is (None if len(seen) > 1 else seen.pop())


def test_three_valued_words() -> None:
    """Kleene's strong logic, its truth table."""
    assert [either(a, b) for a, b in product((True, None, False), repeat=2)] == [
        True, True, True, True, None, None, True, None, False
    ]  # fmt: skip
    assert [both(a, b) for a, b in product((True, None, False), repeat=2)] == [
        True, None, False, None, None, False, False, False, False
    ]  # fmt: skip


# --- a slow second implementation: every completion, path by path ---------------------

VERDICT = st.sampled_from([True, True, False, None])


def make(
    safe: list[Verdict],
    doors: list[tuple[int, int, Verdict, Verdict]],
    occupants: list[int | None] | None = None,
) -> Plan:
    """A plan whose doors (inside, outside, out, back) are as free in each state."""
    return Plan(
        zones=tuple(f"Z{i}" for i in range(len(safe))),
        listed=len(safe),
        safe=tuple(safe),
        occupants=tuple(occupants if occupants is not None else [1] * len(safe)),
        doors=tuple(f"D{i}" for i in range(len(doors))),
        inside=tuple(d[0] for d in doors),
        outside=tuple(d[1] for d in doors),
        out=tuple((d[2],) * 3 for d in doors),
        back=tuple((d[3],) * 3 for d in doors),
    )


@st.composite
def plans(draw: st.DrawFn, certain: bool = False) -> Plan:
    """Small plans with parallel doors, doors that lead nowhere known, and what is not given."""
    zones = draw(st.integers(2, 5))
    free = st.booleans() if certain else VERDICT
    side = st.integers(0 if certain else -1, zones - 1)
    safety = [False, False, False, True] if certain else [False, False, False, False, True, None]
    known: list[Verdict] = [draw(st.sampled_from(safety)) for _ in range(zones)]
    known[draw(st.integers(0, zones - 1))] = True
    doors = draw(st.lists(st.tuples(side, side, free, free), max_size=7))
    given_people = st.integers(0, 9) if certain else st.sampled_from([0, 1, 5, 9, None])
    return make(known, doors, draw(st.lists(given_people, min_size=zones, max_size=zones)))


def both_ways(plan: Plan) -> list[tuple[tuple[int, int, int], Verdict]]:
    """Each door out of each zone that it names; a side that is not given comes after the zones."""
    found = []
    for door in range(len(plan.doors)):
        sides = [len(plan.zones) if z < 0 else z for z in (plan.inside[door], plan.outside[door])]
        for (a, b), free in ((sides, plan.out), (sides[::-1], plan.back)):
            if a != b and a < len(plan.zones):
                found.append(((a, b, door), free[door][FIRE]))
    return found


def completions(plan: Plan) -> list[tuple[list[bool], list[tuple[int, int, int]]]]:
    """Every way in which what is not given could turn out: (safe zones, steps)."""
    unsafe = [i for i, s in enumerate(plan.safe) if s is None]
    steps = both_ways(plan)
    open_steps = [
        i
        for i, ((_, end, _), free) in enumerate(steps)
        if free is None or (free and end == len(plan.zones))
    ]
    if len(unsafe) + len(open_steps) > 8:
        return []
    found = []
    for guess in product((True, False), repeat=len(unsafe) + len(open_steps)):
        safe = [bool(s) for s in plan.safe] + [True]
        for i, g in zip(unsafe, guess, strict=False):
            safe[i] = g
        taken = dict(zip(open_steps, guess[len(unsafe) :], strict=True))
        found.append(
            (
                safe,
                [step for i, (step, free) in enumerate(steps) if taken.get(i, free)],
            )
        )
    return found


def paths(zone: int, safe: list[bool], steps: list[tuple[int, int, int]]) -> list[tuple[int, ...]]:
    """The doors of every way from a zone to the first place of safety, no zone twice."""
    found = []

    def walk(at: int, been: frozenset[int], doors: tuple[int, ...]) -> None:
        if safe[at]:
            found.append(doors)
            return
        for a, b, door in steps:
            if a == at and b not in been:
                walk(b, been | {b}, (*doors, door))

    walk(zone, frozenset({zone}), ())
    return found


def judged(plan: Plan) -> tuple[Ways, Fire]:
    ways = ways_out(plan)
    return ways, fire(plan, ways)


@settings(max_examples=250, deadline=None)
@given(plans())
def test_says_only_what_every_completion_says(plan: Plan) -> None:
    ways, found = judged(plan)
    worlds = completions(plan)
    if not worlds:
        return
    exits_sum: dict[int, set[int]] = {}
    people = [set() for _ in plan.doors]  # type: list[set[int]]
    for z in range(len(plan.zones)):
        ways_there = [paths(z, safe, steps) for safe, steps in worlds]
        outcomes = {bool(p) for p in ways_there}
        verdict = ways.verdicts[z][FIRE]
        assert verdict is (outcomes.pop() if len(outcomes) == 1 else None)
        cut = [set.intersection(*map(set, p)) if p else set() for p in ways_there]
        if found.weak[z] is True:
            assert all(found.weak_door[z] in c for c in cut)
        elif found.weak[z] is False:
            assert not any(cut)
        else:
            assert len(worlds) > 1
        if plan.safe[z] is not False:
            assert plan.safe[z] is None or not found.exits[z]
            continue
        firsts = [{p[0] for p in ps if p} for ps in ways_there]
        assert {e.door for e in found.exits[z]} == set().union(*firsts)
        assert {e.door for e in found.exits[z] if e.sure} == set.intersection(*firsts)
        exits_sum[z] = {together([d * 10 + 7 for d in f]) for f in firsts if f}
    for safe, steps in worlds:
        count = [0] * len(plan.doors)
        for z, n in enumerate(plan.occupants):
            ways_here = paths(z, safe, steps)
            if ways_here:
                least = min(map(len, ways_here))
                for door in {d for p in ways_here if len(p) == least for d in p}:
                    count[door] += n or 0
        for door, n in enumerate(count):
            people[door].add(n)
    for door, counts in enumerate(people):
        most = found.most[door]
        assert found.least[door] <= min(counts)
        assert most is None or max(counts) <= most
    for z, sums in exits_sum.items():
        width = {e.door: (e.door * 10 + 7,) * 2 for e in found.exits[z]}
        bounds = together_bounds(
            [width[e.door] for e in found.exits[z] if e.sure],
            [width[e.door] for e in found.exits[z] if not e.sure],
        )
        if sums:
            assert bounds[0] <= min(sums)
            assert max(sums) <= bounds[1]


@settings(max_examples=200, deadline=None)
@given(plans(certain=True))
def test_exact_where_everything_is_given(plan: Plan) -> None:
    _, found = judged(plan)
    ((safe, steps),) = completions(plan)
    count = [0] * len(plan.doors)
    for z, n in enumerate(plan.occupants):
        ways_here = paths(z, safe, steps)
        least = min(map(len, ways_here), default=0)
        for door in {d for p in ways_here if len(p) == least for d in p}:
            count[door] += n or 0
        cut = set.intersection(*map(set, ways_here)) if ways_here else set()
        assert found.weak[z] is bool(cut)
        assert (found.weak_door[z] in cut) == bool(cut)
    assert found.least == found.most == count


def test_one_unknown_far_away_changes_nothing_here() -> None:
    """Two stairs of one site; a door of the second has no alarm release given."""
    plan = make(
        [True, False, False],
        [(1, 0, True, False), (2, 0, None, False), (2, 1, False, False)],
        [0, 30, 40],
    )
    ways, found = judged(plan)
    assert [v[FIRE] for v in ways.verdicts] == [True, True, None]
    assert (found.least, found.most) == ([30, 0, 0], [30, 40, 0])
    assert found.weak == [False, True, None]


def test_equally_short_ways_count_at_each_and_nobody_twice() -> None:
    """data.md: fewest doors; where several are equally short they count at each."""
    #    3 -> 1 -> 0 and 3 -> 2 -> 0, and one door after them all
    plan = make(
        [True, False, False, False, False],
        [(3, 1, True, False), (3, 2, True, False), (1, 4, True, False), (2, 4, True, False),
         (4, 0, True, False)],
        [0, 1, 10, 100, 1000],
    )  # fmt: skip
    _, found = judged(plan)
    assert found.least == [100, 100, 101, 110, 1111]


def test_the_obstacle_is_the_first_of_the_fewest_locked_doors() -> None:
    """Zone 3 comes out through zone 1 and one locked door, or through zone 2 and two of them."""
    plan = make(
        [True, False, False, False],
        [(3, 2, False, False), (2, 0, False, False), (3, 1, True, False), (1, 0, False, False)],
    )
    assert [o[FIRE] for o in ways_out(plan).obstacle] == [-1, 3, 1, 3]


def test_people_who_are_not_counted_bound_nothing() -> None:
    plan = make([True, False], [(1, 0, True, False)], [0, None])
    _, found = judged(plan)
    assert (found.least, found.most) == ([0], [None])


def test_a_cupboard_is_no_exit() -> None:
    """A free door into a room whose only way out leads back begins no way to safety."""
    plan = make([True, False, False], [(1, 0, True, False), (2, 1, True, True)])
    _, found = judged(plan)
    assert [[e.door for e in exits] for exits in found.exits] == [[], [0], [1]]


def test_parallel_doors_are_no_weak_door() -> None:
    """Two doors between the same two zones are not a bridge (references/egress.md 7)."""
    plan = make([True, False, False], [(1, 0, True, True), (1, 0, True, True), (2, 1, True, True)])
    _, found = judged(plan)
    assert found.weak == [False, False, True]
    assert found.weak_door[2] == 2


# --- against networkx -----------------------------------------------------------------

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


def _open(edges: list[tuple[int, int]], size: int) -> Plan:
    return make([True] + [False] * (size - 1), [(a, b, True, True) for a, b in edges])


@settings(max_examples=100, deadline=None)
@given(_EDGES)
def test_weak_doors_are_bridges_and_a_flow_of_one(edges: list[tuple[int, int]]) -> None:
    """Free both ways, a zone hangs on one door where a bridge parts it from safety; by Menger's
    theorem where no two ways without a common door lead out."""
    _, found = judged(_open(edges, 8))
    graph = nx.MultiGraph(e for e in edges if e[0] != e[1])
    graph.add_nodes_from(range(8))
    flow = nx.Graph()
    flow.add_nodes_from(range(8))
    for a, b in edges:
        if a != b:
            more = flow.get_edge_data(a, b, {"capacity": 0})["capacity"] + 1
            flow.add_edge(a, b, capacity=more)
    parted = set()
    for a, b in nx.bridges(graph):
        without = graph.copy()
        without.remove_edge(a, b)
        parted |= nx.node_connected_component(graph, 0) - nx.node_connected_component(without, 0)
    for z in range(1, 8):
        value = nx.maximum_flow_value(flow, z, 0)
        if value:
            assert found.weak[z] is (value == 1)
            assert found.weak[z] is (z in parted)
        else:
            assert found.weak[z] is False  # nothing is left to cut


def test_petersen_graph_has_no_weak_door() -> None:
    """No bridges; barbell(5, 0) has one, (4, 5) (references/egress.md 7)."""
    _, found = judged(_open(list(nx.petersen_graph().edges), 10))
    assert found.weak == [False] * 10
    barbell = list(nx.barbell_graph(5, 0).edges)
    _, found = judged(_open(barbell, 10))
    assert found.weak == [False] * 5 + [True] * 5
    assert {barbell[d] for d in found.weak_door[5:]} == {(4, 5)}


@settings(max_examples=150, deadline=None)
@given(_EDGES, st.lists(st.integers(0, 50), min_size=8, max_size=8))
def test_nobody_passes_twice(edges: list[tuple[int, int]], people: list[int]) -> None:
    graph = nx.DiGraph(edges)
    graph.add_nodes_from(range(8))
    expected = [(sum(people[p] for p in nx.ancestors(graph, v) | {v}),) for v in range(8)]
    assert passing(8, edges, (people,)) == expected


# --- size -----------------------------------------------------------------------------


def _seconds(plan: Plan) -> tuple[float, Ways, Fire]:
    begun = time.perf_counter()
    ways, found = judged(plan)
    return time.perf_counter() - begun, ways, found


def test_a_chain_of_20_000_zones() -> None:
    n = 20_000
    plan = make([True] + [False] * (n - 1), [(i + 1, i, True, False) for i in range(n - 1)])
    seconds, ways, found = _seconds(plan)
    assert all(v[FIRE] for v in ways.verdicts)
    assert found.least == list(range(n - 1, 0, -1))
    assert found.weak_door[1:] == list(range(n - 1))
    assert seconds < 10


def test_a_double_chain_with_an_unknown_at_every_step() -> None:
    n = 10_000
    doors: list[tuple[int, int, Verdict, Verdict]] = []
    for i in range(n - 1):
        doors += [(i + 1, i, True, None), (i + 1, i, None, False)]
    seconds, _, found = _seconds(make([True] + [False] * (n - 1), doors))
    assert found.weak == [False] + [None] * (n - 1)
    assert found.least[0] == n - 1
    assert seconds < 15


def test_one_zone_with_10_000_doors() -> None:
    plan = make([True, False], [(1, 0, True, False)] * 10_000, [0, 7])
    seconds, _, found = _seconds(plan)
    assert found.least == [7] * 10_000
    assert found.weak == [False, False]
    assert len(found.exits[1]) == 10_000
    assert seconds < 10


def test_a_grid_where_ways_part_everywhere() -> None:
    side = 60
    doors: list[tuple[int, int, Verdict, Verdict]] = []
    for x, y in product(range(side), repeat=2):
        doors += [(x * side + y, (x - 1) * side + y, True, True)] if x else []
        doors += [(x * side + y, x * side + y - 1, True, True)] if y else []
    seconds, _, found = _seconds(make([True] + [False] * (side**2 - 1), doors))
    last = max(range(len(doors)), key=lambda d: found.least[d])
    assert doors[last][1] == 0
    # by symmetry each of the two doors at the corner serves the whole grid but its far edge
    assert found.least[last] == side * (side - 1)
    assert seconds < 10


# --- from a register ------------------------------------------------------------------

_BLOCK = """
    zones
    zone_id | name   | kind    | occupants
    OUT     | street | outside |
    HALL    | hall   | common  | 4
    STAIR   | stair  | stair   | 0
    F1      | flat 1 | dwelling| 3
    GAP     | loft   | plant   | 2

    doors
    door_id | inside_zone | outside_zone | entry | lock   | exit_input | mechanical_exit | power_loss | alarm_release | clear_width_mm
    D1      | HALL        | OUT          | card  | magnet | button     | none            | unlocks    | no            | 850
    D2      | STAIR       | HALL         | none  | none   | none       | none            |            |               | 800
    D3      | F1          | STAIR        | key   | bolt   | none       | thumbturn       |            | no            | 760

    dwellings
    dwelling_id | zone_id
    1           | F1
"""  # noqa: E501


def test_picture_is_plain_data() -> None:
    data = dataset(Example("a block", _BLOCK, {}))
    drawn = picture(data)
    assert json.loads(json.dumps(drawn)) == drawn
    zones = {z["zone"]: z for z in drawn["zones"]}
    assert zones["F1"]["way_out"] == {"normal": True, "power-lost": True, "fire-alarm": False}
    assert zones["GAP"]["way_out"] == dict.fromkeys(STATES, False)
    assert zones["OUT"]["place_of_safety"] is True
    assert drawn["weak_doors"] == []
    # F1 sorts first: a zone at the first place has its doors like any other
    assert {d["door"]: (d["inside"], d["outside"]) for d in drawn["doors"]} == {
        "D1": ("HALL", "OUT"), "D2": ("STAIR", "HALL"), "D3": ("F1", "STAIR")
    }  # fmt: skip
    assert zones["OUT"]["people_out"] == [0, 0]


def test_picture_of_a_door_without_a_width_is_unbounded() -> None:
    drawn = picture(
        dataset(Example("no width", _BLOCK.replace("no            | 850", "yes |"), {}))
    )
    zones = {z["zone"]: z for z in drawn["zones"]}
    assert zones["HALL"]["people_out"] == [0, None]
    swapped = _BLOCK.replace("HALL        | OUT  ", "OUT | F1").replace(
        "F1          | STAIR", "OUT | F1"
    )
    doors = {d["door"]: d for d in picture(dataset(Example("swapped", swapped, {})))["doors"]}
    assert doors["D3"]["outside"] == "F1"


def test_picture_of_the_mended_block() -> None:
    drawn = picture(
        dataset(Example("mended", _BLOCK.replace("| no            | 850", "|yes|850"), {}))
    )
    zones = {z["zone"]: z for z in drawn["zones"]}
    assert zones["F1"]["weak_door"] == "D3"
    assert zones["STAIR"]["exits"] == [{"door": "D2", "sure": True}]
    assert zones["HALL"]["people_out"] == [110, 110]
    assert {d["door"]: d["people"] for d in drawn["doors"]} == {
        "D1": [7, 7], "D2": [3, 3], "D3": [3, 3]
    }  # fmt: skip
    assert [w["door"] for w in drawn["weak_doors"]] == ["D1", "D2", "D3"]
    assert [w["zones"] for w in drawn["weak_doors"]] == [["HALL"], ["STAIR"], ["F1"]]
