"""Ways out: zones and doors as a directed network, and what hangs on each door.

A way leads from a zone to a place of safety through zones that anybody may pass (outside, court,
common, stair, parking) and those of its own tenancy, never through a dwelling, plant, store or
another tenancy. Zones that may pass the same others make a *world*; each is answered by itself.
Where a value that decides is not recorded, each answer is taken twice, once with nothing of it
free and once with all of it free, and only what holds both times is said (words of data.md).
This is an aid to a competent person and no fire risk assessment.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Final, NamedTuple

import numpy as np
import numpy.typing as npt

from audit.arithmetic.dominators import DominatorTree, dominator_tree
from audit.arithmetic.freedom import STATES
from audit.arithmetic.graphs import knots
from audit.arithmetic.three import NO, UNCLEAR, YES, Bools, Ints, Small

FAR: Final = 1 << 60
"""The distance of a zone without a way out."""
NORMAL, POWER_LOST, FIRE = range(3)


class Step(NamedTuple):
    """One door taken in one direction; places and doors by their positions."""

    start: int
    end: int
    door: int


@dataclass(frozen=True)
class Plan:
    """Zones and doors of a site, each in the order of their ids.

    `inside`, `outside`: positions in `zones`, -1 not recorded. Verdicts are coded (`three`):
    `passable` whether a way may lead on through the zone, `safe` whether it ends there; `out` and
    `back` (doors, 3) the freedom of each door in its two directions; `alarm` whether the
    zone's building has a communal alarm. `tenancy` numbers tenancies, -1 none. `loose`: a door
    whose id is not recorded may lead from anywhere to anywhere.
    """

    zones: tuple[str, ...]
    doors: tuple[str, ...]
    passable: Small
    safe: Small
    tenancy: Ints
    alarm: Small
    inside: Ints
    outside: Ints
    out: Small
    back: Small
    loose: bool = False

    @property
    def nowhere(self) -> int:
        """The place behind a door whose other side is not recorded: perhaps one of safety."""
        return len(self.zones)

    @cached_property
    def worlds(self) -> tuple[World, ...]:
        """The zones by what they may pass and by their building's alarm; places of safety aside."""
        let = self.tenancy >= 0
        size = np.bincount(self.tenancy[let], minlength=1)
        private = np.bincount(self.tenancy[let & (self.passable != YES)], minlength=len(size))
        differs = (size > 1) & (private > 0)  # its zones may pass what others may not
        own = np.where(let & differs[self.tenancy], self.tenancy, -1)
        starts: dict[tuple[int, int], list[int]] = {}
        for zone, (group, alarm) in enumerate(zip(own.tolist(), self.alarm.tolist(), strict=True)):
            starts.setdefault((group, alarm), []).append(zone)
        return tuple(
            World(self, np.array(zones, np.int64), group, alarm)
            for (group, alarm), zones in sorted(starts.items())
        )

    def directions(self) -> Iterator[tuple[Step, bool]]:
        """Each door in each direction in which a zone is left; True: from inside to outside."""
        for door, (a, b) in enumerate(
            zip(self.inside.tolist(), self.outside.tolist(), strict=True)
        ):
            if a != b:
                if a >= 0:
                    yield Step(a, b if b >= 0 else self.nowhere, door), True
                if b >= 0:
                    yield Step(b, a if a >= 0 else self.nowhere, door), False


