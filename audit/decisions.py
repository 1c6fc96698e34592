"""What a reviewer decided: rows of decisions.csv, and which of them are in force.

A decision holds for the members that it saw, belongs to one site, and only the data closes a
finding: `keep` silences it until its day, `later` is a promise and leaves it open.
"""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from dateutil.relativedelta import relativedelta

from audit.dates import read_date
from audit.record import Decision, Finding

KINDS: Final = ("revoke", "correct", "keep", "later")
COLUMNS: Final = (
    *("site", "review", "finding_id", "decision", "reason", "decided_by", "decided_on"),
    *("until", "document", "competent_person", "rule", "subject"),
)
CLOSING: Final = ("keep",)
"""The decisions that close a finding while they are in force."""


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
    site: Collection[str] = (),
) -> tuple[list[Finding], list[str]]:
    """The findings with their decisions, and what is to be said of rows that change nothing.

    `site`: the site's id and name; a row that says another site is refused by name.
    """
    notices: list[str] = []
    latest: dict[str, tuple[tuple[dt.date, bool], Decision, str]] = {}
    known = {f.id: f for f in findings}
    for row in rows:
        cells = {k: bare(v.strip()) for k, v in row.cells.items() if v and v.strip()}
        if not cells:
            continue
        where = f"decisions.csv row {row.row}"
        other = cells.get("site")
        if other and site and other not in site:
            notices.append(f"{where}: belongs to another site ({other}); it changes nothing")
            continue
        identity = cells.get("finding_id", "").lower()
        finding = known.get(identity)
        if finding is None:
            notices.append(f"{where}: {_without_finding(identity, mended, not_reassessed)}")
            continue
        decision, fault = _decision(cells, finding, as_of, site_order)
        if decision is None:
            notices.append(f"{where}: {fault}; the decision changes nothing")
            continue
        on = dt.date.fromisoformat(decision.decided_on) if decision.decided_on else dt.date.min
        # of one day the decision that leaves the finding open stands
        order = (on, decision.decision not in CLOSING)
        before = latest.get(finding.id)
        if before is not None and before[1] != decision:
            stands = where if order >= before[0] else before[2]
            notices.append(
                f"{before[2]} and row {row.row} disagree about finding {finding.id}; {stands}"
                " stands"
            )
        if before is None or order >= before[0]:
            latest[finding.id] = (order, decision, where)
    marked = [_marked(f, latest.get(f.id), notices) for f in findings]
    return marked, notices


def _marked(
    finding: Finding,
    latest: tuple[tuple[dt.date, bool], Decision, str] | None,
    notices: list[str],
) -> Finding:
    if latest is None:
        return finding
    decision = latest[1]
    if decision.state == "lapsed":
        notices.append(
            f"{finding.id} {finding.rule}: the decision to {decision.decision} it ended on"
            f" {decision.until}; the finding is open again"
        )
    elif decision.state == "for others":
        notices.append(
            f"{finding.id} {finding.rule}: the decision to {decision.decision} it was made for"
            f" {', '.join(decision.subject)}; the finding affects more now and is open again"
        )
    return finding.model_copy(update={"decision": decision})


def members(finding: Finding) -> list[str]:
    """The ids of a finding's subjects, sorted: what a decision is made for."""
    return sorted({v for values in finding.subjects.values() for v in values})


def bare(text: str) -> str:
    """The text without the apostrophe that keeps a spreadsheet from running it."""
    return text[1:] if text.startswith("'") and text[1:2] in tuple("=+-@＝＋－＠") else text


def _without_finding(
    identity: str, mended: Collection[str], not_reassessed: Collection[str]
) -> str:
    if identity in mended:
        return "the finding is resolved; the row may go"
    if identity in not_reassessed:
        return "the finding could not be checked again; the decision waits"
    if re.fullmatch(r"\d+([.,]\d+)?([eE][+-]?\d+)?", identity):
        return (
            "the id was turned into a number by a spreadsheet; copy it from the report again"
            " into a cell formatted as text; the decision changes nothing"
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
        fault = _lacking(kind, cells, finding) or _too_long(kind, on, until, as_of)
        if fault:
            return None, fault
    subject = sorted({s.strip() for s in cells.get("subject", "").split(";") if s.strip()})
    state = "noted"
    if silencing and until is not None:
        state = "in force" if until >= as_of else "lapsed"
        if subject and not set(members(finding)) <= set(subject):
            state = "for others"
    told = {
        "decision": kind,
        "reason": cells.get("reason", ""),
        "decided_by": cells.get("decided_by", ""),
        "decided_on": on.isoformat() if on else None,
        "until": until.isoformat() if until else None,
        "document": cells.get("document"),
        "competent_person": cells.get("competent_person"),
        "subject": subject,
        "state": state,
    }
    return Decision.model_validate(told), ""


def _lacking(kind: str, cells: Mapping[str, str], finding: Finding) -> str:
    """What a keep or later needs and does not say."""
    wanted = ["reason", "decided_by", "until"]
    missing = [c for c in wanted if c not in cells]
    if missing:
        return f"{kind} needs {' and '.join(missing)}"
    if finding.life_safety:
        missing = [c for c in ("document", "competent_person") if c not in cells]
        if missing:
            return (
                f"{kind} of a life-safety finding needs the name of the competent person and a"
                f" reference to their document ({' and '.join(missing)} missing)"
            )
    return ""


def _too_long(kind: str, on: dt.date | None, until: dt.date | None, as_of: dt.date) -> str:
    start = on if on is not None else as_of
    limit = relativedelta(years=1)
    if until is not None and (_later(start, limit) < until or start > _later(as_of, limit)):
        return f"{kind} may last a year at most; until is later than that"
    return ""


def _later(day: dt.date, by: relativedelta) -> dt.date:
    """The day so much later, at the end of the calendar the last one."""
    try:
        return day + by
    except (OverflowError, ValueError):
        return dt.date.max
