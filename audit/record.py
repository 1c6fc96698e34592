"""findings.json: the record from which every report is drawn, as a model and as its schema."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Mapping, Sequence
from typing import Any, Final, Literal

from pydantic import BaseModel, ConfigDict, ValidationError

from audit.screen import CAUTION
from audit.site import InputError

FORMAT: Final = "door-audit findings 2"
PRIORITIES = ("immediate", "planned", "advisory")
Priority = Literal["immediate", "planned", "advisory"]
State = Literal["assessed", "partly", "not-assessed", "failed"]
Change = Literal["new", "standing", "wider", "narrower", "returned"]


class _Model(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class SiteFacts(_Model):
    """Which site the record speaks of."""

    id: str | None = None
    name: str
    timezone: str
    local_code: str


class InputRow(_Model):
    """One table's file, by its commitment (keyed with the site's key; null without one)."""

    table: str
    file: str
    commitment: str | None
    rows: int
    set_aside: int


class Outcome(_Model):
    """What became of one rule: how many were in scope, judged, unclear, found."""

    rule: str
    state: State
    checked: int
    unassessed: int
    found: int
    reason: str | None


class SourceRow(_Model):
    """Where a row stands; the header of a sheet is row 1. Readers outside are told the table."""

    file: str
    sheet: str | None
    row: int | None


class Decision(_Model):
    """What a reviewer decided; `state` says whether it is in force as of the day."""

    decision: Literal["revoke", "correct", "keep", "later"]
    reason: str
    decided_by: str
    decided_on: str | None
    until: str | None
    document: str | None
    competent_person: str | None = None
    subject: list[str] = []
    state: Literal["in force", "lapsed", "noted", "for others"]


MEANS: Final[Mapping[str, str]] = {
    "immediate": (
        "Act today: people could be hurt or trapped, or someone without a right to enter can get in"
    ),
    "planned": "Put right before the next review",
    "advisory": "Worth checking",
}
"""What each priority means; the same words in every output."""


class Finding(_Model):
    """One finding; `id` is made of the rule and its subjects only."""

    id: str
    rule: str
    priority: Priority
    life_safety: bool
    subjects: dict[str, list[str]]
    sources: list[SourceRow]
    summary: str
    why: str
    remedy: str
    evidence: dict[str, Any]
    references: list[str]
    change: Change | None
    decision: Decision | None
    anchor: dict[str, list[str]] = {}
    first_seen: str | None = None
    reviews: int = 1
    case: str | None = None

    @property
    def silenced(self) -> bool:
        """Whether a decision in force keeps it from counting for --fail-on.

        A promise (`later`) never silences an immediate finding.
        """
        decision = self.decision
        if decision is None or decision.state != "in force":
            return False
        return decision.decision == "keep" or (
            decision.decision == "later" and self.priority != "immediate"
        )


class Past(_Model):
    """An earlier finding that is gone, or that could not be looked at again."""

    id: str
    rule: str
    subjects: dict[str, list[str]]


class Totals(_Model):
    """Findings by priority."""

    immediate: int
    planned: int
    advisory: int


class Case(_Model):
    """Findings of one cause with one thing to do: what people read, decide and sign."""

    id: str
    kind: str
    title: str
    cause: str
    priority: Priority
    life_safety: bool
    rank: int
    people: int
    place: str
    findings: list[str]
    open: int
    do: list[str]
    who: list[str]
    change: Literal["new", "standing", "changed"] | None


class CaseTotals(_Model):
    """Open cases by priority."""

    immediate: int
    planned: int
    advisory: int


class Coverage(_Model):
    """How many of the stage's rules were run; they add up."""

    assessed: int
    partly: int
    not_assessed: int
    not_applicable: int
    failed: int


class NotRun(_Model):
    """An important rule that was not fully run, and what is missing for it."""

    rule: str
    missing: str


class Silent(_Model):
    """A rule for which the local code has no value, and which."""

    rule: str
    threshold: str


class Next(_Model):
    """What to record next: a table, column or building fact, in one sentence."""

    record: str
    words: str
    rules: list[str]
    rows: int


VerdictState = Literal["incomplete", "trapped", "act-now", "work-due", "not-enough-run", "in-order"]


class Part(_Model):
    """The verdict over a part of the rules."""

    name: str
    state: VerdictState
    words: str
    coverage: Coverage
    important_not_run: int


