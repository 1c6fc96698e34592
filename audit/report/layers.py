"""Zones and doors laid out in layers, safety on the right: the arithmetic without the drawing."""

from collections import Counter, defaultdict, deque
from collections.abc import Iterable, Mapping, Sequence
from typing import NamedTuple

from audit.report.plan import STATES, Door, Outcome, State, Zone

LEAST_TO_BUNDLE = 3
SWEEPS = 6
MOST_NODES = 120


class Node(NamedTuple):
    """A zone, or several like dwellings drawn as one; `beyond`: one that another picture draws."""

    key: str
    name: str
    kind: str
    occupants: int | None
    safe: bool
    results: Mapping[State, Outcome]
    zones: tuple[str, ...]
    beyond: bool = False


class Edge(NamedTuple):
    """A door between two nodes, or several doors alike."""

    name: str
    inside: str
    outside: str
    free: Mapping[State, bool | None]
    back: Mapping[State, bool | None]
    weak: bool
    doors: tuple[str, ...]


class Layout(NamedTuple):
    """A part of the site that hangs together, of one building where there are several.

    `layers` run from safety inwards, keys in order, and no door joins two that are not the same or
    neighbours. A part of more than `MOST_NODES` nodes is too large to draw: its layers are empty.
    """

    nodes: dict[str, Node]
    edges: list[Edge]
    layers: list[list[str]]
    building: str


def _node(zone: Zone, beyond: bool) -> Node:
    return Node(
        zone["id"],
        zone["name"] or zone["id"],
        zone["kind"],
        zone["occupants"],
        zone.get("safe", zone["kind"] == "outside"),
        zone["results"],
        (zone["id"],),
        beyond,
    )


def _sign(states: Mapping[State, bool | None]) -> tuple[bool | None, ...]:
    return tuple(states.get(state) for state in STATES)


def _parts(zones: Sequence[Zone], doors: Sequence[Door]) -> list[list[str]]:
    """Zone ids of each connected part; places of safety join nothing together."""
    safe = {zone["id"] for zone in zones if zone.get("safe", zone["kind"] == "outside")}
    near: dict[str, list[str]] = defaultdict(list)
    for door in doors:
        if door["inside"] not in safe and door["outside"] not in safe:
            near[door["inside"]].append(door["outside"])
            near[door["outside"]].append(door["inside"])
    joined = {door["inside"] for door in doors} | {door["outside"] for door in doors}
    seen: set[str] = set(safe)
    parts, alone = [], []
    for zone in zones:
        if zone["id"] in seen:
            continue
        seen.add(zone["id"])
        part, queue = [zone["id"]], deque([zone["id"]])
        while queue:
            for other in near[queue.popleft()]:
                if other not in seen:
                    seen.add(other)
                    part.append(other)
                    queue.append(other)
        if len(part) == 1 and part[0] not in joined:
            alone.extend(part)
        else:
            parts.append(part)
    return [*parts, *([alone] if alone else [])]


def _bundle(nodes: dict[str, Node], edges: list[Edge]) -> tuple[dict[str, Node], list[Edge]]:
    """Dwellings that hang on the same zone in the same way become one node."""
    touching: dict[str, list[Edge]] = defaultdict(list)
    for edge in edges:
        touching[edge.inside].append(edge)
        touching[edge.outside].append(edge)
    alike: dict[tuple[object, ...], list[str]] = defaultdict(list)
    for key, node in nodes.items():
        own = touching[key]
        if node.kind != "dwelling" or node.safe or node.beyond:
            continue
        if len(own) == 1 and own[0].inside == key:
            edge = own[0]
            results = tuple(node.results.get(state) for state in STATES)
            alike[(edge.outside, results, _sign(edge.free), _sign(edge.back), edge.weak)].append(
                key
            )
    kept_nodes, gone = dict(nodes), set[str]()
    bundled_edges = []
    for keys in alike.values():
        if len(keys) < LEAST_TO_BUNDLE:
            continue
        bundled = [nodes[key] for key in keys]
        counts = [node.occupants for node in bundled]
        known = [count for count in counts if count is not None]
        first = touching[keys[0]][0]
        for key in keys:
            del kept_nodes[key]
        gone.update(keys)
        doors = tuple(name for key in keys for name in touching[key][0].doors)
        kept_nodes[keys[0]] = Node(
            keys[0],
            f"{len(keys)} dwellings: {bundled[0].name} to {bundled[-1].name}",
            "dwelling",
            sum(known) if len(known) == len(counts) else None,
            False,
            bundled[0].results,
            tuple(zone for node in bundled for zone in node.zones),
        )
        bundled_edges.append(
            first._replace(name=f"{len(doors)} doors", inside=keys[0], doors=doors)
        )
    return kept_nodes, [edge for edge in edges if edge.inside not in gone] + bundled_edges


def _merge(edges: Iterable[Edge]) -> list[Edge]:
    """Doors side by side that behave alike become one line; a weak door stays by itself."""
    alike: dict[tuple[object, ...], list[Edge]] = defaultdict(list)
    for place, edge in enumerate(edges):
        single = place if edge.weak else None
        key = (edge.inside, edge.outside, _sign(edge.free), _sign(edge.back), single)
        alike[key].append(edge)
    merged = []
    for same in alike.values():
        doors = tuple(door for edge in same for door in edge.doors)
        name = same[0].name if len(same) == 1 else f"{len(doors)} doors"
        merged.append(same[0]._replace(name=name, doors=doors))
    return merged


