"""Zones and doors laid out in layers, safety on the right: the arithmetic without the drawing."""

from collections import Counter, defaultdict, deque
from collections.abc import Iterable, Mapping, Sequence
from typing import NamedTuple

from audit.report.plan import STATES, Door, Outcome, State, Zone

LEAST_TO_BUNDLE = 3
SWEEPS = 6
MOST_NODES = 120


class Node(NamedTuple):
    """A zone, or several like dwellings drawn as one."""

    key: str
    name: str
    kind: str
    occupants: int | None
    safe: bool
    results: Mapping[State, Outcome]
    zones: tuple[str, ...]


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
    """One connected part of the site: `layers` from places of safety (0) inwards, keys in order.

    A part of more than `MOST_NODES` nodes is too large to draw: its layers are empty.
    """

    nodes: dict[str, Node]
    edges: list[Edge]
    layers: list[list[str]]


def _node(zone: Zone) -> Node:
    return Node(
        zone["id"],
        zone["name"] or zone["id"],
        zone["kind"],
        zone["occupants"],
        zone.get("safe", zone["kind"] == "outside"),
        zone["results"],
        (zone["id"],),
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
        if node.kind == "dwelling" and not node.safe and len(own) == 1 and own[0].inside == key:
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
            f"{len(keys)} dwellings",
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


def _layers(nodes: Mapping[str, Node], edges: Sequence[Edge]) -> list[list[str]]:
    """Breadth-first from safety, so that a door joins the same layer or neighbouring ones."""
    near: dict[str, list[str]] = defaultdict(list)
    for edge in edges:
        near[edge.inside].append(edge.outside)
        near[edge.outside].append(edge.inside)
    depth = {key: 0 for key, node in nodes.items() if node.safe}
    queue = deque(depth)
    start = iter(nodes)
    while True:
        while queue:
            key = queue.popleft()
            for other in near[key]:
                if other not in depth:
                    depth[other] = depth[key] + 1
                    queue.append(other)
        lost = next((key for key in start if key not in depth), None)
        if lost is None:
            break
        depth[lost] = 1  # cut off from every place of safety: a part of its own
        queue.append(lost)
    layers: list[list[str]] = [[] for _ in range(max(depth.values(), default=-1) + 1)]
    for key in nodes:
        layers[depth[key]].append(key)
    place = {key: float(at) for layer in layers for at, key in enumerate(layer)}
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

    A door whose zone is not in the list is left out: where it leads is not known.
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
    part_of = {key: at for at, part in enumerate(_parts([*first.values()], known)) for key in part}
    doors_of: dict[int, list[Door]] = defaultdict(list)
    for door in known:
        if door["inside"] in safe and door["outside"] in safe:
            continue
        doors_of[part_of[door["outside" if door["inside"] in safe else "inside"]]].append(door)
    members: dict[int, list[str]] = defaultdict(list)
    for key, at in part_of.items():
        members[at].append(key)
    made = []
    for at, keys in sorted(members.items()):
        edges = [
            Edge(
                door["name"] or door["id"],
                door["inside"],
                door["outside"],
                door["free"],
                door.get("back", {}),
                door.get("weak", False),
                (door["id"],),
            )
            for door in doors_of[at]
        ]
        ends = Counter(end for edge in edges for end in (edge.inside, edge.outside) if end in safe)
        nodes = {key: _node(first[key]) for key in [*keys, *ends]}
        nodes, edges = _bundle(nodes, edges)
        edges = _merge(edges)
        small = len(nodes) <= MOST_NODES
        made.append(Layout(nodes, edges, _layers(nodes, edges) if small else []))
    return made
