"""Reach and the way home against a slow second way: minute by minute, path by path."""

from __future__ import annotations

import datetime as dt
import random
from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from audit.arithmetic.columns import family
from audit.arithmetic.graphs import knots
from audit.contract import Dataset
from audit.facts.reach import codes_at_doors, credential_doors, groups, path_to, person_doors, reach
from audit.facts.standing import by_id
from audit.facts.way_home import ways_home
from audit.ingest.tables import from_text
from audit.site import site_from
from rules.permissions.door_nobody_opens import opened

AS_OF = dt.date(2026, 9, 30)
Rows = list[dict[str, str]]
Site = dict[str, Rows]


def made(site: Site) -> Dataset:
    tables = {
        name: (list(rows[0]), [list(row.values()) for row in rows])
        for name, rows in site.items()
        if rows
    }
    place = site_from({"site": {"name": "Example", "timezone": "Europe/Dublin"}})
    return from_text(tables, place, AS_OF)


# --- a site by chance ------------------------------------------------------------------


def chance(seed: int) -> Site:
    r = random.Random(seed)
    zones = ["street", "yard", "lobby", "stair", "hall", "flat"]
    kinds = ["outside", r.choice(["outside", "common"]), "common", "stair", "common", "dwelling"]
    doors = [
        {
            "door_id": f"D{i}",
            "inside_zone": (pair := r.sample(zones, 2))[0],
            "outside_zone": pair[1],
            "entry": r.choice(
                ["none", "card", "card", "pin", "card-or-pin", "card-and-pin", "key", "closed"]
            ),
            "lock": r.choice(["none", "magnet", "magnet", "strike"]),
            "exit_input": r.choice(["none", "none", "button"]),
            "mechanical_exit": r.choice(["none", "none", "lever"]),
            "exit_reader": r.choice(["yes", "no", "no"]),
            "unlock_schedule": r.choice(["", "", "", "S1"]),
        }
        for i in range(r.randint(3, 8))
    ]
    names = [f"G{i}" for i in range(4)]
    door_groups = [
        {
            "door_group": r.choice(names),
            "member_kind": kind,
            "member_id": r.choice(names) if kind == "door_group" else r.choice(doors)["door_id"],
        }
        for kind in r.choices(["door", "door_group"], k=r.randint(1, 8))
    ]
    people = [
        {
            "person_id": f"P{i}",
            "role": r.choice(["resident", "resident", "staff", "visitor"]),
            "dwelling_id": r.choice(["W1", "W2", "W3", ""]),
            "status": r.choice(["current", "current", "departed"]),
        }
        for i in range(4)
    ]
    who = [p["person_id"] for p in people]
    cards = [
        {
            "card_id": f"C{i}",
            "number": str(i),
            "person_id": r.choice([*who, ""]),
            "dwelling_id": r.choice(["W1", "W2", ""]),
            "status": r.choice(["active", "active", "lost"]),
        }
        for i in range(4)
    ]
    pins = [
        {
            "pin_id": f"K{i}",
            "pin": "****",
            "person_id": r.choice([*who, ""]),
            "dwelling_id": r.choice(["W1", "W2", ""]),
            "door_id": r.choice(["", "", "D0"]),
            "status": r.choice(["active", "suspended"]),
        }
        for i in range(3)
    ]
    holders = {
        "person": who,
        "card": [c["card_id"] for c in cards],
        "pin": [p["pin_id"] for p in pins],
        "dwelling": ["W1", "W2", "W3"],
        "role": ["resident", "staff", "visitor"],
    }
    permissions = []
    for i in range(r.randint(2, 9)):
        kind = r.choice(list(holders))
        group = r.random() < 0.6
        permissions.append(
            {
                "permission_id": f"R{i}",
                "holder_kind": kind,
                "holder_id": r.choice(holders[kind]),
                "door_group": r.choice(names) if group else "",
                "door_id": "" if group else r.choice(doors)["door_id"],
                "schedule_id": r.choice(["", "S0", "S1", "S2"]),
                "valid_to": r.choice(["", "", "2026-09-30", "2026-09-29"]),
            }
        )
    schedules = [
        {
            "schedule_id": f"S{i % 3}",
            "days": r.choice(["mon-fri", "daily", "holiday", "sat sun", "fri-mon holiday"]),
            "start": r.choice(["00:00", "06:00", "08:30", "22:00"]),
            "end": r.choice(["06:00", "18:00", "24:00"]),
            "calendar": r.choice(["", "bank"]),
        }
        for i in range(4)
    ]
    dwellings = [
        {"dwelling_id": f"W{i}", "zone_id": r.choice(["stair", "hall", "flat"])} for i in (1, 2, 3)
    ]
    return {
        "zones": [{"zone_id": z, "kind": k} for z, k in zip(zones, kinds, strict=True)],
        "doors": doors,
        "door_groups": door_groups,
        "people": people,
        "cards": cards,
        "pins": pins,
        "permissions": permissions,
        "schedules": schedules,
        "calendars": [
            {"calendar": "bank", "date": "2026-10-02"},
            {"calendar": "bank", "date": "2026-12-25"},
        ],
        "dwellings": dwellings,
    }


