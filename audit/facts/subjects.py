"""One row a subject, also where a register has one id on two rows."""

from __future__ import annotations

from typing import Final

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc

from audit.contract import TEXT, Dataset
from audit.facts.standing import one_row_each

SHOWN: Final = 100
"""Values that a list of evidence names; the rest is counted."""


def once_each(data: Dataset, frame: pd.DataFrame, table: str, *keys: str) -> pd.DataFrame:
    """A rule's rows (labels of `table`) with every subject once.

    `keys` are the subject columns. Where rows of the table share an id, a finding outweighs
    what can't be judged, and that outweighs what is in order; the row that stays tells its
    own evidence, and `sources` names all failing rows of its subject.
    """
    if one_row_each(data, table):
        return frame
    return _merged(frame.assign(table=table, label=frame.index), keys)


def sourced(frame: pd.DataFrame, *keys: str) -> pd.DataFrame:
    """Rows of several tables (columns `table` and `label`) with every subject once.

    As `once_each`; adds `sources` for the failing rows.
    """
    if frame[list(keys)].duplicated().any():
        return _merged(frame, keys)
    failing = frame["fails"].fillna(False).to_numpy(dtype=bool)
    sources = pd.Series(None, index=frame.index, dtype=object)
    rows = frame.loc[failing, ["table", "label"]]
    for at, table, label in rows.itertuples(name=None):
        sources[at] = [(table, label)]
    return frame.assign(sources=sources)


def _merged(frame: pd.DataFrame, keys: tuple[str, ...]) -> pd.DataFrame:
    verdict = frame["fails"].astype("boolean")
    rank = np.where(verdict.isna(), 1, np.where(verdict.fillna(False), 0, 2))
    text = [repr(row) for row in frame.drop(columns="label").itertuples(index=False, name=None)]
    ordered = frame.assign(_rank=rank, _text=text).sort_values(["_rank", "_text"], kind="stable")
    subject = pd.Series(
        list(zip(*(ordered[k].fillna("") for k in keys), strict=True)), index=ordered.index
    )
    found: dict[tuple[str, ...], list[tuple[str, int]]] = {}
    for name, fails, table, label in zip(
        subject, ordered["_rank"] == 0, ordered["table"], ordered["label"], strict=True
    ):
        group = found.setdefault(name, [])
        if fails:
            group.append((table, int(label)))
    first = ordered.assign(_subject=subject).drop_duplicates("_subject")
    sources = pd.Series([found[n] for n in first["_subject"]], index=first.index, dtype=object)
    return first.assign(sources=sources).drop(columns=["_rank", "_text", "_subject"])


def is_in(ids: pd.Series, known: pd.Series) -> pd.Series:
    """Whether each id is one of `known` (bool, aligned with `ids`); blank ids are not.

    As `ids.isin(known)`, but without a Python object for each id.
    """
    if not len(known):
        return pd.Series(False, index=ids.index)
    asked, values = (
        pa.array((s if s.dtype == TEXT else s.astype(TEXT)).array) for s in (ids, known)
    )
    found = pc.is_in(asked, value_set=values, skip_nulls=True)
    return pd.Series(found.to_numpy(zero_copy_only=False), index=ids.index, dtype=bool)


def lists(keys: pd.Series, values: pd.Series, wanted: pd.Series) -> list[list[str]]:
    """For each wanted key the sorted distinct values beside it; `keys` may be part of `values`.

    Walks the matching rows only: `wanted` is what a finding needs, never a whole table. Of very
    many values the first SHOWN stand there, and how many more there are: a number that
    thousands of cards share would fill the report once for each of them.
    """
    hits = keys[is_in(keys, wanted)]
    found: dict[str, set[str]] = {}
    for key, value in zip(hits, values.reindex(hits.index), strict=True):
        if not pd.isna(value):
            found.setdefault(key, set()).add(str(value))
    told = {key: _first(sorted(values)) for key, values in found.items()}
    return [told.get(key, []) if not pd.isna(key) else [] for key in wanted]


def _first(names: list[str]) -> list[str]:
    more = len(names) - SHOWN
    return names if more <= 0 else [*names[:SHOWN], f"and {more} more"]
