"""What several rules on leaving the building ask: people at doors, widths, several exits."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from decimal import Decimal
from typing import Any, Final

import numpy as np
import pandas as pd

from audit.arithmetic.capacity import UNLIMITED, people_through, width_needed
from audit.arithmetic.freedom import Words, all_of, is_word, opposite
from audit.arithmetic.network import Exit, Step
from audit.arithmetic.plain import places
from audit.arithmetic.three import NO, UNCLEAR, YES, Bools, Credential, Small, coded, nullable
from audit.arithmetic.thresholds import Found
from audit.contract import Dataset
from audit.facts.buildings import at_place, named_buildings
from audit.facts.doors import controlled, doors, judged, words
from audit.facts.hours import year
from audit.facts.reach import credential_doors
from audit.facts.standing import by_id
from audit.facts.ways_out import (
    Count,
    count_people,
    door_positions,
    fact_is_missing,
    inhabited,
    is_recorded,
    network,
    plan,
    ways,
    zone_rows,
)

UNKNOWN_PEOPLE: Final = "occupants of a zone, or a door on the way, are not recorded"
SILENT: Final = "no value in the pack: "
UNKNOWN_WAY: Final = "a lock or a side of a door on the way is not recorded"
_HOW: Final = {"": "nothing is recorded", "none": "recorded as without a way in"}
ENTERS: Final = ("key", "switch", "staffed")


def facts_of_doors(data: Dataset) -> dict[str, pd.Series]:
    """What a threshold may hang on, by each door's place."""
    own = doors(data).frame
    return {f: at_place(data, f).loc[own.index] for f in ("kind", "use", "above_11_m", "high_rise")}


def people_at(data: Dataset) -> list[Count]:
    """The people whose shortest way out as built passes each door."""
    net = network(data)
    return [count_people(data, *net.through[at]) for at in door_positions(data).tolist()]


def only_people_at(data: Dataset) -> list[Count]:
    """The people of whom each door is the only one."""
    net = network(data)
    return [count_people(data, *net.only[at]) for at in door_positions(data).tolist()]


def exceeds(
    people: Sequence[tuple[int, int]], limit: pd.Series, lacks: Sequence[str] = ()
) -> Small:
    """Whether so many people, at least and at most (-1 any number), are more than the limit."""
    least = np.array([p[0] for p in people], np.int64)
    most = np.array([p[1] for p in people], np.int64)
    top = limit.to_numpy(np.float64, na_value=np.nan)
    sure = np.array([not x for x in lacks], bool) if len(lacks) else np.ones(len(least), bool)
    over = np.where(
        np.isnan(top),
        UNCLEAR,
        np.where(least > top, YES, np.where((most >= 0) & (most <= top), NO, UNCLEAR)),
    )
    nobody = (least == 0) & (most == 0)
    return np.where(nobody, NO, np.where(sure, over, UNCLEAR)).astype(np.int8)


def vague_limit(
    limit: Found, what: str, over: Small, people: Sequence[Count] = ()
) -> tuple[Words, Words]:
    """Why a limit could not be held against people: the code's silence, or a missing fact.

    `people`: those who count by evacuation, where they are asked for.
    """
    reason = np.where(limit.silent, SILENT + what, "").astype(object)
    lacks = np.full(len(over), "", object)
    for fact in set(limit.lacks) - {""}:
        here = limit.lacks == fact
        reason[here] = f"{fact} of the zone is not recorded"
        lacks[here] = "building.use" if fact == "use" else f"zones.{fact}"
    for i in np.flatnonzero((over == UNCLEAR) & (reason == "")).tolist():
        reason[i], lacks[i] = UNKNOWN_PEOPLE, "zones.occupants"
        if people and people[i].lacks:
            reason[i] = fact_is_missing(people[i].lacks, people[i].building)
            lacks[i] = _fact(people[i].lacks)
    return reason, lacks


