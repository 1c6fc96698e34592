"""Permissions against a slow second way: whose they are, what repeats, the access roll."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pandas as pd
from hypothesis import given, settings
from hypothesis import strategies as st

from audit.facts.permissions import grants_of, holders, repeated, roll
from audit.facts.reach import person_doors, reach
from audit.facts.standing import by_id
from rules.permissions.reach_unlike_neighbours import unlike_neighbours
from rules.permissions.reaches_every_door import every_door
from tests.trade.test_reach import Site, chance, doors_in, held, made, moments, open_at, slowly

seeds = st.integers(0, 2**32)


def theirs(site: Site, person: dict[str, str]) -> set[tuple[str, str]]:
    """Every holder through which a permission is this person's."""
    found = {("person", person["person_id"]), ("role", person["role"])}
    found |= {("card", c) for c in held(site, "cards", person)[0]}
    found |= {("pin", p) for p in held(site, "pins", person)[0]}
    if person["role"] == "resident" and person["dwelling_id"]:
        found.add(("dwelling", person["dwelling_id"]))
    return found


@given(seeds)
@settings(max_examples=20, deadline=None)
def test_whose_permissions_they_are(seed: int) -> None:
    site = chance(seed)
    data = made(site)
    found = holders(data, pd.Series(True, index=data["permissions"].index))
    ids = data["permissions"]["permission_id"]
    mine = {(ids[i], p) for i, p in zip(found["label"], found["person_id"], strict=True)}
    assert mine == {
        (r["permission_id"], p["person_id"])
        for r in site["permissions"]
        for p in site["people"]
        if (r["holder_kind"], r["holder_id"]) in theirs(site, p) and r["valid_to"] != "2026-09-29"
    }
    assert found["sure"].all()


@given(seeds)
@settings(max_examples=20, deadline=None)
def test_grants_explain_the_reach_and_nothing_else(seed: int) -> None:
    site = chance(seed)
    data = made(site)
    doors = person_doors(data, np.ones(len(by_id(data, "doors")), bool))
    year = reach(data).year
    for p in site["people"]:
        mine = set(doors["door_id"][doors["person_id"] == p["person_id"]])
        grants = grants_of(data, p["person_id"])
        assert {g.door_id for g in grants if year.hours_of(g.schedule_id)[1]} == mine
        for g in grants:
            steps = [*g.path, g.door_id] if g.path else []
            for outer, inner in pairwise(steps):
                assert any(
                    r["door_group"] == outer and r["member_id"] == inner
                    for r in site["door_groups"]
                )


@given(seeds)
@settings(max_examples=20, deadline=None)
def test_what_repeats_adds_nothing_and_what_does_not_adds_something(seed: int) -> None:
    """Each permission against each other of the same holder, minute by minute."""
    site = chance(seed)
    for i, r in enumerate(site["permissions"]):  # few holders, so that they meet
        r["holder_kind"], r["holder_id"] = "person", f"P{i % 2}"
    data = made(site)
    year = reach(data).year
    rows = {r["permission_id"]: r for r in site["permissions"]}

    def doors(p: str) -> set[str]:
        return (
            doors_in(site, rows[p]["door_group"]) if rows[p]["door_group"] else {rows[p]["door_id"]}
        )

    def within(q: str, p: str) -> bool:
        """p gives all that q gives, to the last day of q."""
        ends = [rows[x]["valid_to"] or "9999" for x in (q, p)]
        hours = [year.hours_of(rows[x]["schedule_id"] or None)[1] for x in (q, p)]
        return doors(q) <= doors(p) and not hours[0] & ~hours[1] and ends[0] <= ends[1]

    found = repeated(data)
    real = [p for p, r in rows.items() if r["valid_to"] != "2026-09-29" and doors(p)]
    told = {row[-1]: row[:-1] for row in found["permission"]}
    dropped = {p for p, cover in told.items() if cover}
    for q in real:
        others = [p for p in real if p != q and rows[p]["holder_id"] == rows[q]["holder_id"]]
        covers = [p for p in others if within(q, p)]
        if q in dropped:
            assert told[q][0] in covers
        else:
            assert all(within(p, q) for p in covers)  # only its equals, and it is kept
    # with all that repeats taken away, each door and hour is still given by one that stays
    for q in dropped:
        assert any(
            within(q, p)
            for p in real
            if p not in dropped and rows[p]["holder_id"] == rows[q]["holder_id"]
        )
    for when in moments(seed)[:6]:
        for q in dropped:
            if open_at(site, rows[q]["schedule_id"], *when):
                assert open_at(site, rows[told[q][0]]["schedule_id"], *when)


