"""One row a subject, also where a register has one id on two rows."""

from __future__ import annotations

from collections.abc import Callable

import pandas as pd

from audit.contract import Dataset
from audit.schema import TABLES


def once_each(data: Dataset, frame: pd.DataFrame, table: str, *keys: str) -> pd.DataFrame:
    """A rule's rows (labels of `table`) with every subject once.

    `keys` are the subject columns. Where rows of the table share an id, a finding outweighs
    what can't be judged, and that outweighs what is in order; the row that stays tells its
    own evidence, and `sources` names all failing rows of its subject.
    """
    if data.once(_unique[table]):
        return frame
    keyed = frame[list(keys)]
    if not keyed.duplicated().any():
        return frame
    rank = frame["fails"].map({True: 0, False: 2}).fillna(1).astype(int)
    text = pd.Series([repr(row) for row in frame.itertuples(index=False)], index=frame.index)
    ordered = frame.assign(_rank=rank, _text=text).sort_values(["_rank", "_text"], kind="stable")
    first = ordered.drop_duplicates(list(keys)).sort_index()
    failing = ordered[ordered["_rank"] == first["_rank"].min()]
    labels = failing.groupby(list(keys), dropna=False).groups
    single = len(keys) == 1
    names = first[keys[0]] if single else list(zip(*(first[k] for k in keys), strict=True))
    found = [[(table, label) for label in labels.get(name, [])] for name in names]
    return first.assign(sources=found).drop(columns=["_rank", "_text"])


def _unique_of(table: str) -> Callable[[Dataset], bool]:
    column = TABLES[table].row_id or ""
    return lambda data: bool(data[table][column].is_unique)


_unique = {name: _unique_of(name) for name, spec in TABLES.items() if spec.row_id is not None}


def lists(keys: pd.Series, values: pd.Series, wanted: pd.Series) -> list[list[str]]:
    """For each wanted key the sorted distinct values beside it; `keys` may be part of `values`.

    Walks the matching rows only: `wanted` is what a finding needs, never a whole table.
    """
    hits = keys[keys.isin(wanted.dropna().unique())]
    found: dict[str, set[str]] = {}
    for key, value in zip(hits, values.reindex(hits.index), strict=True):
        if not pd.isna(value):
            found.setdefault(key, set()).add(str(value))
    return [sorted(found.get(key, ())) if not pd.isna(key) else [] for key in wanted]
