"""The rules about leaving against a plain reading of data.md, over everything blanks could mean."""

from __future__ import annotations

from itertools import product
from typing import Any

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from audit.engine import run
from audit.trade.escape import picture
from tests.sites import all_rules, answer, dataset, example

RULES = {r.name: r for r in all_rules() if r.family in ("escape", "doors")}
STATES = ("normal", "power-lost", "fire-alarm")

ZONE_CELLS: dict[str, tuple[str, ...]] = {
    "kind": ("outside", "common", "dwelling"),
    "occupants": ("0", "50", "61", "300"),
    "place_of_safety": ("", "", "", "no", "yes"),
}
DOOR_CELLS: dict[str, tuple[str, ...]] = {
    "entry": ("none", "card", "closed"),
    "lock": ("none", "magnet", "strike"),
    "power_loss": ("unlocks", "stays-locked"),
    "exit_input": ("none", "button"),
    "mechanical_exit": ("none", "none", "lever"),
    "exit_reader": ("yes", "no"),
    "emergency_release": ("yes", "no"),
    "alarm_release": ("yes", "yes", "no"),
    "escape_route": ("yes", "yes", "no"),
    "opens_with_escape": ("yes", "no"),
    "clear_width_mm": ("700", "760", "850.5", "1500"),
    "exit_delay_s": ("0", "15", "16"),
}
BLANKABLE = ("kind", "occupants", "lock", "mechanical_exit", "alarm_release", "entry",
             "exit_input", "escape_route", "clear_width_mm", "opens_with_escape")  # fmt: skip
Register = tuple[list[dict[str, str]], list[dict[str, str]]]


@st.composite
def registers(draw: st.DrawFn, blanks: int) -> Register:
    names = [f"Z{i}" for i in range(draw(st.integers(2, 4)))]
    zones = [
        {"zone_id": n, **{c: draw(st.sampled_from(w)) for c, w in ZONE_CELLS.items()}}
        for n in names
    ]
    outside = draw(st.integers(0, len(zones) - 1))
    zones[outside] |= {"kind": "outside", "place_of_safety": ""}
    doors = [
        {
            "door_id": f"D{i}",
            "inside_zone": draw(st.sampled_from(names)),
            "outside_zone": draw(st.sampled_from(names)),
            **{c: draw(st.sampled_from(w)) for c, w in DOOR_CELLS.items()},
        }
        for i in range(draw(st.integers(1, 5)))
    ]
    for _ in range(draw(st.integers(0, blanks))):
        row = draw(st.sampled_from([*zones, *doors]))
        row[draw(st.sampled_from([c for c in row if c in BLANKABLE]))] = ""
    return zones, doors


def text(register: Register) -> str:
    blocks = []
    for name, rows in zip(("zones", "doors"), register, strict=True):
        lines = [" | ".join(rows[0]), *(" | ".join(r.values()) for r in rows)]
        blocks.append("\n".join([name, *lines]))
    return "\n\n".join(blocks)


def completions(register: Register) -> list[Register]:
    zones, doors = register
    gaps = [(r, c) for r in (*zones, *doors) for c in BLANKABLE if c in r and r[c] == ""]
    words = [sorted(set((ZONE_CELLS | DOOR_CELLS)[c])) for _, c in gaps]
    found = []
    for guess in product(*words):
        filled = {(id(r), c): w for (r, c), w in zip(gaps, guess, strict=True)}
        found.append(
            tuple([{c: filled.get((id(r), c), v) for c, v in r.items()} for r in rows]
                  for rows in register)
        )  # fmt: skip
    return found


def free(door: dict[str, str], state: str, outward: bool) -> bool:
    """data.md, free to leave."""
    lockless = door["lock"] == "none"
    if outward:
        if lockless or door["mechanical_exit"] != "none":
            return True
        return {
            "normal": door["exit_input"] != "none",
            "power-lost": door["power_loss"] == "unlocks",
            "fire-alarm": door["alarm_release"] == "yes",
        }[state]
    if door["entry"] == "closed":
        return False
    return {
        "normal": door["entry"] == "none" or lockless,
        "power-lost": lockless or door["power_loss"] == "unlocks",
        "fire-alarm": lockless or door["alarm_release"] == "yes",
    }[state]


def safe(zone: dict[str, str]) -> bool:
    said = zone["place_of_safety"]
    return said == "yes" or (said == "" and zone["kind"] == "outside")