@dataclass(frozen=True)
class World:
    """Zones of a plan that may pass the same others: `starts`, with one alarm verdict."""

    plan: Plan
    starts: Ints
    tenancy: int
    alarm: int

    @cached_property
    def may_pass(self) -> Small:
        """Whether each zone, and nowhere, may stand in the middle of a way."""
        passes = self.plan.passable.copy()
        if self.tenancy >= 0:
            passes[self.plan.tenancy == self.tenancy] = YES
        return np.append(passes, np.int8(NO))

    @cached_property
    def is_start(self) -> Bools:
        """Whether each zone, and nowhere, is asked in this world."""
        asked = np.zeros(len(self.plan.zones) + 1, bool)
        asked[self.starts] = True
        return asked

    def havens(self, hopeful: bool) -> list[int]:
        """The places of safety; `hopeful` takes what is not recorded for safe."""
        least = UNCLEAR if hopeful else YES
        places = np.flatnonzero(self.plan.safe >= least).tolist()
        return [*places, self.plan.nowhere] if hopeful else places

    def steps(self, free: Sequence[int], hopeful: bool) -> list[Step]:
        """The steps that are free, from starts and zones that may be passed; not into others.

        `free` has a verdict for each of `plan.directions()`.
        """
        least = UNCLEAR if hopeful else YES
        safe, passes, start = self.plan.safe, self.may_pass, self.is_start
        nowhere = self.plan.nowhere
        return [
            step
            for (step, _), verdict in zip(self.plan.directions(), free, strict=True)
            if verdict >= least
            and (passes[step.start] >= least or start[step.start])
            and (
                (step.end == nowhere and hopeful)
                or (step.end < nowhere and (passes[step.end] >= least or safe[step.end] >= least))
            )
        ]

    @cached_property
    def free(self) -> list[list[int]]:
        """The freedom of each direction in each state."""
        plan = self.plan
        return [
            [
                int((plan.out if outward else plan.back)[step.door, state])
                for step, outward in plan.directions()
            ]
            for state in range(len(STATES))
        ]

    @cached_property
    def built(self) -> list[int]:
        """Whether each direction is there as built: outward every door, inward where free to
        enter on a normal day, or in the fire-alarm state where that state exists."""
        back = self.plan.back
        fire = np.minimum(back[:, FIRE], self.alarm)
        inward = np.maximum(back[:, NORMAL], fire)
        return [YES if outward else int(inward[s.door]) for s, outward in self.plan.directions()]


def distances(places: int, steps: Iterable[Step], havens: Sequence[int]) -> list[int]:
    """The fewest doors from each place to one of safety; FAR where there is no way."""
    before: list[list[int]] = [[] for _ in range(places)]
    for start, end, _ in steps:
        before[end].append(start)
    distance = [FAR] * places
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


def ways_out(plan: Plan) -> Small:
    """Whether each zone has a way out, a column a state (zones, 3): YES, NO, UNCLEAR.

    A place of safety has one. The fire-alarm state is not there where the zone's building has no
    communal alarm (YES: nothing to find), and unclear where that is not recorded.
    """
    verdict = np.full((len(plan.zones), len(STATES)), YES, np.int8)
    places = len(plan.zones) + 1
    for world in plan.worlds:
        for state in range(len(STATES)):
            if state == FIRE and world.alarm == NO:
                continue
            sure = distances(places, world.steps(world.free[state], False), world.havens(False))
            hope = distances(places, world.steps(world.free[state], True), world.havens(True))
            for zone in world.starts.tolist():
                way = YES if sure[zone] < FAR else UNCLEAR if hope[zone] < FAR else NO
                if way == NO and (plan.loose or (state == FIRE and world.alarm != YES)):
                    way = UNCLEAR
                verdict[zone, state] = way
    return verdict


def doors_at_fault(plan: Plan) -> Ints:
    """For each zone and state the first door that is not free on the way as built with the
    fewest such doors (zones, 3); of several, the first by id; -1 where no way is built.
    """
    fault = np.full((len(plan.zones), len(STATES)), -1)
    for world in plan.worlds:
        lines = list(zip((s for s, _ in plan.directions()), world.built, strict=True))
        least = UNCLEAR
        passes = world.may_pass
        for state in range(len(STATES)):
            before: list[list[tuple[int, int, bool]]] = [[] for _ in range(len(plan.zones) + 1)]
            for (step, there), free in zip(lines, world.free[state], strict=True):
                if there >= least and (passes[step.start] >= least or world.is_start[step.start]):
                    before[step.end].append((step.start, step.door, free == NO))
            first = _first_shut(before, world.havens(True), passes)
            for zone in world.starts.tolist():
                fault[zone, state] = first[zone]
    return fault


def _first_shut(
    before: list[list[tuple[int, int, bool]]], havens: list[int], passes: Small
) -> list[int]:
    """For each place the least first shut door over the ways with the fewest shut doors."""
    size = len(before)
    shut, first = [FAR] * size, [-1] * size
    level, number = [(place, -1) for place in havens], 0
    safe = set(havens)
    while level:
        queue = deque(sorted(level, key=lambda item: item[1]))
        onward: dict[int, int] = {}
        reached: list[int] = []
        while queue:
            place, door = queue.popleft()
            if shut[place] < FAR:
                continue
            shut[place], first[place] = number, door
            reached.append(place)
            if place not in safe and passes[place] == NO:
                continue  # it may be left, but no way leads on through it
            queue.extend((other, door) for other, _, locked in before[place] if not locked)
        for place in reached:
            if place in safe or passes[place] > NO:
                for other, through, locked in before[place]:
                    if locked and shut[other] == FAR:
                        onward[other] = min(onward.get(other, through), through)
        level, number = list(onward.items()), number + 1
    return first


