"""What cases need to know of the site: holders, dwellings, places, and people at doors.

Plain dictionaries, made once a Dataset, so that cases themselves know no Dataset.
"""

from __future__ import annotations

from typing import Any

import pandas as pd

from audit.contract import Dataset
from audit.facts.buildings import at_place, zones
from audit.facts.doors import Doors, doors, words, words_of_locks
from audit.facts.standing import bound_dwelling, by_id, departed, entitled, live
from audit.facts.ways_out import count_people, door_positions, network, zone_rows
from audit.schema import LOCK_COLUMNS

Place = tuple[str, str, str, str]


def holders(data: Dataset) -> dict[tuple[str, str], str]:
    """(card or pin, id) -> the person who holds it; of a repeated id the first."""
    found: dict[tuple[str, str], str] = {}
    for kind, table in (("card", "cards"), ("pin", "pins")):
        frame = by_id(data, table)["person_id"].dropna()
        found |= {(kind, str(i)): str(p) for i, p in frame.items()}
    return found


def dwellings_of(data: Dataset) -> dict[tuple[str, str], str]:
    """(person, card or pin, id) -> their dwelling."""
    people = by_id(data, "people")["dwelling_id"].dropna()
    found = {("person", str(i)): str(d) for i, d in people.items()}
    for kind, table, key in (("card", "cards", "card_id"), ("pin", "pins", "pin_id")):
        bound = bound_dwelling(data, table)
        for own, home in zip(data[table][key], bound, strict=True):
            if not pd.isna(home) and not pd.isna(own):
                found.setdefault((kind, str(own)), str(home))
    return found


def last_days(data: Dataset) -> dict[str, str]:
    """Departed person -> their last day (end date and grace), "" where it is not recorded."""
    people = data["people"]
    gone = departed(data).fillna(False).to_numpy(bool)
    grace = pd.Timedelta(days=data.policy.departure_grace_days)
    days = people["end_date"][gone]
    return {
        str(p): "" if pd.isna(d) else (d + grace).date().isoformat()
        for p, d in zip(people["person_id"][gone], days, strict=True)
    }


def entitled_people(data: Dataset) -> frozenset[str]:
    """The people who are entitled as of the day."""
    here = entitled(data).fillna(False).to_numpy(bool)
    return frozenset(map(str, data["people"]["person_id"][here]))


def people_of(data: Dataset) -> dict[str, frozenset[str]]:
    """Dwelling -> the entitled people who live there."""
    here = entitled_people(data)
    found: dict[str, set[str]] = {}
    for person, home in by_id(data, "people")["dwelling_id"].dropna().items():
        if str(person) in here:
            found.setdefault(str(home), set()).add(str(person))
    return {home: frozenset(p) for home, p in found.items()}


def places(data: Dataset) -> dict[tuple[str, str], Place]:
    """(subject key, id) -> building, core, floor and own name, "" where not recorded."""
    homes = by_id(data, "dwellings")
    at: dict[tuple[str, str], Place] = {}
    for own, building, core, floor in zip(
        homes.index, homes["building"], homes["core"], homes["floor"], strict=True
    ):
        at[("dwelling", str(own))] = (_text(building), _text(core), _text(floor), str(own))
    for key, home in dwellings_of(data).items():
        if ("dwelling", home) in at:
            at[key] = at[("dwelling", home)]
    frame = zones(data).frame
    for zone, building, floor in zip(frame["zone"], frame["building"], frame["floor"], strict=True):
        at[("zone", str(zone))] = (_text(building), "", _text(floor), str(zone))
    rows = data["doors"]
    for door, building, floor in zip(
        rows["door_id"], at_place(data, "building"), at_place(data, "floor"), strict=True
    ):
        at.setdefault(("door", str(door)), (_text(building), "", _text(floor), str(door)))
    stations = by_id(data, "stations")
    for own, home, door in zip(
        stations.index, stations["dwelling_id"], stations["door_id"], strict=True
    ):
        near = at.get(("dwelling", _text(home))) or at.get(("door", _text(door)))
        building, core, floor = near[:3] if near else ("", "", "")
        at[("station", str(own))] = (building, core, floor, str(own))
    return at


def likeness(data: Dataset) -> dict[str, tuple[str, str, str, str, tuple[str, ...]]]:
    """Door -> what makes two doors alike: building, zone kind, entry, fire rating, locks."""
    own = doors(data)
    frame = own.frame
    building = words(at_place(data, "building").loc[frame.index])
    kind = zones(data).frame.set_index("zone")["kind"].reindex(frame["inside_zone"])
    kinds = words(kind.reset_index(drop=True))
    locks = _locks(data, own)
    fire = (frame["fire_minutes"] > 0).fillna(False).to_numpy(bool)
    return {
        str(door): (str(b), str(k), str(e), "fire" if f else "", tuple(sorted(locks[i])))
        for i, (door, b, k, e, f) in enumerate(
            zip(frame["door"], building, kinds, words(frame["entry"]), fire, strict=True)
        )
    }


def _locks(data: Dataset, own: Doors) -> list[list[str]]:
    columns = [own.locks.taken, *(words_of_locks(data, c) for c in LOCK_COLUMNS[1:])]
    told: list[list[str]] = [[] for _ in range(len(own.frame))]
    for i, door in enumerate(own.at.tolist()):
        told[door].append("|".join(_word(c[i]) for c in columns))
    return told


def _word(value: Any) -> str:
    return {"True": "yes", "False": "no"}.get(str(value), str(value))


def people_at_doors(data: Dataset) -> dict[str, int]:
    """Everybody at each door: the sum of what is recorded."""
    net = network(data)
    return {
        str(door): count_people(data, *net.through[at]).everybody[0]
        for door, at in zip(doors(data).frame["door"], door_positions(data).tolist(), strict=True)
    }


def people_in_zones(data: Dataset) -> dict[str, int]:
    """The people of each zone (its own and those whose ways all pass it), at least."""
    net, rows = network(data), zone_rows(data)
    return {
        str(z): count_people(data, *net.within[at]).counted[0]
        for z, at in zip(rows["zone"], rows["at"].tolist(), strict=True)
    }


def own_occupants(data: Dataset) -> dict[str, int | None]:
    """The occupants of each zone's own row; None where not recorded."""
    frame = zones(data).frame
    return {
        str(z): None if pd.isna(n) else int(n)
        for z, n in zip(frame["zone"], frame["occupants"], strict=True)
    }


def unknown_people(data: Dataset) -> frozenset[str]:
    """Ids of people that live cards or PINs name and the people table does not have."""
    if "people" not in data.tables:
        return frozenset()
    known = set(data.known("people"))
    found: set[str] = set()
    for table in ("cards", "pins"):
        named = data[table]["person_id"][live(data, table).fillna(False).to_numpy(bool)]
        found |= {str(p) for p in named.dropna() if p not in known}
    return frozenset(found)


def exits_listed(data: Dataset) -> dict[str, bool]:
    """Zone -> whether every door to the outside of its building is in the doors table."""
    frame = zones(data).frame
    listed = frame["all_exits_listed"].fillna(False).to_numpy(bool)
    return dict(zip(map(str, frame["zone"]), listed.tolist(), strict=True))


def _text(value: Any) -> str:
    return "" if pd.isna(value) else str(value)
