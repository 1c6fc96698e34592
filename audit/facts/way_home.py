"""The way home: a fixpoint over zones, with time as sets of minutes.

A resident stands outside at every minute. A door carries the minutes that they have on its
near side to its far side, cut to the minutes at which it lets them through: by their reach,
because it asks nothing, or because it stands unlocked. When nothing is added any more, the
minutes at the zone of their dwelling are those at which they get home.

Of the doors only those matter that can lie on a way from outside to that zone: branches of
the building that lead elsewhere are cut off first, so that thousands of people share one
computation.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from audit.arithmetic.columns import family, spans
from audit.arithmetic.three import NO, UNCLEAR, YES, Bools, Ints
from audit.arithmetic.weeks import Hours
from audit.contract import TEXT, Dataset
from audit.facts.reach import Reach, reach
from audit.facts.standing import by_id, entitled, lookup

OUTSIDE = 0
"""All zones outside are one place."""


@dataclass(frozen=True, eq=False)
class Way:
    """One way through a door: from a place to a place, and who gets through when.

    `free` and `perhaps` are the hours at which it asks nothing, surely and possibly;
    `by_reach` says whether a person's own hours at the door count this way.
    """

    door: int
    near: int
    far: int
    free: Hours
    perhaps: Hours
    by_reach: bool


@dataclass(frozen=True, eq=False)
class Plan:
    """The zones as places and the doors as ways, with the branches that lead elsewhere.

    A place that is no part of any ring hangs on a branch: `first` and `last` number the
    branches so that the ways of `place` matter for `home` exactly when
    first[place] <= first[home] < last[place]; rings matter for everyone (`branch` -1).
    """

    places: pd.Index  # zone ids; their place is `number`
    number: Ints
    outside: Bools  # zones that are surely outside
    perhaps_outside: Sequence[int]
    rings: tuple[Way, ...]
    on_branch: dict[int, tuple[Way, ...]]  # place -> the ways between it and the next inwards
    inwards: Sequence[int]  # each place's next one towards the rings, -1 at their edge
    branch: Ints  # each door: the place that it leads to on its branch, -1 in a ring, -2 no way
    first: Ints
    last: Ints
    lost: Sequence[Way]  # ways in of which a side is not given (-1)
    key_doors: dict[int, list[tuple[int, bool]]]  # dwelling zone -> (near side, sure) of key doors


def plan(data: Dataset) -> Plan:
    """The site's zones and doors as ways, computed once a dataset."""
    return data.once(_plan)


def _plan(data: Dataset) -> Plan:
    doors = by_id(data, "doors")
    zones = by_id(data, "zones")
    r = reach(data)
    year = r.year
    named = pd.concat([doors["inside_zone"], doors["outside_zone"]]).dropna()
    places = zones.index[zones.index.notna()].append(
        pd.Index(named.unique(), dtype=TEXT).difference(zones.index, sort=False)
    )
    kind = zones["kind"].reindex(places)
    outside = (kind == "outside").fillna(False).to_numpy(dtype=bool)
    number = np.where(outside, OUTSIDE, np.cumsum(~outside))
    size = int((~outside).sum()) + 1
    perhaps_outside = number[kind.isna().to_numpy() & ~outside].tolist()

    def at(column: str) -> list[int]:
        got = places.get_indexer(pd.Index(doors[column]))
        return [
            -1 if missing or g < 0 else int(number[g])
            for g, missing in zip(got.tolist(), doors[column].isna().tolist(), strict=True)
        ]

    ways: list[Way] = []
    lost: list[Way] = []
    ends: list[tuple[int, int]] = []
    key_doors: dict[int, list[tuple[int, bool]]] = {}
    dwelling = {
        int(n): UNCLEAR if pd.isna(k) else YES if k == "dwelling" else NO
        for n, k in zip(number.tolist(), kind.tolist(), strict=True)
    }
    columns = ("entry", "lock", "exit_input", "mechanical_exit", "exit_reader", "unlock_schedule")
    cells = zip(*(doors[c].tolist() for c in columns), strict=True)
    for door, (near, far, cell) in enumerate(
        zip(at("outside_zone"), at("inside_zone"), cells, strict=True)
    ):
        entry, lock, *exits, exit_reader, unlock = (None if pd.isna(c) else c for c in cell)
        ends.append((near, far))
        stands = year.hours_of(unlock) if unlock is not None else (0, 0)
        no_lock = lock == "none"
        known = near >= 0 and far >= 0
        if entry != "closed":
            free = year.always if entry == "none" or no_lock else stands[0]
            perhaps = year.always if entry == "none" or no_lock else stands[1]
            if entry is None:  # perhaps it asks nothing, perhaps it is closed
                free, perhaps = 0, year.always
            (ways if known else lost).append(Way(door, near, far, free, perhaps, entry != "key"))
            if entry == "key":
                inside = [far] if far >= 0 else dwelling
                for home in (h for h in inside if dwelling[h] > NO):
                    certain = known and dwelling[home] == YES
                    key_doors.setdefault(home, []).append((near, certain))
        if not known:
            continue
        surely = no_lock or any(e not in (None, "none") for e in exits)
        maybe = surely or lock is None or None in exits
        ways.append(
            Way(
                door,
                far,
                near,
                year.always if surely else stands[0],
                year.always if maybe else stands[1],
                exit_reader is not False and entry not in ("key", "closed"),
            )
        )
    branch, first, last, inwards = _branches(ends, size, perhaps_outside)
    on_branch: dict[int, list[Way]] = {}
    for way in ways:
        on_branch.setdefault(int(branch[way.door]), []).append(way)
    return Plan(
        places,
        number,
        outside,
        perhaps_outside,
        tuple(on_branch.pop(-1, ())),
        {place: tuple(mine) for place, mine in on_branch.items()},
        inwards,
        branch,
        first,
        last,
        lost,
        key_doors,
    )