# --- the slow way ----------------------------------------------------------------------


def minutes(clock: str) -> int:
    return int(clock[:2]) * 60 + int(clock[3:])


def open_at(site: Site, schedule: str, date: dt.date, minute: int) -> bool:
    """Whether a schedule is open, by asking each of its windows on the day and its eve."""
    if not schedule:
        return True
    rows = [s for s in site["schedules"] if s["schedule_id"] == schedule]
    festive = {c["date"] for s in rows for c in site["calendars"] if c["calendar"] == s["calendar"]}
    words = ["mon", "tue", "wed", "thu", "fri", "sat", "sun"]
    ranges = {
        "mon-fri": words[:5],
        "daily": [*words, "holiday"],
        "holiday": ["holiday"],
        "sat sun": ["sat", "sun"],
        "fri-mon holiday": ["fri", "sat", "sun", "mon", "holiday"],
    }
    for back in (0, 1):
        day = date - dt.timedelta(days=back)
        word = "holiday" if day.isoformat() in festive else words[day.weekday()]
        for s in rows:
            start, end = minutes(s["start"]), minutes(s["end"])
            end += 1440 if end <= start else 0
            if word in ranges[s["days"]] and start <= minute + 1440 * back < end:
                return True
    return False


def doors_in(site: Site, group: str, seen: frozenset[str] = frozenset()) -> set[str]:
    if group in seen:
        return set()
    found = set()
    for row in site["door_groups"]:
        if row["door_group"] == group:
            if row["member_kind"] == "door":
                found.add(row["member_id"])
            else:
                found |= doors_in(site, row["member_id"], seen | {group})
    return found


def held(site: Site, table: str, person: dict[str, str]) -> tuple[list[str], bool]:
    """The person's live credentials (and their dwelling's for a resident); whether any serve."""
    name = "card_id" if table == "cards" else "pin_id"
    active = [c for c in site[table] if c["status"] == "active"]
    own = [c[name] for c in active if c["person_id"] == person["person_id"]]
    home = [
        c[name]
        for c in active
        if not c["person_id"] and c["dwelling_id"] and c["dwelling_id"] == person["dwelling_id"]
    ]
    return own + (home if person["role"] == "resident" else []), bool(own or home)


def fits(entry: str, card: bool, pin: bool) -> bool:
    return {
        "none": True,
        "card": card,
        "pin": pin,
        "card-or-pin": card or pin,
        "card-and-pin": card and pin,
        "key": False,
        "closed": False,
    }[entry]


def targets(site: Site, holders: set[tuple[str, str]], date: dt.date, minute: int) -> set[str]:
    found = set()
    for p in site["permissions"]:
        if (p["holder_kind"], p["holder_id"]) not in holders or p["valid_to"] == "2026-09-29":
            continue
        if open_at(site, p["schedule_id"], date, minute):
            found |= doors_in(site, p["door_group"]) if p["door_group"] else {p["door_id"]}
    return found


