"""What an insurer's findings.json holds, as a model; `audit.insurer` makes it of a full record."""

from __future__ import annotations

import json
from typing import Literal

from pydantic import BaseModel, ConfigDict

from audit.record import (
    FORMAT,
    CaseTotals,
    Differs,
    PreviousRecord,
    ProgramFacts,
    SiteFacts,
    State,
    Verdict,
)
from audit.screen import CAUTION

Count = int | Literal["fewer than five"]


class _Model(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class Coverage(_Model):
    """What became of one rule; how many rows it could and could not check."""

    rule: str
    family: str
    state: State
    checked: Count
    unassessed: Count


class Family(_Model):
    """Findings of one family of rules by priority."""

    family: str
    immediate: Count
    planned: Count
    advisory: Count


class Review(_Model):
    """The families of one review."""

    as_of: str
    families: list[Family]


class LifeSafety(_Model):
    """One life-safety case: where, what, and how urgent; of dwellings only that it is one."""

    places: list[str]
    titles: list[str]
    priority: str
    rank: int
    open: int
    people: Count
    change: str | None
    do: list[str]


class Decided(_Model):
    """Decisions of one kind: how many, how old the oldest is, which ends first, how many ended."""

    decision: str
    life_safety: bool
    number: Count
    oldest_days: int | None
    first_until: str | None
    expired: Count


class InsurerTable(_Model):
    """One table of the scope."""

    table: str
    rows: Count
    previous_rows: Count | None
    newest: str | None


class InsurerScope(_Model):
    """What the audit rests on."""

    policy: list[Differs]
    mapped_columns: int
    mapped_words: int
    missing_tables: list[str]
    tables: list[InsurerTable]


class InsurerRecord(_Model):
    """The whole of an insurer's findings.json."""

    format: str = FORMAT
    site: SiteFacts
    as_of: str
    stage: Literal["review", "upload"]
    audience: Literal["insurer"] = "insurer"
    caution: str = CAUTION
    program: ProgramFacts | None
    scope: InsurerScope | None
    verdict: Verdict | None
    case_totals: CaseTotals
    previous: PreviousRecord | None
    outcomes: list[Coverage]
    families: list[Family]
    course: list[Review]
    life_safety: list[LifeSafety]
    decisions: list[Decided]

    def to_json(self) -> str:
        """The file's text: UTF-8, two blanks of indent, one newline at the end."""
        text = json.dumps(self.model_dump(), ensure_ascii=False, indent=2)
        return text.encode("utf-8", "replace").decode() + "\n"
