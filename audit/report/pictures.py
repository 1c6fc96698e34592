"""The pictures of the report, drawn from the record and the plan; the same SVG in HTML and PDF.

Every picture carries in words what it shows, for those who hear it; nothing is told by
colour alone. The same input gives the same bytes. A picture for which the plan has nothing is not
drawn (None or an empty list), never drawn empty.
"""

from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from typing import Any

from audit.record import PRIORITIES
from audit.report.ink import (
    ACCENT,
    INK,
    PANEL,
    PAPER,
    PRIORITY,
    QUIET,
    RULE,
    Picture,
    box,
    breadth,
    number,
    picture,
    shape,
    shorten,
    stroke,
    visible,
    words,
    wrap,
)
from audit.report.layers import Edge, Layout, Node, layouts
from audit.report.plan import DAYS, STATES, Cell, Place, Plan, Reach, State, Week

DAY_NAMES = {
    "mon": "Mon", "tue": "Tue", "wed": "Wed", "thu": "Thu",
    "fri": "Fri", "sat": "Sat", "sun": "Sun", "holiday": "Holiday",
}  # fmt: skip
STATE_NAMES: dict[State, str] = {
    "normal": "in normal use",
    "power-lost": "when the power is lost",
    "fire-alarm": "during a fire alarm",
}
RESULT_NAMES = {
    "out": "way out",
    "trapped": "NO WAY OUT",
    "unclear": "cannot be judged",
    "beyond": "has its own picture",
}
MOST_PLACES = 40
MOST_PARTS = 20
MATRIX_COLUMNS, MATRIX_ROWS = 30, 40
WHOLE_SITE = "The site as a whole"


def counts_by_place(
    record: Mapping[str, Any], plan: Plan
) -> list[tuple[str | None, str, int, Counter[str]]]:
    """Findings of each place and of the places in it: (id, name, depth, count by priority).

    Wider places stand before the places in them, and findings that have no place come last, with
    id None.
    """
    places: dict[str, Place] = {}
    for place in plan.get("places", []):
        places.setdefault(place["id"], place)
    parent = {key: place.get("parent") for key, place in places.items()}
    totals: dict[str | None, Counter[str]] = defaultdict(Counter)
    where = plan.get("where", {})
    for finding in record["findings"]:
        found: set[str] = set()
        for key in where.get(finding["id"], []):
            at: str | None = key
            while at in places and at not in found:
                found.add(at)
                at = parent[at]
        for place_id in sorted(found) if found else (None,):
            totals[place_id][finding["priority"]] += 1
    inside: dict[str | None, list[str]] = defaultdict(list)
    for key, wider in parent.items():
        inside[wider if wider in places else None].append(key)
    ordered: list[tuple[str | None, str, int, Counter[str]]] = []
    seen: set[str] = set()
    stack = [(key, 0) for key in reversed(inside[None])]
    while stack:
        key, depth = stack.pop()
        if key in seen:
            continue
        seen.add(key)
        ordered.append((key, visible(places[key]["name"] or key), depth, totals[key]))
        stack.extend((one, depth + 1) for one in reversed(inside[key]))
    if totals[None]:
        ordered.append((None, WHOLE_SITE, 0, totals[None]))
    return ordered


def places(record: Mapping[str, Any], plan: Plan) -> Picture | None:
    """Findings by place as bars; the places with the gravest findings where there are many."""
    rows = [row for row in counts_by_place(record, plan) if sum(row[3].values())]
    if not plan.get("places") or not rows:
        return None
    shown = rows
    if len(rows) > MOST_PLACES:
        grave = sorted(rows, key=lambda row: [-row[3][word] for word in PRIORITIES])
        keep = {row[0] for row in grave[:MOST_PLACES]}
        shown = [row for row in rows if row[0] in keep]
    most = max(sum(row[3].values()) for row in shown)
    left, wide, step, top = 230, 400, 26, 34
    marks, x = [], float(left)
    for word in PRIORITIES:
        marks.append(box(x, 8, 11, 11, fill=PRIORITY[word], class_=f"fill-{word}"))
        marks.append(words(x + 17, 18, word.capitalize(), fill=QUIET, class_="quiet"))
        x += 40 + breadth(word, 12)
    for at, (_, name, depth, count) in enumerate(shown):
        y = top + at * step
        indent = 14 * min(depth, 4)
        label = shorten(name, left - 20 - indent, 13)
        marks.append(words(indent, y + 15, label, size=13, weight=600 if depth == 0 else None))
        x = float(left)
        for word in PRIORITIES:
            if count[word]:
                width = max(wide * count[word] / most, 2)
                marks.append(
                    box(x, y + 3, width - 1, 16, fill=PRIORITY[word], class_=f"fill-{word}")
                )
                x += width
        told = " · ".join(f"{count[word]} {word}" for word in PRIORITIES if count[word])
        marks.append(words(x + 8, y + 15, told, size=12, fill=QUIET, class_="quiet"))
    told = "; ".join(
        f"{name}: " + ", ".join(f"{count[word]} {word}" for word in PRIORITIES if count[word])
        for _, name, _, count in shown
    )
    left_out = f" The {len(shown)} gravest of {len(rows)} places." if len(shown) < len(rows) else ""
    height = top + step * len(shown) + 6
    return picture("places", "Findings by place", told + "." + left_out, 860, height, marks)


