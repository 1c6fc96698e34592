"""findings.xlsx: findings, coverage, access roll and worklists, ready to filter and to print.

Every cell is written as a string or a number, never as a formula; the file's dates are the
audit's own, so the same record gives the same bytes.
"""

from __future__ import annotations

import datetime as dt
import io
from collections import defaultdict
from collections.abc import Mapping, Sequence
from typing import Any

from audit.record import PRIORITIES, Record
from audit.report import scope
from audit.report.pdf import verdict
from audit.report.tables import (
    FINDING_COLUMNS,
    ROLL_COLUMNS,
    WORK_COLUMNS,
    finding_row,
    worklist,
)
from audit.screen import CAUTION

MOST_TEXT = 32_767  # characters of one cell; a longer text is shortened and says so
MOST_ROWS = 1_048_575
WIDTHS = {
    "finding_id": 18, "priority": 11, "life_safety": 8, "rule": 38, "subjects": 26, "summary": 48,
    "remedy": 42, "rows": 22, "change": 10, "decision": 10, "decision_state": 12, "until": 12,
    "why": 50, "references": 60, "order": 7, "where": 28, "what_to_do": 55, "because": 60,
    "findings": 9, "finding_ids": 20, "done_by": 14, "done_on": 12, "person": 14, "name": 24,
    "dwelling": 12, "door_group": 22, "hours": 40, "through": 24, "since": 12, "signed": 20,
    "state": 14, "checked": 10, "unassessed": 11, "found": 8, "reason": 60, "what": 30,
    "value": 60,
}  # fmt: skip
LINE = 13.5  # points of one line of a cell
TALLEST = 409  # points, of any row
PRINTED = "until"  # of the findings' columns the last on paper: reasons are long, and in report.pdf
PAPER = {"immediate": "#F6D5CF", "planned": "#F5E8C7", "advisory": "#DCE8EC"}


def render(record: Record, plan: Mapping[str, Any]) -> bytes:
    """The workbook's bytes."""
    import xlsxwriter

    out = io.BytesIO()
    book = xlsxwriter.Workbook(
        out,
        {
            "in_memory": True,
            "strings_to_formulas": False,
            "strings_to_numbers": False,
            "strings_to_urls": False,
        },
    )
    day = dt.datetime.fromisoformat(record.as_of)
    book.set_properties(
        {"title": f"Door audit, {_clean(record.site.name)}", "created": day, "comments": CAUTION}
    )
    style = _Styles(book)
    _cover(book, style, record)
    _sheet(
        book,
        style,
        "findings",
        FINDING_COLUMNS,
        [finding_row(f) for f in record.findings],
        record,
        wide=True,
    )
    _sheet(
        book,
        style,
        "coverage",
        ("rule", "state", "checked", "unassessed", "found", "reason"),
        [(o.rule, o.state, o.checked, o.unassessed, o.found, o.reason) for o in record.outcomes],
        record,
    )
    roll = plan.get("roll", [])
    _sheet(
        book,
        style,
        "access roll",
        (*ROLL_COLUMNS, "signed"),
        [[row.get(c, "") for c in ROLL_COLUMNS] + [""] for row in roll],
        record,
        wide=True,
    )
    work = worklist(record)
    _sheet(book, style, "worklist", WORK_COLUMNS, work, record, wide=True)
    for kind, rows in _by_kind(work).items():
        _sheet(book, style, f"work at {kind}", WORK_COLUMNS, rows, record, wide=True)
    book.close()
    return out.getvalue()


class _Styles:
    def __init__(self, book: Any) -> None:
        base = {"font_name": "Calibri", "font_size": 10, "valign": "top"}
        self.head = book.add_format(
            {**base, "bold": True, "bottom": 1, "text_wrap": True, "bg_color": "#EDEBE6"}
        )
        self.text = book.add_format({**base, "text_wrap": True})
        self.number = book.add_format({**base, "num_format": "#,##0"})
        self.count = book.add_format({**base, "num_format": "#,##0", "align": "left"})
        self.title = book.add_format({**base, "bold": True, "font_size": 16})
        self.strong = book.add_format({**base, "bold": True, "text_wrap": True})
        self.priority = {
            p: book.add_format({**base, "bold": p == "immediate", "bg_color": colour})
            for p, colour in PAPER.items()
        }


