"""Invented records and plans for the report's tests: empty, middling, and ten thousand findings."""

import hashlib
import random
from typing import Any

RULES: list[tuple[str, str, bool, str, str, str]] = [
    # name, priority, life safety, subject keys, summary, remedy
    ("escape-door-needs-credential", "immediate", True, "door",
     "Those who leave through {door} need a card: no exit input and no mechanical exit is given.",
     "Fit a mechanical exit, or an exit input that works without a credential, and test it."),
    ("zone-without-way-out", "immediate", True, "zone",
     "{zone}: no chain of doors leads to a place of safety when the power is lost.",
     "Have a competent person look at the lock of the last door, and change it so that it opens."),
    ("pin-guessable", "immediate", False, "pin",
     "PIN {pin} follows a keypad line; a guesser comes to it at about try 40.",
     "Give the holder a new random PIN and delete this one at every controller."),
    ("departed-with-card", "immediate", False, "person card",
     "{person} left on 31 July 2026 and still holds the live card {card}.",
     "Withdraw the card: suspend it in the register, and delete it at every controller."),
    ("exit-input-without-monitor", "planned", False, "door",
     "{door} has an exit button and no status monitor: nobody learns that it was left open.",
     "Fit a door contact and connect it to the controller."),
    ("card-without-dwelling", "planned", False, "card",
     "Card {card} is bound to no dwelling, neither itself nor through its holder.",
     "Find the holder and bind the card to a dwelling, or withdraw it."),
    ("door-test-overdue", "planned", False, "door",
     "{door} was last tested on 12 January 2026; every 3 months is asked for here.",
     "Test the door, and write the date into the door schedule."),
    ("card-dormant", "advisory", False, "card",
     "Card {card} was last used 212 days ago.",
     "Ask the holder whether it is still needed; withdraw it where not."),
    ("person-listed-twice", "advisory", False, "people",
     "{people} look like one person listed twice.",
     "Keep one of the rows, and move its cards and permissions to it."),
]  # fmt: skip
WHY = {
    "escape-door-needs-credential": "In smoke and in panic nobody finds a card. A door on the way "
    "out must open in one movement, without a key, a card or knowledge.",
    "pin-guessable": "Someone who stands at the panel tries the popular codes first. This one comes"
    " early in that order, so a few visits are enough.",
}
REFERENCES = {
    "escape-door-needs-credential": ["Approved Document B, vol. 1, 2019, section 3 (quoted)"],
    "pin-guessable": ["NIST SP 800-63B rev 3, 5.1.1.2 (read)", "common practice, no source"],
}
FAMILIES = [
    ("loaded-unknown", "the loaded table is absent"),
    ("loaded-for-departed", "the loaded table is absent"),
    ("permitted-not-loaded", "the loaded table is absent"),
    ("used-after-departure", "the events table is absent"),
    ("forced-door", "the events table is absent"),
    ("held-open-often", "the events table is absent"),
    ("exit-capacity-short", "the zones table has no occupants column"),
    ("escape-door-delayed", "the doors table has no exit_delay_s column"),
    ("panel-pins-exceeded", "equipment pins_per_panel is not given"),
]
FIRST = ["Oda", "Ivo", "Zoë", "Milan", "Réka", "Tuva", "Ansel", "Łucja", "Bran", "Yara"]
LAST = ["Abara", "Brekk", "Čapek", "Dunlea", "Eszes", "Falk", "Grieve", "Hollis", "Ilves", "Jura"]


def finding(rule: int, at: int, change: str | None, rng: random.Random) -> dict[str, Any]:
    name, priority, life_safety, keys, summary, remedy = RULES[rule]
    subjects = {}
    for key in keys.split():
        if key == "people":
            subjects[key] = [f"R{at:04d}", f"R{at + 1:04d}"]
        else:
            letter = {"door": "D", "zone": "Z", "pin": "P", "card": "C", "person": "R"}[key]
            subjects[key] = [f"{letter}{at:04d}"]
    told = {key: " and ".join(values) for key, values in subjects.items()}
    digest = hashlib.sha256(f"{name} {subjects}".encode()).hexdigest()[:16]
    table = {"door": "doors", "zone": "zones", "pin": "pins", "card": "cards", "person": "people"}
    first = keys.split()[0]
    return {
        "id": digest,
        "rule": name,
        "priority": priority,
        "life_safety": life_safety,
        "subjects": subjects,
        "sources": [
            {"file": f"{table.get(first, 'people')}.csv", "sheet": None, "row": at + 2},
            *([{"file": "cards.xlsx", "sheet": "Fobs", "row": at + 9}] if "card" in keys else []),
        ],
        "summary": summary.format(**told),
        "why": WHY.get(name, "A managing agent reads here, in a sentence or two, why this matters "
                       "to the people who live in the building."),
        "remedy": remedy,
        "evidence": {"digits": 4, "minimum": 6, "pattern": "keypad column", "tries": 40}
        if name == "pin-guessable"
        else {"last_used": "2026-03-02", "days": 212, "doors": [f"D{rng.randrange(40):03d}"
              for _ in range(rng.randrange(1, 5))]},
        "references": REFERENCES.get(name, ["common practice, no source"]),
        "change": change,
        "decision": None,
    }  # fmt: skip


