"""Read-back against the register: permissions day by day and row by row, by plain loops."""

from __future__ import annotations

import datetime as dt
from random import Random

import numpy as np
import pandas as pd
from hypothesis import given, settings
from hypothesis import strategies as st

from audit.arithmetic.columns import Periods
from audit.arithmetic.three import NO, UNCLEAR, YES
from audit.contract import Dataset
from audit.facts import readback
from audit.facts.standing import by_id
from audit.ingest.tables import from_text
from audit.site import site_from
from rules.readback import loaded_for_departed, loaded_without_permission, permitted_not_loaded

Row = dict[str, str]
AS_OF = dt.date(2026, 9, 10)
PLACE = {"site": {"name": "x", "timezone": "Europe/Dublin"}}

keys = st.integers(0, 3)
days = st.integers(-3, 9)


@given(st.lists(st.tuples(keys, days, days)), st.lists(st.tuples(keys, days)))
def test_periods_cover_as_looked_up(
    periods: list[tuple[int, int, int]], asked: list[tuple[int, int]]
) -> None:
    key, start, end = (np.array([p[i] for p in periods], np.int64) for i in range(3))
    of = Periods.of(key, start, end)
    got = of.cover(*(np.array([a[i] for a in asked], np.int64) for i in range(2)))
    said = [any(k == a and s <= d <= e for k, s, e in periods) for a, d in asked]
    assert got.tolist() == said


seeds = st.integers(0, 2**32)


# --- a small site, and the same questions asked of it row by row -------------------------

DOORS = ["D1", "D2", "D3"]
GROUPS = ["G1", "G2"]
DATES = ("", "", "2026-09-08", "2026-09-09", "2026-09-10", "2026-09-11", "soon")
CARD_NUMBERS = {"C1": "1001", "C2": "1002", "C3": "1003"}
PIN_DIGITS = {"P1": "482915", "P2": "594827"}


def table(columns: str, rows: list[Row]) -> tuple[list[str], list[list[str]]]:
    header = columns.split()
    return header, [[row.get(c, "") for c in header] for row in rows]


def some_site(seed: int) -> dict[str, list[Row]]:
    """A small site drawn from a seed, in every cell as odd as exports are."""
    draw = Random(seed)

    def pick(*options: str) -> str:
        return draw.choice(options)

    def dates(*columns: str) -> Row:
        return {c: pick(*DATES) for c in columns}

    people = [
        {
            "person_id": p,
            "role": pick("resident", "staff", "", "odd"),
            "dwelling_id": pick("F1", "F2", ""),
            "status": pick("", "current", "departed"),
            "end_date": pick(*DATES),
        }
        for p in ("A1", "A2")
    ]
    held = {"person_id": ("A1", "A2", "A9", ""), "dwelling_id": ("F1", "F2", "")}
    cards = [
        {
            "card_id": c,
            "number": number,
            "status": pick("", "active", "lost", "odd"),
            **{k: pick(*v) for k, v in held.items()},
            **dates("valid_from", "valid_to", "issued_on"),
        }
        for c, number in CARD_NUMBERS.items()
    ]
    pins = [
        {
            "pin_id": p,
            "pin": digits,
            "status": pick("", "suspended"),
            "door_id": pick("", "", "D1"),
            "station_id": pick("", "", "S2"),
            **{k: pick(*v) for k, v in held.items()},
            **dates("valid_from", "valid_to", "set_on"),
        }
        for p, digits in PIN_DIGITS.items()
    ]
    holders = {
        "person": ("A1", "A2", "A9"),
        "card": tuple(CARD_NUMBERS),
        "pin": tuple(PIN_DIGITS),
        "dwelling": ("F1", "F2"),
        "role": ("resident", "staff"),
        "odd": ("A1", "C1", "F1"),
    }
    permissions = []
    for i in range(draw.randint(0, 5)):
        kind = pick(*holders)
        one = draw.random() < 0.5
        permissions.append(
            {
                "permission_id": f"M{i}",
                "holder_kind": kind,
                "holder_id": pick(*holders[kind]),
                "door_id": pick(*DOORS) if one else "",
                "door_group": "" if one else pick(*GROUPS),
                **dates("valid_from", "valid_to", "applied_on"),
            }
        )
    members = [
        {"door_group": pick(*GROUPS), "member_kind": "door", "member_id": pick(*DOORS)}
        for _ in range(draw.randint(0, 3))
    ]
    if draw.random() < 0.5:
        members.append({"door_group": "G1", "member_kind": "door_group", "member_id": "G2"})
    doors = [
        {"door_id": d, "entry": pick("card", "pin", "card-or-pin", "card-and-pin", "key", "")}
        for d in DOORS
    ]
    loaded = []
    for _ in range(draw.randint(0, 5)):
        kind = pick("card", "pin")
        numbers = CARD_NUMBERS if kind == "card" else {**PIN_DIGITS, **{p: p for p in PIN_DIGITS}}
        loaded.append(
            {
                "door_id": pick("D1", "D2"),
                "credential_kind": kind,
                "number": pick(*numbers.values()),
                "read_on": pick("", "2026-09-09", "2026-09-10", "2026-09-11"),
            }
        )
    return {
        "people": people,
        "cards": cards,
        "pins": pins,
        "permissions": permissions,
        "door_groups": members,
        "doors": doors,
        "loaded": loaded,
        "stations": [{"station_id": "S2", "kind": "entrance-panel", "door_id": "D2"}],
    }


