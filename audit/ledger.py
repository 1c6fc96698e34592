"""What a finding is across reviews: compared with the last one, and decided by a person.

A finding that is gone was mended only where its rule could judge its subject this time, or
the subject has left the register; otherwise it was not looked at again, and says so.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from audit.contract import Dataset
from audit.engine import Judged
from audit.record import Change, Finding, Past, Record
from audit.schema import REFERENCE_SUBJECTS


@dataclass(frozen=True)
class Compared:
    """The findings with their change against the previous record, and what is gone.

    `moved`: the id that a rule gave a finding -> the id that it keeps from the previous record.
    """

    findings: list[Finding]
    mended: list[Past]
    not_reassessed: list[Past]
    moved: Mapping[str, str]


def compared(judged: Sequence[Judged], data: Dataset, previous: Record | None) -> Compared:
    """The findings against the previous record: new, standing, wider, narrower, returned."""
    findings = [f for j in judged for f in j.findings]
    if previous is None:
        return Compared(findings, [], [], {})
    before = {f.id: f for f in previous.findings}
    # What the last review could not look at again still stood before it.
    standing = {p.id: p for p in previous.not_reassessed}
    standing |= {f.id: Past(id=f.id, rule=f.rule, subjects=f.subjects) for f in previous.findings}
    mended_before = {p.id for p in previous.mended}
    moved = _kept_ids(findings, standing)
    marked = []
    for finding in findings:
        identity = moved.get(finding.id, finding.id)
        past = standing.get(identity)
        old = before.get(identity)
        marked.append(
            finding.model_copy(
                update={
                    "id": identity,
                    "anchor": old.anchor if old is not None and old.anchor else finding.anchor,
                    "change": _change(finding, past, identity in mended_before),
                    "first_seen": ((old.first_seen or previous.as_of) if old is not None else None),
                    "reviews": old.reviews + 1 if old is not None else 1,
                }
            )
        )
    now = {f.id for f in marked}
    by_rule = {j.rule.name: j for j in judged}
    mended: list[Past] = []
    not_reassessed: list[Past] = []
    for past in sorted(standing.values(), key=lambda p: (p.rule, p.id)):
        if past.id not in now:
            seen = _left(past, data) or _judged_again(past, by_rule.get(past.rule), data)
            (mended if seen else not_reassessed).append(past)
    return Compared(marked, mended, not_reassessed, moved)


def _change(finding: Finding, past: Past | None, was_mended: bool) -> Change:
    if past is None:
        return "returned" if was_mended else "new"
    now, then = _members(finding.subjects), _members(past.subjects)
    return "wider" if now - then else "narrower" if then - now else "standing"


def _members(subjects: Mapping[str, Sequence[str]]) -> frozenset[tuple[str, str]]:
    return frozenset((k, v) for k, values in subjects.items() for v in values)


def _kept_ids(findings: Sequence[Finding], standing: Mapping[str, Past]) -> dict[str, str]:
    """A finding of several members keeps the id of the earlier one with which it shares most.

    Of equals the least id; each earlier id is given once, the closest pair first.
    """
    taken = {f.id for f in findings if f.id in standing}
    free: dict[str, list[Past]] = {}
    for past in standing.values():
        if past.id not in taken:
            free.setdefault(past.rule, []).append(past)
    pairs = [
        (-len(shared), past.id, finding.id)
        for finding in findings
        if finding.id not in standing and _is_plural(finding.subjects)
        for past in free.get(finding.rule, ())
        if (shared := _members(finding.subjects) & _members(past.subjects))
    ]
    moved: dict[str, str] = {}
    given: set[str] = set()
    for _, earlier, own in sorted(pairs):
        if own not in moved and earlier not in given:
            moved[own] = earlier
            given.add(earlier)
    return moved


def _is_plural(subjects: Mapping[str, Sequence[str]]) -> bool:
    return any(len(values) > 1 for values in subjects.values())


def _left(past: Past, data: Dataset) -> bool:
    """Whether one of the subjects is in its register no more."""
    for table, key in REFERENCE_SUBJECTS.items():
        values = past.subjects.get(key)
        if values and table in data.tables:
            known = data.known(table)
            if any(v not in known for v in values):
                return True
    return False


def _judged_again(past: Past, judged: Judged | None, data: Dataset) -> bool:
    if judged is None or judged.outcome.state not in ("assessed", "partly"):
        return False
    for table, key in REFERENCE_SUBJECTS.items():
        if table in data.tables and past.subjects.get(key):
            aside = set(data.tables[table].set_aside["id"])
            if aside.intersection(past.subjects[key]):
                return False
    ids, values = judged.unclear_subjects()
    if past.id in ids:
        return False
    return not any((k, v) in values for k, vs in past.subjects.items() for v in vs)


def against(old: Record, new: Record) -> dict[str, list[Finding | Past]]:
    """What `compare` tells of two records: new, standing, mended, come back, not reassessed."""
    before = {f.id: f for f in old.findings}
    carried = {p.id for p in old.not_reassessed}
    mended_before = {p.id for p in old.mended}
    now = {f.id for f in new.findings}
    unseen = {p.id: p for p in new.not_reassessed}
    states = {o.rule: o.state for o in new.outcomes}
    result: dict[str, list[Finding | Past]] = {
        "new": [],
        "standing": [],
        "returned": [],
        "mended": [],
        "not reassessed": [],
    }
    for f in new.findings:
        if f.id in before or f.id in carried:
            result["standing"].append(f)
        elif f.id in mended_before or f.change == "returned":
            result["returned"].append(f)
        else:
            result["new"].append(f)
    for f in old.findings:
        if f.id in now:
            continue
        looked = states.get(f.rule) in ("assessed", "partly") and f.id not in unseen
        result["mended" if looked else "not reassessed"].append(f)
    gone = {f.id for f in old.findings}
    for p in old.not_reassessed:
        if p.id not in now and p.id not in gone:
            looked = states.get(p.rule) in ("assessed", "partly") and p.id not in unseen
            result["mended" if looked else "not reassessed"].append(p)
    return result
