"""Runs the rules it is given over a dataset: findings, and how much was looked at.

The engine knows no rule by name. A rule that breaks is reported as failed, without data,
and the others run on.
"""

from __future__ import annotations

import datetime as dt
from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Final, cast

import numpy as np
import numpy.typing as npt
import pandas as pd

from audit import packs
from audit.contract import Dataset, Rule, Step
from audit.faults import without_data
from audit.record import Finding, Outcome, Priority, SourceRow, finding_id
from audit.wording import sentence

NOT_THIS_STAGE = "not part of this stage"
DOES_NOT_APPLY = "does not apply: "
PACK_SILENT = "no value in the pack: "
UNSAID = "a value that it needs is not recorded, unreadable or unknown"
REASONS_TOLD = 3
_NO_ROWS: Final = pd.DataFrame()


@dataclass(frozen=True)
class Missing:
    """A fact that kept rows from being judged: in words, what to record, how many rows."""

    words: str
    what: str | None
    rows: int


@dataclass(frozen=True)
class About:
    """What a finding is grouped by and what is to be done about it."""

    kind: str
    key: str
    steps: tuple[Step, ...]


@dataclass(frozen=True)
class Judged:
    """One rule's outcome and findings; `unclear` holds the rows it could not judge.

    `about` has an entry a finding id. `missing` are the facts that rows lack, `pack_silent`
    the reasons that are the local code's own silence.
    """

    rule: Rule
    outcome: Outcome
    findings: tuple[Finding, ...] = ()
    unclear: pd.DataFrame = field(default_factory=pd.DataFrame)
    about: Mapping[str, About] = field(default_factory=dict)
    missing: tuple[Missing, ...] = ()
    pack_silent: tuple[str, ...] = ()

    @property
    def fully_run(self) -> bool:
        """Whether all was judged but what does not apply or the local code is silent on."""
        state, reason = self.outcome.state, self.outcome.reason or ""
        if state == "assessed" or reason.startswith(DOES_NOT_APPLY):
            return True
        return state in ("partly", "not-assessed") and bool(self.pack_silent) and not self.missing

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
    """What the rule returns, checked: subject columns, and a `fails` that can be unclear."""
    frame = rule.judge(data)
    lacking = [c for c in (*rule.subjects, "fails", *rule.evidence) if c not in frame.columns]
    optional = {s for s in lacking if s in rule.subjects}
    if set(lacking) - optional or len(optional) == len(rule.subjects):
        raise TypeError(f"the rule's answer lacks {', '.join(lacking)}")
    if frame.empty:
        return frame.assign(fails=frame["fails"].astype("boolean"))
    if frame["fails"].dtype != "boolean":
        raise TypeError(f"`fails` is {frame['fails'].dtype}, which cannot be unclear")
    return frame


def _judge(rule: Rule, data: Dataset, stage: str) -> Judged:
    if stage == "upload" and not rule.upload:
        return Judged(rule, _outcome(rule, "not-assessed", reason=NOT_THIS_STAGE))
    lacking = rule.lacking(data)
    if lacking is not None:
        outcome = _outcome(rule, "not-assessed", reason=lacking)
        return Judged(rule, outcome, missing=_lacking_facts(rule, data, lacking))
    try:
        frame = verdicts(rule, data)
        findings, about = _findings(rule, data, frame)
        unclear = _rows(frame, frame["fails"].isna().to_numpy())
        missing, silent = _missing(unclear)
    except Exception as e:
        return Judged(rule, _outcome(rule, "failed", reason=without_data(e)))
    unassessed = len(unclear)
    checked = len(frame) - unassessed
    state, reason = "assessed", None
    if unassessed:
        state = "partly" if checked else "not-assessed"
        reason = _reason(unassessed, missing, silent)
    elif not checked and "does_not_apply" in frame.attrs:
        state, reason = "not-assessed", DOES_NOT_APPLY + frame.attrs["does_not_apply"]
    outcome = _outcome(rule, state, checked, unassessed, len(findings), reason)
    return Judged(rule, outcome, tuple(findings), unclear, about, missing, silent)


def _lacking_facts(rule: Rule, data: Dataset, reason: str) -> tuple[Missing, ...]:
    """What would let the rule run: the first table or columns that are not there."""
    if reason.startswith(DOES_NOT_APPLY):
        return ()
    for table, columns in rule.needs.items():
        if table not in data.tables or not len(data[table]):
            return (Missing(reason, table, 0),)
        absent = [c for c in columns if not any(data.has(table, w) for w in c.split("|"))]
        if absent:
            return (Missing(reason, f"{table}.{absent[0].split('|')[0]}", len(data[table])),)
    return (Missing(reason, None, 0),)


def _missing(unclear: pd.DataFrame) -> tuple[tuple[Missing, ...], tuple[str, ...]]:
    """The facts that these rows lack, most rows first, and where the local code is silent."""
    if unclear.empty:
        return (), ()
    size = len(unclear)
    words = unclear["reason"].tolist() if "reason" in unclear else [None] * size
    whats = unclear["lacks"].tolist() if "lacks" in unclear else [None] * size
    count = Counter(
        (UNSAID if w is None or pd.isna(w) else str(w), None if pd.isna(x) else str(x))
        for w, x in zip(words, (None if x is None else x for x in whats), strict=True)
    )
    ordered = sorted(count.items(), key=lambda i: (-i[1], i[0][0], i[0][1] or ""))
    facts = tuple(Missing(w, x, n) for (w, x), n in ordered if not w.startswith(PACK_SILENT))
    return facts, tuple(dict.fromkeys(w for (w, _), _ in ordered if w.startswith(PACK_SILENT)))