def clock(minute: int) -> str:
    """Minutes of the day as HH:MM; 1440 is 24:00."""
    return f"{minute // 60:02d}:{minute % 60:02d}"


def hours_in_words(days: Mapping[Any, Sequence[Sequence[int]]]) -> str:
    """Days with the same hours together: `Mon to Fri 07:00-19:00; Sat 08:00-12:00`."""
    told: list[tuple[list[str], str]] = []
    for day in DAYS:
        spans = days.get(day, [])
        hours = ", ".join(f"{clock(start)}–{clock(end)}" for start, end in spans) or "closed"
        hours = "all day" if hours == "00:00–24:00" else hours
        if told and told[-1][1] == hours and day != "holiday":
            told[-1][0].append(DAY_NAMES[day])
        else:
            told.append(([DAY_NAMES[day]], hours))
    return "; ".join(
        f"{names[0]}{f' to {names[-1]}' if len(names) > 1 else ''} {hours}" for names, hours in told
    )


def week(one: Week, secure: Sequence[int] = (), name: str = "week") -> Picture:
    """The open hours of a week, a line a day; secure hours are hatched behind them."""
    left, wide, step, top = 62, 288, 17, 20
    bottom = top + step * len(DAYS)
    marks = []
    if len(secure) == 2 and secure[0] != secure[1]:
        start, end = secure
        spans = [(start, end)] if start < end else [(0, end), (start, 1440)]
        for a, b in spans:
            x, width = left + wide * a / 1440, wide * (b - a) / 1440
            marks.append(box(x, top, width, bottom - top, fill=PANEL, class_="fill-panel"))
    for hour in range(0, 25, 3):
        x = left + wide * hour / 24
        major = hour % 6 == 0
        path = f"M{number(x)} {top - (4 if major else 0)}V{bottom}"
        marks.append(stroke(path, colour=RULE, class_="line-rule"))
        if major:
            label = f"{hour:02d}"
            marks.append(
                words(x, top - 7, label, size=11, fill=QUIET, class_="quiet", anchor="middle")
            )
    for at, day in enumerate(DAYS):
        y = top + at * step
        marks.append(words(0, y + 13, DAY_NAMES[day], size=12, fill=QUIET, class_="quiet"))
        spans_of_day = one["days"].get(day, [])
        for start, end in spans_of_day:
            x, width = left + wide * start / 1440, wide * (end - start) / 1440
            marks.append(
                box(x, y + 4, max(width, 1), step - 7, fill=ACCENT, class_="fill-accent", round_=1)
            )
        if not spans_of_day:
            path = f"M{left} {number(y + step / 2 + 0.5)}H{left + wide}"
            marks.append(stroke(path, colour=RULE, class_="line-rule", dash="1 4"))
    return picture(
        name,
        f"Hours of {one['name'] or one['id']}",
        hours_in_words(one["days"]) + ".",
        left + wide + 14,
        bottom + 4,
        marks,
    )


def weeks(plan: Plan) -> list[Picture]:
    """One picture for each schedule or door of the plan, in its order."""
    secure = plan.get("secure_hours", [])
    return [
        week(one, secure, f"week-{at}") for at, one in enumerate(plan.get("weeks", []), start=1)
    ]


_NODE, _GAP, _PORT, _CURVE, _LOOP = 172, 18, 17, 78, 110
_NAME, _LABEL = 13, 11
_ROOM, _LOOP_ROOM = 128.0, 104.0


