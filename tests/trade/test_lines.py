"""Stations: chains, main units, ports and addresses, against a walk from hand to hand."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from audit.arithmetic import chains
from audit.contract import Dataset
from audit.ingest.tables import from_text
from audit.site import site_from
from rules.stations import controller_overloaded, extension_number_wrong, secondary_panels_exceeded

COLUMNS = [
    "station_id",
    "kind",
    "dwelling_id",
    "number",
    "main_id",
    "controller_id",
    "port",
    "address",
    "network",
]


def site(rows: list[dict[str, str]], **equipment: int) -> Dataset:
    cells = [[row.get(c, "") for c in COLUMNS] for row in rows]
    place = {"site": {"name": "x", "timezone": "Europe/Dublin"}, "equipment": equipment}
    return from_text({"stations": (COLUMNS, cells)}, site_from(place), dt.date(2026, 9, 30))


def walked(above: list[int], start: int) -> tuple[int, bool, bool]:
    """Step by step: members met, whether the end is certain, whether `start` is met again."""
    met = [start]
    while True:
        step = above[met[-1]]
        if step < 0:
            return len(met), step == chains.START, False
        if step in met:
            return len(met), False, step == start
        met.append(step)


@given(
    st.integers(1, 12).flatmap(lambda n: st.lists(st.integers(-2, n - 1), min_size=n, max_size=n))
)
def test_chains_as_walked(above: list[int]) -> None:
    length, certain, circle = chains.follow(above)
    for i in range(len(above)):
        assert (length[i], certain[i], circle[i]) == walked(above, i)


def test_long_chains_and_circles() -> None:
    n = 5_000
    length, certain, circle = chains.follow(np.arange(n) - 1)
    assert length.tolist() == list(range(1, n + 1))
    assert certain.all()
    assert not circle.any()
    length, certain, circle = chains.follow((np.arange(n) + 1) % n)
    assert (length == n).all()
    assert not certain.any()
    assert circle.all()


kinds = st.sampled_from(["controller", "controller", "entrance-panel", "answering-unit", ""])
ids = st.sampled_from([f"S{i}" for i in range(8)])
perhaps = st.one_of(st.just(""), ids, st.just("gone"))
ports = st.sampled_from(["", "1", "01", "2", "3"])


@st.composite
def some_stations(draw: st.DrawFn) -> list[dict[str, str]]:
    names = draw(st.lists(ids, unique=True, min_size=1))
    return [
        {
            "station_id": name,
            "kind": draw(kinds),
            "controller_id": draw(perhaps),
            "port": draw(ports),
            "main_id": draw(perhaps),
        }
        for name in names
    ]


@settings(max_examples=60, deadline=None)
@given(some_stations())
def test_controllers_as_counted_by_hand(rows: list[dict[str, str]]) -> None:
    found = controller_overloaded.controllers(site(rows)).set_index("station_id")
    by_name = {r["station_id"]: r for r in rows}
    for row in rows:
        name = row["station_id"]
        if row["kind"] not in ("controller", ""):
            assert name not in found.index
            continue
        on_it = [r for r in rows if r["controller_id"] == name]
        used = [r["port"].lstrip("0") for r in on_it if r["port"]]
        assert found.at[name, "units"] == len(used)
        assert found.at[name, "shared"] == sorted({p for p in used if used.count(p) > 1})
        line, at, certain = [name], row, True
        while at["controller_id"]:
            up = by_name.get(at["controller_id"])
            if up is None or up["kind"] == "" or up["station_id"] in line:
                certain = False
                break
            if up["kind"] != "controller":
                break
            line.append(up["station_id"])
            at = up
        assert found.at[name, "in_line"] == len(line)
        assert found.at[name, "certain"] == certain
        below = {r["kind"] for r in on_it}
        if "controller" in below:
            turned = name in _ring(by_name, name)
            assert pd.isna(found.at[name, "last"]) if turned else not found.at[name, "last"]
        elif "" in below:
            assert pd.isna(found.at[name, "last"])
        else:
            assert found.at[name, "last"]


def _ring(by_name: dict[str, dict[str, str]], start: str) -> set[str]:
    """The controllers of the circle that `start` is on; empty where it is on none."""
    met, at = [start], start
    while True:
        up = by_name.get(by_name[at]["controller_id"])
        if up is None or up["kind"] != "controller":
            return set()
        at = up["station_id"]
        if at == start:
            return set(met)
        if at in met:
            return set()
        met.append(at)


@settings(max_examples=60, deadline=None)
@given(some_stations(), st.lists(st.sampled_from(["", "P1", "P2", "gone"]), max_size=5))
def test_secondary_panels_as_counted_by_hand(rows: list[dict[str, str]], mains: list[str]) -> None:
    panels = [{"station_id": f"P{i}", "kind": "entrance-panel"} for i in (1, 2)][: len(mains) % 3]
    others = [
        {"station_id": f"Q{i}", "kind": "secondary-panel", "main_id": m}
        for i, m in enumerate(mains)
    ]
    plain = [r for r in rows if r["kind"] in ("controller", "answering-unit")]
    found = secondary_panels_exceeded.panels(site(panels + others + plain)).set_index("station_id")
    for panel in panels:
        named = mains.count(panel["station_id"])
        loose = mains.count("")
        surely = named + (loose if len(panels) == 1 else 0)
        assert found.at[panel["station_id"], "secondary"] == surely
        assert found.at[panel["station_id"], "perhaps"] == named + loose


@pytest.mark.parametrize(
    ("written", "meant"),
    [
        # RFC 5952, 4.1 to 4.3 (from memory): one spelling for an IPv6 address
        ("2001:0db8::0001", "2001:db8::1"),
        ("2001:db8:0:0:0:0:2:1", "2001:db8::2:1"),
        ("2001:DB8::1", "2001:db8::1"),
        ("192.168.001.010", "192.168.1.10"),
        ("10.0.0.7/24", "10.0.0.7"),
        ("10.0.0.256", None),
        ("10.0.0", None),
        ("upstairs", None),
    ],
)
def test_addresses_have_one_spelling(written: str, meant: str | None) -> None:
    assert chains.canonical_address(written) == meant


def test_a_main_unit_named_and_a_main_unit_at_home_are_one() -> None:
    rows = [
        {"station_id": "M", "kind": "answering-unit", "dwelling_id": "D"},
        {"station_id": "A", "kind": "extension-unit", "dwelling_id": "D", "number": "1"},
        {"station_id": "B", "kind": "extension-unit", "main_id": "M", "number": "1"},
        {"station_id": "C", "kind": "extension-unit", "main_id": "M", "number": "2"},
    ]
    found = extension_number_wrong.extensions(site(rows)).set_index("station_id")
    assert found["repeated"].tolist() == [True, True, False]
    assert found["main"].tolist() == [True, True, True]