def _buildings(zones: Mapping[str, Zone], doors: Sequence[Door]) -> dict[str, str]:
    """The building of each zone, "" where it is shared or not told.

    Told by `building`, else by how several names begin ("Rowan House, stair"); a zone of neither
    kind belongs to the one building that it has doors to, if it is one.
    """
    begins = Counter(
        zone["name"].split(", ", 1)[0] for zone in zones.values() if ", " in zone["name"]
    )
    told = {}
    for key, zone in zones.items():
        begin = zone["name"].split(", ", 1)[0] if ", " in zone["name"] else ""
        named = begin if begins[begin] >= LEAST_TO_BUNDLE else ""
        told[key] = zone.get("building") or named
    near: dict[str, set[str]] = defaultdict(set)
    for door in doors:
        near[door["inside"]].add(told[door["outside"]])
        near[door["outside"]].add(told[door["inside"]])
    for key in zones:
        others = near[key] - {""}
        if not told[key] and len(others) == 1:
            told[key] = others.pop()
    return told


def _short(name: str, building: str) -> str:
    """`Rowan House, stair` is `Stair` in the picture of Rowan House."""
    end = name.removeprefix(building + ", ") if building else name
    return end[:1].upper() + end[1:] if end and end != name else name


def _depths(zones: Mapping[str, Zone], doors: Sequence[Door], safe: set[str]) -> dict[str, int]:
    """Doors to the nearest place of safety, whichever way they open; from 1 where there is none."""
    near: dict[str, list[str]] = defaultdict(list)
    for door in doors:
        near[door["inside"]].append(door["outside"])
        near[door["outside"]].append(door["inside"])
    depth = {key: 0 for key in zones if key in safe}
    queue = deque(depth)
    start = iter(zones)
    while True:
        while queue:
            key = queue.popleft()
            for other in near[key]:
                if other not in depth:
                    depth[other] = depth[key] + 1
                    queue.append(other)
        lost = next((key for key in start if key not in depth), None)
        if lost is None:
            return depth
        depth[lost] = 1
        queue.append(lost)


def _layers(
    nodes: Mapping[str, Node], edges: Sequence[Edge], depth: Mapping[str, int]
) -> list[list[str]]:
    """Nodes by depth, and within a layer near what they are joined to, so that few lines cross."""
    near: dict[str, list[str]] = defaultdict(list)
    for edge in edges:
        near[edge.inside].append(edge.outside)
        near[edge.outside].append(edge.inside)
    by_depth: dict[int, list[str]] = defaultdict(list)
    for key in nodes:
        by_depth[depth[key]].append(key)
    layers = [layer for _, layer in sorted(by_depth.items())]
    place = {key: at / max(len(layer) - 1, 1) for layer in layers for at, key in enumerate(layer)}
    for sweep in range(SWEEPS):
        for layer in layers if sweep % 2 == 0 else reversed(layers):
            middle = {
                key: sum(place[other] for other in near[key]) / len(near[key])
                if near[key]
                else place[key]
                for key in layer
            }
            layer.sort(key=lambda key: (middle[key], key))
            size = max(len(layer) - 1, 1)
            for at, key in enumerate(layer):
                place[key] = at / size
    return layers


def layouts(zones: Sequence[Zone], doors: Sequence[Door]) -> list[Layout]:
    """A layout for each part of the site that hangs together other than through the outside.

    Where such a part has several buildings, each has its own, and what they share one more; a door
    between two of them stands in both. A door whose zone is not in the list is left out: where
    it leads is not known.
    """
    first: dict[str, Zone] = {}
    for zone in zones:
        first.setdefault(zone["id"], zone)
    known = [
        door
        for door in doors
        if door["inside"] in first
        and door["outside"] in first
        and door["inside"] != door["outside"]
    ]
    safe = {key for key, zone in first.items() if zone.get("safe", zone["kind"] == "outside")}
    building = _buildings(first, [door for door in known if not {*_ends(door)} & safe])
    depth = _depths(first, known, safe)
    part_of: dict[str, tuple[int, str]] = {}
    members: dict[tuple[int, str], list[str]] = defaultdict(list)
    for at, part in enumerate(_parts([*first.values()], known)):
        several = len({building[key] for key in part} - {""}) > 1
        whole = next((building[key] for key in part if building[key]), "")
        for key in part:
            part_of[key] = (at, building[key] if several else whole)
            members[part_of[key]].append(key)
    doors_of: dict[tuple[int, str], list[Door]] = defaultdict(list)
    for door in known:
        for own in dict.fromkeys(part_of[end] for end in _ends(door) if end not in safe):
            doors_of[own].append(door)
    made = []
    for own, keys in members.items():
        edges = [
            Edge(
                _short(door["name"] or door["id"], own[1]),
                door["inside"],
                door["outside"],
                door["free"],
                door.get("back", {}),
                door.get("weak", False),
                (door["id"],),
            )
            for door in doors_of[own]
        ]
        nodes = {
            key: _node(first[key], part_of.get(key, own) != own)
            for key in dict.fromkeys(
                [*keys, *(end for door in doors_of[own] for end in _ends(door))]
            )
        }
        nodes = {key: one._replace(name=_short(one.name, own[1])) for key, one in nodes.items()}
        nodes, edges = _bundle(nodes, edges)
        edges = _merge(edges)
        small = len(nodes) <= MOST_NODES
        made.append(Layout(nodes, edges, _layers(nodes, edges, depth) if small else [], own[1]))
    return made


def _ends(door: Door) -> tuple[str, str]:
    return door["inside"], door["outside"]