def _branches(
    ends: Sequence[tuple[int, int]], size: int, kept: Sequence[int]
) -> tuple[Ints, Ints, Ints, list[int]]:
    """Cuts off the branches: places with one neighbour, again and again, outside aside."""
    near: list[set[int]] = [set() for _ in range(size)]
    for a, b in ends:
        if a >= 0 and b >= 0 and a != b:
            near[a].add(b)
            near[b].add(a)
    stays = {OUTSIDE, *kept}
    parent = [-1] * size
    cut: list[int] = []
    leaves = [p for p in range(size) if len(near[p]) == 1 and p not in stays]
    while leaves:
        place = leaves.pop()
        if len(near[place]) != 1:
            continue
        (up,) = near[place]
        parent[place] = up
        cut.append(place)
        near[up].discard(place)
        near[place].clear()
        if len(near[up]) == 1 and up not in stays:
            leaves.append(up)
    # number the branches from the rings outwards, each below the one that it hangs on
    below: list[list[int]] = [[] for _ in range(size)]
    gone = set(cut)
    roots: list[int] = []
    for place in reversed(cut):
        (below[parent[place]] if parent[place] in gone else roots).append(place)
    first, last = np.zeros(size, np.int64), np.zeros(size, np.int64)
    count = 1
    work = [(p, False) for p in roots]
    while work:
        place, done = work.pop()
        if done:
            last[place] = count
            continue
        first[place] = count
        count += 1
        work.append((place, True))
        work.extend((p, False) for p in below[place])
    branch = np.full(len(ends), -2, np.int64)
    for door, (a, b) in enumerate(ends):
        if a < 0 or b < 0 or a == b:
            continue
        if a in gone and parent[a] == b:
            branch[door] = a
        elif b in gone and parent[b] == a:
            branch[door] = b
        else:
            branch[door] = -1
    return branch, first, last, parent


def ways_home(data: Dataset) -> pd.DataFrame:
    """Every entitled resident with a live credential, and when they get home.

    Index: labels of the people table. Columns: `person` id; `some` and `always` (nullable
    boolean: a way at any hour, at every hour; NA where it can't be known); `missing` (the
    hours without a way, in words) and `doors` (ids of the doors at which they are stopped in
    those hours), both only where they are known to be missing; `scope` (nullable boolean:
    whether they are entitled and hold a live credential).
    """
    return data.once(_ways_home)


