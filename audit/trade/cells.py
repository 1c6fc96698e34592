"""What is wrong with the cells of a register: a row a wrong cell, and one for every sound column.

Shared shape: `table`, `column`, `id` (the row's own id, or its digest), `sources` (the rows it
stands in), `wrong` (nullable boolean) and `what` (says what is wrong). A column in which nothing
is wrong is one row without `id`: so a rule says what it looked at without a line for every cell
of a million.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any, Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from audit.contract import TEXT, Dataset
from audit.schema import HOLDER_TABLES, ONE_OF, TABLES, Column

EVERY_TABLE: Final = tuple(TABLES)
MANY: Final = 1_000
"""From here on wrong cells of a table without ids of its own are one finding a column:
one correction mends them all."""
SHOWN: Final = 100
"""Rows that such a finding names; the rest is counted in its evidence."""

_LOGS: Final = ("events", "loaded")
_Labels = npt.NDArray[np.int64]
_PARTS: Final = ["table", "column", "id", "wrong", "what", "rows", "sources"]


def empty_cells(data: Dataset) -> pd.DataFrame:
    """Starred cells without a value."""
    parts = []
    for name, found in data.tables.items():
        spec = TABLES[name]
        starred = [*spec.starred, *(["door_group"] if name in ONE_OF else [])]
        for column in starred:
            aside = found.set_aside
            lacks = (aside["column"] == column).to_numpy() & ~aside["unread"].to_numpy(bool)
            parts.append(_cells(data, name, column, -1 - np.flatnonzero(lacks), "empty"))
    return _all(parts)


def unread_cells(data: Dataset) -> pd.DataFrame:
    """Cells whose text could not be understood; what a spreadsheet damaged is told elsewhere."""
    parts = []
    for name, found in data.tables.items():
        for column in _given(data, name):
            mask = found.unread.get(column, np.zeros(len(found.frame), bool))
            if column in found.damage:
                mask = mask & found.damage[column].isna().to_numpy()
            aside = found.set_aside
            gone = (aside["column"] == column).to_numpy() & aside["unread"].to_numpy(bool)
            labels = np.concatenate([np.flatnonzero(mask), -1 - np.flatnonzero(gone)])
            parts.append(_cells(data, name, column, labels, "not understood"))
    return _all(parts)


def damaged_cells(data: Dataset) -> pd.DataFrame:
    """Card numbers and PINs that a spreadsheet changed; `wrong` is NA where nobody can tell."""
    parts = []
    for name, column in (
        ("cards", "number"),
        ("pins", "pin"),
        ("loaded", "number"),
        ("events", "card_number"),
        ("events", "pin_id"),
    ):
        if not data.has(name, column):
            continue
        found = data.tables[name]
        damage = found.damage.get(column)
        labels = np.flatnonzero(damage.notna()) if damage is not None else np.empty(0, np.int64)
        what = damage.iloc[labels].to_numpy(object) if damage is not None else ()
        parts.append(_cells(data, name, column, labels, what))
        hidden = np.empty(0, np.int64)
        if column == "pin":
            silent = found.frame["secret"].isna().to_numpy()
            if damage is not None:
                silent = silent & damage.isna().to_numpy()
            hidden = np.flatnonzero(silent)
        if len(hidden):
            parts.append(_cells(data, name, column, hidden, None).assign(wrong=None))
    return _all(parts)


def repeated_ids(data: Dataset) -> pd.DataFrame:
    """Ids that stand on more than one row; `what` counts those rows."""
    parts = []
    for name, found in data.tables.items():
        own = TABLES[name].row_id
        if own is None:
            continue
        given = ~data.unread(name, own) & ~data.blank(name, own).fillna(False).astype(bool)
        ids = found.frame[own].where(given)
        aside = found.set_aside.drop_duplicates("row")
        lines = -1 - aside.index.to_numpy(np.int64)
        both = pd.concat([ids, pd.Series(aside["id"].to_numpy(), index=lines, dtype=TEXT)])
        twice = both[both.duplicated(keep=False) & both.notna()]
        rows = [
            (name, key, True, len(labels), [(name, int(i)) for i in labels])
            for key, labels in twice.groupby(twice, sort=True).groups.items()
        ]
        sound: list[Any] = [(name, None, False, 0, [])]
        columns = ["table", "id", "wrong", "what", "sources"]
        parts.append(pd.DataFrame(rows or sound, columns=columns))
    return _all(parts)


def unknown_references(data: Dataset) -> pd.DataFrame:
    """References to rows that are not in their table; neither where there is no such table."""
    parts = []
    for name in data.tables:
        for column in TABLES[name].columns:
            told_by_others = (name, column.name) == ("events", "pin_id")
            if column.kind == "ref" and data.has(name, column.name) and not told_by_others:
                parts.append(_references(data, name, column))
    return _all(parts)


def _references(data: Dataset, name: str, column: Column) -> pd.DataFrame:
    frame = data[name]
    ids = frame[column.name]
    known = np.zeros(len(ids), bool)
    unsure = np.zeros(len(ids), bool)
    for target, rows in _targets(data, name, column):
        if target is None or target not in data.tables:
            unsure |= rows
        elif rows.all():
            known = ids.isin(data.known(target)).to_numpy(copy=True)
        else:
            known[rows] = ids[rows].isin(data.known(target)).to_numpy()
    given = ids.notna().to_numpy()
    missing = np.flatnonzero(given & ~known & ~unsure & _pointing(data, name, column))
    if name in _LOGS and len(missing):
        told = _log_references(data, name, column.name, ids.iloc[missing])
    else:
        told = _cells(data, name, column.name, missing, ids.iloc[missing].to_numpy(object))
    if (given & unsure).any():
        cannot = pd.DataFrame({"table": [name], "column": [column.name], "wrong": [pd.NA]})
        return pd.concat([told[told["wrong"]], cannot], ignore_index=True)
    return told


def _targets(
    data: Dataset, name: str, column: Column
) -> Iterable[tuple[str | None, npt.NDArray[np.bool_]]]:
    """The table that a reference points into, and the rows of which that is true."""
    frame = data[name]
    if column.refers is not None:
        yield column.refers, np.ones(len(frame), bool)
        return
    if name == "door_groups":
        kind, tables = frame["member_kind"], {"door": "doors", "door_group": "door_groups"}
    else:
        kind, tables = frame["holder_kind"], HOLDER_TABLES
    for word, table in tables.items():
        yield table, kind.eq(word).fillna(False).to_numpy(bool)
    yield None, kind.isna().to_numpy()


def _pointing(data: Dataset, name: str, column: Column) -> npt.NDArray[np.bool_]:
    """Rows in which the cell is a reference at all: a role is none."""
    if name == "permissions" and column.name == "holder_id":
        return data[name]["holder_kind"].ne("role").fillna(True).to_numpy(bool)
    return np.ones(len(data[name]), bool)


def reversed_periods(data: Dataset) -> pd.DataFrame:
    """Every period with both ends: table, id, start, end, whether it is reversed (nullable)."""
    parts = []
    for name in data.tables:
        for start, end in TABLES[name].periods:
            if not data.has(name, start, end):
                continue
            frame = data[name]
            unread = data.unread(name, start), data.unread(name, end)
            both = (frame[start].notna() | unread[0]) & (frame[end].notna() | unread[1])
            rows = frame[both]
            judged = (rows[end] < rows[start]).astype("boolean")
            parts.append(
                pd.DataFrame(
                    {
                        "table": name,
                        "label": rows.index,
                        "id": data.row_id(name)[both] if len(rows) else pd.Series(dtype=TEXT),
                        "start": rows[start],
                        "end": rows[end],
                        "fails": judged.mask((unread[0] | unread[1])[both]),
                    }
                )
            )
    columns = ["table", "label", "id", "start", "end", "fails"]
    return pd.concat(parts, ignore_index=True) if parts else pd.DataFrame(columns=columns)


# --- shape -------------------------------------------------------------------------------


def _given(data: Dataset, name: str) -> list[str]:
    return [c.name for c in TABLES[name].columns if data.has(name, c.name)]


def _cells(data: Dataset, name: str, column: str, labels: _Labels, what: Any) -> pd.DataFrame:
    """A row a wrong cell (negative labels: lines of the rows set aside); or the sound column."""
    if not len(labels):
        return pd.DataFrame({"table": [name], "column": [column], "wrong": [False]})
    rows = len(labels)
    told: Any = what
    if TABLES[name].row_id is None and rows > MANY:
        sources = [[(name, int(i)) for i in labels[:SHOWN]]]
        told = [what] if np.ndim(what) == 0 else [what[0]]
        labels = labels[:1]
    else:
        sources = [[(name, int(i))] for i in labels]
    return pd.DataFrame(
        {
            "table": name,
            "column": column,
            "id": _names(data, name, labels),
            "wrong": True,
            "what": told,
            "rows": rows if len(labels) < rows else 1,
            "sources": sources,
        }
    )


def _names(data: Dataset, name: str, labels: _Labels) -> list[Any]:
    aside = data.tables[name].set_aside["name"]
    kept = [int(i) for i in labels if i >= 0]
    own = iter(data.row_id(name, kept)) if kept else iter(())
    return [next(own) if i >= 0 else aside.iloc[-1 - i] for i in labels]


def _log_references(data: Dataset, name: str, column: str, missing: pd.Series) -> pd.DataFrame:
    """Rows of a log that name the same unknown row are one finding: one correction mends them."""
    rows = []
    for what, labels in missing.groupby(missing, sort=True).groups.items():
        own = _cells(data, name, column, np.asarray(labels[:SHOWN], np.int64), what)
        first = own.sort_values("id").iloc[0]
        sources = [(name, int(i)) for i in labels[:SHOWN]]
        rows.append({**first, "rows": len(labels), "sources": sources})
    return pd.DataFrame(rows)


def _all(parts: list[pd.DataFrame]) -> pd.DataFrame:
    """One frame of one shape; cells that go by the same name are one row with all sources."""
    if not parts:
        return pd.DataFrame({c: [] for c in _PARTS}).astype({"wrong": "boolean"})
    frame = pd.concat(parts, ignore_index=True).reindex(columns=_PARTS)
    keys = ["table", "column", "id"]
    if frame[keys].duplicated().any():
        merged: dict[tuple[Any, ...], dict[str, Any]] = {}
        records: list[dict[str, Any]] = frame.to_dict("records")  # type: ignore[assignment]
        for row in records:
            key = tuple(None if pd.isna(row[k]) else row[k] for k in keys)
            first = merged.setdefault(key, row)
            if first is not row and isinstance(row["sources"], list):
                first["sources"] = [*first["sources"], *row["sources"]]
                first["rows"] += row["rows"]
        frame = pd.DataFrame(list(merged.values()), columns=_PARTS)
    frame["sources"] = [s if isinstance(s, list) else [] for s in frame["sources"]]
    return frame.astype({"id": TEXT, "column": TEXT, "wrong": "boolean"})