@given(seeds)
@settings(max_examples=20, deadline=None)
def test_the_roll_names_every_entitled_person_and_their_hours(seed: int) -> None:
    site = chance(seed)
    data = made(site)
    year = reach(data).year
    rows = roll(data)
    stays = {p["person_id"]: p for p in site["people"] if p["status"] == "current"}
    expected: dict[tuple[str, str], int] = {}
    for person, p in stays.items():
        for r in site["permissions"]:
            if (r["holder_kind"], r["holder_id"]) in theirs(site, p):
                if r["valid_to"] == "2026-09-29":
                    continue
                key = (person, r["door_group"] or r["door_id"])
                expected[key] = expected.get(key, 0) | year.hours_of(r["schedule_id"] or None)[1]
    found = {
        (row.person_id, row.door_group if isinstance(row.door_group, str) else row.door_id): (
            row.hours
        )
        for row in rows.itertuples()
    }
    assert found == {key: year.text(hours) for key, hours in expected.items()}
    assert rows["sure"].all()


@given(seeds)
@settings(max_examples=20, deadline=None)
def test_every_door_is_every_controlled_door_that_asks(seed: int) -> None:
    site = chance(seed)
    data = made(site)
    asked = {
        d["door_id"]
        for d in site["doors"]
        if d["entry"] in ("card", "pin", "card-or-pin", "card-and-pin") and d["lock"] != "none"
    }
    # a door that asks for a card, and has no lock: nobody knows whether it is controlled
    odd = {
        d["door_id"]
        for d in site["doors"]
        if d["entry"] in ("card", "pin", "card-or-pin", "card-and-pin") and d["lock"] == "none"
    }
    found = every_door(data).set_index("person")["every"]
    for p in site["people"]:
        ever: set[str] = set()
        for when in [(m, k) for m, k in moments(seed)]:
            ever |= slowly(site, p, *when)
        every = found[p["person_id"]]
        if asked | odd <= ever:
            assert every is not pd.NA
            assert every
        elif asked <= ever:
            assert every is pd.NA or every
        elif every is not pd.NA and every:  # some door opens at other moments only
            doors = person_doors(data, np.ones(len(site["doors"]), bool))
            assert asked <= set(doors["door_id"][doors["person_id"] == p["person_id"]])


def test_a_neighbour_on_the_only_way_in_is_no_oddity() -> None:
    """The gate leads to one home alone: whoever lives there may well be its only user."""
    people = [{"person_id": f"P{i}", "dwelling_id": "W1" if i else "W2"} for i in range(12)]
    site: Site = {
        "zones": [{"zone_id": "OUT", "kind": "outside"}]
        + [{"zone_id": z, "kind": "common"} for z in ("HALL", "YARD", "SHED")],
        "dwellings": [
            {"dwelling_id": "W1", "building": "B", "core": "1", "zone_id": "HALL"},
            {"dwelling_id": "W2", "building": "B", "core": "1", "zone_id": "YARD"},
        ],
        "doors": [
            {"door_id": d, "inside_zone": i, "outside_zone": o, "entry": "card", "lock": "magnet"}
            for d, i, o in (
                ("GATE", "YARD", "OUT"),
                ("FRONT", "HALL", "OUT"),
                ("S", "SHED", "YARD"),
            )
        ],
        "people": people,
        "cards": [{"number": str(i), "person_id": p["person_id"]} for i, p in enumerate(people)],
        "permissions": [
            {"permission_id": d, "holder_id": "P0", "door_id": d} for d in ("GATE", "FRONT", "S")
        ],
    }
    found = unlike_neighbours(made(site)).set_index("person")
    assert found.loc["P0", "doors"] == ["FRONT", "S"]
    assert not found["odd"].drop("P0").any()
    assert (found["neighbours"] == 12).all()
