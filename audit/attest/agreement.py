"""Whether a manifest and the findings.json beside it say the same, and each agrees with itself."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from typing import Any

from audit.attest.statement import Statement, record_facts
from audit.cases import is_open, rank, totals_of
from audit.record import Record, finding_id

SAYS = {
    "site": "the site", "as_of": "the as-of date", "stage": "the stage", "audience": "the audience",
    "program": "the program", "complete": "whether it is complete", "scope": "the scope",
    "verdict": "the verdict", "coverage": "the coverage",
}  # fmt: skip


def disagreements(raw: Mapping[str, Any], statement: Statement) -> list[str]:
    """One line for each thing that does not agree.

    ValueError, KeyError or TypeError where `raw` is no record at all.
    """
    told = statement.predicate
    facts = record_facts(raw)
    wrong = [
        f"{SAYS[name]}: findings.json and the manifest do not say the same"
        for name, value in facts.items()
        if getattr(told, name) != value
    ]
    listed = Counter((i.table, i.commitment) for i in told.inputs)
    if (
        Counter((i["table"], i["commitment"]) for i in raw.get("inputs", ()) if i["commitment"])
        - listed
    ):
        wrong.append("the data files: findings.json and the manifest do not list the same")
    if "findings" in raw:
        wrong += _totals(raw)
    if raw.get("verdict") is not None and "cases" in raw:
        wrong += _cases(Record.model_validate(raw))
    return wrong


def _totals(raw: Mapping[str, Any]) -> list[str]:
    wrong = []
    findings = raw["findings"]
    counted = Counter(f["priority"] for f in findings)
    if (
        any(counted.get(p, 0) != n for p, n in raw["totals"].items())
        or counted.keys() - raw["totals"].keys()
    ):
        wrong.append("findings.json: the totals are not those of its findings")
    ids = [f["id"] for f in findings]
    if len(set(ids)) != len(ids):
        wrong.append("findings.json: a finding is there twice")
    found = Counter(f["rule"] for f in findings)
    known = {o["rule"]: o["found"] for o in raw["outcomes"]}
    wrong += [
        f"findings.json: rule {rule} says {known.get(rule, 0)} findings; {found[rule]} are there"
        for rule in sorted({*known, *found})
        if known.get(rule, 0) != found[rule]
    ]
    return wrong


def _cases(record: Record) -> list[str]:
    """Whether cases, their totals and the verdict are what the findings make them."""
    wrong = []
    by_id = {f.id: f for f in record.findings}
    listed = [f for c in record.cases for f in c.findings]
    if sorted(listed) != sorted(by_id) or any(
        by_id[f].case != c.id for c in record.cases for f in c.findings if f in by_id
    ):
        wrong.append("findings.json: not every finding is in one case")
    for case in record.cases:
        open_ = [by_id[f] for f in case.findings if f in by_id and is_open(by_id[f])]
        if (case.rank, case.open) != (rank(open_), len(open_)):
            wrong.append(f"findings.json: case {case.id} is not as urgent as its findings make it")
    if record.case_totals != totals_of(record.cases):
        wrong.append("findings.json: the totals of cases are not those of its cases")
    if record.verdict is not None and record.verdict.state != _state(record):
        wrong.append("findings.json: the verdict is not the one that its cases give")
    if record.audience == "full" and any(
        f.id != finding_id(f.rule, f.anchor) for f in record.findings if f.anchor
    ):
        wrong.append("findings.json: a finding's id is not made of its rule and anchor")
    return wrong


def _state(record: Record) -> str:
    """The state of the verdict by cases.md 5."""
    if any(o.state == "failed" for o in record.outcomes):
        return "incomplete"
    ranks = {c.rank for c in record.cases if c.open}
    if 1 in ranks:
        return "trapped"
    if ranks & {2, 3}:
        return "act-now"
    if ranks & {4, 5}:
        return "work-due"
    silent = record.verdict is not None and record.verdict.important_not_run
    return "not-enough-run" if silent else "in-order"