def _reason(n: int, missing: tuple[Missing, ...], silent: tuple[str, ...]) -> str:
    """Why rows could not be judged, in words; the commonest facts first."""
    if not missing:
        return "; ".join((silent[0], *(s.removeprefix(PACK_SILENT) for s in silent[1:])))
    words = list(dict.fromkeys([*(m.words for m in missing), *silent]))
    told = "; ".join(words[:REASONS_TOLD])
    more = len(words) - REASONS_TOLD
    return f"{n} could not be checked: {told}" + (f"; and {more} more reasons" if more > 0 else "")


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


def _findings(
    rule: Rule, data: Dataset, frame: pd.DataFrame
) -> tuple[list[Finding], dict[str, About]]:
    failing = _rows(frame, frame["fails"].to_numpy(bool, na_value=False))
    if failing.empty:
        return [], {}
    references = [*map(str, rule.references), *_pack_references(rule, data)]
    subject_rows = subjects_of(rule, failing)
    evidence_rows = _evidence(rule, failing)
    places = source_rows(rule, data, failing)
    size = len(failing)
    priorities = failing["priority"] if "priority" in failing else [rule.priority] * size
    steps_of = failing["do"] if "do" in failing else [rule.do] * size
    causes = _causes(rule, failing, subject_rows)
    findings: list[Finding] = []
    about: dict[str, About] = {}
    seen: dict[str, int] = {}
    for subjects, evidence, sources, priority, steps, cause in zip(
        subject_rows, evidence_rows, places, priorities, steps_of, causes, strict=True
    ):
        identity = finding_id(rule.name, anchor_of(rule, subjects))
        if identity in seen:  # an id that stands on several rows: one finding, all its rows
            first = findings[seen[identity]]
            both = {(s.file, s.sheet or "", s.row): s for s in (*first.sources, *sources)}
            whole = [both[k] for k in sorted(both)]
            findings[seen[identity]] = first.model_copy(update={"sources": whole})
            continue
        seen[identity] = len(findings)
        about[identity] = About(cause[0], cause[1], tuple(steps))
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
                remedy=" ".join(step.text for step in steps),
                evidence=evidence,
                references=references,
                change=None,
                decision=None,
                anchor=anchor_of(rule, subjects),
            )
        )
    return findings, about


def anchor_of(rule: Rule, subjects: Mapping[str, list[str]]) -> dict[str, list[str]]:
    """What the finding's id is made of: of a list its first id, where `*` stands all of them."""
    anchor = {}
    for part in rule.anchor:
        key = part.rstrip("*")
        if key in subjects:
            anchor[key] = subjects[key] if part.endswith("*") else subjects[key][:1]
    return anchor


def _causes(
    rule: Rule, failing: pd.DataFrame, subject_rows: Sequence[Mapping[str, list[str]]]
) -> list[tuple[str, str]]:
    """Each finding's kind of case and its key, by cases.md 1."""
    size = len(failing)
    kinds = failing["cause_kind"] if "cause_kind" in failing else [rule.cause.kind] * size
    keys = failing["cause_key"] if "cause_key" in failing else [None] * size
    joint = "." if rule.cause.kind == "column" else " "
    told = []
    others = [k for k in rule.cause.key if k not in rule.subjects and k in failing]
    rows = (
        [
            dict(zip(others, map(_names, r), strict=True))
            for r in zip(*(failing[k] for k in others), strict=True)
        ]
        if others
        else [{}] * size
    )
    for kind, key, subjects, own in zip(kinds, keys, subject_rows, rows, strict=True):
        if key is None or pd.isna(key):
            anchor = {**subjects, **anchor_of(rule, subjects)}
            parts = [
                (
                    part[1:]
                    if part.startswith("=")
                    else " ".join(anchor.get(part) or own.get(part, []))
                )
                for part in rule.cause.key
            ]
            key = joint.join(p for p in parts if p)
        one = "pin" if kind == "card" and "pin" in subjects and "card" not in subjects else kind
        told.append((str(one), str(key)))
    return told


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


def source_rows(rule: Rule, data: Dataset, failing: pd.DataFrame) -> list[list[SourceRow]]:
    """Where each row of the rule's answer stands in the files."""
    first = next(iter(rule.needs), "")
    if "sources" in failing:
        pairs: Iterable[Iterable[tuple[str, int]]] = failing["sources"]
    else:
        pairs = ([(first, label)] for label in failing.index)
    rows = []
    for group in pairs:
        found = sorted(
            {data.where(table, label) for table, label in group if table in data.tables},
            key=lambda s: (s.file, s.sheet or "", s.row),
        )
        rows.append([SourceRow(file=p.file, sheet=p.sheet, row=p.row) for p in found])
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
    ids = frozenset(finding_id(rule.name, anchor_of(rule, s)) for s in subjects)
    values = frozenset((k, v) for s in subjects for k in plural if k in s for v in s[k])
    return ids, values