class Verdict(_Model):
    """The answer of the audit in one state and its words (cases.md 5)."""

    state: VerdictState
    words: str
    coverage: Coverage
    important_not_run: list[NotRun]
    pack_silent: list[Silent]
    parts: list[Part]
    next: list[Next]
    kept: int
    promised: int
    upload: str | None = None

    def lines(self) -> list[str]:
        """The verdict as every output says it: its words, the parts', kept and promised."""
        told = [self.upload] if self.upload else []
        told.append(f"{self.words[:1].upper()}{self.words[1:]}.")
        told += [
            p.words if p.words.startswith(p.name) else f"{p.name}: {p.words}" for p in self.parts
        ]
        if self.kept or self.promised:
            kept = f"{self.kept} {'finding' if self.kept == 1 else 'findings'} kept by decision"
            told.append(f"{kept}, {self.promised} promised for later.")
        return told


class Differs(_Model):
    """A policy value of the site beside the local code's own."""

    key: str
    site: str
    pack: str


class TableScope(_Model):
    """One table: its rows, those of the previous record, and its newest date."""

    table: str
    rows: int
    previous_rows: int | None
    newest: str | None


class Scope(_Model):
    """What the audit rests on: policy that differs, mapped words and columns, tables.

    `mapped` lists what site.toml maps, for the full audience; others get the counts.
    """

    policy: list[Differs]
    mapped_columns: int
    mapped_words: int
    mapped: list[str] = []
    missing_tables: list[str]
    tables: list[TableScope]


class ProgramFacts(_Model):
    """What made the record: its version, and the digest of its catalogue of rules."""

    version: str
    catalogue: str


class PreviousRecord(_Model):
    """The record that this one was compared with."""

    site: str
    as_of: str
    digest: str


class Record(_Model):
    """The whole of findings.json. `notices` are things to say aloud: decisions that lapsed,
    match nothing or are incomplete, an encoding that was assumed."""

    format: Literal["door-audit findings 2"] = FORMAT
    caution: str = CAUTION
    program: ProgramFacts | None = None
    site: SiteFacts
    as_of: str
    stage: Literal["review", "upload"]
    audience: Literal["full", "outside"]
    inputs: list[InputRow]
    outcomes: list[Outcome]
    findings: list[Finding]
    cases: list[Case] = []
    mended: list[Past]
    not_reassessed: list[Past]
    totals: Totals
    case_totals: CaseTotals = CaseTotals(immediate=0, planned=0, advisory=0)
    verdict: Verdict | None = None
    scope: Scope | None = None
    previous: PreviousRecord | None = None
    people: dict[str, str] = {}
    roll: list[dict[str, str]] = []
    notices: list[str] = []

    def to_json(self) -> str:
        """The file's text: UTF-8, two blanks of indent, one newline at the end."""
        try:
            return self.model_dump_json(indent=2) + "\n"
        except ValueError:  # half a sign, as a broken export may hold: written as ?
            text = json.dumps(self.model_dump(), ensure_ascii=False, indent=2)
            return text.encode("utf-8", "replace").decode() + "\n"


def finding_id(rule: str, subjects: Mapping[str, Sequence[str]]) -> str:
    """Sixteen hex digits of the rule's name and its subjects: the same for ever."""
    key = [rule, [[k, sorted(v)] for k, v in sorted(subjects.items())]]
    text = json.dumps(key, ensure_ascii=False, separators=(",", ":"))
    return hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest()[:16]


def order(findings: Iterable[Finding]) -> list[Finding]:
    """The fixed order of findings: priority, rule, id."""
    return sorted(findings, key=lambda f: (PRIORITIES.index(f.priority), f.rule, f.id))


def totals(findings: Iterable[Finding]) -> Totals:
    """How many findings there are of each priority, decided ones too."""
    counts = dict.fromkeys(PRIORITIES, 0)
    for finding in findings:
        counts[finding.priority] += 1
    return Totals(**counts)


def read_record(text: str, name: str) -> Record:
    """A record from its text; InputError with one line where it is none."""
    try:
        raw = json.loads(text)
    except (ValueError, RecursionError):
        raise InputError(f"{name}: not a findings file: it is no valid JSON") from None
    given = raw.get("format") if isinstance(raw, dict) else None
    if given == "door-audit findings 1":
        raise InputError(
            f"{name}: is a findings file of format 1, which this version can't compare with;"
            " audit that site again with this version"
        )
    if given != FORMAT:
        raise InputError(f'{name}: not a findings file: it lacks "format": "{FORMAT}"')
    try:
        return Record.model_validate(raw)
    except ValidationError as e:
        first = e.errors(include_url=False, include_input=False)[0]
        where = ".".join(str(p) for p in first["loc"])
        raise InputError(f"{name}: not a whole findings file: {where}: {first['msg']}") from None


def schema_text() -> str:
    """The JSON Schema of findings.json, as published with the package."""
    schema = Record.model_json_schema()
    schema["$schema"] = "https://json-schema.org/draft/2020-12/schema"
    schema["title"] = FORMAT
    return json.dumps(schema, indent=2) + "\n"
