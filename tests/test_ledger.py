"""Findings across reviews: identity, comparison, decisions."""

from __future__ import annotations

import datetime as dt
import random

import pandas as pd
import pytest

from audit.contract import Cause, Reference, Rule, Step
from audit.decisions import DecisionRow, decided
from audit.engine import run
from audit.ledger import against, compared
from audit.record import Finding, Record, SiteFacts, finding_id, order, totals
from tests.sites import Example, dataset, example

AS_OF = dt.date(2026, 9, 30)


def _rule(life_safety: bool = False) -> Rule:
    """A rule of the test's own: a card whose number is shorter than four characters."""

    def judge(data: object) -> pd.DataFrame:
        cards = data["cards"]  # type: ignore[index]
        return cards.assign(
            card=cards.card_id, fails=(cards.person_id.str.len() < 4).astype("boolean")
        )

    return Rule(
        name="short-holder",
        family="test",
        title="t",
        finds="f.",
        why="w.",
        priority="planned",
        gravest="planned",
        upload=True,
        life_safety=life_safety,
        needs={"cards": ("person_id",)},
        uses=(),
        equipment=(),
        policy=(),
        optional_policy=(),
        subjects=("card",),
        anchor=("card",),
        cause=Cause("card", ("card",)),
        summary="{card}",
        evidence=(),
        do=(Step("r.", "office", "cut"),),
        references=(Reference("k", "d", "s", "from memory"),),
        cannot={},
        judge=judge,
    )


def _site(*rows: str, header: str = "number | person_id") -> Example:
    return example("cards\n" + "\n".join([header, *rows]))


def _record(site: Example, previous: Record | None = None) -> Record:
    data = dataset(site)
    judged = run([_rule()], data)
    found = compared(judged, data, previous)
    return Record(
        site=SiteFacts(name="s", timezone="Europe/Dublin", local_code="generic"),
        as_of="2026-09-30",
        stage="review",
        audience="full",
        inputs=[],
        outcomes=[j.outcome for j in judged],
        findings=order(found.findings),
        mended=found.mended,
        not_reassessed=found.not_reassessed,
        totals=totals(found.findings),
    )


def _changes(record: Record) -> dict[str, str | None]:
    return {f.subjects["card"][0]: f.change for f in record.findings}


def test_identity_is_rule_and_subjects_only() -> None:
    one = finding_id("r", {"pin": ["B", "A"], "door": ["D"]})
    assert one == finding_id("r", {"door": ["D"], "pin": ["A", "B"]})
    assert len(one) == 16
    assert int(one, 16) >= 0
    assert one != finding_id("r2", {"pin": ["A", "B"], "door": ["D"]})
    assert one != finding_id("r", {"pin": ["A"], "door": ["B", "D"]})


def test_new_standing_mended_returned() -> None:
    first = _record(_site("C1 | ann", "C2 | long"))
    assert _changes(first) == {"C1": None}
    second = _record(_site("C1 | ann", "C2 | bob"), first)
    assert _changes(second) == {"C1": "standing", "C2": "new"}
    third = _record(_site("C1 | anna", "C2 | bob"), second)
    assert _changes(third) == {"C2": "standing"}
    assert [p.subjects["card"] for p in third.mended] == [["C1"]]
    fourth = _record(_site("C1 | ann", "C2 | bobby"), third)
    assert _changes(fourth) == {"C1": "returned"}


def test_gone_is_not_mended_where_it_could_not_be_judged() -> None:
    first = _record(_site("C1 | ann", "C2 | long"))
    unclear = _record(_site("C1 |", "C2 | long"), first)
    assert [p.subjects["card"] for p in unclear.not_reassessed] == [["C1"]]
    assert unclear.mended == []
    no_column = _record(_site("C1", "C2", header="number"), first)
    assert [p.subjects["card"] for p in no_column.not_reassessed] == [["C1"]]
    # what was not looked at again still stands when it is seen again
    assert _changes(_record(_site("C1 | ann"), unclear)) == {"C1": "standing"}
    left = _record(_site("C2 | long"), first)
    assert [p.subjects["card"] for p in left.mended] == [["C1"]]
    left_unseen = _record(_site("C2", header="number"), first)
    assert [p.subjects["card"] for p in left_unseen.mended] == [["C1"]]


