"""The audit held against the demo's answer key, which was written without it."""

from __future__ import annotations

import datetime as dt
import json
from pathlib import Path

import pytest

import demo_data
from audit import check, cli
from audit.record import Record

AS_OF = dt.date(2026, 9, 30)


def _audited(folder: Path, **options: object) -> Record:
    demo_data.write(folder, as_of=AS_OF, **options)  # type: ignore[arg-type]
    return check.audited(folder, as_of=AS_OF).record


def _told(rule: str, subjects: dict[str, list[str]]) -> str:
    return rule + " " + json.dumps({k: sorted(v) for k, v in subjects.items()}, sort_keys=True)


@pytest.mark.parametrize(("dwellings", "seed"), [(48, 1), (48, 2), (90, 3)])
def test_every_planted_fault_and_nothing_else(tmp_path: Path, dwellings: int, seed: int) -> None:
    record = _audited(tmp_path / "site", dwellings=dwellings, seed=seed)
    key = json.loads((tmp_path / "site" / "answer-key.json").read_text("utf-8"))
    planted = {_told(k["rule"], k["subjects"]) for k in key}
    found = {_told(f.rule, f.subjects) for f in record.findings}
    assert sorted(planted - found) == [], "planted and not found"
    assert sorted(found - planted) == [], "found and not planted"
    assert {o.rule for o in record.outcomes if o.state == "failed"} == set()


def test_every_rule_has_a_planted_fault(tmp_path: Path) -> None:
    record = _audited(tmp_path / "site")
    thousand_cards = {"controller-credentials-exceeded"}
    found, asked = ({x.rule for x in part} for part in (record.findings, record.outcomes))
    assert found == asked - thousand_cards


@pytest.mark.parametrize(("dwellings", "seed"), [(48, 1), (48, 4), (7, 1), (200, 5)])
def test_the_clean_site_is_clean_and_every_rule_looked(
    tmp_path: Path, dwellings: int, seed: int
) -> None:
    record = _audited(tmp_path / "site", dwellings=dwellings, seed=seed, clean=True)
    assert [f.summary for f in record.findings] == []
    if dwellings >= 48:
        silent = "no value in the pack: "  # the local code says nothing: that is fully run
        assert [
            (o.rule, o.reason)
            for o in record.outcomes
            if o.state != "assessed" and not (o.reason or "").startswith(silent)
        ] == []


def test_a_demo_with_history_holds_faults_that_come_grow_go_and_return(tmp_path: Path) -> None:
    site = tmp_path / "site"
    assert cli.main(["demo", str(site), "--reviews", "2", "--as-of", AS_OF.isoformat()]) == 0
    kept = sorted((site / "reviews").iterdir())
    assert [folder.name for folder in kept] == ["2026-03-30", "2026-06-30"]
    earlier = [
        {f["id"] for f in json.loads((folder / "findings.json").read_text("utf-8"))["findings"]}
        for folder in kept
    ]
    record = check.audited(site, as_of=AS_OF, with_latest=True).record
    assert {"new", "standing", "wider", "returned"} <= {f.change for f in record.findings}
    assert earlier[0] - earlier[1] - {f.id for f in record.findings}, "something was mended"
    key = json.loads((site / "answer-key.json").read_text("utf-8"))
    assert {_told(f.rule, f.subjects) for f in record.findings} == {
        _told(k["rule"], k["subjects"]) for k in key
    }


def test_quarters_are_the_same_for_the_same_arguments(tmp_path: Path) -> None:
    states = []
    for name in ("one", "two"):
        days = []
        for day in demo_data.quarters(tmp_path / name, 2, 12, 3, as_of=AS_OF):
            files = sorted((tmp_path / name).iterdir())
            days.append((day, [(file.name, file.read_bytes()) for file in files]))
        states.append(days)
    assert states[0] == states[1]
    assert states[0][0][1] != states[0][1][1]
