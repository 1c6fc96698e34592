"""What is wrong with the cells of a register: a row a wrong cell, and one for every sound column.

Shared shape: `table`, `column`, `id` (the row's own id, or its digest), `wrong` (nullable
boolean), `what` (says what is wrong), `rows` (how many rows the line stands for) and `sources`
(the rows it stands in). A column in which nothing is wrong is one row without `id`: so a rule
says what it looked at without a line for every cell of a million.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from typing import Any, Final, NamedTuple

import numpy as np
import numpy.typing as npt
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc

from audit.contract import TEXT, Dataset, Table
from audit.schema import HOLDER_TABLES, ONE_OF, TABLES, Column
from audit.trade.activity import log
from audit.trade.plain import places
from audit.trade.standing import by_id, one_row_each, stands

EVERY_TABLE: Final = tuple(TABLES)
MANY: Final = 1_000
"""From here on wrong cells of a table without ids of its own are one finding a column:
one correction mends them all."""
SHOWN: Final = 100
"""Rows that such a finding names; the rest is counted in its evidence."""
_LOGS: Final = ("events", "loaded")
_NONE: Final = np.empty(0, np.int64)

_Labels = npt.NDArray[np.int64]
_Mask = npt.NDArray[np.bool_]


class _Cell(NamedTuple):
    table: str
    column: str | None
    id: str | None
    wrong: bool | None
    what: Any = None
    rows: int = 0
    sources: tuple[tuple[str, int], ...] = ()


def empty_cells(data: Dataset) -> pd.DataFrame:
    """Starred cells without a value."""
    return _frame(
        cell
        for name, found in data.tables.items()
        for column in (*TABLES[name].starred, *(ONE_OF[name][-1:] if name in ONE_OF else ()))
        for cell in _cells(data, name, column, _aside(found, column, unread=False), "empty")
    )


_TAKES: Final = {
    "yesno": "yes or no",
    "whole": "a whole number, not negative",
    "decimal": "a number, not negative",
    "date": "a date, such as 2026-09-30",
    "moment": "a date and time, such as 2026-09-30T14:05:00",
    "clock": "a time of day from 00:00 to 24:00",
    "days": "words such as mon-fri, sat sun, daily, holiday",
    "pin": "digits, or **** where they are not readable",
}


def takes(column: Column) -> str:
    """What a column takes, in words for people."""
    if column.words:
        return f"one of {', '.join(column.words)}"
    if column.name == "pin_id":
        return "a name of its own, never the code itself"
    if column.name == "holder_id":
        return "the id of a holder, or a role"
    return _TAKES.get(column.kind, "a value, and no error of a spreadsheet")


def unread_cells(data: Dataset) -> pd.DataFrame:
    """Cells whose text could not be understood; what a spreadsheet damaged is told elsewhere.

    `what` says what the column takes.
    """
    return _frame(
        cell
        for name, found in data.tables.items()
        for column in TABLES[name].columns
        if column.name in found.columns
        for cell in _cells(data, name, column.name, _unread(found, column.name), takes(column))
    )


def _unread(found: Table, column: str) -> _Labels:
    labels = _aside(found, column, unread=True)
    mask = found.unread.get(column)
    if mask is None:
        return labels
    if column in found.damage:
        mask = mask & found.damage[column].isna().to_numpy()
    return np.concatenate([np.flatnonzero(mask), labels])


def _aside(found: Table, column: str, *, unread: bool) -> _Labels:
    """Lines of the rows set aside for want of this column, as negative labels."""
    aside = found.set_aside
    if not len(aside):
        return _NONE
    fits = (aside["column"] == column).to_numpy(bool)
    return -1 - np.flatnonzero(fits & (aside["unread"].to_numpy(bool) == unread))


def damaged_cells(data: Dataset) -> pd.DataFrame:
    """Card numbers and PINs that a spreadsheet changed; `wrong` is NA where nobody can tell."""
    cells: list[_Cell] = []
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
        labels = _NONE if damage is None else np.flatnonzero(damage.notna())
        what = () if damage is None else damage.iloc[labels].tolist()
        cells += _cells(data, name, column, labels, what)
        if column == "pin":
            silent = found.frame["secret"].isna().to_numpy()
            hidden = np.setdiff1d(np.flatnonzero(silent), labels)
            if len(hidden):
                cells += (c._replace(wrong=None) for c in _cells(data, name, column, hidden, None))
    lacking = [name for name in ("pins", "events") if name in data.tables and not cells][:1]
    return _frame(cells or (_Cell(name, None, None, None) for name in lacking))


def repeated_ids(data: Dataset) -> pd.DataFrame:
    """Ids that stand on more than one row; `what` counts those rows."""
    cells: list[_Cell] = []
    for name, found in data.tables.items():
        own = TABLES[name].row_id
        if own is None:
            continue
        ids = found.frame[own]
        if not len(found.set_aside) and one_row_each(data, name):
            cells.append(_Cell(name, None, None, False))
            continue
        for marks in (found.unread, found.filled):
            if own in marks:
                ids = ids.mask(marks[own])
        if len(found.set_aside):
            aside = found.set_aside.drop_duplicates("row")
            lines = -1 - aside.index.to_numpy(np.int64)
            ids = pd.concat([ids, pd.Series(aside["id"].to_numpy(), index=lines, dtype=TEXT)])
        counted = pc.value_counts(pa.array(ids.array)).flatten()
        often = pc.and_(pc.greater(counted[1], 1), pc.is_valid(counted[0]))
        repeated = counted[0].filter(often)
        if not len(repeated):
            cells.append(_Cell(name, None, None, False))
            continue
        twice = ids[ids.isin(repeated.to_pylist())]
        for key, labels in twice.groupby(twice, sort=True).groups.items():
            rows = tuple((name, int(i)) for i in labels)
            cells.append(_Cell(name, None, str(key), True, len(rows), len(rows), rows))
    return _frame(cells)


def reversed_periods(data: Dataset) -> pd.DataFrame:
    """Every period with both ends: table, label, id, start, end, `fails` (nullable boolean).

    One row without id, neither sound nor wrong, where no table has both columns.
    """
    parts = []
    for name, found in data.tables.items():
        for start, end in TABLES[name].periods:
            if not data.has(name, start, end):
                continue
            frame = found.frame
            both = frame[start].notna().to_numpy() & frame[end].notna().to_numpy()
            unread = np.zeros(len(frame), bool)
            if start in found.unread or end in found.unread:
                marks = data.unread(name, start).to_numpy(), data.unread(name, end).to_numpy()
                unread = marks[0] | marks[1]
                both = (frame[start].notna().to_numpy() | marks[0]) & (
                    frame[end].notna().to_numpy() | marks[1]
                )
            labels = np.flatnonzero(both)
            starts, ends = frame[start].to_numpy()[labels], frame[end].to_numpy()[labels]
            parts.append(
                {
                    "table": np.full(len(labels), name, object),
                    "label": labels,
                    "id": pa.array(frame[TABLES[name].row_id].array).take(pa.array(labels)),
                    "start": starts,
                    "end": ends,
                    "fails": ends < starts,
                    "unread": unread[labels],
                }
            )
    if not parts:
        # tables, and not a period in them: nothing was looked at
        cannot = [name for name in data.tables if TABLES[name].periods][:1]
        row: dict[str, Any] = {"table": cannot, "label": [-1] * len(cannot), "id": None}
        fails = pd.array([None] * len(cannot), dtype="boolean")
        return pd.DataFrame({**row, "start": pd.NaT, "end": pd.NaT, "fails": fails})
    columns = ("table", "label", "start", "end", "fails", "unread")
    joined: dict[str, Any] = {c: np.concatenate([p[c] for p in parts]) for c in columns}
    unread = joined.pop("unread").astype(bool)
    joined["fails"] = pd.arrays.BooleanArray(joined["fails"].astype(bool), unread)
    ids = [chunk for p in parts for chunk in getattr(p["id"], "chunks", [p["id"]])]
    joined["id"] = pd.array(pa.chunked_array(ids, pa.large_string()), dtype=TEXT)
    return pd.DataFrame(joined)


# --- references ----------------------------------------------------------------------------


def unknown_references(data: Dataset) -> pd.DataFrame:
    """References to rows that are not in their table; neither where there is no such table."""
    known: dict[str, Any] = {}
    return _frame(
        cell
        for name, found in data.tables.items()
        for column in TABLES[name].columns
        if column.kind == "ref"
        and column.name in found.columns
        and (name, column.name) != ("events", "pin_id")  # rules of their own tell of these
        for cell in _references(data, name, column, known)
    )


def _references(data: Dataset, name: str, column: Column, known: dict[str, Any]) -> Iterator[_Cell]:
    ids = pa.array(data[name][column.name].array)
    unknown = np.zeros(len(ids), bool)
    unsure = np.zeros(len(ids), bool)
    given = _true(pc.is_valid(ids))
    for target, rows in _targets(data, name, column):
        if target is None or target not in data.tables:
            unsure |= given & rows
            continue
        lost = np.flatnonzero(given & rows & _not_found(data, name, column, target))
        if not len(lost):
            continue
        if target not in known:
            known[target] = pa.array(data.known(target).array, pa.large_string())
        unknown[lost] |= ~_true(pc.is_in(ids.take(pa.array(lost)), known[target]))
    labels = np.flatnonzero(unknown)
    told = ids.take(pa.array(labels)).to_pylist()
    if name in _LOGS and len(labels):
        yield from _in_logs(data, name, column.name, labels, told)
    elif len(labels) or not unsure.any():
        yield from _cells(data, name, column.name, labels, told)
    if unsure.any():
        yield _Cell(name, column.name, None, None)


def _not_found(data: Dataset, name: str, column: Column, target: str) -> _Mask:
    """Whether a reference is none of the target's rows: what other rules have looked up too."""
    if column.refers is None or TABLES[target].row_id is None:
        return np.ones(len(data[name]), bool)
    if name == "events" and target == "doors":
        book = log(data)
        absent: _Mask = (places(by_id(data, "doors").index, book.doors) < 0)[book.door]
        return absent
    return stands(data, name, column.name, target) < 0


