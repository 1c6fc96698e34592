from collections.abc import Iterable, Iterator, Sequence
from typing import Any, Final

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc

from audit.arithmetic.plain import places
from audit.arithmetic.three import Bools, Ints
from audit.contract import Cause, Dataset, Step, rule
from audit.facts.log import log
from audit.facts.standing import by_id, stands
from audit.schema import HOLDER_TABLES, TABLES, Column
from rules.register._shared import EVERY_TABLE, SHOWN, _Cell, _cells, _frame


@rule(
    title="A reference to something that is not in the register",
    finds="A row that names a dwelling, person, card, PIN, door, group, zone, schedule,"
    " calendar or station that is not in its table.",
    priority="planned",
    upload=True,
    needs={},
    uses=EVERY_TABLE,
    subjects=("table", "column", "id"),
    cause=Cause("column", ("table", "column")),
    summary="{table}, {id}: {column} names {named}, which is not in its table.",
    evidence=("named", "rows"),
    do=(
        Step(
            "Correct the reference, or add the missing row to its table.",
            who="office",
            does="record",
        ),
    ),
    cites=(
        "nist-sp-800-53-rev-5-1-1-pe-2",
        "en-60839-11-1-2013-8-test-of-table-4-2",
    ),
)
def reference_unknown(data: Dataset) -> pd.DataFrame:
    """A card whose person is in no list stays behind unnoticed when that person moves out."""
    cells = unknown_references(data)
    return cells.assign(named=cells["what"], fails=cells["wrong"])


_LOGS: Final = ("events", "loaded")


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


def _not_found(data: Dataset, name: str, column: Column, target: str) -> Bools:
    """Whether a reference is none of the target's rows: what other rules have looked up too."""
    if column.refers is None or TABLES[target].row_id is None:
        return np.ones(len(data[name]), bool)
    if name == "events":  # of its references only doors are asked here
        book = log(data)
        absent: Bools = (places(by_id(data, "doors").index, book.doors) == -1)[book.door]
        return absent
    nowhere: Bools = stands(data, name, column.name, target) == -1
    return nowhere


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
    data: Dataset, name: str, column: str, labels: Ints, told: Sequence[str]
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


def _true(mask: Any) -> Bools:
    if mask.null_count:
        mask = mask.fill_null(False)
    if isinstance(mask, pa.ChunkedArray):
        return np.asarray(mask.to_numpy(), bool)
    return np.asarray(mask.to_numpy(zero_copy_only=False), bool)