def slowly(site: Site, person: dict[str, str], date: dt.date, minute: int) -> set[str]:
    cards, has_card = held(site, "cards", person)
    pins, has_pin = held(site, "pins", person)
    holders = {("person", person["person_id"]), ("role", person["role"])}
    holders |= {("card", c) for c in cards} | {("pin", p) for p in pins}
    if person["role"] == "resident" and person["dwelling_id"]:
        holders.add(("dwelling", person["dwelling_id"]))
    reached = targets(site, holders, date, minute)
    entry = {d["door_id"]: d["entry"] for d in site["doors"]}
    return {d for d in reached if fits(entry[d], has_card, has_pin)}


def home_slowly(site: Site, person: dict[str, str], date: dt.date, minute: int) -> bool:
    """Whether a path from some zone outside ends at home, trying every path in turn."""
    reached = slowly(site, person, date, minute)
    kind = {z["zone_id"]: z["kind"] for z in site["zones"]}
    home = next(
        w["zone_id"] for w in site["dwellings"] if w["dwelling_id"] == person["dwelling_id"]
    )
    steps: set[tuple[str, str]] = set()
    for d in site["doors"]:
        near, far = d["outside_zone"], d["inside_zone"]
        unlocked = bool(d["unlock_schedule"]) and open_at(site, d["unlock_schedule"], date, minute)
        own = d["entry"] == "key" and far == home and kind[far] == "dwelling"
        asks_nothing = d["entry"] == "none" or d["lock"] == "none" or unlocked
        if d["entry"] != "closed" and (asks_nothing or d["door_id"] in reached or own):
            steps.add((near, far))
        free = d["lock"] == "none" or d["exit_input"] != "none" or d["mechanical_exit"] != "none"
        if free or unlocked or (d["exit_reader"] == "yes" and d["door_id"] in reached):
            steps.add((far, near))

    def walk(zone: str, seen: frozenset[str]) -> bool:
        return zone == home or any(
            walk(to, seen | {to}) for at, to in steps if at == zone and to not in seen
        )

    return any(walk(z, frozenset((z,))) for z, k in kind.items() if k == "outside")


def moments(seed: int) -> list[tuple[dt.date, int]]:
    r = random.Random(seed)
    days = [dt.date(2026, 10, 2), dt.date(2026, 10, 3), dt.date(2026, 12, 25), dt.date(2027, 9, 29)]
    days += [AS_OF + dt.timedelta(days=r.randrange(365)) for _ in range(2)]
    clock = [0, 359, 360, 509, 510, 1079, 1080, 1319, 1320, 1439, r.randrange(1440)]
    return [(d, m) for d in days for m in clock]


