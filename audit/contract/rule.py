"""The declaration of a rule: all that engine, cases and reader need without running it."""

from __future__ import annotations

import importlib
import inspect
import pkgutil
import textwrap
import tomllib
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from types import ModuleType
from typing import Final, Literal

import pandas as pd

from audit.contract.dataset import Dataset

Priority = Literal["immediate", "planned", "advisory"]
Surety = Literal["read", "quoted", "from memory", "common practice, no source"]
Trade = Literal["door fitter", "panel technician", "office"]
Does = Literal["free", "cut", "fit", "record"]

SURETIES: Final = ("read", "quoted", "from memory", "common practice, no source")
TRADES: Final = ("door fitter", "panel technician", "office")
EFFECTS: Final = ("free", "cut", "fit", "record")
"""What a step does, in the order in which steps are taken: free a way out, cut off a way in
that works without right, mend hardware, put records right."""


@dataclass(frozen=True)
class Reference:
    """Document, edition and clause title; what it says; how sure we are of it."""

    key: str
    document: str
    says: str
    sure: Surety

    def __str__(self) -> str:
        return f"{self.document}: {self.says} ({self.sure})"


@cache
def references() -> Mapping[str, Reference]:
    """Every clause that a rule may cite, by its key (rules/references.toml)."""
    raw = tomllib.loads((files("rules") / "references.toml").read_text("utf-8"))
    return {key: Reference(key, **entry) for key, entry in raw.items()}


@dataclass(frozen=True)
class Step:
    """One thing to do: a sentence or two, who does it, and what it does (EFFECTS)."""

    text: str
    who: Trade
    does: Does


@dataclass(frozen=True)
class Cause:
    """What findings of this rule are grouped by: the kind of case and what makes its key.

    `key` has subject keys (of a plural one the anchor's ids), and texts that begin with `=`.
    A rule whose kind or key hangs on the row gives columns `cause_kind` and `cause_key`.
    """

    kind: str
    key: tuple[str, ...] = ()


@dataclass(frozen=True)
class Rule:
    """All that the engine, the catalogue and a reader need, without running the rule."""

    name: str
    family: str
    title: str
    finds: str
    why: str
    priority: Priority
    gravest: Priority
    upload: bool
    life_safety: bool
    needs: Mapping[str, tuple[str, ...]]
    uses: tuple[str, ...]
    equipment: tuple[str, ...]
    policy: tuple[str, ...]
    optional_policy: tuple[str, ...]
    subjects: tuple[str, ...]
    anchor: tuple[str, ...]
    cause: Cause
    summary: str
    evidence: tuple[str, ...]
    do: tuple[Step, ...]
    references: tuple[Reference, ...]
    cannot: Mapping[str, str]
    judge: Callable[[Dataset], pd.DataFrame]

    @property
    def remedy(self) -> str:
        """The steps as one text."""
        return " ".join(step.text for step in self.do)

    @property
    def important(self) -> bool:
        """Whether the verdict hangs on it: life safety, or `immediate` in its line."""
        return self.life_safety or self.gravest == "immediate"

    def lacking(self, data: Dataset) -> str | None:
        """Why the rule cannot be assessed on this site at all; None where it can."""
        without = [t for t in self.needs if t in data.site.without]
        if without:
            return f"does not apply: the site has no {without[0]}"
        if not self.needs and not any(table in data.tables for table in self.uses):
            return "none of the tables that it reads is there"
        for table, columns in self.needs.items():
            if table not in data.tables:
                return f"there is no {table} table"
            missing = [c for c in columns if not any(data.has(table, w) for w in c.split("|"))]
            if missing:
                plural, named = "s" if len(missing) > 1 else "", ", ".join(missing)
                return f"the {table} table has no column{plural} {named.replace('|', ' or ')}"
            if not len(data[table]):
                return f"the {table} table has no row"
        unset = [k for k in self.equipment if getattr(data.equipment, k) is None]
        if unset:
            return f"[equipment] in site.toml does not give {', '.join(unset)}"
        unset = [k for k in self.optional_policy if getattr(data.policy, k) is None]
        if unset and len(unset) == len(self.optional_policy):
            return f"[policy] in site.toml does not give {' or '.join(unset)}"
        return None