def _way(edge: Edge, state: State) -> str:
    """`free`, `shut` or `unclear` from inside to outside; `back`: free the other way only."""
    ahead, back = edge.free.get(state), edge.back.get(state)
    if ahead:
        return "free"
    if ahead is None:
        return "unclear"
    return "back" if back else "shut"


def _draw_node(node: Node, x: float, y: float, height: float, state: State) -> list[str]:
    result: str = "safe" if node.safe else node.results.get(state, "unclear")
    if node.beyond:
        result = "beyond"
    fill = {"trapped": "#f7e3dd", "unclear": PAPER, "beyond": PAPER, "safe": "#e3eee6"}.get(
        result, PANEL
    )
    edge = {"trapped": PRIORITY["immediate"], "unclear": QUIET, "safe": "#2d6145"}.get(result, RULE)
    dash = "4 3" if result == "unclear" else None
    thick = 2 if result == "trapped" else 1.2
    told = "place of safety" if node.safe else RESULT_NAMES[result]
    if node.occupants is not None and result not in {"safe", "beyond"}:
        told = f"{node.occupants} {'person' if node.occupants == 1 else 'people'} · {told}"
    ink = PRIORITY["immediate"] if result == "trapped" else QUIET
    lines = _lines(node)
    said = y + 20 + 15 * (len(lines) - 1) + 17
    return [
        box(x, y, _NODE, height, fill=fill, class_=f"node-{result}", stroke=edge, round_=3,
            dash=dash, thick=thick),
        *(words(x + 10, y + 20 + 15 * at, line, size=_NAME, weight=600)
          for at, line in enumerate(lines)),
        words(x + 10, said, shorten(told, _NODE - 16, 11), size=11, fill=ink,
              class_="immediate" if result == "trapped" else "quiet",
              weight=600 if result == "trapped" else None),
    ]  # fmt: skip


def _lines(node: Node) -> list[str]:
    return wrap(node.name, _NODE - 18, _NAME, 2)


def _draw_edge(
    edge: Edge,
    tail: tuple[float, float],
    head: tuple[float, float],
    same: bool,
    lead: float,
    state: State,
) -> tuple[list[str], list[str]]:
    """The line, and what stands on it, to be drawn above all lines.

    `tail` is the end away from safety; `same`: both ends on the left side of one layer.

    The line runs straight for `lead` px, under its label, before it bends.
    """
    (x1, y1), (x2, y2) = tail, head
    way = _way(edge, state)
    colour = {"shut": PRIORITY["immediate"], "unclear": QUIET}.get(way, INK)
    class_ = {"shut": "line-immediate", "unclear": "line-quiet"}.get(way, "line-ink")
    start = x1 + lead
    bend = -70 if same else (x2 - start) / 2
    c1, c2 = start + bend, (x2 + bend if same else x2 - bend)
    path = (
        f"M{number(x1)} {number(y1)}{'' if same else f'H{number(start)}'}"
        f"C{number(c1)} {number(y1)} {number(c2)} {number(y2)} {number(x2)} {number(y2)}"
    )
    middle = ((x1 + 3 * c1 + 3 * c2 + x2) / 8, (y1 + y2) / 2)
    marks = []
    if edge.weak:
        halo = stroke(path, colour="#e7c46f", class_="line-weak", thick=7)
        marks.append(halo)
    dash = {"unclear": "5 4", "shut": "1 4"}.get(way)
    marks.append(stroke(path, colour=colour, class_=class_, thick=1.6, dash=dash))
    size = _LABEL
    shown = shorten(edge.name, _LOOP_ROOM if same else _ROOM, size)
    above: list[str] = []
    at_x, at_y = (x1 + 10, y1) if not same else (middle[0] - breadth(shown, size) / 2, middle[1])
    above.append(
        box(at_x - 3, at_y - 7, breadth(shown, size) + 6, 14, fill=PAPER, class_="fill-paper")
    )
    above.append(words(at_x, at_y + 4, shown, size=size, weight=600 if edge.weak else None))
    if edge.weak:
        above.append(words(at_x, at_y + 18, "the only way", size=10, fill=QUIET, class_="quiet"))
    arrow = 7
    if way in {"free", "back"} or edge.back.get(state):
        if way == "free":
            marks.append(
                shape(f"M{number(x2)} {number(y2)}l{-arrow} -4v8z", fill=INK, class_="fill-ink")
            )
        if edge.back.get(state):
            turn = -arrow if same else arrow
            marks.append(
                shape(f"M{number(x1)} {number(y1)}l{turn} -4v8z", fill=INK, class_="fill-ink")
            )
    if way in {"shut", "unclear"}:
        sign_x, sign_y = (x2 - 22, y2) if not same else (x2 - 24, y2)
        above.append(box(sign_x - 7, sign_y - 7, 14, 14, fill=PAPER, class_="fill-paper"))
        if way == "shut":
            cross = f"M{number(sign_x - 4)} {number(sign_y - 4)}l8 8m0 -8l-8 8"
            above.append(stroke(cross, colour=colour, class_=class_, thick=2))
        else:
            above.append(
                words(sign_x, sign_y + 5, "?", size=14, weight=700, anchor="middle",
                      fill=QUIET, class_="quiet")
            )  # fmt: skip
    return marks, above