def _cover(book: Any, style: _Styles, record: Record) -> None:
    sheet = book.add_worksheet("summary")
    sheet.hide_gridlines(2)
    sheet.set_column(0, 0, 26)
    sheet.set_column(1, 1, 70)
    sheet.write_string(0, 0, _clean(record.site.name), style.title)
    failed = [o.rule for o in record.outcomes if o.state == "failed"]
    looked = any(o.state in ("assessed", "partly") for o in record.outcomes)
    rows: list[tuple[str, str | int]] = [
        ("verdict", verdict(record)),
        ("as of", record.as_of),
        ("stage", record.stage),
        ("local code", record.site.local_code),
        ("audience", record.audience),
        *((p, getattr(record.totals, p)) for p in PRIORITIES if looked),
        ("under a decision in force", sum(f.silenced for f in record.findings)),
        ("rules that looked", sum(o.state in ("assessed", "partly") for o in record.outcomes)),
        ("rules that looked in part", sum(o.state == "partly" for o in record.outcomes)),
        ("rules that could not look", sum(o.state == "not-assessed" for o in record.outcomes)),
        ("mended since last time", len(record.mended)),
        ("not looked at again", len(record.not_reassessed)),
        ("what this is not", CAUTION),
        *(
            ("scope", line)
            for line in scope.sentences(record.model_dump(include={"scope", "previous"}))
        ),
        *(("to be said", n) for n in record.notices),
    ]
    if failed:
        rows.insert(0, ("INCOMPLETE", "rules failed inside: " + ", ".join(failed)))
    for i, (what, value) in enumerate(rows, 2):
        sheet.write_string(i, 0, what, style.strong)
        if isinstance(value, str):
            sheet.set_row(i, _height((value,), ("value",)))
        if isinstance(value, int):
            sheet.write_number(i, 1, value, style.count)
        else:
            sheet.write_string(i, 1, _clean(value), style.text)
    _print_setup(sheet, record, wide=False)


def _sheet(
    book: Any,
    style: _Styles,
    name: str,
    columns: Sequence[str],
    rows: Sequence[Sequence[object]],
    record: Record,
    *,
    wide: bool = False,
) -> None:
    sheet = book.add_worksheet(name)
    for i, column in enumerate(columns):
        sheet.set_column(i, i, WIDTHS.get(column, 16))
        sheet.write_string(0, i, column.replace("_", " "), style.head)
    shown = rows[:MOST_ROWS]
    at = columns.index("priority") if "priority" in columns else None
    for r, row in enumerate(shown, 1):
        for c, value in enumerate(row):
            if value is None or value == "":
                sheet.write_blank(r, c, None, style.text)
            elif isinstance(value, int) and not isinstance(value, bool):
                sheet.write_number(r, c, value, style.number)
            else:
                kind = style.priority.get(str(value), style.text) if c == at else style.text
                sheet.write_string(r, c, _clean(str(value)), kind)
        sheet.set_row(r, _height(row, columns))
    sheet.freeze_panes(1, 1)
    if rows:
        sheet.autofilter(0, 0, len(shown), len(columns) - 1)
    sheet.repeat_rows(0)
    if PRINTED in columns:
        sheet.print_area(0, 0, len(shown), columns.index(PRINTED))
    _print_setup(sheet, record, wide=wide)


def _height(row: Sequence[object], columns: Sequence[str]) -> float:
    """Points for a row's longest wrapped text: not every program finds the height by itself."""
    lines = max(
        -(-len(value) // WIDTHS.get(column, 16)) if isinstance(value, str) else 1
        for column, value in zip(columns, row, strict=True)
        if column not in ("why", "references")
    )
    return min(max(lines, 1) * LINE + 1.5, TALLEST)


def _print_setup(sheet: Any, record: Record, *, wide: bool) -> None:
    sheet.set_paper(9)
    if wide:
        sheet.set_landscape()
    sheet.fit_to_pages(1, 0)
    sheet.set_margins(0.5, 0.5, 0.6, 0.6)
    name = _clean(record.site.name).replace("&", "&&")[:60]
    sheet.set_footer(f"&L&8{name}, as of {record.as_of}&C&8&A&R&8page &P of &N")


def _by_kind(rows: Sequence[Sequence[object]]) -> dict[str, list[Sequence[object]]]:
    """The worklist apart by who goes where: doors, panels, people."""
    kinds = {
        "door": "doors",
        "zone": "doors",
        "station": "panels",
        "person": "people",
        "dwelling": "people",
    }
    apart: dict[str, list[Sequence[object]]] = defaultdict(list)
    for row in rows:
        kind = kinds.get(str(row[3]).split(" ")[0])
        if kind is not None:
            apart[kind].append(row)
    return {k: apart[k] for k in ("doors", "panels", "people") if k in apart}


def _clean(text: str) -> str:
    """The text without control characters and lone surrogates, short enough for a cell."""
    shown = text
    if not text.isprintable():
        shown = "".join(
            c if (c >= " " or c in "\n\t") and not "\ud800" <= c <= "\udfff" else "\ufffd"
            for c in text
            if c not in "\ufffe\uffff"
        )
    if len(shown) > MOST_TEXT:
        note = f" … and {len(shown) - MOST_TEXT + 100:,} characters more, in findings.json"
        shown = shown[: MOST_TEXT - 100] + note
    return shown