def record(count: int = 60, *, compared: bool = True, seed: int = 1) -> dict[str, Any]:
    """A record with `count` findings in the order of the contract."""
    rng = random.Random(seed)
    findings = []
    for at in range(count):
        rule = at % len(RULES) if count < 200 else rng.choice([2, 3, 4, 5, 5, 6, 7, 7, 7, 8])
        change = rng.choice(["new", "standing", "standing", "returned"]) if compared else None
        findings.append(finding(rule, at, change, rng))
    order = ["immediate", "planned", "advisory"]
    findings.sort(key=lambda one: (order.index(one["priority"]), one["rule"], one["id"]))
    found = {rule[0]: sum(one["rule"] == rule[0] for one in findings) for rule in RULES}
    outcomes = [
        {"rule": name, "state": "partly" if at % 4 == 2 else "assessed",
         "checked": 99 + found[name], "unassessed": 7 if at % 4 == 2 else 0,
         "found": found[name], "reason": None}
        for at, name in enumerate(found)
    ]  # fmt: skip
    outcomes += [
        {"rule": name, "state": "not-assessed", "checked": 0, "unassessed": 0, "found": 0,
         "reason": reason}
        for name, reason in FAMILIES
    ]  # fmt: skip
    return {
        "format": "door-audit findings 2",
        "site": {"name": "Larkhill Court", "timezone": "Europe/Dublin", "local_code": "generic"},
        "as_of": "2026-09-30",
        "stage": "review",
        "audience": "full",
        "inputs": [
            {"table": table, "file": f"{table}.csv", "commitment": hashlib.sha256(
                table.encode()).hexdigest(), "rows": 40 + 13 * at, "set_aside": at % 2}
            for at, table in enumerate(["dwellings", "people", "cards", "pins", "doors", "zones"])
        ],
        "outcomes": outcomes,
        "findings": findings,
        "mended": [
            {"id": f"{at:016x}", "rule": "card-without-dwelling", "subjects": {"card": [f"C9{at}"]}}
            for at in range(5 if compared else 0)
        ],
        "not_reassessed": [
            {"id": f"{at + 64:016x}", "rule": "loaded-unknown",
             "subjects": {"door": ["D004"], "number": [f"40{at}"]}}
            for at in range(2 if compared else 0)
        ],
        "totals": {word: sum(one["priority"] == word for one in findings) for word in order},
    }  # fmt: skip


def empty() -> dict[str, Any]:
    """A record of a site of which nothing was given but its name."""
    bare = record(0, compared=False)
    bare["inputs"] = []
    for outcome in bare["outcomes"]:
        outcome.update(state="not-assessed", checked=0, unassessed=0,
                       reason="the table is absent")  # fmt: skip
    return bare


def clean() -> dict[str, Any]:
    """A record in which everything was looked at and nothing found."""
    good = record(0, compared=False)
    for outcome in good["outcomes"]:
        outcome.update(state="assessed", checked=50, unassessed=0, reason=None)
    return good


def verdict(state: str, words: str) -> dict[str, Any]:
    """A verdict of these words, with nothing kept, of no parts."""
    coverage = {"assessed": 1, "partly": 0, "not_assessed": 0, "not_applicable": 0, "failed": 0}
    return {
        "state": state, "words": words, "coverage": coverage, "important_not_run": [],
        "pack_silent": [], "parts": [], "next": [], "kept": 0, "promised": 0,
    }  # fmt: skip