def does_not_apply(frame: pd.DataFrame, reason: str) -> pd.DataFrame:
    """The frame, saying why nothing is in scope: a fact of the site excludes the rule.

    The engine asks for it only where the frame has no row.
    """
    frame.attrs["does_not_apply"] = reason
    return frame


def rule(
    *,
    title: str,
    finds: str,
    priority: Priority,
    subjects: tuple[str, ...],
    cause: Cause,
    summary: str,
    do: tuple[Step, ...],
    cites: tuple[str, ...],
    needs: Mapping[str, tuple[str, ...]],
    gravest: Priority | None = None,
    anchor: tuple[str, ...] | None = None,
    upload: bool = False,
    life_safety: bool = False,
    uses: tuple[str, ...] = (),
    equipment: tuple[str, ...] = (),
    policy: tuple[str, ...] = (),
    optional_policy: tuple[str, ...] = (),
    evidence: tuple[str, ...] = (),
    cannot: Mapping[str, str] | None = None,
) -> Callable[[Callable[[Dataset], pd.DataFrame]], Callable[[Dataset], pd.DataFrame]]:
    """Declares the function below it as a rule; its name and family come from the file.

    `finds` says in plain words what makes a finding. In `needs`, `a|b` is a column of which
    either will do. `summary` is a sentence with places for subjects and evidence, see
    `audit.wording`. `priority` is that of a finding whose row gives none in a column
    `priority`; `gravest` the highest that a row may give. `anchor` (default: the subjects)
    makes the id: of a list its first id, with `*` behind the key all of them; `()` where the
    rule alone is it. `cites` are keys of rules/references.toml.

    The function returns everything in scope, a row each, with a column for every subject
    key, a nullable boolean `fails`, and the evidence columns. Besides: `priority`, `sources`
    (a list of (table, index label); default: the row's own of the first table in `needs`),
    `reason` (text: the fact that is missing where `fails` is NA; "no value in the pack: ..."
    where the local code is silent), `lacks` (what to record: "doors.lock",
    "building.evacuation"), `do` (the row's own steps), `cause_kind`, `cause_key`.
    """
    if "secret" in evidence or "secret" in subjects:
        raise TypeError("a PIN's digits are no evidence")

    def declare(judge: Callable[[Dataset], pd.DataFrame]) -> Callable[[Dataset], pd.DataFrame]:
        *_, family, module = judge.__module__.split(".")
        why = textwrap.dedent(inspect.cleandoc(judge.__doc__ or "")).split("\n\n")[0]
        declared = Rule(
            name=module.replace("_", "-"),
            family=family,
            title=title,
            finds=finds,
            why=" ".join(why.split()),
            priority=priority,
            gravest=gravest or priority,
            upload=upload,
            life_safety=life_safety,
            needs=dict(needs),
            uses=uses,
            equipment=equipment,
            policy=policy,
            optional_policy=optional_policy,
            subjects=subjects,
            anchor=subjects if anchor is None else anchor,
            cause=cause,
            summary=summary,
            evidence=evidence,
            do=do,
            references=tuple(references()[key] for key in cites),
            cannot=dict(cannot or {}),
            judge=judge,
        )
        judge.rule = declared  # type: ignore[attr-defined]
        return judge

    return declare


def collect(package: ModuleType) -> tuple[Rule, ...]:
    """Every rule below a package, ordered by family and name."""
    found: list[Rule] = []
    for info in pkgutil.walk_packages(package.__path__, package.__name__ + "."):
        if info.ispkg or info.name.rsplit(".", 1)[-1].startswith("_"):
            continue
        module = importlib.import_module(info.name)
        own = [
            f.rule
            for f in vars(module).values()
            if callable(f)
            and isinstance(getattr(f, "rule", None), Rule)
            and f.__module__ == info.name
        ]
        if len(own) != 1:
            raise TypeError(f"{info.name} must hold exactly one rule, it holds {len(own)}")
        found.append(own[0])
    return tuple(sorted(found, key=lambda r: (r.family, r.name)))
