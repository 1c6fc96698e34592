"""Ways out against a slow plain reading of the contract's words, on drawn registers.

The plain reading knows nothing of the program: it walks every way, door by door. What the rules
say of a register with blanks must hold for whatever the blanks could mean.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import product

import networkx as nx
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from audit.arithmetic.network import Plan, built, members, ways_out
from audit.arithmetic.three import NO, UNCLEAR, YES
from tests.sites import all_rules, answer, dataset, example

RULES = {r.name: r for r in all_rules()}
Row = dict[str, str]
STATES = ("normal", "power-lost", "fire-alarm")
CHOICES = {
    "kind": ("common", "dwelling", "plant", "tenancy"),
    "tenancy": ("", "X"),
    "entry": ("none", "card", "key", "closed"),
    "lock": ("none", "magnet", "strike", "key"),
    "power_loss": ("unlocks", "stays-locked"),
    "exit_input": ("none", "button"),
    "mechanical_exit": ("none", "lever", "key"),
    "emergency_release": ("yes", "no"),
    "alarm_release": ("yes", "no"),
}
DOOR = tuple(c for c in CHOICES if c not in ("kind", "tenancy"))


@st.composite
def registers(draw: st.DrawFn, blanks: int) -> tuple[list[Row], list[Row], str]:
    zones = [{"zone_id": "OUT", "kind": "outside", "tenancy": "", "occupants": ""}]
    for i in range(draw(st.integers(1, 4))):
        row = {c: draw(st.sampled_from(CHOICES[c])) for c in ("kind", "tenancy")}
        zones.append({"zone_id": f"Z{i}", "occupants": str(draw(st.integers(1, 3))), **row})
    names = [z["zone_id"] for z in zones]
    doors = []
    for i in range(draw(st.integers(1, 5))):
        row = {c: draw(st.sampled_from(CHOICES[c])) for c in DOOR}
        sides = draw(st.permutations(names))[:2]
        doors.append({"door_id": f"D{i}", "inside_zone": sides[0], "outside_zone": sides[1], **row})
    for _ in range(blanks):
        door = draw(st.sampled_from(doors))
        door[draw(st.sampled_from(DOOR))] = ""
    return zones, doors, draw(st.sampled_from(("yes", "no")))


def text(zones: list[Row], doors: list[Row]) -> str:
    def table(name: str, rows: list[Row]) -> str:
        lines = [" | ".join(r[k] for k in rows[0]) for r in rows]
        return "\n".join([name, " | ".join(rows[0]), *lines])

    return table("zones", zones) + "\n\n" + table("doors", doors)


def lock_of(door: Row) -> str:
    lock, entry = door["lock"], door["entry"]
    if lock == "none" and entry in ("key", "closed"):
        return "key"
    return "?" if lock == "none" and entry == "card" else lock


def leaves(door: Row, state: str) -> bool | None:
    """Free from inside to outside; None: the lock that a card would need is not recorded."""
    lock = lock_of(door)
    if lock == "none":
        return True
    handle = door["mechanical_exit"] == "lever"
    if lock == "key":
        return handle
    unlocks = door["power_loss"] == "unlocks"
    green = door["emergency_release"] == "yes" and unlocks
    by_state = {
        "normal": door["exit_input"] == "button" or green,
        "power-lost": unlocks,
        "fire-alarm": door["alarm_release"] == "yes" or green,
    }[state]
    if lock == "?":
        return True if handle and by_state else None
    return (handle and lock != "magnet") or by_state


def enters(door: Row, state: str) -> bool | None:
    """Free from outside to inside."""
    lock = lock_of(door)
    if door["entry"] in ("closed", "key") or lock == "key":
        return False
    lets_go = {
        "normal": True,
        "power-lost": door["power_loss"] == "unlocks",
        "fire-alarm": door["alarm_release"] == "yes",
    }[state]
    if door["entry"] == "none":
        return True if state == "normal" else lock == "none" or lets_go
    if state == "normal":
        return False
    return None if lock == "?" else lets_go


def passable(zone: Row, start: Row) -> bool:
    own = zone["tenancy"] != "" and zone["tenancy"] == start["tenancy"]
    return zone["kind"] in ("outside", "court", "common", "stair", "parking") or own


def ways(
    zones: list[Row], doors: list[Row], start: Row, state: str, built: str = ""
) -> list[list[str]]:
    """Every chain of doors from the zone to the street that passes no zone twice; `built`: the
    lock state is ignored, and says whether there is a communal alarm."""
    by_id = {z["zone_id"]: z for z in zones}
    found: list[list[str]] = []

    def walk(zone: str, passed: list[str], chain: list[str]) -> None:
        if zone == "OUT":
            found.append(chain)
            return
        if zone != start["zone_id"] and not passable(by_id[zone], start):
            return
        for door in doors:
            for here, there, outward in (
                (door["inside_zone"], door["outside_zone"], True),
                (door["outside_zone"], door["inside_zone"], False),
            ):
                if here != zone or there in passed:
                    continue
                if built:
                    free = outward or enters(door, "normal")
                    free = free or (built == "yes" and bool(enters(door, "fire-alarm")))
                else:
                    free = bool(leaves(door, state) if outward else enters(door, state))
                if free:
                    walk(there, [*passed, there], [*chain, door["door_id"]])

    walk(start["zone_id"], [start["zone_id"]], [])
    return found


def is_recorded(zones: list[Row], doors: list[Row], start: str) -> bool:
    graph = nx.Graph([(d["inside_zone"], d["outside_zone"]) for d in doors])
    return start in graph and "OUT" in graph and nx.has_path(graph, start, "OUT")


def trapped(zones: list[Row], doors: list[Row], alarm: str) -> dict[str, bool]:
    """Who has no way out in a state, by the plain reading; recorded zones only."""
    states = STATES if alarm == "yes" else STATES[:2]
    return {
        z["zone_id"]: any(not ways(zones, doors, z, s) for s in states)
        for z in zones[1:]
        if is_recorded(zones, doors, z["zone_id"])
    }


def said(rule: str, zones: list[Row], doors: list[Row], alarm: str) -> dict[str, bool | None]:
    made = dataset(example(text(zones, doors), building={"communal_alarm": alarm}))
    return answer(RULES[rule], made)


def certain(doors: list[Row]) -> bool:
    return all(lock_of(d) != "?" for d in doors)


@given(registers(blanks=0))
@settings(max_examples=60, deadline=None)
def test_a_complete_register_is_judged_to_the_letter(
    drawn: tuple[list[Row], list[Row], str],
) -> None:
    zones, doors, alarm = drawn
    found = said("zone-without-way-out", zones, doors, alarm)
    for zone, is_trapped in trapped(zones, doors, alarm).items():
        if certain(doors):
            assert found[zone] is is_trapped
        elif found[zone] is not None:
            assert found[zone] is is_trapped or is_trapped  # an unsaid lock may be shut


def completions(doors: list[Row]) -> Iterator[list[Row]]:
    holes = [(i, c) for i, d in enumerate(doors) for c in DOOR if d[c] == ""]
    for words in product(*(CHOICES[c] for _, c in holes)):
        full = [dict(d) for d in doors]
        for (i, c), word in zip(holes, words, strict=True):
            full[i][c] = word
        if certain(full):
            yield full


@given(registers(blanks=3))
@settings(max_examples=40, deadline=None)
def test_what_is_said_holds_for_all_that_blanks_could_mean(
    drawn: tuple[list[Row], list[Row], str],
) -> None:
    zones, doors, alarm = drawn
    found = said("zone-without-way-out", zones, doors, alarm)
    for full in completions(doors):
        for zone, is_trapped in trapped(zones, full, alarm).items():
            assert found[zone] in (None, is_trapped), zone


@given(registers(blanks=0))
@settings(max_examples=60, deadline=None)
def test_only_doors_are_those_on_every_way_as_built(
    drawn: tuple[list[Row], list[Row], str],
) -> None:
    zones, doors, alarm = drawn
    if not certain(doors):
        return
    marked = [{**d, "escape_route": "no"} for d in doors]
    found = said("only-way-out-not-marked", zones, marked, alarm)
    for door in doors:
        only = False
        for zone in zones[1:]:
            every = ways(zones, doors, zone, "", built=alarm)
            only |= bool(every) and all(door["door_id"] in way for way in every)
        assert found[door["door_id"]] is only


@given(registers(blanks=0))
@settings(max_examples=60, deadline=None)
def test_everybody_at_a_door_is_whose_shortest_way_passes_it(
    drawn: tuple[list[Row], list[Row], str],
) -> None:
    zones, doors, alarm = drawn
    if not certain(doors):
        return
    shut = [{**d, "opens_with_escape": "no"} for d in doors]
    made = dataset(
        example(
            text(zones, shut),
            building={"communal_alarm": alarm},
            policy={"pack_opens_against_people": 0},
        )
    )
    found = answer(RULES["escape-door-opens-inward"], made)
    for door in doors:
        people = 0
        for zone in zones[1:]:
            every = ways(zones, doors, zone, "", built=alarm)
            short = [w for w in every if len(w) == min(map(len, every))]
            people += int(zone["occupants"]) * any(door["door_id"] in w for w in short)
        assert found[door["door_id"]] is (people > 0)


# --- general graphs, against a graph library ---------------------------------------------


def open_plan(edges: list[tuple[int, int]], zones: int) -> Plan:
    """Every door free both ways, zone 0 safe, every zone one that anybody passes."""
    free = np.full((len(edges), 3), YES, np.int8)
    return Plan(
        zones=tuple(f"Z{i:03}" for i in range(zones)),
        doors=tuple(f"D{i:03}" for i in range(len(edges))),
        passable=np.full(zones, YES, np.int8),
        safe=np.array([YES] + [NO] * (zones - 1), np.int8),
        tenancy=np.full(zones, -1),
        alarm=np.full(zones, NO, np.int8),
        inside=np.array([a for a, _ in edges], np.int64),
        outside=np.array([b for _, b in edges], np.int64),
        out=free,
        back=free,
    )


EDGES = st.lists(
    st.tuples(st.integers(0, 7), st.integers(0, 7)).filter(lambda e: e[0] != e[1]),
    min_size=1,
    max_size=14,
)


@given(EDGES)
@settings(max_examples=60, deadline=None)
def test_weak_doors_are_the_bridges_of_the_graph(edges: list[tuple[int, int]]) -> None:
    found = built(open_plan(edges, 8))
    graph = nx.MultiGraph(edges)
    graph.add_nodes_from(range(8))
    for zone in range(1, 8):
        if not nx.has_path(graph, zone, 0):
            assert found.way[zone] == NO
            continue
        cut = [
            i
            for i, edge in enumerate(edges)
            if not nx.has_path(
                nx.MultiGraph([e for j, e in enumerate(edges) if j != i] + [(zone, zone), (0, 0)]),
                zone,
                0,
            )
        ]
        assert (found.weak[zone] == YES) == bool(cut)
        only = {d for d in range(len(edges)) if zone in members(found.only[d][0], 8).tolist()}
        assert only == set(cut)


def test_petersen_graph_has_no_weak_door() -> None:
    """Three-connected (Petersen 1898): no door's closing cuts a way."""
    found = built(open_plan(list(nx.petersen_graph().edges), 10))
    assert found.weak == [NO] * 10


@pytest.mark.parametrize("size", [3_000])
def test_a_long_chain_is_no_trouble(size: int) -> None:
    plan = open_plan([(i + 1, i) for i in range(size)], size + 1)
    assert (ways_out(plan) == YES).all()
    found = built(plan)
    assert found.weak[1:] == [YES] * size
    assert len(members(found.through[0][0], size + 1)) == size


def test_a_door_whose_id_is_not_recorded_may_lead_anywhere() -> None:
    made = dataset(
        example(
            """
            zones
            zone_id | kind | occupants
            OUT | outside |
            A | common | 5

            doors
            door_id | inside_zone | outside_zone | entry | lock | mechanical_exit
            D1 | A | OUT | key | key | none
             | A | OUT | none | none | none
            """,
            building={"communal_alarm": "no"},
        )
    )
    assert answer(RULES["zone-without-way-out"], made) == {"A": None}
    assert UNCLEAR not in (YES, NO)