COLUMNS = {
    "people": "person_id role dwelling_id status end_date",
    "cards": "card_id number status person_id dwelling_id valid_from valid_to issued_on",
    "pins": "pin_id pin status door_id station_id person_id dwelling_id valid_from valid_to set_on",
    "permissions": "permission_id holder_kind holder_id door_id door_group valid_from valid_to "
    "applied_on",
    "door_groups": "door_group member_kind member_id",
    "doors": "door_id entry",
    "loaded": "door_id credential_kind number read_on",
    "stations": "station_id kind door_id",
}


def dataset(rows: dict[str, list[Row]]) -> Dataset:
    tables = {name: table(COLUMNS[name], rows[name]) for name in COLUMNS}
    return from_text(tables, site_from(PLACE), AS_OF)


def within(row: Row, start: str, end: str, day: str) -> int:
    """By the letters of ISO dates: YES inside, UNCLEAR where a bound is no date, else NO."""
    a, b = row.get(start, ""), row.get(end, "")
    if (a not in ("", "soon") and day < a) or (b not in ("", "soon") and day > b):
        return NO
    return UNCLEAR if "soon" in (a, b) else YES


def group_doors(rows: dict[str, list[Row]], group: str) -> set[str]:
    inside = {m["member_id"] for m in rows["door_groups"] if m["door_group"] == group}
    return inside - set(GROUPS) | {d for g in inside & set(GROUPS) for d in group_doors(rows, g)}


def bound_to(pin: Row, door: str) -> bool:
    return pin["door_id"] == door or (pin["station_id"] == "S2" and door == "D2")


def right_of(rows: dict[str, list[Row]], own: Row, door: str, day: str, sent: bool) -> int:
    """Each permission in turn: does it give this card or PIN this door on this day?"""
    kind, key = ("card", "card_id") if "card_id" in own else ("pin", "pin_id")
    person = next((p for p in rows["people"] if p["person_id"] == own["person_id"]), None)
    role = (person["role"] or "resident") if person else ("odd" if own["person_id"] else "resident")
    home = own["dwelling_id"] if not own["person_id"] else person["dwelling_id"] if person else ""
    best = NO
    if kind == "pin" and not sent and bound_to(own, door):
        best = YES
    in_use = any(m["applied_on"] for m in rows["permissions"])
    for m in rows["permissions"]:
        if door != m["door_id"] and door not in group_doors(rows, m["door_group"]):
            continue
        level = within(m, "valid_from", "valid_to", day)
        if sent and in_use:
            applied = m["applied_on"]
            level = min(level, UNCLEAR if applied == "soon" else YES if applied else NO)
            if applied not in ("", "soon") and applied > day:
                level = NO
        any_role = UNCLEAR if m["holder_id"] in ("resident", "staff") else NO
        ways = {
            "person": YES if own["person_id"] == m["holder_id"] != "" else NO,
            kind: YES if own[key] == m["holder_id"] else NO,
            "role": any_role if role == "odd" else YES if role == m["holder_id"] else NO,
            "dwelling": (
                {"resident": YES, "odd": UNCLEAR}.get(role, NO) if home == m["holder_id"] else NO
            ),
        }
        word = m["holder_kind"]
        way = min(max(ways.values()), UNCLEAR) if word == "odd" else ways.get(word, NO)
        best = max(best, min(level, way))
    return best


def live_on(own: Row, day: str, issued: str = "") -> int:
    start = own["valid_from"] or (own[issued] if issued else "")
    level = within({**own, "valid_from": start}, "valid_from", "valid_to", day)
    status = own["status"] or "active"
    return min(level, YES if status == "active" else UNCLEAR if status == "odd" else NO)


@settings(max_examples=60, deadline=None)
@given(seeds, st.sampled_from(["2026-09-08", "2026-09-09", "2026-09-10", "2026-09-11"]))
def test_permission_at_a_door_on_a_day(seed: int, day: str) -> None:
    rows = some_site(seed)
    data = dataset(rows)
    number = int(np.datetime64(day, "D").astype(np.int64))
    order = by_id(data, "doors").index.tolist()
    for name in ("cards", "pins"):
        asked = [(i, d) for i in range(len(rows[name])) for d in range(len(order))]
        got = loaded_without_permission.permission_at(
            data,
            name,  # type: ignore[arg-type]
            np.array([i for i, _ in asked], np.int64),
            np.array([d for _, d in asked], np.int64),
            np.full(len(asked), number),
        )
        said = [right_of(rows, rows[name][i], order[d], day, False) for i, d in asked]
        assert got.tolist() == said


