"""A pack's files drawn again from its findings.json, as far as that alone gives them."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from typing import Any

from audit.insurer_record import InsurerRecord
from audit.record import Record
from audit.report import insurer, tables


def from_record(raw: Mapping[str, Any], formats: Collection[str]) -> dict[str, bytes]:
    """The files by name; ValueError where `raw` is no record."""
    if raw["audience"] == "insurer":
        text = InsurerRecord.model_validate(raw).to_json()
        files = {"findings.json": text.encode()}
        if "html" in formats:
            files["report.html"] = insurer.html(raw).encode()
        if "pdf" in formats:
            files["report.pdf"] = insurer.pdf(raw, text)
        return files
    record = Record.model_validate(raw)
    files = {"findings.json": record.to_json().encode()}
    if "csv" in formats:
        files["findings.csv"] = tables.findings_csv(record)
        files["worklist.csv"] = tables.worklist_csv(record)
    return files