def paths(register: Register, start: str, state: str) -> list[list[str]]:
    zones, doors = register
    haven = {z["zone_id"] for z in zones if safe(z)}
    found: list[list[str]] = []

    def walk(at: str, been: set[str], through: list[str]) -> None:
        if at in haven:
            found.append(through)
            return
        for d in doors:
            for a, b, outward in (
                (d["inside_zone"], d["outside_zone"], True),
                (d["outside_zone"], d["inside_zone"], False),
            ):
                if a == at and b not in been and free(d, state, outward):
                    walk(b, been | {b}, [*through, d["door_id"]])

    walk(start, {start}, [])
    return found


def passes(width: str) -> int:
    """generic: < 750: 0; 750: 60; 850: 110; 1050: 220; wider: a fifth, at least 220."""
    tenths = round(float(width) * 10)
    if tenths >= 10500:
        return max(220, tenths // 50)
    return 110 if tenths >= 8500 else 60 if tenths >= 7500 else 0


def plain_reading(register: Register) -> dict[str, set[str]]:
    """Findings of a complete register by the catalogue's words."""
    zones, doors = register
    found: dict[str, set[str]] = {name: set() for name in RULES}
    depend = dict.fromkeys((d["door_id"] for d in doors), 0)
    width = {d["door_id"]: passes(d["clear_width_mm"]) for d in doors}
    for z in zones:
        zone, people = z["zone_id"], int(z["occupants"])
        ways = {s: paths(register, zone, s) for s in STATES}
        if (people or z["kind"] == "dwelling") and not all(ways.values()):
            found["zone-without-way-out"].add(zone)
        out = [w for w in ways["fire-alarm"] if w]
        if not out:
            continue
        shortest = min(map(len, out))
        for door in {d for w in out if len(w) == shortest for d in w}:
            depend[door] += people
        if people > 60 and set.intersection(*map(set, out)):
            found["zone-with-one-way-out"].add(zone)
        exits = [width[d] for d in {w[0] for w in out}]
        if sum(exits) - (max(exits) if len(exits) > 1 else 0) < people:
            found["exit-capacity-short"].add(zone)
    for d in doors:
        door = d["door_id"]
        if int(d["exit_delay_s"]) > 15:
            found["escape-door-delayed"].add(door)
        if d["opens_with_escape"] == "no" and depend[door] > 60:
            found["escape-door-opens-inward"].add(door)
        if d["escape_route"] == "no":
            continue
        if float(d["clear_width_mm"]) < 750 or width[door] < depend[door]:
            found["exit-too-narrow"].add(door)
        if d["lock"] == "none" or d["mechanical_exit"] != "none":
            continue
        if d["exit_reader"] == "yes" and d["exit_input"] == "none":
            found["escape-door-needs-credential"].add(door)
        if d["power_loss"] == "stays-locked":
            found["escape-door-locked-without-power"].add(door)
        if d["emergency_release"] == "no":
            found["escape-door-without-emergency-release"].add(door)
        if d["alarm_release"] == "no":
            found["escape-door-without-alarm-release"].add(door)
    return found


ESCAPE = sorted(n for n, r in RULES.items() if r.family == "escape")


def told(register: Register) -> dict[str, dict[str, bool | None]]:
    data = dataset(example(text(register)))
    return {name: answer(RULES[name], data) for name in ESCAPE}


@settings(max_examples=60, deadline=None)
@given(registers(blanks=0))
def test_a_complete_register_is_judged_to_the_letter(register: Register) -> None:
    expected = plain_reading(register)
    for name, verdicts in told(register).items():
        assert None not in verdicts.values()
        assert {s for s, v in verdicts.items() if v} == expected[name]


@settings(max_examples=120, deadline=None)
@given(registers(blanks=3))
def test_what_is_said_holds_for_all_that_blanks_could_mean(register: Register) -> None:
    worlds = completions(register)
    if len(worlds) > 150:
        return
    expected = [plain_reading(w) for w in worlds]
    for name, verdicts in told(register).items():
        for subject, verdict in verdicts.items():
            found = [subject in e[name] for e in expected]
            if verdict is True:
                assert all(found), (name, subject)
            elif verdict is False:
                assert not any(found), (name, subject)
            else:
                assert len(worlds) > 1, (name, subject)


def test_the_width_that_is_needed_is_never_below_the_narrowest() -> None:
    """32 in (813 mm) even for one person: International Building Code 2018, 1010.1.1 (read)."""
    table = """
        zones
        zone_id | kind    | occupants
        OUT     | outside |
        A       | common  | 1
        B       | common  | 400

        doors
        door_id | inside_zone | outside_zone | lock | escape_route | clear_width_mm
        D1      | A           | OUT          | none | yes          | 700
        D2      | B           | OUT          | none | yes          | 813
        """
    data = dataset(example(table, site={"local_code": "nfpa"}))
    (judged,) = run([RULES["exit-too-narrow"]], data)
    needed = {f.subjects["door"][0]: f.evidence["width_needed_mm"] for f in judged.findings}
    assert needed == {"D1": 813, "D2": 2032}  # 400 people at 0.2 in: 80 in


def test_a_trapped_zone_names_the_door_and_the_states() -> None:
    """A free flat door, and a front door that neither the alarm nor a power cut opens."""
    table = """
        zones
        zone_id | kind     | occupants
        OUT     | outside  |
        HALL    | common   | 1
        FLAT    | dwelling | 2

        doors
        door_id | inside_zone | outside_zone | lock   | exit_input | mechanical_exit | power_loss   | alarm_release | entry
        A       | FLAT        | HALL         | bolt   | none       | thumbturn       | stays-locked | no            | key
        Z       | HALL        | OUT          | strike | button     | none            | stays-locked | no            | card
        """  # noqa: E501
    (judged,) = run([RULES["zone-without-way-out"]], dataset(example(table)))
    assert {f.subjects["zone"][0]: f.evidence for f in judged.findings} == {
        zone: {"states": ["power-lost", "fire-alarm"], "doors": ["Z"], "recorded_doors": n}
        for zone, n in (("HALL", 2), ("FLAT", 1))
    }


_TWICE = """
    zones
    zone_id | kind    | occupants
    OUT     | outside |
    A       | common  | 5
    A       | common  | 500

    doors
    door_id | inside_zone | outside_zone | lock   | exit_input | mechanical_exit | status_monitor | escape_route | exit_delay_s | clear_width_mm
    D       | A           | OUT          | none   | button     | none            | contact        | yes          | 0            | 800
    D       | A           | OUT          | magnet | button     | none            | none           | yes          | 90           | 300
"""  # noqa: E501


def test_of_a_repeated_id_the_first_row_counts() -> None:
    data = dataset(example(_TWICE))
    for judged in run(list(RULES.values()), data):
        assert judged.outcome.state != "failed", judged.outcome
        assert not judged.findings, judged.outcome


@pytest.mark.parametrize("tables", ["zones", "doors", "neither"])
def test_an_absent_or_empty_table_is_no_pass(tables: str) -> None:
    blocks = {
        "zones": "zones\nzone_id | kind | occupants\nA | common | 5",
        "doors": "doors\ndoor_id | inside_zone | outside_zone | lock | escape_route\n"
        "D | A | B | magnet | yes",
        "neither": "zones\nzone_id | kind | occupants\n\n"
        "doors\ndoor_id | inside_zone | outside_zone | lock",
    }
    data = dataset(example(blocks[tables]))
    for judged in run(list(RULES.values()), data):
        assert judged.outcome.state != "failed", judged.outcome
        assert judged.outcome.found == 0
    assert picture(data)["states"] == list(STATES)


def test_a_zone_that_only_a_door_names_is_not_taken_for_safe_nor_for_a_trap() -> None:
    data = dataset(
        example("""
            zones
            zone_id | kind   | occupants
            A       | common | 5

            doors
            door_id | inside_zone | outside_zone | lock | mechanical_exit
            D       | A           | ELSEWHERE    | none | none
            """)
    )
    assert answer(RULES["zone-without-way-out"], data) == {"A": None}


def test_the_four_products_promises_about_exit_inputs() -> None:
    """Every pair of exit input and monitor, word by word: none, a word, blank, not understood."""
    inputs = {"none": False, "button": True, "sensor": True, "handle-switch": True}
    monitors = {"none": True, "contact": False, "contact-and-bolt": False}
    cells_in: list[tuple[str, Any]] = [*inputs.items(), ("", None), ("?", None)]
    cells_mon: list[tuple[str, Any]] = [*monitors.items(), ("", None), ("?", None)]
    rows, expected = [], {}
    for i, ((given_in, has), (given_mon, lacks)) in enumerate(product(cells_in, cells_mon)):
        rows.append(f"D{i} | {given_in} | {given_mon}")
        if has is False:
            continue
        expected[f"D{i}"] = False if lacks is False else None if None in (has, lacks) else True
    table = "\n".join(["doors", "door_id | exit_input | status_monitor", *rows])
    data = dataset(example(table))
    assert answer(RULES["exit-input-without-monitor"], data) == expected
    assert pd.Series(expected).eq(True).sum() == 3
