"""Runs the rules it is given over a dataset: findings, and how much was looked at.

The engine knows no rule by name. A rule that breaks is reported as failed, without data,
and the others run on.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Final, cast

import numpy as np
import numpy.typing as npt
import pandas as pd

from audit import packs
from audit.contract import Dataset, Rule
from audit.faults import without_data
from audit.record import Finding, Outcome, Priority, SourceRow, finding_id
from audit.wording import sentence

NOT_THIS_STAGE = "not part of this stage"
_NO_ROWS: Final = pd.DataFrame()


@dataclass(frozen=True)
class Judged:
    """One rule's outcome and findings; `unclear` holds the rows it could not judge."""

    rule: Rule
    outcome: Outcome
    findings: tuple[Finding, ...] = ()
    unclear: pd.DataFrame = field(default_factory=pd.DataFrame)

    def unclear_subjects(self) -> tuple[frozenset[str], frozenset[tuple[str, str]]]:
        """Finding ids of the subjects that could not be judged, and members of plural ones."""
        return _unclear(self.rule, self.unclear)


def run(
    rules: Sequence[Rule],
    data: Dataset,
    stage: str = "review",
    progress: Callable[[str], None] | None = None,
) -> list[Judged]:
    """Every rule's judgement, in the order of the rules' names."""
    judged = []
    for number, rule in enumerate(sorted(rules, key=lambda r: r.name), 1):
        if progress is not None:
            progress(f"rule {number} of {len(rules)}: {rule.name}")
        judged.append(_judge(rule, data, stage))
    return judged


def verdicts(rule: Rule, data: Dataset) -> pd.DataFrame:
    """What the rule returns, checked: subject columns, `fails` as nullable boolean."""
    frame = rule.judge(data)
    lacking = [c for c in (*rule.subjects, "fails", *rule.evidence) if c not in frame.columns]
    optional = {s for s in lacking if s in rule.subjects}
    if set(lacking) - optional or len(optional) == len(rule.subjects):
        raise TypeError(f"the rule's answer lacks {', '.join(lacking)}")
    if frame["fails"].dtype != "boolean":
        frame = frame.assign(fails=frame["fails"].astype("boolean"))
    return frame


def _judge(rule: Rule, data: Dataset, stage: str) -> Judged:
    if stage == "upload" and not rule.upload:
        return Judged(rule, _outcome(rule, "not-assessed", reason=NOT_THIS_STAGE))
    lacking = rule.lacking(data)
    if lacking is not None:
        return Judged(rule, _outcome(rule, "not-assessed", reason=lacking))
    try:
        frame = verdicts(rule, data)
        findings = _findings(rule, data, frame)
        unclear = _rows(frame, frame["fails"].isna().to_numpy())
    except Exception as e:
        return Judged(rule, _outcome(rule, "failed", reason=without_data(e)))
    unassessed = len(unclear)
    checked = len(frame) - unassessed
    if unassessed and not checked:
        state, reason = "not-assessed", _lack_of_values(unassessed)
    elif unassessed:
        state, reason = "partly", _lack_of_values(unassessed)
    else:
        state, reason = "assessed", None
    outcome = _outcome(rule, state, checked, unassessed, len(findings), reason)
    return Judged(rule, outcome, tuple(findings), unclear)


def _lack_of_values(n: int) -> str:
    return f"{n} could not be judged: a value it needs is not given, unreadable or unknown"


def _outcome(
    rule: Rule,
    state: Any,
    checked: int = 0,
    unassessed: int = 0,
    found: int = 0,
    reason: str | None = None,
) -> Outcome:
    return Outcome(
        rule=rule.name,
        state=state,
        checked=checked,
        unassessed=unassessed,
        found=found,
        reason=reason,
    )


def _rows(frame: pd.DataFrame, wanted: npt.NDArray[np.bool_]) -> pd.DataFrame:
    """The wanted rows. Most rules find nothing, and taking no rows costs as much as taking some."""
    return frame[wanted] if wanted.any() else _NO_ROWS