class Exit(NamedTuple):
    """A door that begins a way to safety as built; `sure` is False where it only may."""

    door: int
    sure: bool


@dataclass
class Built:
    """The network as built: what hangs on which door.

    A zone: `way` whether it has a way out; `exits`; `weak` whether one door's closing cuts every
    way out, `weak_door` the nearest such door (-1 none); `within` (surely, perhaps) the zones
    each of whose ways passes it, itself included. A door: `through` (surely, perhaps) the zones
    whose shortest way passes it; `only` (surely, perhaps) the zones each of whose ways does;
    `ends` (surely, perhaps) the zones whose shortest way it ends. Sets are bits of an int.
    `shortest`: the steps that may be on a shortest way.
    """

    way: list[int]
    exits: list[list[Exit]]
    weak: list[int]
    weak_door: list[int]
    within: list[tuple[int, int]]
    through: list[tuple[int, int]]
    only: list[tuple[int, int]]
    ends: list[tuple[int, int]]
    shortest: list[Step] = field(default_factory=list)


def built(plan: Plan) -> Built:
    """Exits, weak doors and dependants as built; near-linear in doors but for the sets."""
    zones, doors = len(plan.zones), len(plan.doors)
    made = Built(
        way=[YES] * zones,
        exits=[[] for _ in range(zones)],
        weak=[NO] * zones,
        weak_door=[-1] * zones,
        within=[(1 << z, 1 << z) for z in range(zones)],
        through=[(0, 0)] * doors,
        only=[(0, 0)] * doors,
        ends=[(0, 0)] * doors,
    )
    for world in plan.worlds:
        _build(world, made)
    return made


def _build(world: World, made: Built) -> None:
    plan = world.plan
    sure_steps, hope_steps = world.steps(world.built, False), world.steps(world.built, True)
    sure_havens, hope_havens = world.havens(False), world.havens(True)
    sure_tree = _tree(plan, sure_steps, sure_havens)
    hope_tree = _tree(plan, hope_steps, hope_havens)
    places = len(plan.zones) + 1
    near = distances(places, hope_steps, hope_havens)
    far = distances(places, sure_steps, sure_havens)
    starts = set(world.starts.tolist())
    sure_weak, hope_weak = _weak_doors(plan, sure_tree), _weak_doors(plan, hope_tree)
    for zone in starts:
        if plan.safe[zone] == YES:
            continue
        way = YES if far[zone] < FAR else UNCLEAR if near[zone] < FAR and not plan.loose else NO
        way = UNCLEAR if plan.loose and way == NO else way
        made.way[zone] = way
        if way == NO:
            continue
        if way == YES and hope_weak[zone] >= 0 and not plan.loose:
            made.weak[zone], made.weak_door[zone] = YES, hope_weak[zone]
        elif way == UNCLEAR or sure_weak[zone] >= 0:
            made.weak[zone] = UNCLEAR
        if plan.safe[zone] == UNCLEAR and made.weak[zone] == YES:
            made.weak[zone] = UNCLEAR
    _exits(world, made, sure_steps, hope_steps, sure_tree, hope_tree)
    _dependants(world, made, sure_steps, hope_steps, near, far)
    _only(world, made, sure_tree, hope_tree, near, far)


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
    world: World,
    made: Built,
    sure_steps: list[Step],
    hope_steps: list[Step],
    sure_tree: DominatorTree,
    hope_tree: DominatorTree,
) -> None:
    """The doors of each zone beyond which safety is reached without coming back through it."""

    def leads_on(tree: DominatorTree, step: Step) -> bool:
        here, there = 1 + step.start, 1 + step.end
        return tree.reached(there) and not tree.dominates(here, there)

    plan = world.plan
    sure = {step for step in sure_steps if leads_on(sure_tree, step)}
    for step in hope_steps:
        if not world.is_start[step.start] or plan.safe[step.start] == YES:
            continue
        if step in sure or leads_on(hope_tree, step):
            made.exits[step.start].append(Exit(step.door, step in sure))


