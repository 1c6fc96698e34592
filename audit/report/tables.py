"""The pack's CSV files: findings, worklist, access roll. For spreadsheets: UTF-8 with a mark.

A cell that a spreadsheet would run as a formula begins with an apostrophe.
"""

from __future__ import annotations

import csv
import io
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from audit.record import PRIORITIES, Finding, Record

RUNS = tuple("=+-@\t\r\n\0＝＋－＠")
FINDING_COLUMNS = (
    "finding_id",
    "priority",
    "life_safety",
    "rule",
    "subjects",
    "summary",
    "remedy",
    "rows",
    "change",
    "decision",
    "decision_state",
    "until",
    "why",
    "references",
)
WORK_COLUMNS = (
    "order",
    "priority",
    "life_safety",
    "where",
    "what_to_do",
    "because",
    "findings",
    "rows",
    "finding_ids",
    "done_by",
    "done_on",
)
ROLL_COLUMNS = (
    "person",
    "name",
    "dwelling",
    "door_group",
    "hours",
    "through",
    "since",
    "change",
)
PLACES = (
    "door",
    "station",
    "zone",
    "person",
    "dwelling",
    "card",
    "pin",
    "door_group",
    "permission",
    "schedule",
    "technology",
    "table",
)


def inert(text: str) -> str:
    """The text as a cell that no spreadsheet runs, without control characters."""
    shown = text
    if not text.isprintable():
        shown = "".join(" " if c in "\t\r\n" else c for c in text if c >= " " or c in "\t\r\n")
    return "'" + shown if text.startswith(RUNS) else shown


def csv_bytes(columns: Sequence[str], rows: Iterable[Sequence[object]]) -> bytes:
    """A CSV as spreadsheets like it: byte-order mark, every cell quoted, inert."""
    out = io.StringIO()
    writer = csv.writer(out, quoting=csv.QUOTE_ALL, lineterminator="\r\n")
    writer.writerow(columns)
    for row in rows:
        writer.writerow([inert("" if v is None else str(v)) for v in row])
    return out.getvalue().encode("utf-8-sig", "replace")


def rows_text(finding: Finding) -> str:
    """Files and rows of a finding: `cards.csv 5, 9; people.csv 12`."""
    places: dict[str, list[int]] = defaultdict(list)
    for s in finding.sources:
        rows = places[f"{s.file} ({s.sheet})" if s.sheet else s.file]
        if s.row is not None:
            rows.append(s.row)
    return "; ".join(f"{file} {', '.join(map(str, rows))}".strip() for file, rows in places.items())


def subjects_text(subjects: Mapping[str, Sequence[str]]) -> str:
    """`person R017; card C204, C205`."""
    return "; ".join(f"{k} {', '.join(v)}" for k, v in subjects.items())


def finding_row(f: Finding) -> tuple[object, ...]:
    """A finding in the order of FINDING_COLUMNS."""
    d = f.decision
    return (
        f.id,
        f.priority,
        "yes" if f.life_safety else "no",
        f.rule,
        subjects_text(f.subjects),
        f.summary,
        f.remedy,
        rows_text(f),
        f.change,
        d and d.decision,
        d and d.state,
        d and d.until,
        f.why,
        " | ".join(f.references),
    )


def findings_csv(record: Record) -> bytes:
    """findings.csv: one row a finding."""
    return csv_bytes(FINDING_COLUMNS, map(finding_row, record.findings))


def place_of(finding: Finding) -> str:
    """Where the work is: the door, panel or person that the finding is about."""
    for key in PLACES:
        if finding.subjects.get(key):
            return f"{key} {', '.join(finding.subjects[key])}"
    return subjects_text(finding.subjects)


def worklist(record: Record) -> list[tuple[object, ...]]:
    """One row a place and action, most urgent first, in the order of WORK_COLUMNS."""
    jobs: dict[tuple[str, str], list[Finding]] = defaultdict(list)
    for f in record.findings:
        if not f.silenced:
            jobs[(place_of(f), f.remedy)].append(f)

    def urgency(item: tuple[tuple[str, str], list[Finding]]) -> tuple[Any, ...]:
        (place, remedy), findings = item
        first = min(PRIORITIES.index(f.priority) for f in findings)
        return (first, not any(f.life_safety for f in findings), place, remedy)

    return [
        (
            number,
            PRIORITIES[min(PRIORITIES.index(f.priority) for f in findings)],
            "yes" if any(f.life_safety for f in findings) else "no",
            place,
            remedy,
            " ".join(f.summary for f in findings),
            len(findings),
            "; ".join(rows_text(f) for f in findings),
            " ".join(f.id for f in findings),
            "",
            "",
        )
        for number, ((place, remedy), findings) in enumerate(sorted(jobs.items(), key=urgency), 1)
    ]


def worklist_csv(record: Record) -> bytes:
    """worklist.csv: what to do at which door, panel or person."""
    return csv_bytes(WORK_COLUMNS, worklist(record))


def roll_csv(roll: Iterable[Mapping[str, str]]) -> bytes:
    """access-roll.csv: who has what, through what and when, and what changed."""
    return csv_bytes(ROLL_COLUMNS, ([row.get(c, "") for c in ROLL_COLUMNS] for row in roll))
