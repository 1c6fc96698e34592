"""What a person's reach has that others' has not: other dwellings, plant, and odd doors."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd

from audit.contract import TEXT, Dataset
from audit.trade.reach import ASKED, PERHAPS, SURE, Flags, opened, person_doors, reach
from audit.trade.schedules import ICALENDAR
from audit.trade.standing import by_id, entitled, lookup


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
    within = people["role"].isin(roles) | people["role"].isna()
    doors = by_id(data, "doors")
    found = zone_kind(data, "inside_zone")
    may = (found == kind).fillna(True).astype(bool)
    pairs = person_doors(data, may)
    pairs = pairs[pairs["person_id"].isin(people.index[within.to_numpy(dtype=bool)])]
    sure = (
        pairs["sure"].to_numpy(dtype=bool)
        & found.notna().reindex(pairs["door_id"]).to_numpy(dtype=bool)
        & people["role"].notna().reindex(pairs["person_id"]).to_numpy(dtype=bool)
    )
    reached = pd.DataFrame(
        {
            "person": pairs["person_id"].array,
            "door": pairs["door_id"].array,
            "zone": doors["inside_zone"].reindex(pairs["door_id"]).array,
            "reaches": pd.arrays.BooleanArray(np.ones(len(pairs), bool), ~sure),
        },
        index=pd.Index(people["_label"].reindex(pairs["person_id"]).to_numpy(dtype=np.int64)),
    )
    rest = people[within.to_numpy(dtype=bool) & ~people.index.isin(pairs["person_id"])]
    none = pd.DataFrame(
        {
            "person": rest.index.astype(TEXT),
            "door": pd.array([pd.NA] * len(rest), dtype=TEXT),
            "zone": pd.array([pd.NA] * len(rest), dtype=TEXT),
            "reaches": pd.array([False] * len(rest), dtype="boolean"),
        },
        index=pd.Index(rest["_label"].to_numpy(dtype=np.int64)),
    )
    return pd.concat([reached, none])


def zones_into(data: Dataset, kind: str, roles: Sequence[str]) -> pd.DataFrame:
    """`reaches_into` by zone: one row a person and zone, with the list of `doors`.

    `reaches` is sure when it is by one door.
    """
    rows = reaches_into(data, kind, roles).sort_values(["person", "zone", "door"])
    by = ["person", "zone"]
    group = rows.groupby(by, dropna=False, sort=True).ngroup().to_numpy()
    doors: dict[int, list[str]] = {}
    for number, door in zip(group.tolist(), rows["door"], strict=True):
        doors.setdefault(number, []).extend([] if pd.isna(door) else [door])
    rows = rows.assign(number=group, doubt=rows["reaches"].isna())
    rows = rows.sort_values(["number", "doubt"]).drop_duplicates("number")
    return rows.assign(doors=pd.Series([doors[n] for n in rows["number"]], index=rows.index))


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
    place = pd.Series(np.full(len(ours), -1), index=ours.index)
    codes = pd.DataFrame({"b": building[known], "c": core[known]}).groupby(["b", "c"]).ngroup()
    place[known] = codes.to_numpy()
    counted = stands[ours.index].fillna(False).to_numpy(dtype=bool)
    size = pd.Series(place[known & counted]).value_counts()
    neighbours = place.map(size).fillna(0).astype(int)

    doors = by_id(data, "doors")
    controlled = (doors["lock"] != "none").fillna(True).to_numpy(dtype=bool)
    dwelling = (zone_kind(data, "inside_zone") == "dwelling").fillna(False).to_numpy(dtype=bool)
    pairs = person_doors(data, controlled & ~dwelling & _rare(data, ours.index))
    pairs = pairs[pairs["person_id"].isin(ours.index)]
    # a door that three or more residents reach is nobody's oddity
    firm = pairs["sure"].to_numpy(dtype=bool) & stands.reindex(pairs["person_id"]).fillna(
        False
    ).to_numpy(dtype=bool)
    many = pairs[firm].groupby("door_id").size().reindex(pairs["door_id"]).fillna(0)
    pairs = pairs[many.to_numpy() < 3]
    pairs = pairs.assign(place=place.reindex(pairs["person_id"]).to_numpy())
    pairs = pairs[pairs["place"] >= 0]
    here = pairs.groupby(["place", "door_id"])["person_id"].transform("size")
    share = pairs["place"].map(size).fillna(0)
    pairs = pairs[(share >= 10) & (here * 10 < share)]
    home = lookup(data, "dwellings", people["dwelling_id"].reindex(pairs["person_id"]), "zone_id")
    on_way = _on_way_in(
        data, pairs["door_id"].tolist(), home.astype(object).where(home.notna(), None).tolist()
    )
    pairs = pairs[np.array([way is not True for way in on_way], bool)]
    sure = (
        pairs["sure"].to_numpy(dtype=bool)
        & np.array([way is False for way in on_way if way is not True], bool)
        & doors["lock"].notna().reindex(pairs["door_id"]).to_numpy(dtype=bool)
        & zone_kind(data, "inside_zone").notna().reindex(pairs["door_id"]).to_numpy(dtype=bool)
    )
    pairs = pairs.assign(firm=sure)
    listed = pairs[sure].groupby("person_id")["door_id"].agg(sorted)
    doubtful = pairs["person_id"].unique()
    odd = np.array([p in listed.index for p in ours.index], bool) & counted
    unclear = ~odd & (ours.index.isin([*doubtful, *listed.index]) | ~known | ~counted)
    frame = pd.DataFrame(
        {
            "person": ours.index.astype(TEXT),
            "doors": [listed.get(p) for p in ours.index],
            "odd": pd.arrays.BooleanArray(odd, unclear),
            "neighbours": neighbours.to_numpy(),
        },
        index=pd.Index(ours["_label"].to_numpy(dtype=np.int64)),
    )
    return frame[(frame["neighbours"] >= 10).to_numpy() | ~known]


def _rare(data: Dataset, residents: pd.Index) -> Flags:
    """Doors that no single grant opens to three of these residents: the others are aside.

    Only a first sieve, to keep the work small; it looks at grants whose holders all have
    surely what the door asks for.
    """
    r = reach(data)
    people = r.people
    at = r.person_ids.get_indexer(residents)
    weight = np.bincount(people.of[at], minlength=people.size)
    holds = (people.card == SURE) & (people.pin == SURE)
    size = np.diff(people.start)
    of = np.repeat(np.arange(people.size), size)
    certain = (people.items & 1).astype(bool) & holds[of]
    count = np.bincount(
        (people.items >> 1)[certain], weights=weight[of[certain]], minlength=len(r.grant_target)
    )
    rare = np.ones(len(r.door_ids), bool)
    opens = np.array([r.year.hours_of(s)[0] != 0 for s in r.schedules], bool)
    for grant in np.flatnonzero(count >= 3).tolist():
        if not opens[r.grant_schedule[grant]]:
            continue
        t = r.grant_target[grant]
        span = slice(r.targets.start[t], r.targets.start[t + 1])
        doors = r.targets.doors[span][r.targets.sure[span]]
        rare[doors[(r.entry[doors] >= 1) & (r.entry[doors] <= 4)]] = False
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
    levels = opened(data)
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