def _targets(data: Dataset, name: str, column: Column) -> Iterable[tuple[str | None, Any]]:
    """The table that a reference points into, and the rows of which that is true.

    A role is no reference; a kind that can't be read points nowhere.
    """
    if column.refers is not None:
        yield column.refers, True
        return
    if name == "door_groups":
        kind, tables = "member_kind", {"door": "doors", "door_group": "door_groups"}
    else:
        kind, tables = "holder_kind", HOLDER_TABLES
    kinds = pa.array(data[name][kind].array)
    for word, table in tables.items():
        rows = _true(pc.equal(kinds, word))
        if rows.any():
            yield table, rows
    yield None, _true(pc.is_null(kinds))


def _in_logs(
    data: Dataset, name: str, column: str, labels: _Labels, told: Sequence[str]
) -> Iterator[_Cell]:
    """Rows of a log that name the same unknown row are one finding: one correction mends them."""
    rows: dict[str, list[int]] = {}
    for label, what in zip(labels.tolist(), told, strict=True):
        rows.setdefault(what, []).append(label)
    for what in sorted(rows):
        first = rows[what][:SHOWN]
        names = data.row_id(name, first)
        sources = tuple((name, i) for i in first)
        yield _Cell(name, column, min(names), True, what, len(rows[what]), sources)


