from typing import Final

import numpy as np
import pandas as pd

from audit.arithmetic.three import Ints
from audit.contract import Cause, Dataset, Step, Table, rule
from audit.schema import TABLES, Column
from rules.register._shared import EVERY_TABLE, _aside, _cells, _frame


@rule(
    title="A value that nobody can understand",
    finds="A value that is none of its column's words, or a date, time or number that can't be"
    " read.",
    priority="planned",
    upload=True,
    needs={},
    uses=EVERY_TABLE,
    policy=("pin_minimum_digits",),
    subjects=("table", "column", "id"),
    cause=Cause("column", ("table", "column")),
    summary="{table}, {id}: the value of {column} is not understood; it takes {takes}.",
    evidence=("takes", "rows"),
    do=(
        Step(
            "Write one of the column's words, or a date, time or number that can be read;"
            " a word of your own can be given its meaning in site.toml.",
            who="office",
            does="record",
        ),
    ),
    cites=(
        "iso-8601-1-2019",
        "nist-sp-800-53-rev-5-1-1-pe-2",
    ),
    cannot={"unclear": "a text is understood or it is not"},
)
def value_not_understood(data: Dataset) -> pd.DataFrame:
    """A value that is not understood counts as neither yes nor no, so what hangs on it is open."""
    cells = unread_cells(data)
    return cells.assign(takes=cells["what"], fails=cells["wrong"])


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


def _unread(found: Table, column: str) -> Ints:
    labels = _aside(found, column, unread=True)
    mask = found.unread.get(column)
    if mask is None:
        return labels
    if column in found.damage:
        mask = mask & found.damage[column].isna().to_numpy()
    return np.concatenate([np.flatnonzero(mask), labels])
