"""Ways out: zones and doors as a directed network in three states, and what hangs on each door.

Three verdicts throughout: True, False, and None where a value that decides is not given. Each
answer is computed twice, once with nothing that is not given free and once with all of it free;
only what holds both times is said. Words of data.md: *free to leave*, *people who depend on a
door*, *a zone's exits*. This is an aid to a competent person and no fire risk assessment.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from functools import cache
from typing import Any, NamedTuple

import pandas as pd

from audit.contract import Dataset
from audit.facts.standing import by_id
from audit.trade.capacity import UNLIMITED, people_through, together_bounds, width_needed
from audit.trade.dominators import DominatorTree, dominator_tree
from audit.trade.passing import passing

Verdict = bool | None
STATES = ("normal", "power-lost", "fire-alarm")
FIRE = STATES.index("fire-alarm")
FAR = 1 << 60
"""The distance of a zone without a way out."""


def either(*values: Verdict) -> Verdict:
    """True where one is, else None where one is not given."""
    return True if True in values else None if None in values else False


def both(*values: Verdict) -> Verdict:
    """False where one is, else None where one is not given."""
    return False if False in values else None if None in values else True


def _is(value: str | None, word: str) -> Verdict:
    return None if value is None else value == word


def _is_not(value: str | None, word: str) -> Verdict:
    return None if value is None else value != word


@cache
def free_out(
    lock: str | None,
    mechanical_exit: str | None,
    exit_input: str | None,
    power_loss: str | None,
    alarm_release: bool | None,
) -> tuple[Verdict, Verdict, Verdict]:
    """Whether a door is free from inside to outside, in each of STATES; None is not given."""
    always = either(_is(lock, "none"), _is_not(mechanical_exit, "none"))
    return (
        either(always, _is_not(exit_input, "none")),
        either(always, _is(power_loss, "unlocks")),
        either(always, alarm_release),
    )


@cache
def free_in(
    lock: str | None, entry: str | None, power_loss: str | None, alarm_release: bool | None
) -> tuple[Verdict, Verdict, Verdict]:
    """Whether a door is free from outside to inside, in each of STATES; None is not given."""
    open_at_all, lockless = _is_not(entry, "closed"), _is(lock, "none")
    return (
        both(open_at_all, either(lockless, _is(entry, "none"))),
        both(open_at_all, either(lockless, _is(power_loss, "unlocks"))),
        both(open_at_all, either(lockless, alarm_release)),
    )


class Step(NamedTuple):
    """One door taken in one direction; places and doors by their position in the plan."""

    start: int
    end: int
    door: int


@dataclass(frozen=True, slots=True)
class Plan:
    """The zones and doors of a site, each in the order of their ids.

    `zones` are the register's, and after the first `listed` those that only a door names, of
    which nothing else is known. `inside` and `outside` are positions in `zones`, -1 not given;
    `out` and `back` the freedom of each door inside to outside and outside to inside, a state.
    """

    zones: tuple[str, ...]
    listed: int
    safe: tuple[Verdict, ...]
    occupants: tuple[int | None, ...]
    doors: tuple[str, ...]
    inside: tuple[int, ...]
    outside: tuple[int, ...]
    out: tuple[tuple[Verdict, Verdict, Verdict], ...]
    back: tuple[tuple[Verdict, Verdict, Verdict], ...]

    @property
    def nowhere(self) -> int:
        """The place behind a door whose other side is not given: perhaps a place of safety."""
        return len(self.zones)

    def directions(self) -> Iterable[tuple[Step, tuple[Verdict, Verdict, Verdict]]]:
        """Each door in each direction in which a zone is left, and its freedom."""
        for door, (a, b) in enumerate(zip(self.inside, self.outside, strict=True)):
            if a != b:
                if a >= 0:
                    yield Step(a, b if b >= 0 else self.nowhere, door), self.out[door]
                if b >= 0:
                    yield Step(b, a if a >= 0 else self.nowhere, door), self.back[door]

    def steps(self, state: int, hopeful: bool) -> list[Step]:
        """The free steps of a state; `hopeful` takes what is not given for free."""
        return [
            step
            for step, free in self.directions()
            if (free[state] is not False if hopeful else free[state] and step.end < self.nowhere)
        ]

    def havens(self, hopeful: bool) -> list[int]:
        """The places of safety; `hopeful` takes what is not given for safe."""
        places = [i for i, s in enumerate(self.safe) if s or (hopeful and s is None)]
        return [*places, self.nowhere] if hopeful else places


def distances(plan: Plan, steps: list[Step], havens: list[int]) -> list[int]:
    """The fewest doors from each zone to a place of safety; FAR where there is no way."""
    before: list[list[int]] = [[] for _ in range(len(plan.zones) + 1)]
    for start, end, _ in steps:
        before[end].append(start)
    distance = [FAR] * (len(plan.zones) + 1)
    for place in havens:
        distance[place] = 0
    queue = deque(havens)
    while queue:
        place = queue.popleft()
        for other in before[place]:
            if distance[other] == FAR:
                distance[other] = distance[place] + 1
                queue.append(other)
    return distance


def recorded_doors(plan: Plan) -> list[int]:
    """How many doors of the register each zone has, whichever way they may be taken."""
    count = [0] * len(plan.zones)
    for a, b in zip(plan.inside, plan.outside, strict=True):
        for place in {a, b} - {-1}:
            count[place] += 1
    return count


@dataclass(frozen=True, slots=True)
class Ways:
    """Whether each zone has a way out, a verdict for each of STATES, and the door at fault.

    `obstacle` is the first door that is not free on the way with the fewest such doors, for
    each state; -1 where there is none.
    """

    verdicts: list[tuple[Verdict, Verdict, Verdict]]
    obstacle: list[tuple[int, int, int]]


def ways_out(plan: Plan) -> Ways:
    """A verdict a zone and state: True a way out, False none, None cannot be judged."""
    verdicts, obstacles = [], []
    for state in range(len(STATES)):
        sure = distances(plan, plan.steps(state, False), plan.havens(False))
        hope = distances(plan, plan.steps(state, True), plan.havens(True))
        verdicts.append(
            [
                True if s < FAR else None if h < FAR else False
                for s, h in zip(sure[:-1], hope[:-1], strict=True)
            ]
        )
        trapped = False in verdicts[-1]
        obstacles.append(_obstacles(plan, state) if trapped else [-1] * len(plan.zones))
    return Ways(list(zip(*verdicts, strict=True)), list(zip(*obstacles, strict=True)))


def _obstacles(plan: Plan, state: int) -> list[int]:
    """For each zone the first locked door on the way to safety with the fewest locked doors."""
    before: list[list[tuple[int, int, bool]]] = [[] for _ in range(len(plan.zones) + 1)]
    for (start, end, door), free in plan.directions():
        before[end].append((start, door, free[state] is False))
    obstacle = [-1] * (len(plan.zones) + 1)
    done = [False] * len(obstacle)
    queue = deque((place, -1) for place in plan.havens(hopeful=True))
    while queue:
        place, door = queue.popleft()
        if done[place]:
            continue
        done[place], obstacle[place] = True, door
        for other, through, locked in before[place]:
            if done[other]:
                continue
            if locked:
                queue.append((other, through))
            else:
                queue.appendleft((other, door))
    return obstacle[:-1]


class Exit(NamedTuple):
    """A door that begins a free way to safety; `sure` is False where it only may."""

    door: int
    sure: bool


@dataclass(frozen=True, slots=True)
class Fire:
    """The fire-alarm state: what hangs on which door.

    A zone: `weak` whether one door's closing cuts every way out, `weak_door` the first such door
    (-1 none), `exits`. A door: `least` and `most` people who depend on it (most None: unbounded,
    as where somebody's zone has no occupants given, or the door no inside zone).
    """

    weak: list[Verdict]
    weak_door: list[int]
    exits: list[list[Exit]]
    least: list[int]
    most: list[int | None]


def fire(plan: Plan, ways: Ways) -> Fire:
    """Weak doors, exits and dependants in the fire-alarm state; near-linear in doors."""
    sure_steps, hope_steps = plan.steps(FIRE, False), plan.steps(FIRE, True)
    sure_havens, hope_havens = plan.havens(False), plan.havens(True)
    certain = len(sure_steps) == len(hope_steps) and len(sure_havens) + 1 == len(hope_havens)
    sure_tree = _tree(plan, sure_steps, sure_havens)
    hope_tree = sure_tree if certain else _tree(plan, hope_steps, hope_havens)
    sure_weak = _weak_doors(plan, sure_tree)
    hope_weak = sure_weak if certain else _weak_doors(plan, hope_tree)
    weak = [
        _weak(v[FIRE], safe, s, h)
        for v, safe, s, h in zip(ways.verdicts, plan.safe, sure_weak, hope_weak, strict=True)
    ]
    exits = _exits(plan, sure_steps, hope_steps, sure_tree, hope_tree)
    near = distances(plan, hope_steps, hope_havens)
    far = near if certain else distances(plan, sure_steps, sure_havens)
    least, most = _dependants(plan, sure_steps, hope_steps, near, far, hope_tree, certain)
    doors = [h if w else -1 for w, h in zip(weak, hope_weak, strict=False)]
    return Fire(weak, doors, exits, least, most)


def _weak(way: Verdict, safe: Verdict, sure: int, hope: int) -> Verdict:
    if safe:
        return False
    if way is False:
        return False  # nothing is left to cut: zone-without-way-out speaks of it
    if way is None:
        return None
    return True if hope >= 0 else False if sure < 0 else None


def _tree(plan: Plan, steps: list[Step], havens: list[int]) -> DominatorTree:
    """Dominators from safety backwards. Node 0 is safety, then the zones, nowhere, the doors.

    A door is one node for both its directions: closing it closes both.
    """
    first_door = len(plan.zones) + 2
    successors: list[list[int]] = [[] for _ in range(first_door + len(plan.doors))]
    successors[0] = [1 + place for place in havens]
    for start, end, door in steps:
        successors[1 + end].append(first_door + door)
        successors[first_door + door].append(1 + start)
    return dominator_tree(successors)


def _weak_doors(plan: Plan, tree: DominatorTree) -> list[int]:
    """The nearest door that every way out of each place passes, -1 where there is none."""
    first_door = len(plan.zones) + 2
    nearest = [-1] * len(tree.parent)
    for node in tree.order[1:]:
        nearest[node] = node - first_door if node >= first_door else nearest[tree.parent[node]]
    return nearest[1 : len(plan.zones) + 1]


def _exits(
    plan: Plan,
    sure_steps: list[Step],
    hope_steps: list[Step],
    sure_tree: DominatorTree,
    hope_tree: DominatorTree,
) -> list[list[Exit]]:
    """The doors of each zone beyond which safety is reached without coming back through it."""

    def leads_on(tree: DominatorTree, step: Step) -> bool:
        here, there = 1 + step.start, 1 + step.end
        return tree.reached(there) and not tree.dominates(here, there)

    exits: list[list[Exit]] = [[] for _ in plan.zones]
    sure = {step for step in sure_steps if leads_on(sure_tree, step)}
    for step in hope_steps:
        if not plan.safe[step.start] and (step in sure or leads_on(hope_tree, step)):
            exits[step.start].append(Exit(step.door, step in sure))
    return exits


def _dependants(
    plan: Plan,
    sure_steps: list[Step],
    hope_steps: list[Step],
    near: list[int],
    far: list[int],
    hope_tree: DominatorTree,
    certain: bool,
) -> tuple[list[int], list[int | None]]:
    """Least and most people of the zones whose shortest ways pass each door.

    `near` and `far` bound each zone's true distance. A step is surely on a shortest way where
    its far end's longest distance is one less than its start's shortest; it may be on one where
    its far end's shortest distance is less than its start's longest.
    """
    size = len(plan.zones) + 1
    known = [0 if n is None else n for n in plan.occupants] + [0]
    unknown = [int(n is None) for n in plan.occupants] + [0]
    surely = [s for s in sure_steps if far[s.end] + 1 == near[s.start]]
    maybe = surely
    if not certain:
        maybe = [s for s in hope_steps if near[s.end] < far[s.start] and near[s.end] < FAR]
    through = passing(size, [(s.start, s.end) for s in maybe], (known, unknown))
    least, most = [0] * len(plan.doors), [0] * len(plan.doors)
    for s in maybe:
        people, ungiven = through[s.start]
        most[s.door] += UNLIMITED if ungiven else people
    if certain:
        for s in surely:
            least[s.door] = through[s.start][0]
    else:
        sure_through = passing(size, [(s.start, s.end) for s in surely], (known,))
        for s in surely:
            least[s.door] = sure_through[s.start][0]
        for door, people in _cut_off(plan, hope_tree, far, known):
            least[door] = max(least[door], people)
    # a door without an inside may be anybody's way out
    unbounded = [n >= UNLIMITED or inside < 0 for n, inside in zip(most, plan.inside, strict=True)]
    return least, [None if u else n for u, n in zip(unbounded, most, strict=True)]


def _cut_off(
    plan: Plan, tree: DominatorTree, far: list[int], known: list[int]
) -> Iterable[tuple[int, int]]:
    """(door, people) who surely have a way out, and none that does not pass the door."""
    first_door = len(plan.zones) + 2
    below = [0] * len(tree.parent)
    for node in reversed(tree.order[1:]):
        if node >= first_door:
            yield node - first_door, below[node]
        elif far[node - 1] < FAR:
            below[node] += known[node - 1]
        below[tree.parent[node]] += below[node]


# --- from a dataset ------------------------------------------------------------------


def _values(series: pd.Series) -> list[Any]:
    return [None if v is pd.NA else v for v in series.tolist()]


def _listed(data: Dataset, table: str, *columns: str) -> list[list[Any]]:
    """The ids in their order, then each column in the order of the ids; None is not given."""
    first = by_id(data, table)
    ids = first.index.tolist()
    order = sorted(range(len(ids)), key=ids.__getitem__)
    lists = (ids, *(_values(first[c]) for c in columns))
    return [[values[i] for i in order] for values in lists]


def plan(data: Dataset) -> Plan:
    """The site's zones and doors; the first row of a repeated id counts."""
    return data.once(_plan)


def _plan(data: Dataset) -> Plan:
    listed, rows, kinds, safe, occupants = _listed(
        data, "zones", "_label", "kind", "place_of_safety", "occupants"
    )
    unread = data.unread("zones", "place_of_safety").to_numpy()
    ids, inside, outside, entry, lock, *ways = _listed(
        data,
        "doors",
        *("inside_zone", "outside_zone", "entry", "lock"),
        *("mechanical_exit", "exit_input", "power_loss", "alarm_release"),
    )
    mechanical, exit_input, power_loss, alarm = ways
    place = {zone: i for i, zone in enumerate(listed)}
    for zone in sorted({z for z in (*inside, *outside) if z is not None} - set(place)):
        place[zone] = len(place)
    unlisted = [None] * (len(place) - len(listed))
    return Plan(
        zones=tuple(place),
        listed=len(listed),
        safe=(
            *(
                _is(kind, "outside") if said is None and not unread[row] else said
                for kind, said, row in zip(kinds, safe, rows, strict=True)
            ),
            *unlisted,
        ),
        occupants=(*occupants, *unlisted),
        doors=tuple(ids),
        inside=tuple(-1 if z is None else place[z] for z in inside),
        outside=tuple(-1 if z is None else place[z] for z in outside),
        out=tuple(map(free_out, lock, mechanical, exit_input, power_loss, alarm)),
        back=tuple(map(free_in, lock, entry, power_loss, alarm)),
    )


def _ways(data: Dataset) -> Ways:
    return ways_out(plan(data))


def _fire(data: Dataset) -> Fire:
    return fire(plan(data), data.once(_ways))


_WORDS = pd.StringDtype("python", na_value=pd.NA)
_WORD_COLUMNS = ("lock", "power_loss", "exit_input", "mechanical_exit", "status_monitor")


def doors(data: Dataset, *columns: str) -> pd.DataFrame:
    """The doors, the first row of each id, index labels as in the table: `door` and the columns.

    Beside the table's own there are the nullable booleans `controlled` (a lock other than none)
    and `mechanical` (opens from inside without power). Words compare to nullable booleans, which
    join with yes/no columns.
    """
    return data.once(_doors)[["door", *columns]]


def _doors(data: Dataset) -> pd.DataFrame:
    own = data["doors"]
    own = own if own["door_id"].is_unique else own.drop_duplicates("door_id")
    words = {c: own[c].astype(_WORDS) for c in _WORD_COLUMNS}
    return own.assign(
        **words,
        door=own["door_id"],
        controlled=words["lock"] != "none",
        mechanical=words["mechanical_exit"] != "none",
    )


def controlled_escape_doors(data: Dataset, *columns: str) -> pd.DataFrame:
    """`doors` that are controlled and on an escape route, or may be, with the columns.

    `concerned` (nullable): True they are, NA they may be.
    """
    own = doors(data, "escape_route", "controlled", *columns)
    own["concerned"] = own["escape_route"] & own["controlled"]
    return own[own["concerned"].fillna(True)]


def passes(data: Dataset) -> list[int | None]:
    """People that each door of the plan passes by its clear width; None where not given."""
    return data.once(_passes)


def _passes(data: Dataset) -> list[int | None]:
    bands, each = data.policy.width_bands, Decimal(data.policy.mm_per_person)
    _, widths = _listed(data, "doors", "clear_width_mm")
    # a float's shortest text is the number as it was typed
    return [None if w is None else people_through(Decimal(str(w)), bands, each) for w in widths]


def doors_in_fire(data: Dataset, *columns: str) -> pd.DataFrame:
    """`doors` with the columns, and the people who depend on each in the fire-alarm state.

    Whole numbers: `people_least`, `people_most` (NA: unbounded, because of what is not given),
    `passes` (NA: no width) and `width_needed_mm` for the least people.
    """
    return doors(data, *columns).join(data.once(_loads))


def _loads(data: Dataset) -> pd.DataFrame:
    found = data.once(_fire)
    bands, each = data.policy.width_bands, Decimal(data.policy.mm_per_person)
    narrowest = data.policy.narrowest_escape_door_mm
    columns: dict[str, list[int | None]] = {
        "people_least": [*found.least],
        "people_most": found.most,
        "passes": passes(data),
        "width_needed_mm": [max(width_needed(n, bands, each), narrowest) for n in found.least],
    }
    own = doors(data)
    order = _order(plan(data).doors, own["door"])
    return pd.DataFrame(
        {c: pd.array([values[i] for i in order], "Int64") for c, values in columns.items()},
        index=own.index,
    )


def _order(ids: Sequence[str], wanted: pd.Series) -> list[int]:
    """The positions of the wanted ids."""
    position = {own: i for i, own in enumerate(ids)}
    return [position[own] for own in wanted.tolist()]


def settled(yes: pd.Series, no: pd.Series) -> pd.Series:
    """A verdict from what is surely so and what surely is not: NA where neither is."""
    yes, no = yes.astype("boolean").fillna(False), no.astype("boolean").fillna(False)
    return yes.mask(~yes & ~no)


def _zone_rows(data: Dataset, columns: dict[str, Any]) -> pd.DataFrame:
    """The zones, the first row of each id, with columns given in the plan's order."""
    own = data["zones"]
    own = own if own["zone_id"].is_unique else own.drop_duplicates("zone_id")
    order = _order(plan(data).zones, own["zone_id"])
    return pd.DataFrame(
        {
            "zone": own["zone_id"],
            "occupants": own["occupants"],
            **{
                name: [values[i] for i in order] if isinstance(values, list) else values[order]
                for name, values in columns.items()
            },
        },
        index=own.index,
    )


def zones_leaving(data: Dataset) -> pd.DataFrame:
    """The zones with `inhabited`, `trapped` (nullable), and of what is sure `states`, `doors`.

    `inhabited`: it has occupants or a dwelling. `trapped`: no way out in one state or more;
    `states` are those, `doors` the first locked doors on the way, `recorded_doors` (int) how
    many doors of the zone are in the register.
    """
    return data.once(_zones_leaving)


def _zones_leaving(data: Dataset) -> pd.DataFrame:
    site, found = plan(data), data.once(_ways)
    homes = set(data["dwellings"]["zone_id"].dropna().unique())
    _, kinds = _listed(data, "zones", "kind")
    inhabited, trapped, states, at_fault = [], [], [], []
    for i, kind in enumerate(kinds):
        people, verdicts = site.occupants[i], found.verdicts[i]
        home = either(_is(kind, "dwelling"), site.zones[i] in homes)
        inhabited.append(either(None if people is None else people > 0, home))
        trapped.append(either(*(None if v is None else not v for v in verdicts)))
        states.append([name for name, v in zip(STATES, verdicts, strict=True) if v is False])
        first = {d for d, v in zip(found.obstacle[i], verdicts, strict=True) if v is False}
        at_fault.append([site.doors[d] for d in sorted(first - {-1})])
    return _zone_rows(
        data,
        {
            "inhabited": pd.array(inhabited, "boolean"),
            "trapped": pd.array(trapped, "boolean"),
            "states": states,
            "doors": at_fault,
            "recorded_doors": recorded_doors(site)[: site.listed],
        },
    )


def zones_in_fire(data: Dataset) -> pd.DataFrame:
    """The zones in the fire-alarm state, places of safety left out.

    `one_way` (nullable): one door's closing cuts every way out; `weak_door` the first such;
    `exits` the doors that begin a way out, the doubtful ones too; `has_exit` (nullable) whether
    there is one, and need of it;
    `pass_least` and `pass_most` people through its exits together, the widest out of use where
    there are two or more (most NA: unbounded, because of what is not given).
    """
    return data.once(_zones_in_fire)


def _zones_in_fire(data: Dataset) -> pd.DataFrame:
    site, found = plan(data), data.once(_fire)
    bounds = _exit_capacities(data)
    listed = range(site.listed)
    rows = _zone_rows(
        data,
        {
            "one_way": pd.array(found.weak[: site.listed], "boolean"),
            "weak_door": [
                site.doors[d] if d >= 0 else None for d in found.weak_door[: site.listed]
            ],
            "exits": [[site.doors[e.door] for e in found.exits[i]] for i in listed],
            "has_exit": pd.array(
                [_has_exit(site.safe[i], found.exits[i]) for i in listed], "boolean"
            ),
            "pass_least": pd.array([bounds[i][0] for i in listed], "Int64"),
            "pass_most": pd.array([bounds[i][1] for i in listed], "Int64"),
            "safe": pd.array(site.safe[: site.listed], "boolean"),
        },
    )
    return rows[~rows["safe"].fillna(False)]


def _has_exit(safe: Verdict, exits: list[Exit]) -> Verdict:
    if safe is None:
        return None
    return True if any(e.sure for e in exits) else None if exits else False


def _exit_capacities(data: Dataset) -> list[tuple[int, int | None]]:
    passed, found = passes(data), data.once(_fire)
    door = [(0, UNLIMITED) if n is None else (n, n) for n in passed]
    bounds = [
        together_bounds(
            [door[e.door] for e in own if e.sure], [door[e.door] for e in own if not e.sure]
        )
        for own in found.exits
    ]
    return [(low, None if high >= UNLIMITED else high) for low, high in bounds]


# --- for the reports -----------------------------------------------------------------


def picture(data: Dataset) -> dict[str, Any]:
    """The ways out as plain data (JSON has it): what a diagram of zones and doors shows.

    `zones`: zone, name, kind, occupants, place_of_safety, `way_out` a verdict a state, and of the
    fire-alarm state `one_way`, `weak_door`, `exits` (door, sure), `people_out` [least, most].
    `doors`: door, name, inside, outside, `out` and `back` a verdict a state, `passes` people by
    its width, `people` [least, most] who depend on it. null: cannot be judged, or unbounded.
    `weak_doors`: each door whose closing cuts off a zone, with the zones, most people first.
    """
    site, ways, found = plan(data), data.once(_ways), data.once(_fire)
    _, names, kinds = _listed(data, "zones", "name", "kind")
    _, door_names = _listed(data, "doors", "name")
    capacities = _exit_capacities(data)
    cut_off: dict[int, list[str]] = {}
    zones = []
    for i, zone in enumerate(site.zones):
        weak_door = found.weak_door[i]
        if weak_door >= 0:
            cut_off.setdefault(weak_door, []).append(zone)
        zones.append(
            {
                "zone": zone,
                "name": names[i] if i < site.listed else None,
                "kind": kinds[i] if i < site.listed else None,
                "occupants": site.occupants[i],
                "place_of_safety": site.safe[i],
                "way_out": dict(zip(STATES, ways.verdicts[i], strict=True)),
                "one_way": found.weak[i],
                "weak_door": site.doors[weak_door] if weak_door >= 0 else None,
                "exits": [{"door": site.doors[e.door], "sure": e.sure} for e in found.exits[i]],
                "people_out": list(capacities[i]),
            }
        )
    passed = passes(data)
    doors = [
        {
            "door": door,
            "name": name,
            "inside": site.zones[site.inside[d]] if site.inside[d] >= 0 else None,
            "outside": site.zones[site.outside[d]] if site.outside[d] >= 0 else None,
            "out": dict(zip(STATES, site.out[d], strict=True)),
            "back": dict(zip(STATES, site.back[d], strict=True)),
            "passes": passed[d],
            "people": [found.least[d], found.most[d]],
        }
        for d, (door, name) in enumerate(zip(site.doors, door_names, strict=True))
    ]
    weak = [
        {"door": site.doors[d], "people": [found.least[d], found.most[d]], "zones": cut}
        for d, cut in sorted(cut_off.items(), key=lambda i: (-found.least[i[0]], i[0]))
    ]
    return {"states": list(STATES), "zones": zones, "doors": doors, "weak_doors": weak}
