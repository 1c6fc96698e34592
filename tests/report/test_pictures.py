"""The pictures: what they draw agrees with the plan, counted again the slow way."""

import re
import xml.etree.ElementTree as ElementTree
from collections import Counter
from typing import Any

import pytest
import report_sample as sample
from hypothesis import given, settings
from hypothesis import strategies as st

from audit.report import ink, layers, pictures
from audit.report.plan import DAYS, STATES

SVG = "{http://www.w3.org/2000/svg}"


def everything(record: dict[str, Any], plan: dict[str, Any]) -> list[ink.Picture]:
    by_place = pictures.places(record, plan)
    return [
        *([by_place] if by_place else []),
        *pictures.weeks(plan),
        *pictures.ways_out(plan),
        *pictures.reach(plan),
    ]


def parsed(picture: ink.Picture) -> ElementTree.Element:
    return ElementTree.fromstring(picture.svg)


# ---- every picture


def test_every_picture_is_whole_says_what_it_shows_and_is_drawn_alike_twice() -> None:
    record = sample.record()
    plan = sample.plan(record)
    drawn = everything(record, plan)
    assert len(drawn) == 1 + 4 + 6 + 1
    assert drawn == everything(record, plan)
    for picture in drawn:
        root = parsed(picture)
        assert root.get("role") == "img"
        assert root.find(f"{SVG}title").text == picture.title
        assert root.find(f"{SVG}desc").text == picture.alternative
        assert len(picture.alternative) > 20
        assert not re.search(r"\b(href|style|onload|url)\b\s*[=(]", picture.svg)
    names = [found for one in drawn for found in re.findall(r' id="([^"]+)"', one.svg)]
    assert len(names) == len(set(names)), "many pictures stand in one page"


def test_hostile_names_stay_text_in_every_picture() -> None:
    record, plan = sample.hostile()
    for picture in everything(record, plan):
        found = {element.tag.removeprefix(SVG) for element in parsed(picture).iter()}
        assert found <= {"svg", "title", "desc", "text", "rect", "path"}
        for letter in "\u202e\u2066\x07\x1b\x00":
            assert letter not in picture.svg


def test_nothing_given_draws_nothing() -> None:
    assert everything(sample.record(), {}) == []
    assert everything(sample.clean(), {"places": [{"id": "a", "name": "A"}]}) == []


@given(st.text(max_size=30))
@settings(max_examples=150, deadline=None)
def test_any_text_is_escaped_to_xml_that_reads_back(text: str) -> None:
    markup = f'<t a="{ink.escape(text)}">{ink.escape(text)}</t>'
    markup.encode("utf-8")
    element = ElementTree.fromstring(markup)
    assert (element.text or "") == element.get("a") == ink.visible(text)


@given(st.text(max_size=60), st.floats(20, 300))
@settings(max_examples=100, deadline=None)
def test_a_shortened_text_keeps_within_its_room(text: str, room: float) -> None:
    short = ink.shorten(text, room, 12)
    assert ink.breadth(short, 12) <= room or short == "…"
    assert short == ink.visible(text) or short.endswith("…")


# ---- findings by place


@given(st.integers(0, 2**32), st.integers(1, 40))
@settings(max_examples=40, deadline=None)
def test_places_are_counted_with_all_that_lies_in_them(seed: int, count: int) -> None:
    import random

    rng = random.Random(seed)
    places = [
        {"id": str(at), "name": f"P{at}", "parent": str(rng.randrange(at)) if at % 3 else None}
        for at in range(8)
    ]
    record = sample.record(count)
    where = {
        one["id"]: [str(rng.randrange(9)) for _ in range(rng.randrange(3))]
        for one in record["findings"]
    }
    plan: Any = {"places": places, "where": where}

    def lies_in(key: str | None, place: str) -> bool:
        """Slow and obvious: walk up from the place of the finding."""
        while key is not None and int(key) < 8:
            if key == place:
                return True
            key = places[int(key)]["parent"]
        return False

    for key, _, _, counts in pictures.counts_by_place(record, plan):
        wanted = Counter(
            one["priority"]
            for one in record["findings"]
            if (
                any(lies_in(at, key) for at in where[one["id"]])
                if key is not None
                else not any(int(at) < 8 for at in where[one["id"]])
            )
        )
        assert counts == wanted