def _dependants(
    world: World,
    made: Built,
    sure_steps: list[Step],
    hope_steps: list[Step],
    near: list[int],
    far: list[int],
) -> None:
    """The zones whose shortest ways pass each door, surely and perhaps.

    `near` and `far` bound each zone's true distance. A step is surely on a shortest way where
    its far end's longest distance is one less than its start's shortest; it may be on one where
    its far end's shortest distance is less than its start's longest.
    """
    size = len(world.plan.zones) + 1
    havens = set(world.havens(True))
    sure_havens = set(world.havens(False))
    for at, steps, ends in (
        (0, [s for s in sure_steps if far[s.end] + 1 == near[s.start]], sure_havens),
        (
            1,
            [s for s in hope_steps if near[s.end] < far[s.start] and near[s.end] < FAR],
            havens,
        ),
    ):
        if at == 0 and world.plan.loose:
            continue
        if at == 1:
            made.shortest.extend(steps)
        sets = _gathered(size, steps, world)
        for step in steps:
            _join(made.through, step.door, at, sets[step.start])
            if step.end in ends:
                _join(made.ends, step.door, at, sets[step.start])


def _join(sets: list[tuple[int, int]], door: int, at: int, more: int) -> None:
    sure, perhaps = sets[door]
    sets[door] = (sure | more, perhaps) if at == 0 else (sure, perhaps | more)


def _gathered(size: int, steps: list[Step], world: World) -> list[int]:
    """For each place the start zones from which it is reached by these steps, itself included."""
    onward: dict[int, list[int]] = {place: [] for place in range(size)}
    for a, b in {(s.start, s.end) for s in steps}:
        onward[a].append(b)
    sets = [0] * size
    for zone in world.starts.tolist():
        sets[zone] = 1 << zone
    for knot in reversed(knots(onward)):  # those that lead on come before those they lead to
        joined = 0
        for place in knot:
            joined |= sets[place]
        for place in knot:
            sets[place] = joined
            for other in onward[place]:
                sets[other] |= joined
    return sets


def _only(
    world: World,
    made: Built,
    sure_tree: DominatorTree,
    hope_tree: DominatorTree,
    near: list[int],
    far: list[int],
) -> None:
    """The zones each of whose ways passes a door, or a zone, surely and perhaps."""
    plan = world.plan
    first_door = len(plan.zones) + 2
    for at, tree in ((0, hope_tree), (1, sure_tree)):
        if at == 0 and plan.loose:
            continue
        below = [0] * len(tree.parent)
        for node in reversed(tree.order[1:]):
            zone = node - 1
            asked = node < first_door - 1 and world.is_start[zone] and plan.safe[zone] != YES
            if asked and (at == 1 or far[zone] < FAR):
                below[node] |= 1 << zone
            if node >= first_door:
                _join(made.only, node - first_door, at, below[node])
            elif node < first_door - 1:
                sure, perhaps = made.within[zone]
                made.within[zone] = (
                    (sure | below[node], perhaps) if at == 0 else (sure, perhaps | below[node])
                )
            below[tree.parent[node]] |= below[node]
    # who has no sure way may hang on anything that may be on theirs
    vague = 0
    for zone in world.starts.tolist():
        if far[zone] == FAR and near[zone] < FAR and plan.safe[zone] != YES:
            vague |= 1 << zone
    if vague or plan.loose:
        for node in hope_tree.order[1:]:
            if node >= first_door:
                _join(made.only, node - first_door, 1, vague)
            elif node < first_door - 1 and plan.safe[node - 1] != YES:
                sure, perhaps = made.within[node - 1]
                made.within[node - 1] = (sure, perhaps | vague)


def recorded(plan: Plan) -> Small:
    """Whether each zone is recorded: it has a door, and safety is reached when every door is
    taken both ways and every zone may be passed."""
    size = len(plan.zones) + 1
    both = [
        step
        for (step, _) in plan.directions()
        for step in (step, Step(step.end, step.start, step.door))
    ]
    sure = distances(size, [s for s in both if plan.nowhere not in s[:2]], _places(plan, YES))
    hope = distances(size, both, [*_places(plan, UNCLEAR), plan.nowhere])
    sided = np.zeros(size, bool)
    for side in (plan.inside, plan.outside):
        sided[side[side >= 0]] = True
    verdict = [
        YES if s < FAR and side else UNCLEAR if (h < FAR and side) or plan.loose else NO
        for s, h, side in zip(sure[:-1], hope[:-1], sided[:-1], strict=True)
    ]
    return np.array(verdict, np.int8)


def _places(plan: Plan, least: int) -> list[int]:
    return [int(z) for z in np.flatnonzero(plan.safe >= least)]


def members(bits: int, size: int) -> Ints:
    """The positions in a set that is kept as bits of an int."""
    if not bits:
        return np.empty(0, np.int64)
    raw = np.frombuffer(bits.to_bytes((size + 7) // 8, "little"), np.uint8)
    found: npt.NDArray[np.int64] = np.flatnonzero(np.unpackbits(raw, bitorder="little")[:size])
    return found
