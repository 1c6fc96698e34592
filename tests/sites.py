"""Small datasets for tests: an example's text tables through the real typing."""

from __future__ import annotations

import datetime as dt
import json
from functools import cache
from typing import Any

import numpy as np
import pandas as pd

import rules
from audit.contract import Dataset, Rule, collect
from audit.contract.example import Answer, Example, example, examples_of
from audit.engine import jsonable, source_rows, subjects_of, verdicts
from audit.ingest.tables import from_text
from audit.site import site_from

__all__ = ["Answer", "Example", "answer", "answers", "dataset", "example", "told"]


@cache
def all_rules() -> tuple[Rule, ...]:
    return collect(rules)


@cache
def examples(rule: str) -> tuple[Example, ...]:
    """The examples beside the rule of this name."""
    return examples_of(next(r.judge.__module__ for r in all_rules() if r.name == rule))


def dataset(
    example: Example, *, reverse: bool = False, only: frozenset[str] | None = None
) -> Dataset:
    """The example as a dataset; rows of each table reversed, or only some of the tables."""
    tables = {
        name: (list(header), rows[::-1] if reverse else list(rows))
        for name, (header, rows) in example.tables.items()
        if only is None or name in only
    }
    given = {k: dict(v) for k, v in example.settings.items()}
    place = {"name": "Example", "timezone": "Europe/Dublin", **given.pop("site", {})}
    site = site_from({"site": place, **given})
    return from_text(tables, site, dt.date.fromisoformat(example.as_of))


def told(rule: Rule, frame: pd.DataFrame) -> dict[str, bool | None]:
    """Subject text -> verdict: a subject's values joined by blanks, lists by +."""
    keys = [
        " ".join("+".join(s[k]) for k in rule.subjects if k in s) for s in subjects_of(rule, frame)
    ]
    fails = [None if v is pd.NA else bool(v) for v in frame["fails"]]
    if len(set(keys)) != len(keys):
        raise AssertionError(f"{rule.name} names a subject twice: {sorted(keys)}")
    return dict(zip(keys, fails, strict=True))


def answer(rule: Rule, data: Dataset) -> dict[str, bool | None]:
    return told(rule, verdicts(rule, data))


TOLD = ("priority", "reason", "lacks")


def answers(rule: Rule, data: Dataset) -> dict[str, Answer]:
    """Subject text -> verdict, and of findings the evidence and the rows that they name."""
    frame = verdicts(rule, data)
    verdict = told(rule, frame)
    failing = frame["fails"].to_numpy(bool, na_value=False)
    evidence = frame[list(rule.evidence)].to_dict("records")
    rows = dict(
        zip(
            np.flatnonzero(failing).tolist(),
            source_rows(rule, data, frame[failing]),
            strict=True,
        )
    )
    return {
        key: Answer(
            said,
            (
                {k: plain(jsonable(v)) for k, v in evidence[at].items()}
                | {
                    "rows": "+".join(f"{s.file} {s.row}" for s in rows.get(at, ())),
                    **{
                        c: plain(frame[c].iloc[at])
                        for c in ("priority", "reason", "lacks")
                        if c in frame
                    },
                    **({"steps": str(len(frame["do"].iloc[at]))} if "do" in frame else {}),
                }
                if failing[at] or said is None
                else {}
            ),
        )
        for at, (key, said) in enumerate(verdict.items())
    }


def agrees(got: dict[str, Answer], example: Example) -> bool:
    """Whether each subject has the verdict, and what evidence the example states."""
    return got.keys() == example.answers.keys() and all(
        got[k].verdict is want.verdict and want.evidence.items() <= got[k].evidence.items()
        for k, want in example.answers.items()
    )


def plain(value: Any) -> str:
    """Evidence as examples write it: lists joined by +, nothing as -, yes and no."""
    if value is None or value is pd.NA:
        return "-"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, list):
        return "+".join(map(plain, value))
    return json.dumps(value, ensure_ascii=False) if isinstance(value, dict) else str(value)