def _finding(life_safety: bool = False) -> Finding:
    (judged,) = run([_rule(life_safety)], dataset(_site("C1 | ann")))
    return judged.findings[0]


def _decide(finding: Finding, **cells: str) -> tuple[Finding, list[str]]:
    row = {"finding_id": finding.id, **cells}
    findings, notices = decided([finding], [DecisionRow(2, row)], AS_OF)
    return findings[0], notices


KEEP = {"decision": "keep", "reason": "agreed", "decided_by": "A. Agent", "until": "2026-12-31"}


def test_keep_silences_until_its_date() -> None:
    kept, notices = _decide(_finding(), **KEEP)
    assert kept.silenced
    assert notices == []
    last_day, _ = _decide(_finding(), **{**KEEP, "until": "2026-09-30"})
    assert last_day.silenced
    lapsed, notices = _decide(_finding(), **{**KEEP, "until": "2026-09-29"})
    assert not lapsed.silenced
    assert lapsed.decision is not None
    assert lapsed.decision.state == "lapsed"
    assert "open again" in notices[0]


@pytest.mark.parametrize("lacking", ["reason", "decided_by", "until"])
def test_keep_needs_reason_name_and_end(lacking: str) -> None:
    open_still, notices = _decide(_finding(), **{k: v for k, v in KEEP.items() if k != lacking})
    assert open_still.decision is None
    assert lacking in notices[0]


def test_keep_lasts_a_year_at_most() -> None:
    assert _decide(_finding(), **{**KEEP, "until": "2027-09-30"})[0].silenced
    assert _decide(_finding(), **{**KEEP, "until": "2027-10-01"})[0].decision is None
    from_then = {**KEEP, "decided_on": "2025-10-01", "until": "2026-10-02"}
    assert _decide(_finding(), **from_then)[0].decision is None


def test_life_safety_is_kept_only_with_a_document() -> None:
    bare, notices = _decide(_finding(True), **KEEP)
    assert bare.decision is None
    assert "document" in notices[0]
    assert not _decide(_finding(True), **KEEP, document="FRA 12/2026")[0].silenced
    named = {**KEEP, "document": "FRA 12/2026", "competent_person": "C. Person"}
    assert _decide(_finding(True), **named)[0].silenced


@pytest.mark.parametrize("kind", ["revoke", "correct"])
def test_revoke_and_correct_silence_nothing(kind: str) -> None:
    marked, notices = _decide(_finding(), decision=kind)
    assert marked.decision is not None
    assert not marked.silenced
    assert notices == []


def test_unmatched_and_misspelt_decisions_are_said() -> None:
    finding = _finding()
    rows = [
        DecisionRow(2, {"finding_id": "0" * 16, **KEEP}),
        DecisionRow(3, {"finding_id": finding.id, **KEEP, "decision": "ignore"}),
        DecisionRow(4, {"finding_id": finding.id, **KEEP, "until": "soon"}),
        DecisionRow(5, {}),
    ]
    findings, notices = decided([finding], rows, AS_OF)
    assert findings[0].decision is None
    assert [n.split(":")[0] for n in notices] == [f"decisions.csv row {r}" for r in (2, 3, 4)]


def test_the_latest_decision_counts() -> None:
    finding = _finding()
    rows = [
        DecisionRow(2, {"finding_id": finding.id, **KEEP, "decided_on": "2026-09-02"}),
        DecisionRow(
            3, {"finding_id": finding.id, "decision": "revoke", "decided_on": "2026-09-01"}
        ),
    ]
    assert decided([finding], rows, AS_OF)[0][0].silenced
    later = {"finding_id": finding.id, "decision": "revoke", "decided_on": "2026-09-03"}
    rows = [*rows[::-1], DecisionRow(4, later)]
    assert not decided([finding], rows, AS_OF)[0][0].silenced


def test_compare_tells_the_same_as_previous() -> None:
    shuffled = random.Random(1)
    first = _record(_site("C1 | ann", "C2 | bob", "C3 | long"))
    rows = ["C1 | ann", "C2 | bobby", "C3 | cat"]
    shuffled.shuffle(rows)
    second = _record(_site(*rows))
    parts = against(first, second)
    assert {k: [x.subjects["card"][0] for x in v] for k, v in parts.items()} == {
        "new": ["C3"],
        "standing": ["C1"],
        "returned": [],
        "mended": ["C2"],
        "not reassessed": [],
    }