def _ways_home(data: Dataset) -> pd.DataFrame:
    r = reach(data)
    people = by_id(data, "people")
    label = people["_label"].to_numpy(dtype=np.int64)
    resident = (people["role"] == "resident").to_numpy(dtype=bool, na_value=True)
    known_role = people["role"].notna().to_numpy(dtype=bool)
    of = r.people.of[: len(people)]
    holds = np.maximum(r.people.card, r.people.pin)[of]
    right = entitled(data).reindex(people["_label"])
    scope = right.reset_index(drop=True) & _three(
        (holds == YES) & known_role, (holds > NO) & resident
    )
    mine = np.flatnonzero(resident & scope.fillna(True).to_numpy(dtype=bool))

    p = plan(data)
    zone = lookup(data, "dwellings", people["dwelling_id"].iloc[mine], "zone_id")
    at = p.places.get_indexer(pd.Index(zone))
    listed = data.known("zones").get_indexer(pd.Index(zone)) >= 0
    known_zone = (at >= 0) & zone.notna().to_numpy() & listed
    home = np.where(known_zone, p.number[at] if len(p.number) else 0, -1)

    frame = pd.DataFrame(
        {
            "person": people.index[mine].astype(TEXT),
            "scope": scope.iloc[mine].array,
            "some": pd.array([pd.NA] * len(mine), dtype="boolean"),
            "always": pd.array([pd.NA] * len(mine), dtype="boolean"),
            "missing": pd.array([pd.NA] * len(mine), dtype=TEXT),
            "doors": [None] * len(mine),
        },
        index=pd.Index(label[mine]),
    )
    placed = np.flatnonzero(home >= 0)
    if not len(placed):
        return frame

    # one computation for each home and each set of hours at the doors on the way to it
    pair, of_pair = np.unique(of[mine[placed]] * len(p.first) + home[placed], return_inverse=True)
    classes, homes = pair // len(p.first), pair % len(p.first)
    which = np.unique(classes)
    mask = (p.branch != -2) | np.isin(np.arange(len(p.branch)), [w.door for w in p.lost])
    pairs = r.pairs(r.people, mask, which)
    start = np.searchsorted(pairs.of, classes)
    count = np.searchsorted(pairs.of, classes + 1) - start
    row = spans(start, count)
    unit = np.repeat(np.arange(len(pair)), count)
    door, hours = pairs.door[row], pairs.hours[row]
    branch = p.branch[door]
    place = np.maximum(branch, 0)
    here = p.first[homes][unit]
    matters = (branch < 0) | ((p.first[place] <= here) & (here < p.last[place]))
    width = max(len(pairs.sure), 1)
    sets = family(unit[matters], door[matters] * width + hours[matters], len(pair))
    task, of_task = np.unique(sets.of * len(p.first) + homes, return_inverse=True)
    some, always, missing, doors = [], [], [], []
    for t in task.tolist():
        number, place_home = divmod(t, len(p.first))
        items = sets.items[sets.start[number] : sets.start[number + 1]].tolist()
        own = {i // width: (pairs.sure[i % width], pairs.possible[i % width]) for i in items}
        lower, upper, at_fault = _get_home(r, p, place_home, own)
        full = r.year.always
        some.append(True if lower else False if not upper else pd.NA)
        always.append(True if lower == full else False if upper != full else pd.NA)
        missing.append(pd.NA if upper == full else r.year.text(full & ~upper))
        doors.append(None if upper == full else at_fault)
    each = of_task.reshape(-1)[of_pair.reshape(-1)]
    frame.iloc[placed, 2] = pd.array(some, dtype="boolean")[each]
    frame.iloc[placed, 3] = pd.array(always, dtype="boolean")[each]
    frame.iloc[placed, 4] = pd.array(missing, dtype=TEXT)[each]
    chosen = np.empty(len(doors), object)
    chosen[:] = doors
    column = np.empty(len(frame), object)
    column[placed] = chosen[each]
    frame["doors"] = column
    return frame


def _three(surely: Bools, perhaps: Bools) -> pd.Series:
    """A nullable boolean: True where sure, False where not even possible, else NA."""
    return pd.Series(pd.arrays.BooleanArray(surely.copy(), perhaps & ~surely))


def _get_home(
    r: Reach, p: Plan, home: int, own: dict[int, tuple[Hours, Hours]]
) -> tuple[Hours, Hours, list[str]]:
    """(sure, possible) hours at home, and the doors that stop one in the other hours."""
    full = r.year.always
    ways = list(p.rings)
    place = home
    while p.inwards[place] >= 0:
        ways += p.on_branch.get(place, ())
        place = p.inwards[place]
    none = (0, 0)
    sure = _spread(
        [(w.near, w.far, w.free | (own.get(w.door, none)[0] if w.by_reach else 0)) for w in ways],
        {OUTSIDE: full},
    )
    cuts = [
        (w.near, w.far, w.perhaps | (own.get(w.door, none)[1] if w.by_reach else 0)) for w in ways
    ]
    # a door of which a side is not given may lead from anywhere, or anywhere
    start = {OUTSIDE: full} | dict.fromkeys(p.perhaps_outside, full)
    unplaced = [(w, w.perhaps | (own.get(w.door, none)[1] if w.by_reach else 0)) for w in p.lost]
    for w, hours in unplaced:
        if w.near < 0 <= w.far:
            start[w.far] = start.get(w.far, 0) | hours
    possible = _spread(cuts, start)
    lower, upper = sure.get(home, 0), possible.get(home, 0)
    for near, certain in p.key_doors.get(home, ()):
        lower |= sure.get(near, 0) if certain else 0
        upper |= possible.get(near, 0) if near >= 0 else full
    for w, hours in unplaced:
        if w.far < 0:
            upper |= hours
    missing = full & ~upper
    at_fault = {
        w.door
        for w, (near, far, open_at) in zip(ways, cuts, strict=True)
        if missing & possible.get(near, 0) & ~open_at & ~possible.get(far, 0)
    }
    return lower, upper, sorted(str(r.door_ids[d]) for d in at_fault)


def _spread(ways: Sequence[tuple[int, int, Hours]], start: dict[int, Hours]) -> dict[int, Hours]:
    """The hours at each place when nothing can be added any more."""
    onward: dict[int, list[tuple[int, Hours]]] = {}
    for near, far, hours in ways:
        if hours:
            onward.setdefault(near, []).append((far, hours))
    at = dict(start)
    work = list(start)
    while work:
        near = work.pop()
        for far, hours in onward.get(near, ()):
            before = at.get(far, 0)
            after = before | (at[near] & hours)
            if after != before:
                at[far] = after
                work.append(far)
    return at
