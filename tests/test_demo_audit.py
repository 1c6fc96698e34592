"""The audit held against the demo's answer key, which was written without it."""

from __future__ import annotations

import datetime as dt
import json
from pathlib import Path

import pytest

import demo_data
from audit import check
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
