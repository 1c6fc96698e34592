"""The same again: the reports drawn from findings.json, the audit from the data, byte for byte."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

from audit.attest.statement import digest
from audit.faults import InputError

if TYPE_CHECKING:
    from audit.attest.verify import Verdict


def drawn_again(raw: Mapping[str, Any], verdict: Verdict) -> None:
    """Draws from findings.json what it alone gives, and compares."""
    from audit.report.again import from_record

    try:
        files = from_record(raw, verdict.statement.predicate.formats)
    except (ValueError, KeyError, TypeError):
        verdict.wrong.append("findings.json: no report can be drawn from it")
        return
    _compared(files, verdict, "drawn again from findings.json")
    left = verdict.statement.files().keys() - files.keys() - {"findings.json"}
    if left:
        verdict.open.append(f"{', '.join(sorted(left))}: drawn again only with the data (--site)")


def audited_again(site: Path, earlier: Path | None, verdict: Verdict) -> None:
    """Audits the data as of the recorded day, draws every file, and compares the bytes.

    `earlier` is the record that the pack was compared with.
    """
    from audit import check
    from audit.reviews import without_names

    told = verdict.statement.predicate
    try:
        day = dt.date.fromisoformat(told.as_of)
        audit = check.audited(
            site, as_of=day, stage=told.stage, audience=told.audience, previous=earlier
        )
    except (ValueError, InputError) as e:
        reason = str(e) if isinstance(e, InputError) else "no such day"
        verdict.wrong.append(f"the audit cannot be run again: {reason}")
        return
    told_again = without_names(audit.record) if told.kind == "review" else audit.told
    if digest(told_again.to_json().encode()) != verdict.statement.files().get("findings.json"):
        verdict.wrong.append("findings.json: the same audit of the data gives another one")
        return
    verdict.proved.append("the same audit of the same data gives the same findings.json")
    verdict.open = [line for line in verdict.open if "drawn again only with" not in line]
    if told.kind == "pack":
        _compared(check.drawn(audit, told.formats), verdict, "drawn again from the data")


def _compared(files: Mapping[str, bytes], verdict: Verdict, how: str) -> None:
    listed = verdict.statement.files()
    same = [n for n, data in files.items() if n in listed and digest(data) == listed[n]]
    other = [n for n in files if n in listed and n not in same]
    verdict.wrong += [f"{name}: {how}, it is another one" for name in sorted(other)]
    if same:
        verdict.proved.append(f"{how}: {', '.join(sorted(same))}")