# --- shape -------------------------------------------------------------------------------


def _cells(data: Dataset, name: str, column: str, labels: _Labels, what: Any) -> Iterator[_Cell]:
    """A line a wrong cell (negative labels: rows set aside); or the sound column."""
    if not len(labels):
        yield _Cell(name, column, None, False)
        return
    told = what if isinstance(what, list) else [what] * len(labels)
    if TABLES[name].row_id is None and len(labels) > MANY:
        sources = tuple((name, int(i)) for i in labels[:SHOWN])
        (own,) = _names(data, name, labels[:1])
        yield _Cell(name, column, own, True, told[0], len(labels), sources)
        return
    for label, own, says in zip(labels.tolist(), _names(data, name, labels), told, strict=True):
        yield _Cell(name, column, own, True, says, 1, ((name, label),))


def _names(data: Dataset, name: str, labels: _Labels) -> Iterator[str]:
    aside = data.tables[name].set_aside
    kept = [int(i) for i in labels if i >= 0]
    own = iter(data.row_id(name, kept)) if kept else iter(())
    return (str(next(own)) if i >= 0 else str(aside["name"].iloc[-1 - i]) for i in labels)


def _frame(cells: Iterable[_Cell]) -> pd.DataFrame:
    """One frame of one shape; cells that go by the same name are one row with all sources."""
    found: dict[tuple[str, str | None, str | None], _Cell] = {}
    for cell in cells:
        key = cell[:3]
        first = found.get(key)
        if first is None:
            found[key] = cell
        elif cell.wrong:
            sources = (first.sources + cell.sources) if first.wrong else cell.sources
            rows = (first.rows if first.wrong else 0) + cell.rows
            found[key] = cell._replace(sources=sources, rows=rows)
    columns = list(zip(*found.values(), strict=True)) if found else [()] * len(_Cell._fields)
    told: dict[str, Any] = dict(zip(_Cell._fields, map(list, columns), strict=True))
    told |= {k: pd.array(told[k], dtype=TEXT) for k in ("table", "column", "id")}
    told["wrong"] = pd.array(told["wrong"], dtype="boolean")
    return pd.DataFrame({k: _objects(c) if isinstance(c, list) else c for k, c in told.items()})


def _objects(values: list[Any]) -> Any:
    if all(isinstance(v, int) for v in values):
        return np.array(values, np.int64)
    kept = np.empty(len(values), object)
    for i, value in enumerate(values):  # a slice would unfold the tuples
        kept[i] = value
    return kept


def _true(mask: Any) -> _Mask:
    if mask.null_count:
        mask = mask.fill_null(False)
    if isinstance(mask, pa.ChunkedArray):
        return np.asarray(mask.to_numpy(), bool)
    return np.asarray(mask.to_numpy(zero_copy_only=False), bool)