def _ends(edge: Edge, depth: Mapping[str, int]) -> tuple[str, str, bool]:
    """(end away from safety, end towards it, whether the door leads inwards)."""
    if depth[edge.inside] < depth[edge.outside]:
        return edge.outside, edge.inside, True
    return edge.inside, edge.outside, False


def _turned(edge: Edge) -> Edge:
    """The door seen from its other side."""
    return edge._replace(free=edge.back, back=edge.free)


def _told(layout: Layout, state: State) -> str:
    sorts: dict[str, list[str]] = defaultdict(list)
    for node in layout.nodes.values():
        if not node.safe and not node.beyond:
            sorts[node.results.get(state, "unclear")].append(node.name)
    parts = [
        f"{said}: {', '.join(sorts[word])}"
        for word, said in (
            ("trapped", "No way out from"),
            ("unclear", "Cannot be judged"),
            ("out", "A way out from"),
        )
        if sorts[word]
    ]
    weak = [edge.name for edge in layout.edges if edge.weak]
    if weak:
        parts.append(f"All ways out hang on one door: {', '.join(weak)}")
    return ". ".join(parts) + "."


def _draw(layout: Layout, state: State) -> tuple[float, float, list[str]]:
    depth = {key: at for at, layer in enumerate(layout.layers) for key in layer}
    deepest = len(layout.layers) - 1
    loops = {
        depth[edge.inside] for edge in layout.edges if depth[edge.inside] == depth[edge.outside]
    }
    lead = [0.0] * (deepest + 1)  # of the lines that leave each layer to the right
    for edge in layout.edges:
        at = depth[_ends(edge, depth)[0]]
        lead[at] = max(lead[at], min(breadth(edge.name, _LABEL), _ROOM) + 18)
    left_of = [2.0] * (deepest + 1)
    for at in range(deepest, -1, -1):
        before = left_of[at + 1] + _NODE + lead[at + 1] + _CURVE if at < deepest else 2.0
        left_of[at] = before + (_LOOP if at in loops else 0)
    left_ports: dict[str, list[Edge]] = defaultdict(list)
    right_ports: dict[str, list[Edge]] = defaultdict(list)
    for edge in layout.edges:
        away, towards, _ = _ends(edge, depth)
        if depth[away] == depth[towards]:
            left_ports[away].append(edge)
            left_ports[towards].append(edge)
        else:
            right_ports[away].append(edge)
            left_ports[towards].append(edge)
    height = {
        key: max(
            33.0 + 15 * len(_lines(node)),
            _PORT * max(len(left_ports[key]), len(right_ports[key])) + 12.0,
        )
        for key, node in layout.nodes.items()
    }
    tall = [sum(height[key] + _GAP for key in layer) - _GAP for layer in layout.layers]
    total = max(tall)
    spot: dict[str, tuple[float, float]] = {}
    for at, layer in enumerate(layout.layers):
        x = left_of[at]
        y = (total - tall[at]) / 2 + 2
        for key in layer:
            spot[key] = (x, y)
            y += height[key] + _GAP

    def other_y(key: str, edge: Edge) -> float:
        other = edge.outside if key == edge.inside else edge.inside
        return spot[other][1] + height[other] / 2

    port: dict[tuple[str, int, str], float] = {}
    for side, ports in (("left", left_ports), ("right", right_ports)):
        for key, edges in ports.items():
            edges.sort(key=lambda edge: (other_y(key, edge), edge.name, edge.doors))
            room = height[key] / max(len(edges), 1)
            for at, edge in enumerate(edges):
                port[(key, id(edge), side)] = spot[key][1] + room * (at + 0.5)
    marks: list[str] = []
    above: list[str] = []
    for edge in layout.edges:
        away, towards, inwards = _ends(edge, depth)
        same = depth[away] == depth[towards]
        tail_side = "left" if same else "right"
        tail_x = spot[away][0] + (0 if same else _NODE)
        tail = (tail_x, port[(away, id(edge), tail_side)])
        head = (spot[towards][0], port[(towards, id(edge), "left")])
        seen = _turned(edge) if inwards else edge
        run = 0.0 if same else lead[depth[away]]
        line, on_it = _draw_edge(seen, tail, head, same, run, state)
        marks += line
        above += on_it
    marks += above
    for key, node in layout.nodes.items():
        marks += _draw_node(node, *spot[key], height[key], state)
    return left_of[0] + _NODE + 4, total + 4, marks


