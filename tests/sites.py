"""Small datasets for tests: an example's text tables through the real typing."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from functools import cache
from typing import Any

import pandas as pd

import rules
from audit.contract import Dataset, Example, Rule, collect
from audit.engine import subjects_of, verdicts
from audit.ingest.tables import from_text
from audit.site import site_from


@cache
def all_rules() -> tuple[Rule, ...]:
    return collect(rules)


def dataset(
    example: Example, *, reverse: bool = False, only: frozenset[str] | None = None
) -> Dataset:
    """The example as a dataset; rows of each table reversed, or only some of the tables."""
    tables = {
        name: (header, rows[::-1] if reverse else rows)
        for name, (header, rows) in example.tables().items()
        if only is None or name in only
    }
    site = site_from(
        {
            "site": {"name": "Example", "timezone": "Europe/Dublin", **example.site},
            "policy": dict(example.policy),
            "equipment": dict(example.equipment),
        }
    )
    return from_text(tables, site, dt.date.fromisoformat(example.as_of))


def told(rule: Rule, frame: pd.DataFrame) -> dict[str, bool | None]:
    """Subject text -> verdict, as an example's `expect` writes it."""
    keys = [
        " ".join("+".join(s[k]) for k in rule.subjects if k in s) for s in subjects_of(rule, frame)
    ]
    fails = [None if v is pd.NA else bool(v) for v in frame["fails"]]
    if len(set(keys)) != len(keys):
        raise AssertionError(f"{rule.name} names a subject twice: {sorted(keys)}")
    return dict(zip(keys, fails, strict=True))


def answer(rule: Rule, data: Dataset) -> dict[str, bool | None]:
    return told(rule, verdicts(rule, data))


def wanted(expect: Mapping[str, Any]) -> dict[str, bool | None]:
    return {k: v for k, v in expect.items() if v is True or v is False or v is None}