def plan(record: dict[str, Any], *, dwellings: int = 12) -> dict[str, Any]:
    """A plan that goes with a record: three buildings, their hours, ways out, reach and roll."""
    rng = random.Random(7)
    buildings = ["Rowan House", "Alder House", "Mews"]
    places = [{"id": f"b{at}", "name": name, "parent": None} for at, name in enumerate(buildings)]
    for at in range(2):
        places += [
            {"id": f"b{at}c{core}", "name": f"Core {core}", "parent": f"b{at}"} for core in (1, 2)
        ]
    names: dict[str, dict[str, str]] = {"person": {}, "door": {}, "zone": {}, "dwelling": {}}
    for at in range(400):
        names["person"][f"R{at:04d}"] = f"{FIRST[at % 10]} {LAST[at // 10 % 10]}"
        names["door"][f"D{at:04d}"] = ["Main entrance", "Rear stair", "Bin store", "Car park"][
            at % 4
        ]
    ids = ["b0c1", "b0c2", "b1c1", "b1c2", "b2"]
    where = {one["id"]: [ids[at % 5]] for at, one in enumerate(record["findings"]) if at % 7}
    working = [[420, 1140]]
    weeks = [
        {"id": "S-trades", "name": "Trades", "kind": "schedule",
         "days": {**dict.fromkeys(("mon", "tue", "wed", "thu", "fri"), working),
                  "sat": [[480, 720]], "sun": [], "holiday": []}, "note": "used by 4 permissions"},
        {"id": "S-always", "name": "Always", "kind": "schedule",
         "days": {day: [[0, 1440]] for day in
                  ("mon", "tue", "wed", "thu", "fri", "sat", "sun", "holiday")}},
        {"id": "D0000", "name": "Main entrance, held unlocked", "kind": "door",
         "days": {**{day: [[0, 60], [390, 1380]] for day in
                     ("mon", "tue", "wed", "thu", "fri", "sat", "sun")}, "holiday": []},
         "note": "unlock schedule S-post"},
        {"id": "S-clean", "name": "Cleaning", "kind": "schedule",
         "days": {"mon": [[360, 540]], "thu": [[360, 540], [1200, 1320]]}},
    ]  # fmt: skip
    out = {"normal": "out", "power-lost": "out", "fire-alarm": "out"}
    hard = {"normal": "out", "power-lost": "trapped", "fire-alarm": "out"}
    unsure = {"normal": "out", "power-lost": "unclear", "fire-alarm": "unclear"}
    free = {"normal": True, "power-lost": True, "fire-alarm": True}
    zones = [
        {
            "id": "OUT",
            "name": "Street",
            "kind": "outside",
            "occupants": None,
            "safe": True,
            "results": out,
        }
    ]
    doors = []

    def door(name: str, inside: str, outside: str, **more: Any) -> None:
        doors.append(
            {
                "id": f"D{len(doors):04d}",
                "name": name,
                "inside": inside,
                "outside": outside,
                "free": free,
                "back": dict.fromkeys(free, False),
                **more,
            }
        )

    for at, building in enumerate(buildings[:2]):

        def zone(
            name: str,
            kind: str,
            count: int | None,
            results: dict[str, str] = out,
            at: int = at,
            building: str = building,
        ) -> str:
            key = f"Z{at}{name}"
            zones.append(
                {
                    "id": key,
                    "name": name,
                    "kind": kind,
                    "occupants": count,
                    "building": building,
                    "results": results,
                }
            )
            return key

        hall = zone("Entrance hall", "common", 6)
        stair = zone("Stair", "stair", 0)
        plant = zone("Plant room", "plant", 2, hard if at else out)
        store = zone("Bin store", "store", None, unsure)
        door("Main entrance", hall, "OUT", weak=not at)
        door("Stair door", stair, hall)
        if at:
            door("Rear exit", stair, "OUT", back=dict.fromkeys(free))
        door("Plant", plant, hall, free={**free, "power-lost": not at})
        door("Bins", store, hall, free={"normal": True, "power-lost": None, "fire-alarm": None})
        door(
            "Bins, outer",
            store,
            "OUT",
            free={"normal": None, "power-lost": None, "fire-alarm": None},
        )
        for number in range(dwellings):
            flat = zone(f"Flat {number + 1}", "dwelling", 3)
            door(f"Flat {number + 1}", flat, stair)
    columns = [
        {"id": f"G{at}", "name": name}
        for at, name in enumerate(
            [
                "Main entrance",
                "Rear stair",
                "Bin store",
                "Car park",
                "Plant room",
                "Roof",
                "Bicycle store",
                "Post room",
            ]
        )
    ]
    cells = ["always", "part", "never", "unclear"]
    rows = [
        {
            "name": name,
            "people": people,
            "cells": [rng.choices(cells, [4, 2, 5, 0.3])[0] for _ in columns],
        }
        for name, people in [
            ("Residents, Rowan House core 1", 31),
            ("Residents, Rowan House core 2", 28),
            ("Residents, Alder House", 64),
            ("Cleaning", 3),
            ("Lift contractor", 2),
            ("Caretaker", 1),
        ]
    ]
    roll = [
        {
            "person": f"R{at:04d}",
            "name": names["person"][f"R{at:04d}"],
            "dwelling": f"A{at // 3:02d}",
            "door_group": columns[at % 8]["name"],
            "hours": "always" if at % 3 else "Mon to Fri 07:00–19:00",
            "through": f"card C{at:04d}",
            "since": f"2025-{at % 12 + 1:02d}-01",
            "change": ["", "came", "", "", "went"][at % 5],
        }
        for at in range(120)
    ]
    titles = {
        name: name.replace("-", " ").replace("pin ", "PIN ").capitalize() for name, *_ in RULES
    }
    rules = {
        name: {"title": titles[name], "priority": priority, "life_safety": safety}
        for name, priority, safety, *_ in RULES
    }
    for name, _ in FAMILIES:
        rules[name] = {
            "title": name.replace("-", " ").capitalize(),
            "priority": "immediate" if name.startswith("escape") else "planned",
            "life_safety": name.startswith(("escape", "exit")),
        }
    return {
        "rules": rules,
        "names": names,
        "places": places,
        "where": where,
        "secure_hours": [1320, 360],
        "weeks": weeks,
        "zones": zones,
        "doors": doors,
        "reach": {"columns": columns, "rows": rows},
        "roll": roll,
    }


