"""What a person's reach has that others' has not: other dwellings, plant, and odd doors."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd

from audit.contract import TEXT, Dataset
from audit.trade.plain import places
from audit.trade.reach import ASKED, NONE, PERHAPS, SURE, Flags, Whole, opened, person_doors, reach
from audit.trade.schedules import ICALENDAR
from audit.trade.standing import by_id, entitled, live, lookup


def zone_kind(data: Dataset, column: str) -> pd.Series:
    """The kind of each door's zone, over `by_id(data, "doors")`; NA where it is not known.

    `column` is `inside_zone` or `outside_zone`.
    """
    doors = by_id(data, "doors")
    return lookup(data, "zones", doors[column], "kind")


def reaches_into(data: Dataset, kind: str, roles: Sequence[str]) -> pd.DataFrame:
    """Doors into zones of this kind that people of these roles reach.

    Columns `person`, `door`, `zone` (the inside zone), `reaches` (nullable boolean); index:
    labels of the people table. One row a person and door; a person who reaches none has one
    row without door and zone, and False.
    """
    people = by_id(data, "people")
    role = people["role"]
    known_role = role.notna().to_numpy(dtype=bool)
    within = role.isin(roles).to_numpy(dtype=bool) | ~known_role
    doors = by_id(data, "doors")
    found = zone_kind(data, "inside_zone")
    pairs = person_doors(data, (found == kind).fillna(True))
    pairs = pairs[within[pairs["person"].to_numpy()]]
    who, door = pairs["person"].to_numpy(), pairs["door"].to_numpy()
    sure = pairs["sure"].to_numpy(dtype=bool) & found.notna().to_numpy()[door] & known_role[who]
    label = people["_label"].to_numpy(dtype=np.int64)
    reached = pd.DataFrame(
        {
            "person": pairs["person_id"].array,
            "door": pairs["door_id"].array,
            "zone": doors["inside_zone"].array.take(door),
            "reaches": pd.arrays.BooleanArray(np.ones(len(pairs), bool), ~sure),
        },
        index=pd.Index(label[who]),
    )
    within[who] = False
    rest = np.flatnonzero(within)
    none = pd.DataFrame(
        {
            "person": people.index[rest].astype(TEXT),
            "door": pd.array([pd.NA] * len(rest), dtype=TEXT),
            "zone": pd.array([pd.NA] * len(rest), dtype=TEXT),
            "reaches": pd.array(np.zeros(len(rest), bool), dtype="boolean"),
        },
        index=pd.Index(label[rest]),
    )
    return pd.concat([reached, none])


def zones_into(data: Dataset, kind: str, roles: Sequence[str]) -> pd.DataFrame:
    """`reaches_into` by zone: one row a person and zone, with the list of `doors`.

    `reaches` is sure when it is by one door.
    """
    rows = reaches_into(data, kind, roles)
    some = rows["door"].notna().to_numpy(dtype=bool)
    none, rows = rows[~some], rows[some].sort_values(["person", "zone", "door"])
    group = rows.groupby(["person", "zone"], sort=True, dropna=False).ngroup().to_numpy()
    doors: dict[int, list[str]] = {}
    for number, door in zip(group.tolist(), rows["door"].tolist(), strict=True):
        doors.setdefault(number, []).append(door)
    rows = rows.assign(number=group, doubt=rows["reaches"].isna())
    rows = rows.sort_values(["number", "doubt"]).drop_duplicates("number")
    listed = pd.Series([doors[n] for n in rows["number"].tolist()], index=rows.index, dtype=object)
    return pd.concat([rows.assign(doors=listed), none])


def unlike_neighbours(data: Dataset) -> pd.DataFrame:
    """Doors that hardly any neighbour reaches, for residents with ten neighbours or more.

    Index: labels of the people table. Columns `person`, `doors` (list, None where there is
    none), `odd` (nullable boolean), `neighbours` (residents of the same building and core,
    this one among them). Entitled residents only; NA where building, core or reach is not
    known.

    A door counts when it is controlled, when fewer than one in ten of those residents reach
    it, this one among them, and fewer than three residents of the whole site; not when it
    leads into a zone of kind dwelling, or can be passed on a way in from outside to the home.
    """
    people = by_id(data, "people")
    right = entitled(data).reindex(people["_label"]).set_axis(people.index)
    stands = ((people["role"] == "resident") & right).astype("boolean")
    ours = people[stands.fillna(True).to_numpy(dtype=bool)]
    building = lookup(data, "dwellings", ours["dwelling_id"], "building")
    core = lookup(data, "dwellings", ours["dwelling_id"], "core")
    known = (building.notna() & core.notna()).to_numpy(dtype=bool)
    counted = stands.fillna(False).to_numpy(dtype=bool)
    at = np.flatnonzero(stands.fillna(True).to_numpy(dtype=bool))
    place = np.full(len(people), -1)
    codes = pd.DataFrame({"b": building[known], "c": core[known]}).groupby(["b", "c"]).ngroup()
    place[at[known]] = codes.to_numpy()
    size = np.bincount(place[counted & (place >= 0)], minlength=int(place.max(initial=0)) + 1)

    doors = by_id(data, "doors")
    kind = zone_kind(data, "inside_zone")
    controlled = (doors["lock"] != "none").fillna(True).to_numpy(dtype=bool)
    dwelling = (kind == "dwelling").fillna(False).to_numpy(dtype=bool)
    given = (doors["lock"].notna() & kind.notna()).to_numpy(dtype=bool)
    pairs = person_doors(data, controlled & ~dwelling & _rare(data, at))
    who, door = pairs["person"].to_numpy(), pairs["door"].to_numpy()
    sure = pairs["sure"].to_numpy(dtype=bool)
    # a door that three or more residents reach is nobody's oddity
    many = np.bincount(door[sure & counted[who]], minlength=len(doors))
    kept = (many[door] < 3) & (place[who] >= 0)
    who, door, sure = who[kept], door[kept], sure[kept]
    cell = place[who] * len(doors) + door
    _, which, here = np.unique(cell, return_inverse=True, return_counts=True)
    share = size[place[who]]
    kept = (share >= 10) & (here[which.reshape(-1)] * 10 < share)
    who, door, sure = who[kept], door[kept], sure[kept]
    home = lookup(data, "dwellings", people["dwelling_id"].iloc[who], "zone_id")
    homes = [None if pd.isna(h) else str(h) for h in home]
    on_way = _on_way_in(data, doors.index[door].tolist(), homes)
    odd, doubt = np.zeros(len(people), bool), np.zeros(len(people), bool)
    listed: dict[int, list[str]] = {}
    names = doors.index.tolist()
    for person, d, certain, way in zip(
        who.tolist(), door.tolist(), sure.tolist(), on_way, strict=True
    ):
        if way is False and certain and given[d]:
            odd[person] = True
            listed.setdefault(person, []).append(names[d])
        elif way is not True:
            doubt[person] = True
    odd &= counted
    doubt |= ~counted
    doubt[at[~known]] = True
    neighbours = np.where(place[at] >= 0, size[place[at]], 0)
    frame = pd.DataFrame(
        {
            "person": ours.index.astype(TEXT),
            "doors": pd.Series(
                [sorted(listed[i]) if i in listed else None for i in at.tolist()], dtype=object
            ).array,
            "odd": pd.arrays.BooleanArray(odd[at], doubt[at] & ~odd[at]),
            "neighbours": neighbours,
        },
        index=pd.Index(ours["_label"].to_numpy(dtype=np.int64)),
    )
    return frame[(neighbours >= 10) | ~known]


def _rare(data: Dataset, residents: Whole) -> Flags:
    """Doors that no single grant surely opens to three of these residents.

    Only a first sieve, to keep the work small: the doors that it drops are aside.
    """
    r = reach(data)
    people = r.people
    weight = np.bincount(people.of[residents], minlength=people.size)
    size = np.diff(people.start)
    of = np.repeat(np.arange(people.size), size)
    grant, certain = people.items >> 1, (people.items & 1).astype(bool)

    def holders(has: Flags) -> Whole:
        mine = certain & has[of]
        return np.bincount(grant[mine], weights=weight[of[mine]], minlength=len(r.grant_target))

    card, pin = people.card == SURE, people.pin == SURE
    by_entry = {1: holders(card), 2: holders(pin), 4: holders(card & pin)}
    by_entry[3] = np.maximum(by_entry[1], by_entry[2])
    rare = np.ones(len(r.door_ids), bool)
    opens = np.array([r.year.hours_of(s)[0] != 0 for s in r.schedules], bool)
    for entry, count in by_entry.items():
        for g in np.flatnonzero((count >= 3) & opens[r.grant_schedule]).tolist():
            t = r.grant_target[g]
            span = slice(r.targets.start[t], r.targets.start[t + 1])
            doors = r.targets.doors[span][r.targets.sure[span]]
            rare[doors[r.entry[doors] == entry]] = False
    return rare


def _on_way_in(
    data: Dataset, doors: Sequence[str], homes: Sequence[str | None]
) -> list[bool | None]:
    """Whether each door can be passed on a way in from outside to the home beside it.

    A way in passes doors from their outside zone to their inside zone; a door that is closed
    from outside leads nowhere. None where a zone is not given.
    """
    table = by_id(data, "doors")
    near, far = table["outside_zone"], table["inside_zone"]
    shut = (table["entry"] == "closed").fillna(False)
    onward: dict[str, set[str]] = {}
    back: dict[str, set[str]] = {}
    for a, b, closed in zip(near, far, shut, strict=True):
        if not closed and not pd.isna(a) and not pd.isna(b):
            onward.setdefault(a, set()).add(b)
            back.setdefault(b, set()).add(a)
    zones = by_id(data, "zones")
    entrances = set(zones.index[(zones["kind"] == "outside").fillna(False).to_numpy(dtype=bool)])
    from_outside = _reached(entrances, onward)
    to_home: dict[str, set[str]] = {}
    found: list[bool | None] = []
    for door, home in zip(doors, homes, strict=True):
        a, b = near[door], far[door]
        if home is None or pd.isna(a) or pd.isna(b):
            found.append(None)
            continue
        if home not in to_home:
            to_home[home] = _reached({home}, back)
        found.append(a in from_outside and b in to_home[home] and not shut[door])
    return found


def _reached(start: set[str], onward: dict[str, set[str]]) -> set[str]:
    seen = set(start)
    work = list(start)
    while work:
        for to in onward.get(work.pop(), ()):
            if to not in seen:
                seen.add(to)
                work.append(to)
    return seen


def opened_by_someone(data: Dataset) -> pd.DataFrame:
    """Doors that ask for a credential, and whether a live one opens them at any minute.

    Index: labels of the doors table. Columns `door`, `entry`, `asks` and `opened` (nullable
    boolean); doors whose entry asks for none are left out, those whose entry is not given
    are there with NA.
    """
    doors = by_id(data, "doors")
    levels = np.maximum(opened(data), _by_station(data))
    if _holders_unsaid(data):
        levels = np.maximum(levels, PERHAPS)
    asks = doors["entry"].isin(ASKED).astype("boolean").mask(doors["entry"].isna())
    frame = pd.DataFrame(
        {
            "door": doors.index.astype(TEXT),
            "entry": doors["entry"].array,
            "asks": asks.array,
            "opened": pd.arrays.BooleanArray(levels == SURE, levels == PERHAPS),
        },
        index=pd.Index(doors["_label"].to_numpy(dtype=np.int64)),
    )
    return frame[frame["asks"].fillna(True).to_numpy(dtype=bool)]


def _holders_unsaid(data: Dataset) -> bool:
    """Whether permissions are given to persons, and a register has no column for a holder."""
    ties = {
        "cards": ("person_id", "dwelling_id"),
        "pins": ("person_id", "dwelling_id", "door_id", "station_id"),
    }
    return bool(data["permissions"]["holder_kind"].eq("person").any()) and any(
        data.has(table) and not any(data.has(table, c) for c in columns)
        for table, columns in ties.items()
    )


def _by_station(data: Dataset) -> Whole:
    """For each door NONE, PERHAPS or SURE: whether a live PIN of one of its stations opens it.

    An administrator's code opens nothing.
    """
    doors, pins = by_id(data, "doors"), data["pins"]
    level = np.zeros(len(doors), np.int64)
    works = live(data, "pins")
    own = (works.fillna(True) & pins["station_id"].notna()).to_numpy(bool)
    own &= pins["kind"].ne("admin").fillna(True).to_numpy(bool)
    if own.any():
        station = lookup(data, "stations", pins["station_id"][own], "door_id")
        at = places(doors.index, station)
        sure = works[own].notna().to_numpy(bool)
        np.maximum.at(level, at[at >= 0], np.where(sure, SURE, PERHAPS)[at >= 0])
        level[~doors["entry"].isin(["pin", "card-or-pin"]).to_numpy(bool)] = NONE
    return level


def unlocks_outside(data: Dataset, schedules: pd.DataFrame) -> pd.DataFrame:
    """Schedules that unlock doors from outside, perhaps or surely.

    `schedules` has a column `schedule`; added are `doors` (list of the doors), `outside` (NA
    where no door's outside zone is surely outside) and `without` (no window names a
    calendar; iCalendar events excepted, which name their own days).
    """
    doors = by_id(data, "doors")
    doors = doors.assign(kind=zone_kind(data, "outside_zone")).reset_index()
    doors = doors[doors["unlock_schedule"].notna() & (doors["kind"] == "outside").fillna(True)]
    by = doors.sort_values("door_id").groupby("unlock_schedule")
    listed, sure = by["door_id"].agg(list), by["kind"].count() > 0
    rows = data["schedules"]
    dated = rows["calendar"].notna() | rows["days"].str.startswith(ICALENDAR).fillna(False)
    named = rows["schedule_id"][dated.to_numpy(dtype=bool)]
    mine = schedules[schedules["schedule"].isin(listed.index)]
    certain = sure.reindex(mine["schedule"]).to_numpy(dtype=bool)
    return mine.assign(
        doors=pd.Series([listed[s] for s in mine["schedule"]], index=mine.index, dtype=object),
        outside=pd.arrays.BooleanArray(certain, ~certain),
        without=~mine["schedule"].isin(named).to_numpy(dtype=bool),
    )