def _legend(width: float, y: float, weak: bool) -> tuple[list[str], float]:
    """What the lines mean; wrapped to the drawing's width."""
    entries: list[tuple[str, str | None, str, str, bool]] = [
        ("free to pass", None, INK, "line-ink", False),
        ("not free", "1 4", PRIORITY["immediate"], "line-immediate", False),
        ("not given", "5 4", QUIET, "line-quiet", False),
    ]
    if weak:
        entries.append(("the only way", None, INK, "line-ink", True))
    marks, x = [], 2.0
    for name, dash, colour, class_, halo in entries:
        wide = 46 + breadth(name, 11) + 22
        if x + wide > width and x > 2:
            x, y = 2.0, y + 20
        path = f"M{number(x)} {number(y)}h34"
        if halo:
            marks.append(stroke(path, colour="#e7c46f", class_="line-weak", thick=7))
        marks.append(stroke(path, colour=colour, class_=class_, thick=1.6, dash=dash))
        if name == "free to pass":
            tip = f"M{number(x + 36)} {number(y)}l-7 -4v8z"
            marks.append(shape(tip, fill=INK, class_="fill-ink"))
        if name == "not free":
            cross = f"M{number(x + 14)} {number(y - 4)}l8 8m0 -8l-8 8"
            marks.append(stroke(cross, colour=colour, class_=class_, thick=2))
        marks.append(words(x + 44, y + 4, name, size=11, fill=QUIET, class_="quiet"))
        x += wide
    return marks, y + 14


def ways_out(plan: Plan, most: int = MOST_PARTS) -> list[Picture]:
    """Zones and doors, inside on the left and safety on the right, in each of the three states.

    Three pictures for every part of the site that hangs together, at most `most` parts, those with
    someone trapped first, then those with an only way, then those that cannot be judged;
    `undrawn` counts what is left to the tables.
    """
    zones, doors = plan.get("zones", []), plan.get("doors", [])
    parts = layouts(zones, doors)
    drawable = [(at, part) for at, part in enumerate(parts, start=1) if part.layers]
    drawable.sort(key=lambda one: (_gravity(one[1]), one[0]))
    made = []
    for at, layout in drawable[:most]:
        part = f", part {at} of {len(parts)}" if len(parts) > 1 else ""
        shared = any(node.beyond for node in layout.nodes.values())
        name = layout.building or ("shared by several buildings" if shared else "")
        part += f": {name}" if name else ""
        weak = any(edge.weak for edge in layout.edges)
        for state in STATES:
            width, height, marks = _draw(layout, state)
            width = max(width, 300)
            legend, bottom = _legend(width, height + 24, weak)
            key, title = f"ways-{at}-{state}", f"Ways out {STATE_NAMES[state]}{part}"
            told = _told(layout, state)
            made.append(picture(key, title, told, width, bottom, [*marks, *legend]))
    return made


def _gravity(layout: Layout) -> int:
    results = {
        result
        for node in layout.nodes.values()
        if not node.safe
        for result in node.results.values()
    }
    if "trapped" in results:
        return 0
    if any(edge.weak for edge in layout.edges):
        return 1
    return 2 if "unclear" in results else 3