HOSTILE = [
    "</script><img src=x onerror=\"window.hit='img'\">",
    "<svg onload=\"window.hit='svg'\">",
    "</title><script>window.hit='title'</script>",
    "javascript:window.hit='link'",
    '=HYPERLINK("file:///c:/x","y")',
    "@SUM(1+1)*cmd|' /C calc'!A0",
    "-2+3",
    "+44 0000",
    "\tTab first",
    "＝full-width",
    "evil\u202egnp.exe",
    "nul\x00bell\x07esc\x1b[31m",
    "\u2066isolate\ufeff",
    "<!--<script>",
    "]]>&amp;&#x3C;b&gt;",
    "line one\r\nline two",
    "__DATA__ {{DATA}} \\u003c \\",
    "\ud800lone",
    "%3Cscript%3E ${window.hit='template'} `x`",
]


def hostile() -> tuple[dict[str, Any], dict[str, Any]]:
    """Every text of record and plan replaced by something that wants to be more than text."""
    made = record(30)
    drawn = plan(made)
    made["site"]["name"] = HOSTILE[0]
    for at, one in enumerate(made["findings"]):
        bad = [HOSTILE[(at + step) % len(HOSTILE)] for step in range(8)]
        one["summary"], one["why"], one["remedy"] = bad[0], bad[1], bad[2]
        one["subjects"] = {key: [bad[3], bad[4]] for key in one["subjects"]}
        one["evidence"] = {"pattern": bad[5], "list": [bad[6], bad[7]], bad[0]: bad[1]}
        one["references"] = [bad[2]]
        one["sources"] = [{"file": bad[3], "sheet": bad[4], "row": 3}]
    for at, outcome in enumerate(made["outcomes"]):
        outcome["reason"] = HOSTILE[at % len(HOSTILE)]
    for at, given in enumerate(made["inputs"]):
        given["file"] = HOSTILE[at]
    for at, place in enumerate(drawn["places"]):
        place["name"] = HOSTILE[at]
    for at, one in enumerate(drawn["weeks"]):
        one["name"], one["note"] = HOSTILE[at], HOSTILE[at + 1]
    for at, one in enumerate([*drawn["zones"], *drawn["doors"]]):
        one["name"] = HOSTILE[at % len(HOSTILE)]
    for at, one in enumerate([*drawn["reach"]["columns"], *drawn["reach"]["rows"]]):
        one["name"] = HOSTILE[at % len(HOSTILE)]
    for at, row in enumerate(drawn["roll"]):
        row["name"] = HOSTILE[at % len(HOSTILE)]
        row["through"] = HOSTILE[(at + 3) % len(HOSTILE)]
    drawn["names"]["person"] = dict.fromkeys(drawn["names"]["person"], HOSTILE[3])
    return made, drawn
