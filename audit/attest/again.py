"""The same again: the reports drawn from findings.json, the audit from the data, byte for byte."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import TYPE_CHECKING

from audit.attest.statement import digest
from audit.faults import InputError

if TYPE_CHECKING:
    from audit.attest.verify import Verdict


def audited_again(site: Path, earlier: Path | None, verdict: Verdict) -> None:
    """Audits the data as of the recorded day and compares the record.

    `earlier` is the record that the pack was compared with.
    """
    from audit import check

    told = verdict.statement.predicate
    listed = verdict.statement.files().get("findings.json")
    try:
        day = dt.date.fromisoformat(told.as_of)
        audit = check.audited(
            site, as_of=day, stage=told.stage, audience=told.audience, previous=earlier
        )
    except (ValueError, InputError) as e:
        reason = str(e) if isinstance(e, InputError) else "no such day"
        verdict.wrong.append(f"the audit cannot be run again: {reason}")
        return
    if digest(audit.told.to_json().encode()) == listed:
        verdict.proved.append("the same audit of the same data gives the same findings.json")
    else:
        verdict.wrong.append("findings.json: the same audit of the data gives another one")