def _fact(fact: str) -> str:
    return {"evacuation": "building.evacuation", "floor": "zones.floor"}.get(fact, "")


def conditions_lacking(data: Dataset) -> list[list[str]]:
    """For each door, which conditions of a delayed exit are not recorded so."""
    own = doors(data)
    at = {f: coded(at_place(data, f).loc[own.frame.index]) for f in ("sprinklers", "detection")}
    released = opposite(own.per_door(opposite(own.locks.released)))
    unlocks = opposite(own.per_door(opposite(own.locks.unlocks)))
    delayed = coded((own.frame["exit_delay_s"] > 0).astype("boolean")) > NO
    followed = _with_another(data, delayed)
    found = []
    for i in range(len(own.frame)):
        names = []
        if max(at["sprinklers"][i], at["detection"][i]) < YES:
            names.append("sprinklers or detection throughout")
        if released[i] < YES:
            names.append("release by the fire alarm")
        if unlocks[i] < YES:
            names.append("unlocking on loss of power")
        if followed[i]:
            names.append("no other delayed door on the way")
        found.append(names)
    return found


def _with_another(data: Dataset, delayed: Bools) -> list[bool]:
    """Whether another of these doors is on a shortest way out as built that passes each."""
    net, place = network(data), door_positions(data)
    late = set(place[delayed].tolist())
    onward: dict[int, list[Step]] = {}
    for step in net.shortest:
        onward.setdefault(step.start, []).append(step)
    met: set[int] = set()
    for first in (s for s in net.shortest if s.door in late):
        seen, queue = {first.end}, [first.end]
        while queue:
            for step in onward.get(queue.pop(), ()):
                if step.door in late and step.door != first.door:
                    met |= {first.door, step.door}
                if step.end not in seen:
                    seen.add(step.end)
                    queue.append(step.end)
    return [p in met for p in place.tolist()]


# --- widths --------------------------------------------------------------------------


def passed_by(data: Dataset) -> list[int | None]:
    """People that each door passes by its clear width; None: no width, or no table for its use."""
    own = doors(data).frame
    use = words(at_place(data, "use").loc[own.index])
    return [
        _passed(data, width, one)
        for width, one in zip(own["clear_width_mm"].tolist(), use.tolist(), strict=True)
    ]


def _passed(data: Dataset, width: Any, use: str) -> int | None:
    if pd.isna(width) or use not in data.policy.capacity_uses:
        return None
    # a float's shortest text is the number as it was typed
    return people_through(
        Decimal(str(width)), data.policy.width_bands, Decimal(data.policy.mm_per_person)
    )


def falls_short(
    people: Sequence[tuple[int, int]], passes: Sequence[int | None], lacks: Sequence[str]
) -> Small:
    """Whether fewer people pass than there are, at least and at most."""
    verdict = []
    for (least, most), passed, missing in zip(people, passes, lacks, strict=True):
        if least == 0 and most == 0:
            verdict.append(NO)
        elif passed is None or missing:
            verdict.append(UNCLEAR)
        else:
            verdict.append(YES if least > passed else NO if 0 <= most <= passed else UNCLEAR)
    return np.array(verdict, np.int8)


def why_short(
    data: Dataset, people: Sequence[Count], passes: Sequence[int | None]
) -> tuple[Words, Words]:
    """Why a width could not be held against people, a row a door."""
    own = doors(data).frame
    use = words(at_place(data, "use").loc[own.index])
    reason, lacks = np.full(len(own), "", object), np.full(len(own), "", object)
    for i, (count, passed) in enumerate(zip(people, passes, strict=True)):
        if passed is None and not pd.isna(own["clear_width_mm"].iloc[i]):
            reason[i], lacks[i] = _no_table(data, use[i])
        elif count.lacks:
            reason[i] = fact_is_missing(count.lacks, count.building)
            lacks[i] = _fact(count.lacks)
        elif passed is not None:
            reason[i], lacks[i] = UNKNOWN_PEOPLE, "zones.occupants"
    return reason, lacks