def test_places_in_a_circle_end() -> None:
    record = sample.record(3)
    plan: Any = {
        "places": [{"id": one, "name": one, "parent": other} for one, other in ("ab", "ba")],
        "where": {record["findings"][0]["id"]: ["a"]},
    }  # fmt: skip
    assert [row[0] for row in pictures.counts_by_place(record, plan)] == [None]


# ---- hours


def test_hours_are_told_as_a_person_would() -> None:
    working = [[420, 1140]]
    days: Any = dict.fromkeys(("mon", "tue", "wed"), working) | {"sat": [[0, 1440]]}
    assert pictures.hours_in_words(days) == (
        "Mon to Wed 07:00–19:00; Thu to Fri closed; Sat all day; Sun closed; Holiday closed"
    )


@given(
    st.dictionaries(
        st.sampled_from(DAYS),
        st.lists(st.integers(0, 1440), max_size=8, unique=True).map(
            lambda cuts: [list(pair) for pair in zip(*[iter(sorted(cuts))] * 2, strict=False)]
        ),
    )
)
@settings(max_examples=60, deadline=None)
def test_each_open_minute_is_drawn_at_its_place(days: Any) -> None:
    one: Any = {"id": "S", "name": "S", "kind": "schedule", "days": days}
    bars = [
        element
        for element in parsed(pictures.week(one)).iter(f"{SVG}rect")
        if element.get("class") == "fill-accent"
    ]
    spans = [span for day in DAYS for span in days.get(day, [])]
    assert len(bars) == len(spans)
    for bar, (start, end) in zip(bars, spans, strict=True):
        assert float(bar.get("x")) == pytest.approx(62 + 288 * start / 1440, abs=0.01)
        assert float(bar.get("width")) == pytest.approx(
            max(288 * (end - start) / 1440, 1), abs=0.01
        )


# ---- ways out


@st.composite
def sites(draw: st.DrawFn) -> Any:
    count = draw(st.integers(1, 14))
    kinds = st.sampled_from(["outside", "common", "stair", "dwelling", "dwelling"])
    result = st.sampled_from(["out", "trapped", "unclear"])
    results = st.fixed_dictionaries(dict.fromkeys(STATES, result))
    free = st.fixed_dictionaries(dict.fromkeys(STATES, st.sampled_from([True, False, None])))
    zones = [
        {"id": f"Z{at}", "name": f"Z{at}", "kind": draw(kinds),
         "building": draw(st.sampled_from(["", "", "A", "B"])),
         "occupants": draw(st.none() | st.integers(0, 9)), "results": draw(results)}
        for at in range(count)
    ]  # fmt: skip
    ends = st.integers(0, count).map(lambda at: f"Z{at}")
    doors = [
        {"id": f"D{at}", "name": f"D{at}", "inside": draw(ends), "outside": draw(ends),
         "free": draw(free), "back": draw(free), "weak": draw(st.booleans())}
        for at in range(draw(st.integers(0, 20)))
    ]  # fmt: skip
    return zones, doors