def _day_read(rows: dict[str, list[Row]], door: str) -> str | None:
    own = [r["read_on"] for r in rows["loaded"] if r["door_id"] == door]
    return max(own, default="") or AS_OF.isoformat() if own else None


def _verdicts(frame: pd.DataFrame, *columns: str) -> dict[tuple[str, ...], bool | None]:
    """Subject -> verdict of a rule's answer, the subjects that a row leaves out aside."""
    rows = frame[[*columns, "fails"]].itertuples(index=False, name=None)
    return {
        tuple(v for v in row[:-1] if not pd.isna(v)): None if pd.isna(row[-1]) else bool(row[-1])
        for row in rows
    }


@settings(max_examples=60, deadline=None)
@given(seeds)
def test_lacking_as_looked_up(seed: int) -> None:
    rows = some_site(seed)
    said: dict[tuple[str, ...], bool | None] = {}
    for name, key, kind, issued in (
        ("cards", "card_id", "card", "issued_on"),
        ("pins", "pin_id", "pin", "set_on"),
    ):
        for door in rows["doors"]:
            day = _day_read(rows, door["door_id"])
            if day is None or (door["entry"] and kind not in door["entry"].split("-")):
                continue
            there = {
                r["number"]
                for r in rows["loaded"]
                if r["door_id"] == door["door_id"] and r["credential_kind"] == kind
            }
            for own in rows[name]:
                level = min(
                    right_of(rows, own, door["door_id"], day, True), live_on(own, day, issued)
                )
                if level == NO:
                    continue
                held = own.get("number", own.get("pin")) in there or own[key] in there
                sure = level == YES and door["entry"] != ""
                said[door["door_id"], own[key]] = False if held else True if sure else None
    assert _verdicts(permitted_not_loaded.lacking(dataset(rows)), "door", "card", "pin") == said


@settings(max_examples=60, deadline=None)
@given(seeds)
def test_where_unknown_digits_may_be_an_unreadable_pin(seed: int) -> None:
    rows, day = some_site(seed), AS_OF.isoformat()
    rows["pins"][0]["pin"] = "****"
    said = {
        door
        for door in DOORS
        for pin in rows["pins"]
        if not pin["pin"].isdigit()
        and live_on(pin, day, "set_on") > NO
        and (bound_to(pin, door) or right_of(rows, pin, door, day, True) > NO)
        and not any(
            r["door_id"] == door and r["credential_kind"] == "pin" and r["number"] == pin["pin_id"]
            for r in rows["loaded"]
        )
    }
    assert set(readback.unreadable_pins_at(dataset(rows))) == said


def gone_before(person: Row | None, day: str) -> bool | None:
    if person is None:
        return None
    end, marked = person["end_date"], person["status"] == "departed"
    if end not in ("", "soon") and end < day:
        return True
    if marked and day >= AS_OF.isoformat():
        return True
    return None if end == "soon" or (marked and not end) else False


@settings(max_examples=60, deadline=None)
@given(seeds)
def test_departed_and_without_right_as_looked_up(seed: int) -> None:
    rows = some_site(seed)
    data = dataset(rows)
    people = {p["person_id"]: p for p in rows["people"]}
    left: dict[tuple[str, ...], list[bool | None]] = {}
    bad: dict[tuple[str, ...], list[bool | None]] = {}
    for name, key, kind in (("cards", "card_id", "card"), ("pins", "pin_id", "pin")):
        for r in rows["loaded"]:
            for own in rows[name]:
                names = (own.get("number", own.get("pin")), own[key])
                if r["credential_kind"] != kind or r["number"] not in names:
                    continue
                day = r["read_on"] or AS_OF.isoformat()
                person = own["person_id"]
                gone = gone_before(people.get(person), day) if person else False
                if person:
                    left.setdefault((r["door_id"], own[key], person), []).append(gone)
                level = min(live_on(own, day), right_of(rows, own, r["door_id"], day, False))
                if gone is not True:
                    unclear = level == UNCLEAR or gone is None
                    bad.setdefault((r["door_id"], own[key]), []).append(
                        None if unclear else level == NO
                    )
    for found, said, columns in (
        (loaded_for_departed.held_by_departed(data), left, ("door", "card", "pin", "person")),
        (loaded_without_permission.without_right(data), bad, ("door", "card", "pin")),
    ):
        worst = {k: True if True in v else None if None in v else False for k, v in said.items()}
        assert _verdicts(found, *columns) == worst


def test_all_pins_equal_is_unclear_and_quick() -> None:
    """Digits that a thousand hold say nothing of any one of them, at however many doors."""
    n = 1_000
    rows = {
        "pins": [{"pin_id": f"P{i}", "pin": "482915"} for i in range(n)],
        "loaded": [
            {"door_id": f"D{i}", "credential_kind": "pin", "number": "482915"} for i in range(n)
        ],
        "doors": [{"door_id": f"D{i}", "entry": "pin"} for i in range(n)],
    }
    data = dataset({**{name: [] for name in COLUMNS}, **rows})
    found = loaded_without_permission.without_right(data)
    assert len(found) == n
    assert found["fails"].isna().all()
    assert not found.to_csv().count("482915")
