"""What the rules on the register's own cells ask: which cell of which row is at fault."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Any, Final, NamedTuple

import numpy as np
import pandas as pd

from audit.arithmetic.three import Ints
from audit.contract import TEXT, Dataset, Table
from audit.schema import TABLES

EVERY_TABLE: Final = tuple(TABLES)


MANY: Final = 1_000
"""From here on wrong cells of a table without ids of its own are one finding a column:
one correction mends them all."""


SHOWN: Final = 100
"""Rows that such a finding names; the rest is counted in its evidence."""


_NONE: Final = np.empty(0, np.int64)


class _Cell(NamedTuple):
    table: str
    column: str | None
    id: str | None
    wrong: bool | None
    what: Any = None
    rows: int = 0
    sources: tuple[tuple[str, int], ...] = ()


def _aside(found: Table, column: str, *, unread: bool) -> Ints:
    """Lines of the rows set aside for want of this column, as negative labels."""
    aside = found.set_aside
    if not len(aside):
        return _NONE
    fits = (aside["column"] == column).to_numpy(bool)
    return -1 - np.flatnonzero(fits & (aside["unread"].to_numpy(bool) == unread))


def _cells(data: Dataset, name: str, column: str, labels: Ints, what: Any) -> Iterator[_Cell]:
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


def _names(data: Dataset, name: str, labels: Ints) -> Iterator[str]:
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
