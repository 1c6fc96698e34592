"""Workbooks for tests, well-formed and not, written by a library and by hand."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Mapping, Sequence
from typing import Any

import xlsxwriter


def workbook(
    sheets: Mapping[str, Sequence[Sequence[Any]]],
    formats: Mapping[str, str] | None = None,
    **options: Any,
) -> bytes:
    """A workbook; a cell (value, number format) is written with that format."""
    out = io.BytesIO()
    book = xlsxwriter.Workbook(out, {"in_memory": True, **options})
    for name, rows in sheets.items():
        sheet = book.add_worksheet(name)
        for r, row in enumerate(rows):
            for c, cell in enumerate(row):
                value, code = cell if isinstance(cell, tuple) else (cell, None)
                style = book.add_format({"num_format": code}) if code else None
                if value is None:
                    continue
                if isinstance(value, str):
                    sheet.write_string(r, c, value, style)
                elif isinstance(value, bool):
                    sheet.write_boolean(r, c, value, style)
                elif isinstance(value, (int, float)):
                    sheet.write_number(r, c, value, style)
                else:
                    sheet.write_datetime(r, c, value, style)
    book.close()
    return out.getvalue()


MAIN = 'xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"'
RELS = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"


def by_hand(
    sheet: str, shared: str | None = None, extra: Mapping[str, bytes] | None = None
) -> bytes:
    """A workbook of one sheet whose XML is given."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as z:
        z.writestr(
            "xl/workbook.xml",
            f'<workbook {MAIN} xmlns:r="{RELS}"><sheets><sheet name="S" sheetId="1" r:id="rId1"/>'
            "</sheets></workbook>",
        )
        z.writestr(
            "xl/_rels/workbook.xml.rels",
            '<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships">'
            f'<Relationship Id="rId1" Type="{RELS}/worksheet" Target="worksheets/sheet1.xml"/>'
            "</Relationships>",
        )
        z.writestr("xl/worksheets/sheet1.xml", sheet)
        if shared is not None:
            z.writestr("xl/sharedStrings.xml", shared)
        for name, data in (extra or {}).items():
            z.writestr(name, data)
    return out.getvalue()


def sheet_xml(rows: str, head: str = "") -> str:
    return f'<?xml version="1.0"?>{head}<worksheet {MAIN}><sheetData>{rows}</sheetData></worksheet>'


def inline(*cells: str) -> str:
    return "".join(f'<c t="inlineStr"><is><t>{c}</t></is></c>' for c in cells)