@given(sites())
@settings(max_examples=60, deadline=None)
def test_every_zone_and_every_drawable_door_stands_in_the_layouts(site: Any) -> None:
    zones, doors = site
    made = layers.layouts(zones, doors)
    safe = {zone["id"] for zone in zones if zone["kind"] == "outside"}
    known = {zone["id"] for zone in zones}
    inner = [zone for part in made for node in part.nodes.values()
             if not node.beyond for zone in node.zones]  # fmt: skip
    assert sorted(zone for zone in inner if zone not in safe) == sorted(known - safe)
    drawn = sorted(door for part in made for edge in part.edges for door in edge.doors)
    wanted = sorted(
        door["id"]
        for door in doors
        if {door["inside"], door["outside"]} <= known
        and door["inside"] != door["outside"]
        and not {door["inside"], door["outside"]} <= safe
    )
    assert sorted(set(drawn)) == wanted
    assert max(Counter(drawn).values(), default=0) <= 2, "a door between two pictures is in both"
    for part in made:
        depth = {key: at for at, layer in enumerate(part.layers) for key in layer}
        assert sorted(depth) == sorted(part.nodes)
        for edge in part.edges:
            assert abs(depth[edge.inside] - depth[edge.outside]) <= 1
    plan: Any = {"zones": zones, "doors": doors}
    drawings = pictures.ways_out(plan)
    assert len(drawings) == 3 * len(made)
    for picture in drawings:
        for element in parsed(picture).iter(f"{SVG}rect"):
            assert float(element.get("x")) >= -1
            assert float(element.get("x")) + float(element.get("width")) <= picture.width + 12


def test_like_dwellings_are_bundled_and_unlike_ones_are_not() -> None:
    record = sample.record()
    plan = sample.plan(record, dwellings=9)
    plan["zones"][-1]["results"] = {**plan["zones"][-1]["results"], "power-lost": "trapped"}
    second = layers.layouts(plan["zones"], plan["doors"])[1]
    bundles = [node for node in second.nodes.values() if node.kind == "dwelling"]
    assert sorted(len(node.zones) for node in bundles) == [1, 8]
    assert {node.occupants for node in bundles} == {3, 24}


def test_who_is_trapped_is_told_in_words() -> None:
    plan = sample.plan(sample.record())
    lost = [one for one in pictures.ways_out(plan) if "power" in one.title]
    assert any("No way out from: Plant room" in one.alternative for one in lost)
    assert any("hang on one door: Main entrance" in one.alternative for one in lost)
    assert any("NO WAY OUT" in one.svg for one in lost)


def test_parts_too_large_to_draw_are_counted() -> None:
    zones = [{"id": f"Z{at}", "name": "", "kind": "common", "occupants": 1,
              "results": dict.fromkeys(STATES, "out")} for at in range(300)]  # fmt: skip
    free: Any = dict.fromkeys(STATES, True)
    doors = [{"id": f"D{at}", "name": "", "inside": f"Z{at + 1}", "outside": "Z0", "free": free}
             for at in range(299)]  # fmt: skip
    plan: Any = {"zones": zones, "doors": doors}
    assert pictures.ways_out(plan) == []
    assert pictures.undrawn(plan) == (1, 0)
    pairs = [{"id": f"D{at}", "name": "", "inside": f"Z{2 * at}", "outside": f"Z{2 * at + 1}",
              "free": free} for at in range(25)]  # fmt: skip
    alone: Any = {"zones": zones[:50], "doors": pairs}
    assert len(pictures.ways_out(alone)) == 3 * pictures.MOST_PARTS
    assert pictures.undrawn(alone) == (0, 5)


# ---- reach


def test_each_cell_of_the_matrix_is_drawn_once_in_panels() -> None:
    columns = [{"id": f"G{at}", "name": f"G{at}"} for at in range(70)]
    cells = ["always", "part", "unclear", "never"]
    rows = [
        {"name": f"R{at}", "people": at, "cells": [cells[(at + place) % 4] for place in range(70)]}
        for at in range(45)
    ]
    panels = pictures.reach({"reach": {"columns": columns, "rows": rows}})  # type: ignore[typeddict-item]
    assert len(panels) == 3 * 2
    told = " ".join(panel.alternative for panel in panels)
    wanted = sum(cell == "always" for row in rows for cell in row["cells"])
    listed = re.findall(r"at all hours ([^;.]*)", told)
    assert sum(len(one.split(", ")) for one in listed) == wanted