def _no_table(data: Dataset, use: str) -> tuple[str, str]:
    if use:
        return f"{SILENT}people that a clear width passes in a building of use {use}", ""
    return "use of the zone is not recorded", "building.use"


def needed_at(
    data: Dataset, people: Sequence[Count], narrowest: pd.Series, by_people: np.ndarray
) -> pd.Series:
    """The least clear width that each door needs, mm."""
    bands, each = data.policy.width_bands, Decimal(data.policy.mm_per_person)
    least = [width_needed(p.counted[0], bands, each) if b else 0
             for p, b in zip(people, by_people.tolist(), strict=True)]  # fmt: skip
    floor = narrowest.to_numpy(np.int64, na_value=0)
    return pd.Series(pd.array(np.maximum(least, floor), "Int64"), index=narrowest.index)


def together(data: Dataset, exits: Sequence[int], people: int) -> bool:
    """Whether exits that pass so many each are enough for the people, by the rule for several."""
    total, widest = sum(exits), max(exits)
    if data.policy.several_exits == "half-without-the-widest":
        return total >= people and total - widest >= -(-people // 2)
    return total - widest >= people


def _enough(
    data: Dataset, doors_: Sequence[Exit], passes: Mapping[int, int | None], count: Count
) -> tuple[int, int]:
    """Whether several exits fall short, and how many they pass by the rule (-1 not known)."""
    sure = [passes[e.door] for e in doors_ if e.sure]
    every = [passes[e.door] for e in doors_]
    least, most = count.counted
    known = [p for p in sure if p is not None]
    unsaid = len(every) - len(known)
    passed = -1 if unsaid > 1 else sum(known) - (0 if unsaid else max(known))
    if (least == 0 and most == 0) or count.lacks:
        return (NO if not count.lacks and least == most == 0 else UNCLEAR), passed
    hopeful = [UNLIMITED if p is None else p for p in every]
    short = not together(data, hopeful, least)
    fine = (
        len(known) == len(sure) >= 2
        and most >= 0
        and together(data, known, most)
        and len(sure) == len(every)
    )
    return YES if short else NO if fine else UNCLEAR, passed


def _capacity_row(
    data: Dataset,
    doors_: Sequence[Exit],
    passes: Mapping[int, int | None],
    count: Count,
    use: str,
) -> dict[str, Any]:
    ids = plan(data).doors
    verdict, passed = _enough(data, doors_, passes, count)
    if use not in data.policy.capacity_uses and verdict == YES:
        verdict = UNCLEAR
    if count.lacks:
        reason, lacks = fact_is_missing(count.lacks, count.building), _fact(count.lacks)
    elif use not in data.policy.capacity_uses:
        reason, lacks = _no_table(data, use)
    else:
        reason, lacks = UNKNOWN_PEOPLE, "zones.occupants"
    return {
        "fails": verdict,
        "people": count.counted[0],
        "passes": passed if passed >= 0 else None,
        "exits": sorted(ids[e.door] for e in doors_),
        "reason": reason,
        "lacks": lacks,
    }


def _passes_by_position(data: Dataset, use: str | None) -> dict[int, int | None]:
    """People that each door of the plan passes, by the table for this use (None: its own)."""
    own = doors(data).frame
    place = door_positions(data).tolist()
    if use is None:
        return dict(zip(place, passed_by(data), strict=True))
    widths = own["clear_width_mm"].tolist()
    return {p: _passed(data, w, use) for p, w in zip(place, widths, strict=True)}


def capacity_of_zones(data: Dataset) -> pd.DataFrame:
    """The zones with two or more exits: whether these pass the people of the zone."""
    zones, net = zone_rows(data), network(data)
    known = is_recorded(data)
    by_use: dict[str, dict[int, int | None]] = {}
    made = []
    for label, at, zone, building, use in zip(
        zones.index,
        zones["at"],
        zones["zone"],
        zones["building"],
        words(zones["use"]),
        strict=True,
    ):
        exits = net.exits[at]
        if len({e.door for e in exits}) < 2:
            continue
        passes = by_use.setdefault(use, _passes_by_position(data, use))
        row = _capacity_row(data, exits, passes, count_people(data, *net.within[at]), use)
        if known[at] != YES and row["fails"] == YES:
            row["fails"] = UNCLEAR
        made.append(
            row | {"zone": zone, "place": f"zone {zone}", "of": building,
                   "sources": [("zones", int(label))]}
        )  # fmt: skip
    return _capacity_frame(made)


def capacity_of_buildings(data: Dataset) -> pd.DataFrame:
    """The buildings with two or more final exits: whether these pass all their people."""
    zones, net = zone_rows(data), network(data)
    passes = _passes_by_position(data, None)
    places_ = words(at_place(data, "use").loc[doors(data).frame.index]).tolist()
    use_of = dict(zip(door_positions(data).tolist(), places_, strict=True))
    lived = inhabited(data)
    made = []
    for building in named_buildings(data):
        own = zones[(zones["building"] == building).fillna(False)]
        if own.empty:
            continue
        inside = own[~own["safe"].fillna(False).to_numpy(bool)]
        bits = sum(1 << int(a) for a in inside["at"])
        home = sum(1 << int(a) for a in own["at"] if lived[a] > NO)
        exits = [
            Exit(door, bool(sure & home))
            for door, (sure, perhaps) in enumerate(net.ends)
            if (sure | perhaps) & home
        ]
        if len(exits) < 2:
            continue
        uses = sorted(use_of[e.door] for e in exits)
        silent = [u for u in uses if u not in data.policy.capacity_uses]
        use = silent[0] if silent else uses[0]
        row = _capacity_row(data, exits, passes, count_people(data, bits, bits), use)
        made.append(
            row | {"building": building, "place": f"building {building}", "of": building,
                   "sources": [("zones", int(i)) for i in own.index],
                   "cause_kind": "building", "cause_key": building}
        )  # fmt: skip
    return _capacity_frame(made)


def _capacity_frame(rows: list[dict[str, Any]]) -> pd.DataFrame:
    columns = [
        *("zone", "building", "place", "of", "fails", "people", "passes", "exits"),
        *("reason", "lacks", "sources", "cause_kind", "cause_key"),
    ]
    frame = pd.DataFrame(rows, columns=columns)
    return frame.assign(
        fails=nullable(frame["fails"].to_numpy(np.int8)),
        passes=frame["passes"].astype("Int64"),
        people=frame["people"].astype("Int64"),
        cause_kind=frame["cause_kind"].where(frame["cause_kind"].notna(), "zone"),
        cause_key=frame["cause_key"].where(frame["cause_key"].notna(), frame["zone"]),
    )


def why_unclear(data: Dataset) -> tuple[Words, Words]:
    """For each zone of the plan why its ways out could not be judged."""
    way, known, lived = ways(data), is_recorded(data), inhabited(data)
    site = plan(data)
    size = len(site.zones)
    reason, lacks = np.full(size, UNKNOWN_WAY, object), np.full(size, "doors.lock", object)
    fire_only = (way[:, :2] == YES).all(axis=1) & (site.alarm == UNCLEAR)
    reason[fire_only] = "communal_alarm of the building is not recorded"
    lacks[fire_only] = "building.communal_alarm"
    reason[known != YES] = "its doors, or those between it and the outside, are not in the register"
    lacks[known != YES] = "doors"
    nobody = lived == UNCLEAR
    reason[nobody], lacks[nobody] = "occupants of the zone are not recorded", "zones.occupants"
    return reason, lacks


# --- the fire service -----------------------------------------------------------------


def entrances(data: Dataset) -> pd.DataFrame:
    """The controlled entrances to buildings with a dwelling: how the fire service gets in."""
    own = doors(data)
    frame = own.frame
    kinds = by_id(data, "zones")["kind"]
    inside = words(kinds.reindex(frame["inside_zone"]).reset_index(drop=True))
    outside = words(kinds.reindex(frame["outside_zone"]).reset_index(drop=True))
    asks = opposite(is_word(words(frame["entry"]), "none", "closed"))
    scope = all_of(
        controlled(data),
        is_word(outside, "outside"),
        is_word(inside, "common", "stair"),
        asks,
        _with_dwelling(data),
    )
    how = words(frame["responder_entry"])
    by_credential = _responder_reaches(data)
    blank = ~data.unread("doors", "responder_entry").loc[frame.index].to_numpy(bool) & (how == "")
    reached = {k: by_credential[k] for k in ("card", "pin")}
    either = np.maximum(reached["card"], reached["pin"])
    fails = np.where(np.isin(how, ENTERS), NO, UNCLEAR)
    fails = np.where(how == "none", YES, fails)
    for kind in ("card", "pin"):
        fails = np.where(how == kind, YES - reached[kind], fails)
    no_responder = not bool((data["people"]["role"] == "responder").any())
    if not (no_responder and not data.has("doors", "responder_entry")):
        fails = np.where(blank, YES - either, fails)
    high = coded(at_place(data, "high_rise").loc[frame.index])
    recorded = np.array([_HOW.get(w, f"recorded as by {w}, not at every hour") for w in how])
    height = np.where(building_unsaid(data), "the building of the door is not recorded", "")
    return judged(
        data,
        scope,
        fails.astype(np.int8),
        ("responder_entry", "entry", "lock"),
        recorded=recorded,
        reason=height.astype(object),
        priority=np.where(high == YES, "planned", "advisory"),
    )


def _with_dwelling(data: Dataset) -> Small:
    """Whether the building of each door's place has a dwelling."""
    frame = doors(data).frame
    building = at_place(data, "building").loc[frame.index]
    zones = zone_rows(data)
    homes = set(data["dwellings"]["building"].dropna())
    lived = zones[zones["zone"].isin(data["dwellings"]["zone_id"])]["building"]
    homes |= set(lived.dropna())
    known = building.notna().to_numpy(bool)
    has = building.isin(list(homes)).to_numpy(bool)
    anywhere = len(data["dwellings"]) > 0
    one = len(named_buildings(data)) == 0  # one building, and nobody named it
    unsaid = YES if anywhere and one else UNCLEAR if anywhere else NO
    return np.where(known, np.where(has, YES, NO), unsaid).astype(np.int8)


def building_unsaid(data: Dataset) -> Bools:
    """Whether the building of each door's place is not recorded."""
    return np.asarray(at_place(data, "building").loc[doors(data).frame.index].isna(), bool)


def _responder_reaches(data: Dataset) -> dict[str, Small]:
    """For card and pin whether a responder's live one opens each door at every hour."""
    frame = doors(data).frame
    role = by_id(data, "people")["role"]
    always = year(data).always
    found = {}
    kinds: tuple[tuple[str, Credential], ...] = (("card", "cards"), ("pin", "pins"))
    for kind, table in kinds:
        there = data.has(table) and data.has("people") and data.has("permissions")
        level = np.full(len(frame), NO if there else UNCLEAR, np.int8)
        if there and len(data[table]):
            pairs = credential_doors(data, table)
            holder = data[table]["person_id"].reindex(pairs["label"])
            own = role.reindex(holder).eq("responder").fillna(False).to_numpy(bool)
            pairs = pairs[own]
            at = places(frame["door"], pairs["door_id"])
            full = [
                YES if sure and low == always else UNCLEAR if high == always else NO
                for sure, low, high in zip(
                    pairs["sure"], pairs["sure_hours"], pairs["possible_hours"], strict=True
                )
            ]
            np.maximum.at(level, at[at >= 0], np.array(full, np.int8)[at >= 0])
        found[kind] = level
    return found