def _findings(rule: Rule, data: Dataset, frame: pd.DataFrame) -> list[Finding]:
    failing = _rows(frame, frame["fails"].to_numpy(bool, na_value=False))
    if failing.empty:
        return []
    references = [*map(str, rule.references), *_pack_references(rule, data)]
    subject_rows = subjects_of(rule, failing)
    evidence_rows = _evidence(rule, failing)
    source_rows = _sources(rule, data, failing)
    priorities = failing["priority"] if "priority" in failing else [rule.priority] * len(failing)
    findings: list[Finding] = []
    seen: dict[str, int] = {}
    for subjects, evidence, sources, priority in zip(
        subject_rows, evidence_rows, source_rows, priorities, strict=True
    ):
        identity = finding_id(rule.name, subjects)
        if identity in seen:  # an id that stands on several rows: one finding, all its rows
            first = findings[seen[identity]]
            both = {(s.file, s.sheet or "", s.row): s for s in (*first.sources, *sources)}
            whole = [both[k] for k in sorted(both)]
            findings[seen[identity]] = first.model_copy(update={"sources": whole})
            continue
        seen[identity] = len(findings)
        findings.append(
            Finding(
                id=identity,
                rule=rule.name,
                priority=_priority(priority, rule),
                life_safety=rule.life_safety,
                subjects=subjects,
                sources=sources,
                summary=sentence(rule.summary, subjects, evidence),
                why=rule.why,
                remedy=rule.remedy,
                evidence=evidence,
                references=references,
                change=None,
                decision=None,
            )
        )
    return findings


def _priority(given: object, rule: Rule) -> Priority:
    return cast(Priority, given) if isinstance(given, str) else rule.priority


def _pack_references(rule: Rule, data: Dataset) -> list[str]:
    """What the local code's pack cites for the thresholds the rule read, where it set them."""
    pack = packs.load(data.site.local_code)
    return [
        f"{cited}: {cited.says} ({cited.sure})"
        for key in rule.policy
        if pack.values.get(key) == getattr(data.policy, key)
        for cited in pack.references.get(key, ())
    ]


def subjects_of(rule: Rule, frame: pd.DataFrame) -> list[dict[str, list[str]]]:
    """Each row's subjects: keys in declared order, values as sorted lists of strings."""
    keys = [k for k in rule.subjects if k in frame.columns]
    rows = zip(*(frame[k] for k in keys), strict=True)
    return [{k: v for k, v in zip(keys, map(_names, row), strict=True) if v} for row in rows]


def _names(value: object) -> list[str]:
    if isinstance(value, (list, tuple, set, frozenset, np.ndarray)):
        return sorted({str(v) for v in value})
    return [] if value is None or pd.isna(value) else [str(value)]  # type: ignore[call-overload]


def _evidence(rule: Rule, failing: pd.DataFrame) -> list[dict[str, Any]]:
    columns = [failing[k] for k in rule.evidence]
    if not columns:
        return [{} for _ in range(len(failing))]
    return [
        {k: jsonable(v) for k, v in zip(rule.evidence, row, strict=True)}
        for row in zip(*columns, strict=True)
    ]


def jsonable(value: Any) -> Any:
    """A value as JSON has it: dates as ISO text, missing as null, whole floats as they are."""
    if value is None or value is pd.NA or value is pd.NaT:
        return None
    if isinstance(value, (str, bool, int)):
        return value
    if isinstance(value, np.generic):
        return jsonable(value.item())
    if isinstance(value, float):
        return None if value != value else (int(value) if value.is_integer() else round(value, 6))
    if isinstance(value, dt.datetime):
        midnight = value.time() == dt.time() and value.tzinfo is None
        return value.date().isoformat() if midnight else value.isoformat()
    if isinstance(value, dt.date):
        return value.isoformat()
    if isinstance(value, Mapping):
        return {str(k): jsonable(v) for k, v in value.items()}
    if isinstance(value, (set, frozenset)):
        return sorted(jsonable(v) for v in value)
    if isinstance(value, (list, tuple, np.ndarray, pd.Series)):
        return [jsonable(v) for v in value]
    return str(value)


def _sources(rule: Rule, data: Dataset, failing: pd.DataFrame) -> list[list[SourceRow]]:
    first = next(iter(rule.needs), "")
    if "sources" in failing:
        pairs: Iterable[Iterable[tuple[str, int]]] = failing["sources"]
    else:
        pairs = ([(first, label)] for label in failing.index)
    rows = []
    for group in pairs:
        places = sorted(
            {data.where(table, label) for table, label in group if table in data.tables},
            key=lambda s: (s.file, s.sheet or "", s.row),
        )
        rows.append([SourceRow(file=p.file, sheet=p.sheet, row=p.row) for p in places])
    return rows


def _unclear(
    rule: Rule, unclear: pd.DataFrame
) -> tuple[frozenset[str], frozenset[tuple[str, str]]]:
    """Ids of the subjects that could not be judged, and the members of plural ones."""
    if unclear.empty:
        return frozenset(), frozenset()
    plural = {
        k
        for k in rule.subjects
        if k in unclear and isinstance(unclear[k].iloc[0], (list, tuple, set, frozenset))
    }
    subjects = subjects_of(rule, unclear)
    ids = frozenset(finding_id(rule.name, s) for s in subjects)
    values = frozenset((k, v) for s in subjects for k in plural if k in s for v in s[k])
    return ids, values