def stretch(data: Dataset, when: tuple[dt.date, int]) -> int:
    date, minute = when
    return reach(data).year.at(dt.datetime.combine(date, dt.time(minute // 60, minute % 60)))


@given(st.integers(0, 2**32))
@settings(max_examples=40, deadline=None)
def test_reach_agrees_with_the_slow_way(seed: int) -> None:
    site = chance(seed)
    data = made(site)
    found = person_doors(data, np.ones(len(by_id(data, "doors")), bool))
    upper, lower = found.attrs["possible"], found.attrs["sure"]
    assert all(upper[h] == lower[h] for h in found["hours"])  # everything is given
    for when in moments(seed):
        bit = stretch(data, when)
        mine: dict[str, set[str]] = {p["person_id"]: set() for p in site["people"]}
        for who, door, h in zip(found["person_id"], found["door_id"], found["hours"], strict=True):
            if upper[h] & bit:
                mine[who].add(door)
        for p in site["people"]:
            assert mine[p["person_id"]] == slowly(site, p, *when)


@given(st.integers(0, 2**32))
@settings(max_examples=40, deadline=None)
def test_the_way_home_agrees_with_trying_every_path(seed: int) -> None:
    site = chance(seed)
    data = made(site)
    table = {p["person_id"]: p for p in site["people"]}
    year = reach(data).year
    for row in ways_home(data).itertuples():
        person = table[row.person]
        assert person["status"] == "current"
        some, always = told(row.some), told(row.always)
        if not person["dwelling_id"]:
            assert some is None
            assert always is None
            continue
        at = [home_slowly(site, person, *when) for when in moments(seed)]
        assert some is not None
        assert always is not None
        assert some or not any(at)
        assert not always or all(at)
        # the same hours over every door of the site, none cut off, at the moments tried
        hours = hours_home(data, row.person)
        assert [bool(hours & stretch(data, when)) for when in moments(seed)] == at
        missing = year.always & ~hours
        assert (missing == 0) == always
        assert always or row.missing == year.text(missing)


def told(value: Any) -> bool | None:
    return None if value is None or pd.isna(value) else bool(value)


def hours_home(data: Dataset, person: str) -> int:
    """The hours at home, from the same fixpoint but over every door of the site."""
    from audit.facts import way_home

    r = reach(data)
    p = way_home.plan(data)
    all_doors = person_doors(data, np.ones(len(r.door_ids), bool))
    mine = all_doors[all_doors["person_id"] == person]
    possible = all_doors.attrs["possible"]
    own = {
        int(r.door_ids.get_loc(d)): (possible[h], possible[h])
        for d, h in zip(mine["door_id"], mine["hours"], strict=True)
    }
    dwelling = by_id(data, "people").loc[person, "dwelling_id"]
    zone = by_id(data, "dwellings").loc[dwelling, "zone_id"]
    home = int(p.number[p.places.get_loc(zone)])
    ways = [
        (w.near, w.far, w.perhaps | (own.get(w.door, (0, 0))[1] if w.by_reach else 0))
        for w in [*p.rings, *(w for some in p.on_branch.values() for w in some)]
    ]
    at = way_home._spread(ways, {way_home.OUTSIDE: r.year.always})
    return at.get(home, 0) | (
        0 if not p.key_doors.get(home) else _any(at.get(n, 0) for n, _ in p.key_doors[home])
    )


def _any(hours: Any) -> int:
    total = 0
    for h in hours:
        total |= h
    return total


@given(st.integers(0, 2**32))
@settings(max_examples=40, deadline=None)
def test_credentials_agree_with_the_slow_way(seed: int) -> None:
    """A card by itself: its own permissions, its person's, their role's and dwelling's."""
    site = chance(seed)
    data = made(site)
    entry = {d["door_id"]: d["entry"] for d in site["doors"]}
    table = {p["person_id"]: p for p in site["people"]}
    by_any: set[str] = set()
    for name, kind in (("cards", "card"), ("pins", "pin")):
        found = credential_doors(data, name)  # type: ignore[arg-type]
        ids = data[name][f"{kind}_id"]
        mine = {
            (ids[label], door) for label, door in zip(found["label"], found["door_id"], strict=True)
        }
        theirs = set()
        for c in site[name]:
            if c["status"] != "active":
                continue
            holders = {(kind, c[f"{kind}_id"])}
            person = table.get(c["person_id"])
            beside = False
            other = "pins" if kind == "card" else "cards"
            if person:
                holders |= {("person", c["person_id"]), ("role", person["role"])}
                if person["role"] == "resident" and person["dwelling_id"]:
                    holders.add(("dwelling", person["dwelling_id"]))
                beside = held(site, other, person)[1]
            elif c["dwelling_id"]:
                holders |= {("dwelling", c["dwelling_id"]), ("role", "resident")}
                there = [p for p in site["people"] if p["dwelling_id"] == c["dwelling_id"]]
                beside = any(held(site, other, p)[1] for p in there) or any(
                    o["status"] == "active"
                    and not o["person_id"]
                    and o["dwelling_id"] == c["dwelling_id"]
                    for o in site[other]
                )
            open_ = set()
            for p in site["permissions"]:
                if (p["holder_kind"], p["holder_id"]) in holders and p["valid_to"] != "2026-09-29":
                    if not ever_open(site, p["schedule_id"]):
                        continue
                    open_ |= doors_in(site, p["door_group"]) if p["door_group"] else {p["door_id"]}
            if kind == "pin" and c["door_id"]:
                open_.add(c["door_id"])
            for d in open_:
                words = {"card": (kind, "card-or-pin"), "pin": (kind, "card-or-pin")}[kind]
                if entry[d] in words or (entry[d] == "card-and-pin" and beside):
                    theirs.add((c[f"{kind}_id"], d))
        assert mine == theirs
        by_any |= {d for _, d in theirs}
    ids = list(reach(data).door_ids)
    assert {d for d, level in zip(ids, opened(data), strict=True) if level} == by_any
    alone = {d for d, e in entry.items() if e in ("pin", "card-or-pin")}
    assert set(codes_at_doors(data)["door_id"]) <= alone


def ever_open(site: Site, schedule: str) -> bool:
    return any(
        open_at(site, schedule, AS_OF + dt.timedelta(days=d), m)
        for d in [*range(8), 86]
        for m in (0, 359, 600, 1319, 1439)
    )


@given(st.integers(0, 2**32))
@example(76521)  # no lock, and an entry that may be closed
@example(2270)  # a key door of which one side is not given
@settings(max_examples=40, deadline=None)
def test_what_is_not_given_is_possible_and_never_sure(seed: int) -> None:
    """However the cells that are not given turn out, sure <= truth <= possible."""
    site = chance(seed)
    r = random.Random(seed + 1)
    placeless = {d["door_id"] for d in site["doors"] if r.random() < 0.15}
    for d in site["doors"]:
        if d["door_id"] in placeless:  # such a door counts as a way in alone
            d |= {"exit_input": "none", "mechanical_exit": "none", "exit_reader": "no"}
            d |= {"lock": "magnet", "unlock_schedule": ""}
    blurred: Site = {name: [dict(row) for row in rows] for name, rows in site.items()}
    for d in blurred["doors"]:
        if d["door_id"] in placeless:
            d[r.choice(["inside_zone", "outside_zone"])] = ""
    for name, column, text in (
        ("doors", "entry", ""),
        ("doors", "exit_input", ""),
        ("doors", "mechanical_exit", ""),
        ("cards", "status", "??"),
        ("pins", "status", "??"),
        ("people", "role", "??"),
        ("permissions", "valid_to", "??"),
        ("permissions", "holder_kind", "??"),
        ("schedules", "start", "??"),
        ("schedules", "days", "??"),
        ("calendars", "date", "??"),
        ("zones", "kind", ""),
    ):
        for row in blurred[name]:
            if r.random() < 0.15:
                row[column] = text
    data = made(blurred)
    found = person_doors(data, np.ones(len(by_id(data, "doors")), bool))
    upper, lower = found.attrs["possible"], found.attrs["sure"]
    homes = {row.person: row for row in ways_home(data).itertuples()}
    entry = {d["door_id"]: d["entry"] for d in blurred["doors"]}
    for when in moments(seed)[::3]:
        bit = stretch(data, when)
        for p in site["people"]:
            truth = slowly(site, p, *when)
            mine = found[found["person_id"] == p["person_id"]]
            sure = {
                d for d, h in zip(mine["door_id"], mine["hours"], strict=True) if lower[h] & bit
            }
            may = {d for d, h in zip(mine["door_id"], mine["hours"], strict=True) if upper[h] & bit}
            assert sure <= truth <= may, (sure, truth, may, entry)
            row = homes.get(p["person_id"])
            if row is not None and p["dwelling_id"] and p["role"] == "resident":
                at = home_slowly(site, p, *when)
                assert told(row.some) is not False or not at
                assert told(row.always) is not True or at


# --- shapes ----------------------------------------------------------------------------


def test_a_chain_of_five_thousand_groups_and_a_circle() -> None:
    rows = [
        {"door_group": f"G{i}", "member_kind": "door_group", "member_id": f"G{i + 1}"}
        for i in range(5000)
    ]
    rows += [
        {"door_group": "G5000", "member_kind": "door", "member_id": "D"},
        {"door_group": "A", "member_kind": "door_group", "member_id": "B"},
        {"door_group": "B", "member_kind": "door_group", "member_id": "A"},
        {"door_group": "B", "member_kind": "door_group", "member_id": "G0"},
        {"door_group": "C", "member_kind": "door_group", "member_id": "C"},
    ]
    data = made({"doors": [{"door_id": "D", "entry": "card"}], "door_groups": rows})
    flat = groups(data)
    assert flat.possible["G0"] == flat.possible["A"] == 1
    assert flat.circles == (("A", "B"), ("C",))
    assert len(path_to(data, "G0", "D")) == 5001
    assert path_to(data, "A", "D")[:2] == ("A", "B")
    assert path_to(data, "C", "D") == ()


@given(
    st.dictionaries(st.integers(0, 7), st.lists(st.integers(0, 7), max_size=4)).map(
        lambda g: {str(k): [str(x) for x in v] for k, v in g.items()}
    )
)
@settings(max_examples=40, deadline=None)
def test_knots_against_networkx(graph: dict[str, list[str]]) -> None:
    """Strongly connected components, an independent library's."""
    import networkx as nx

    whole = {**{x: [] for v in graph.values() for x in v}, **graph}
    theirs = nx.DiGraph([(a, b) for a, v in whole.items() for b in v])
    theirs.add_nodes_from(whole)
    found = knots(whole)
    assert {frozenset(k) for k in found} == {
        frozenset(c) for c in nx.strongly_connected_components(theirs)
    }
    place = {name: i for i, knot in enumerate(found) for name in knot}
    assert all(place[b] <= place[a] for a, v in whole.items() for b in v)


@given(st.lists(st.tuples(st.integers(0, 5), st.integers(0, 6)), max_size=25))
def test_sets_of_items_are_kept_whole(rows: list[tuple[int, int]]) -> None:
    own: list[set[int]] = [set() for _ in range(6)]
    for entity, item in rows:
        own[entity].add(item)
    found = family(
        np.array([a for a, _ in rows], np.int64), np.array([b for _, b in rows], np.int64), 6
    )
    for entity, items in enumerate(own):
        number = found.of[entity]
        assert set(found.items[found.start[number] : found.start[number + 1]]) == items
        assert (number == 0) == (not items)
    assert len(set(found.of)) == len({frozenset(s) for s in own})


def test_an_empty_site_has_no_reach() -> None:
    data = made({"doors": [{"door_id": "D", "entry": "card"}]})
    assert person_doors(data, np.ones(1, bool)).empty
    assert opened(data).tolist() == [1]  # the tables of cards and PINs are not there
    lost: Site = {
        "doors": [{"door_id": "D", "entry": "card-or-pin"}],
        "cards": [{"card_id": "C", "number": "1", "status": "lost"}],
        "pins": [{"pin_id": "K", "pin": "****", "status": "suspended"}],
    }
    assert opened(made(lost)).tolist() == [0]
    assert ways_home(data).empty
    assert codes_at_doors(data).empty


@pytest.mark.parametrize("table", ["cards", "pins"])
def test_a_table_that_is_not_there_leaves_it_open(table: str) -> None:
    """No cards table: perhaps they have a card."""
    site: Site = {
        "doors": [{"door_id": "D", "entry": {"cards": "pin", "pins": "card"}[table]}],
        "people": [{"person_id": "P", "role": "staff"}],
        table: [{f"{table[:-1]}_id": "X", {"cards": "number", "pins": "pin"}[table]: "1234567"}],
        "permissions": [
            {"permission_id": "1", "holder_kind": "person", "holder_id": "P", "door_id": "D"}
        ],
    }
    found = person_doors(made(site), np.ones(1, bool))
    assert found["sure"].tolist() == [False]
