"""Whether a manifest and the findings.json beside it say the same, and each agrees with itself."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from typing import Any

from audit.attest.statement import Statement, record_facts

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
