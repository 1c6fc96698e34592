"""The common case: a list of who lives there, the fobs, and four doors, nothing else.

What most blocks can give on the first day must be a help: leavers' fobs are told as such, no
dwelling is called vacant, nobody is called without access, and few facts are asked for.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping

from audit import check
from audit.ingest.tables import from_text
from audit.record import Record
from audit.site import site_from

DAY = dt.date(2026, 9, 30)


def site(leavers: int) -> Mapping[str, tuple[list[str], list[list[str]]]]:
    homes = [f"F{n:02}" for n in range(1, 41)]
    people = [[f"R{n}", f"Person {n}", home, "current", ""] for n, home in enumerate(homes, 1)]
    people += [
        [f"L{n}", f"Leaver {n}", homes[n], "departed", "2026-06-30"] for n in range(1, leavers + 1)
    ]
    holders = [row[0] for row in people]
    cards = [
        [f"C{n}", str(4100000 + 37 * n), holders[(n - 1) % len(holders)], "active"]
        for n in range(1, 81)
    ]
    doors = [
        ["D1", "Front door", "card"],
        ["D2", "Rear door", "card"],
        ["D3", "Bin store", "card"],
        ["D4", "Bike store", "key"],
    ]
    return {
        "dwellings": (["dwelling_id"], [[home] for home in homes]),
        "people": (["person_id", "name", "dwelling_id", "status", "end_date"], people),
        "cards": (["card_id", "number", "person_id", "status"], cards),
        "doors": (["door_id", "name", "entry"], doors),
    }


def audited(leavers: int) -> Record:
    place = site_from({"site": {"name": "Common Court", "timezone": "Europe/Dublin"}})
    return check.of_dataset(from_text(site(leavers), place, DAY)).record


def test_leavers_are_one_case_each_and_nothing_else_is_called_wrong() -> None:
    record = audited(3)
    leavers = ["Person who has left: L1", "Person who has left: L2", "Person who has left: L3"]
    assert [c.title.rpartition(": ")[0] for c in record.cases] == leavers
    assert {f.rule for f in record.findings} == {"departed-with-card"}
    assert record.verdict is not None
    assert record.verdict.lines()[:2] == [
        "3 cases: act today.",
        "who can get in: 3 cases: act today",
    ]
    assert 1 <= len(record.verdict.next) <= 5


def test_when_they_are_dealt_with_nothing_is_left_but_what_was_not_looked_at() -> None:
    record = audited(0)
    assert record.findings == []
    assert record.verdict is not None
    assert record.verdict.state == "not-enough-run"
    parts = {p.name: p.words for p in record.verdict.parts}
    assert parts["who can get in"].startswith("nothing found that must be put right")
    assert parts["getting out"] == "getting out: not checked"
