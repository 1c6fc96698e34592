"""How the site looks, beside what was found: the plan that reports draw pictures and roll from.

Built from the dataset once a pack; every key is left out where its tables were not given.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import pandas as pd

from audit.arithmetic.three import NO, UNCLEAR, YES
from audit.arithmetic.weeks import stretches
from audit.contract import TEXT, Dataset
from audit.facts import hours as opening
from audit.facts.buildings import zones as zones_of
from audit.facts.doors import STATES as ESCAPE_STATES
from audit.facts.doors import doors as doors_of
from audit.facts.permissions import roll as access_roll
from audit.facts.reach import ASKED, reach
from audit.facts.standing import bound_dwelling, by_id, entitled
from audit.facts.subjects import is_in
from audit.facts.ways_out import network, ways
from audit.facts.ways_out import plan as plan_of_ways
from audit.record import Finding, Record
from audit.report.plan import DAYS, Cell, Door, Plan, ReachRow, RollRow, Week, Zone

MOST_COLUMNS = 60
NAMED = {
    "person": ("people", "name"), "door": ("doors", "name"), "zone": ("zones", "name"),
}  # fmt: skip


def plan(
    data: Dataset,
    record: Record,
    previous_roll: Sequence[Mapping[str, str]] | None,
) -> dict[str, Any]:
    """The plan of a site: names, places, hours, ways out, who reaches what, the access roll."""
    made = Plan(names=_names(data))
    places, of_zone, of_dwelling = _places(data)
    if places:
        made["places"] = places  # type: ignore[typeddict-item]
        made["where"] = _where(record, data, of_zone, of_dwelling)
    made["secure_hours"] = list(data.policy.secure_minutes)
    if data.has("schedules"):
        made["weeks"] = _weeks(data)
    if data.has("zones") and data.has("doors"):
        made["zones"], made["doors"] = _ways(data)
    if data.has("permissions") and data.has("people"):
        made["roll"] = _roll(data, previous_roll)
        if data.has("doors"):
            made["reach"] = _matrix(data)
    return dict(made)


def _text(value: Any) -> str:
    return "" if pd.isna(value) else str(value)


def _names(data: Dataset) -> dict[str, dict[str, str]]:
    names = {}
    for kind, (table, column) in NAMED.items():
        named = by_id(data, table)[column].dropna()
        names[kind] = {str(k): str(v) for k, v in named.items()}
    return names


def _places(
    data: Dataset,
) -> tuple[list[dict[str, Any]], dict[str, str], dict[str, str]]:
    """Buildings, cores and zones; the place of each zone and of each dwelling."""
    places: dict[str, dict[str, Any]] = {}
    of_dwelling: dict[str, str] = {}
    votes: dict[str, set[str]] = defaultdict(set)
    rows = data["dwellings"]
    for dwelling, building, core, zone in zip(
        *(rows[c].tolist() for c in ("dwelling_id", "building", "core", "zone_id")), strict=True
    ):
        place = ""
        if not pd.isna(building):
            place = f"building {building}"
            places.setdefault(place, {"id": place, "name": str(building), "parent": None})
        if not pd.isna(core):
            inner = f"{place} core {core}".strip()
            name = f"{building} {core}" if place else str(core)
            places.setdefault(inner, {"id": inner, "name": name, "parent": place or None})
            place = inner
        if place:
            of_dwelling.setdefault(str(dwelling), place)
            if not pd.isna(zone):
                votes[str(zone)].add(place)
    around_of = {z: next(iter(p)) if len(p) == 1 else _shared(p, places) for z, p in votes.items()}
    _spread(data, around_of, places)
    of_zone: dict[str, str] = {}
    for zone, name in by_id(data, "zones")["name"].items():
        place = f"zone {zone}"
        of_zone[str(zone)] = place
        parent = around_of.get(str(zone))
        places[place] = {"id": place, "name": _text(name) or str(zone), "parent": parent}
    return list(places.values()), of_zone, of_dwelling


def _shared(around: set[str], places: Mapping[str, Mapping[str, Any]]) -> str | None:
    """The one building around several of its cores; None where there are several buildings."""
    wider = {places[p]["parent"] or p for p in around}
    return next(iter(wider)) if len(wider) == 1 else None


def _spread(
    data: Dataset, around_of: dict[str, str | None], places: Mapping[str, Mapping[str, Any]]
) -> None:
    """Zones without dwellings belong where the zones do to which they have doors.

    Door by door outwards from the dwellings; a zone between two buildings, a place of safety,
    and all that lies behind them, belong to the site.
    """
    zones = by_id(data, "zones")
    safe = zones["place_of_safety"].fillna(zones["kind"].eq("outside")).fillna(False)
    near: dict[str, set[str]] = defaultdict(set)
    doors = data["doors"][["inside_zone", "outside_zone"]].dropna().drop_duplicates()
    for one, other in zip(doors["inside_zone"], doors["outside_zone"], strict=True):
        near[one].add(other)
        near[other].add(one)
    closed = {str(z) for z in zones.index[safe.to_numpy(bool)]}
    edge = {z for z, place in around_of.items() if place} - closed
    while edge:
        found: dict[str, set[str]] = defaultdict(set)
        for zone in edge:
            for other in near[zone] - closed - around_of.keys():
                found[other].add(str(around_of[zone]))
        around_of.update({z: _shared(p, places) for z, p in found.items()})
        edge = {z for z in found if around_of[z]}
    for zone in [z for z in zones.index if around_of.get(z)]:
        beside = {p for z in near[zone] - closed if (p := around_of.get(z))}
        if len(beside | {str(around_of[zone])}) > 1:
            around_of[zone] = _shared(beside | {str(around_of[zone])}, places)


def _where(
    record: Record, data: Dataset, of_zone: Mapping[str, str], of_dwelling: Mapping[str, str]
) -> dict[str, list[str]]:
    def lookup(table: str, column: str) -> dict[str, str]:
        return {str(k): str(v) for k, v in by_id(data, table)[column].dropna().items()}

    named: dict[str, set[str]] = defaultdict(set)
    for finding in record.findings:
        for kind, values in finding.subjects.items():
            named[kind].update(values)

    def of_named(kind: str, ids: pd.Series, values: pd.Series) -> dict[str, str]:
        """The value beside each id that a finding names: a register may hold a million others."""
        at = np.flatnonzero(is_in(ids, pd.Series(sorted(named[kind]), dtype=TEXT)))
        pairs = zip(ids.iloc[at], values.iloc[at], strict=True)
        return {str(k): str(v) for k, v in pairs if not pd.isna(v)}

    people = data["people"][::-1]  # of rows with one id the first counts
    person_dwelling = of_named("person", people["person_id"], people["dwelling_id"])
    door_zone = lookup("doors", "inside_zone")
    station_dwelling, station_door = (
        lookup("stations", "dwelling_id"),
        lookup("stations", "door_id"),
    )
    pin_door = lookup("pins", "door_id")
    bound = {
        kind: of_named(kind, data[table][column], bound_dwelling(data, table))
        for kind, table, column in (("card", "cards", "card_id"), ("pin", "pins", "pin_id"))
    }

    def of(kind: str, value: str) -> str | None:
        if kind == "zone":
            return of_zone.get(value)
        if kind == "door":
            return of_zone.get(door_zone.get(value, ""))
        if kind == "dwelling":
            return of_dwelling.get(value)
        if kind == "person":
            return of_dwelling.get(person_dwelling.get(value, ""))
        if kind in bound:
            own = of_dwelling.get(bound[kind].get(value, ""))
            return own or (of("door", pin_door.get(value, "")) if kind == "pin" else None)
        if kind == "station":
            own = of_dwelling.get(station_dwelling.get(value, ""))
            return own or of("door", station_door.get(value, ""))
        return None

    def places(f: Finding) -> list[str]:
        kinds = ("zone", "door", "dwelling", "person", "card", "pin", "station")
        found = {of(kind, v) for kind in kinds for v in f.subjects.get(kind, ())}
        return sorted(p for p in found if p)

    return {f.id: where for f in record.findings if (where := places(f))}


def _weeks(data: Dataset) -> list[Week]:
    year = opening.year(data)
    # of several kinds of the same day of the week, the one with the most dates is drawn
    usual: dict[int, int] = {}
    for i, kind in enumerate(year.kinds):
        if kind.weekday not in usual or len(kind.dates) > len(
            year.kinds[usual[kind.weekday]].dates
        ):
            usual[kind.weekday] = i
    drawn: dict[str, dict[Any, list[list[int]]]] = {}
    for schedule in sorted(year.sure):
        minutes = year.minutes(year.hours_of(schedule)[1])
        drawn[schedule] = {
            DAYS[w]: [list(s) for s in stretches(minutes[i])] for w, i in usual.items()
        }
    weeks = [Week(id=s, name=s, kind="schedule", days=days) for s, days in drawn.items()]
    doors = by_id(data, "doors")
    for door, name, schedule in zip(
        doors.index, doors["name"], doors["unlock_schedule"], strict=True
    ):
        if not pd.isna(schedule) and schedule in drawn:
            weeks.append(
                Week(
                    id=str(door),
                    name=_text(name) or str(door),
                    kind="door",
                    days=drawn[str(schedule)],
                    note=f"stands unlocked by {schedule}",
                )
            )
    return weeks


RESULT: dict[Any, Any] = {YES: "out", NO: "trapped", UNCLEAR: "unclear"}
STATES: tuple[Any, ...] = (*ESCAPE_STATES,)
FREE: dict[Any, Any] = {YES: True, NO: False, UNCLEAR: None}


def _ways(data: Dataset) -> tuple[list[Zone], list[Door]]:
    """The zones and doors of the plan: which zone has a way out, which door all hang on."""
    site, way, net = plan_of_ways(data), ways(data), network(data)
    named = zones_of(data).frame.set_index("zone").reindex(site.zones)
    weak = {d for d, w in zip(net.weak_door, net.weak, strict=True) if w == YES}
    zones = [
        Zone(
            id=zone,
            name=zone if pd.isna(name) else name,
            kind="" if pd.isna(kind) else kind,
            occupants=None if pd.isna(people) else int(people),
            safe=bool(site.safe[i] == YES),
            results={s: RESULT[v] for s, v in zip(STATES, way[i].tolist(), strict=True)},
        )
        for i, (zone, name, kind, people) in enumerate(
            zip(site.zones, named["name"], named["kind"], named["occupants"], strict=True)
        )
    ]
    names = doors_of(data).frame.set_index("door")["name"].reindex(site.doors)
    doors = [
        Door(
            id=door,
            name=door if pd.isna(name) else name,
            inside=site.zones[site.inside[d]],
            outside=site.zones[site.outside[d]],
            free={s: FREE[v] for s, v in zip(STATES, site.out[d].tolist(), strict=True)},
            back={s: FREE[v] for s, v in zip(STATES, site.back[d].tolist(), strict=True)},
            weak=d in weak,
        )
        for d, (door, name) in enumerate(zip(site.doors, names, strict=True))
        if site.inside[d] >= 0 and site.outside[d] >= 0
    ]
    return zones, doors


def _roll(data: Dataset, previous: Sequence[Mapping[str, str]] | None) -> list[RollRow]:
    rows = access_roll(data)
    people = by_id(data, "people")
    at = people.index.get_indexer(pd.Index(rows["person_id"]))

    def of(column: str) -> list[str]:
        values = people[column].reset_index(drop=True).reindex(at)
        return ["" if pd.isna(v) else str(v) for v in values]

    names, dwellings = of("name"), of("dwelling_id")
    starts = [s[:10] for s in of("start_date")]
    made = []
    for person, group, door, hours, through, sure, name, dwelling, start in zip(
        *(rows[c].tolist() for c in ("person_id", "door_group", "door_id", "hours", "through",
                                     "sure")),
        names, dwellings, starts, strict=True,
    ):  # fmt: skip
        what = str(group) if not pd.isna(group) else f"door {door}"
        made.append(
            RollRow(
                person=str(person),
                name=name,
                dwelling=dwelling,
                door_group=what,
                hours=str(hours) if sure else f"{hours} (not all of it is known)",
                through=str(through),
                since=start,
                change="",
            )
        )
    return made if previous is None else _changed(made, previous)


def _changed(now: list[RollRow], previous: Sequence[Mapping[str, str]]) -> list[RollRow]:
    """Who came, who went, and whose hours are others than at the previous review."""

    def key(row: Mapping[str, Any]) -> tuple[str, str]:
        return (
            str(row.get("person", "")).lstrip("'"),
            str(row.get("door_group", "")).lstrip("'"),
        )

    before: dict[tuple[str, str], Mapping[str, Any]] = {
        key(r): r for r in previous if r.get("change") != "gone"
    }
    marked: list[RollRow] = []
    for row in now:
        earlier = before.pop(key(row), None)
        if earlier is None:
            change = "new"
        elif earlier.get("hours", "").lstrip("'") != row["hours"]:
            change = f"hours were: {earlier.get('hours', '')}"
        else:
            change = ""
        marked.append(RollRow(**{**row, "change": change}))
    for (person, group), gone in before.items():
        marked.append(
            RollRow(
                person=person,
                name=gone.get("name", ""),
                dwelling=gone.get("dwelling", ""),
                door_group=group,
                hours=gone.get("hours", ""),
                through=gone.get("through", ""),
                since=gone.get("since", ""),
                change="gone",
            )
        )
    return sorted(marked, key=lambda r: (r["person"], r["door_group"]))


def _matrix(data: Dataset) -> Any:
    """People who reach the same doors at the same hours, against the doors that ask."""
    doors = by_id(data, "doors")
    asks = doors["entry"].isin(ASKED).to_numpy(bool)
    r = reach(data)
    right = entitled(data).reindex(by_id(data, "people")["_label"]).fillna(False).to_numpy(bool)
    classes = r.people.of[: len(right)]
    pairs = r.pairs(r.people, asks)
    at = np.flatnonzero(asks)[:MOST_COLUMNS]
    column = {int(d): i for i, d in enumerate(at)}
    cells: dict[int, list[Cell]] = defaultdict(lambda: ["never"] * len(at))
    for of, door, hours, sure in zip(
        pairs.of.tolist(), pairs.door.tolist(), pairs.hours.tolist(), pairs.certain.tolist(),
        strict=True,
    ):  # fmt: skip
        if door in column:
            whole = pairs.sure[hours] == r.year.always
            cells[of][column[door]] = "unclear" if not sure else "always" if whole else "part"
    members: dict[tuple[Cell, ...], list[int]] = defaultdict(list)
    for person in np.flatnonzero(right).tolist():
        members[tuple(cells[int(classes[person])])].append(person)
    people = by_id(data, "people")
    rows = [
        ReachRow(name=_called(data, people, who), people=len(who), cells=list(row))
        for row, who in sorted(members.items(), key=lambda i: (-len(i[1]), i[1][0]))
        if any(c != "never" for c in row)
    ]
    columns = [
        {"id": str(doors.index[d]), "name": _text(doors["name"].iloc[d]) or str(doors.index[d])}
        for d in at
    ]
    return {"columns": columns, "rows": rows}


def _called(data: Dataset, people: pd.DataFrame, who: list[int]) -> str:
    """What a class of people is called: a few by reference, many by role and building."""
    part = people.iloc[who]
    if len(who) == 1:
        return f"{part.index[0]} {_text(part['name'].iloc[0])}".strip()
    if len(who) <= 3:
        return ", ".join(map(str, part.index))
    roles = " and ".join(sorted(part["role"].dropna().unique())) or "people"
    dwellings = by_id(data, "dwellings")
    places = dwellings.index.get_indexer(pd.Index(part["dwelling_id"]))
    where = dwellings["building"].iloc[places[places >= 0]].dropna().unique()
    return f"{roles}, {where[0]}" if len(where) == 1 else roles
