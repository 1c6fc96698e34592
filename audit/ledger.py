"""What a finding is across reviews: compared with the last one, and decided by a person.

A finding that is gone was mended only where its rule could judge its subject this time, or
the subject has left the register; otherwise it was not looked at again, and says so.
"""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass

from dateutil.relativedelta import relativedelta

from audit.contract import Dataset
from audit.dates import read_date
from audit.engine import Judged
from audit.record import Decision, Finding, Past, Record
from audit.schema import REFERENCE_SUBJECTS

KINDS = ("revoke", "correct", "keep", "later")
COLUMNS = ("finding_id", "decision", "reason", "decided_by", "decided_on", "until", "document")


def compared(
    judged: Sequence[Judged], data: Dataset, previous: Record | None
) -> tuple[list[Finding], list[Past], list[Past]]:
    """The findings with their change, what was mended, and what was not looked at again."""
    findings = [f for j in judged for f in j.findings]
    if previous is None:
        return findings, [], []
    # What the last review could not look at again still stood before it.
    standing = {p.id: p for p in previous.not_reassessed}
    standing |= {f.id: Past(id=f.id, rule=f.rule, subjects=f.subjects) for f in previous.findings}
    mended_before = {p.id for p in previous.mended}
    marked = [
        f.model_copy(
            update={
                "change": "standing"
                if f.id in standing
                else "returned"
                if f.id in mended_before
                else "new"
            }
        )
        for f in findings
    ]
    now = {f.id for f in findings}
    by_rule = {j.rule.name: j for j in judged}
    mended: list[Past] = []
    not_reassessed: list[Past] = []
    for past in sorted(standing.values(), key=lambda p: (p.rule, p.id)):
        if past.id not in now:
            seen = _left(past, data) or _judged_again(past, by_rule.get(past.rule), data)
            (mended if seen else not_reassessed).append(past)
    return marked, mended, not_reassessed


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


@dataclass(frozen=True)
class DecisionRow:
    """One row of decisions.csv as it stands there, with its row number."""

    row: int
    cells: Mapping[str, str]


def decided(
    findings: Sequence[Finding],
    rows: Iterable[DecisionRow],
    as_of: dt.date,
    site_order: str = "dmy",
    mended: Collection[str] = (),
    not_reassessed: Collection[str] = (),
) -> tuple[list[Finding], list[str]]:
    """The findings with their decisions, and what is to be said of rows that change nothing."""
    notices: list[str] = []
    latest: dict[str, tuple[dt.date, Decision]] = {}
    known = {f.id: f for f in findings}
    for row in rows:
        cells = {k: _bare(v.strip()) for k, v in row.cells.items() if v and v.strip()}
        if not cells:
            continue
        where = f"decisions.csv row {row.row}"
        finding = known.get(cells.get("finding_id", "").lower())
        if finding is None:
            identity = cells.get("finding_id", "").lower()
            if identity in mended:
                notices.append(f"{where}: the finding is mended; the row may go")
            elif identity in not_reassessed:
                notices.append(f"{where}: the finding was not looked at again; the decision waits")
            else:
                notices.append(f"{where}: {_unmatched(identity)}")
            continue
        decision, fault = _decision(cells, finding, as_of, site_order)
        if decision is None:
            notices.append(f"{where}: {fault}; the decision changes nothing")
            continue
        on = dt.date.fromisoformat(decision.decided_on) if decision.decided_on else dt.date.min
        if finding.id not in latest or on >= latest[finding.id][0]:
            latest[finding.id] = (on, decision)
    marked = []
    for finding in findings:
        if finding.id not in latest:
            marked.append(finding)
            continue
        decision = latest[finding.id][1]
        if decision.state == "lapsed":
            notices.append(
                f"{finding.id} {finding.rule}: the decision to {decision.decision} it ended on"
                f" {decision.until}; the finding is open again"
            )
        marked.append(finding.model_copy(update={"decision": decision}))
    return marked, notices


def _bare(text: str) -> str:
    """The text without the apostrophe that keeps a spreadsheet from running it."""
    return text[1:] if text.startswith("'") and text[1:2] in tuple("=+-@＝＋－＠") else text


def _unmatched(identity: str) -> str:
    if re.fullmatch(r"\d+([.,]\d+)?([eE][+-]?\d+)?", identity):
        return (
            "the id was turned into a number by a spreadsheet; copy it from the report again into a"
            " cell formatted as text; the decision changes nothing"
        )
    return "no finding has this id now; the decision changes nothing"


def _decision(
    cells: Mapping[str, str], finding: Finding, as_of: dt.date, order: str
) -> tuple[Decision | None, str]:
    kind = cells.get("decision", "").lower()
    if kind not in KINDS:
        return None, f"decision must be one of {', '.join(KINDS)}"
    dates: dict[str, dt.date | None] = {}
    for column in ("decided_on", "until"):
        text = cells.get(column)
        dates[column] = read_date(text, order) if text else None
        if text and dates[column] is None:
            return None, f"{column} is not a date; write YYYY-MM-DD"
    on, until = dates["decided_on"], dates["until"]
    silencing = kind in ("keep", "later")
    if silencing:
        lacking = [c for c in ("reason", "decided_by", "until") if c not in cells]
        if lacking:
            return None, f"{kind} needs {' and '.join(lacking)}"
        assert until is not None
        start = on if on is not None else as_of
        if until > start + relativedelta(years=1) or start > as_of + relativedelta(years=1):
            return None, f"{kind} may last a year at most; until is later than that"
        if kind == "keep" and finding.life_safety and "document" not in cells:
            return None, (
                "a life-safety finding is kept only with the name of the competent person and a"
                " document"
            )
    state = "noted"
    if silencing and until is not None:
        state = "in force" if until >= as_of else "lapsed"
    return (
        Decision.model_validate(
            {
                "decision": kind,
                "reason": cells.get("reason", ""),
                "decided_by": cells.get("decided_by", ""),
                "decided_on": on.isoformat() if on else None,
                "until": until.isoformat() if until else None,
                "document": cells.get("document"),
                "state": state,
            }
        ),
        "",
    )


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