def undrawn(plan: Plan, most: int = MOST_PARTS) -> tuple[int, int]:
    """How many parts of the site are too large to draw, and how many are left out after `most`."""
    parts = layouts(plan.get("zones", []), plan.get("doors", []))
    large = sum(not part.layers for part in parts)
    return large, max(len(parts) - large - most, 0)


CELL_NAMES: dict[Cell, str] = {
    "always": "at all hours",
    "part": "part of the week",
    "unclear": "cannot be judged",
    "never": "not at all",
}


def _cell(x: float, y: float, cell: Cell) -> list[str]:
    if cell == "always":
        return [box(x + 3, y + 3, 14, 14, fill=ACCENT, class_="fill-accent", round_=1)]
    if cell == "part":
        half = f"M{number(x + 3)} {number(y + 17)}h14v-14z"
        return [
            box(x + 3.5, y + 3.5, 13, 13, fill="none", class_="line-accent", stroke=ACCENT),
            shape(half, fill=ACCENT, class_="fill-accent"),
        ]
    if cell == "unclear":
        mark = words(x + 10, y + 15, "?", size=13, weight=700, anchor="middle", fill=QUIET,
                     class_="quiet")  # fmt: skip
        return [mark]
    return [box(x + 9, y + 9, 2, 2, fill=RULE, class_="fill-rule")]


def _matrix(reach: Reach, rows: range, columns: range, name: str, title: str) -> Picture:
    left, step, turn = 250.0, 20, -55
    heads = [shorten(reach["columns"][at]["name"], 150, 12) for at in columns]
    top = max(30.0, max(breadth(head, 12) for head in heads) * 0.82 + 16)
    lean = max(breadth(head, 12) for head in heads) * 0.58
    marks = []
    for place, head in enumerate(heads):
        marks.append(words(left + step * place + 13, top - 6, head, size=12, turn=turn))
    for place, at in enumerate(rows):
        row = reach["rows"][at]
        y = top + step * place
        if place % 2 == 0:
            width = left + step * len(columns)
            marks.append(box(0, y, width, step, fill=PANEL, class_="fill-panel"))
        marks.append(words(4, y + 14, shorten(row["name"], left - 66, 12), size=12))
        people = f"{row['people']:,}"
        marks.append(
            words(left - 12, y + 14, people, size=12, fill=QUIET, class_="quiet", anchor="end")
        )
        for column, cell_at in enumerate(columns):
            marks += _cell(left + step * column, y, row["cells"][cell_at])
    y = top + step * len(rows) + 12
    x = 4.0
    for cell, said in CELL_NAMES.items():
        marks += _cell(x, y, cell)
        marks.append(words(x + 24, y + 14, said, size=11, fill=QUIET, class_="quiet"))
        x += 44 + breadth(said, 11)
    told = []
    for at in rows:
        row = reach["rows"][at]
        by_cell: dict[Cell, list[str]] = defaultdict(list)
        for cell_at in columns:
            by_cell[row["cells"][cell_at]].append(reach["columns"][cell_at]["name"])
        reached = [
            f"{said} {', '.join(by_cell[cell])}"
            for cell, said in CELL_NAMES.items()
            if cell != "never" and by_cell[cell]
        ]
        told.append(f"{row['name']} ({row['people']}): {'; '.join(reached) or 'none of these'}")
    width = max(left + step * len(columns) + lean, x)
    return picture(name, title, ". ".join(told) + ".", width, y + 24, marks)


def reach(plan: Plan) -> list[Picture]:
    """Who reaches what: people down, doors across; large ones in several panels."""
    given = plan.get("reach")
    if not given or not given["rows"] or not given["columns"]:
        return []
    made: list[Picture] = []
    rows, columns = len(given["rows"]), len(given["columns"])
    several = rows > MATRIX_ROWS or columns > MATRIX_COLUMNS
    for top in range(0, rows, MATRIX_ROWS):
        for left in range(0, columns, MATRIX_COLUMNS):
            some_rows = range(top, min(top + MATRIX_ROWS, rows))
            some_columns = range(left, min(left + MATRIX_COLUMNS, columns))
            part = (
                f": rows {top + 1} to {some_rows.stop}, columns {left + 1} to {some_columns.stop}"
                if several
                else ""
            )
            name = f"reach-{len(made) + 1}"
            made.append(_matrix(given, some_rows, some_columns, name, f"Who reaches what{part}"))
    return made
