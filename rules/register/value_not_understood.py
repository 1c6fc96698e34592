from typing import Final

import numpy as np
import pandas as pd

from audit.arithmetic.three import Ints
from audit.contract import OUT, Dataset, Example, Reference, Table, rule
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
    summary="{table}, {id}: the value of {column} is not understood; it takes {takes}.",
    evidence=("takes", "rows"),
    remedy=(
        "Write one of the column's words, or a date, time or number that can be read; a word of"
        " your own can be given its meaning in site.toml."
    ),
    references=(
        Reference(
            "ISO 8601-1:2019",
            "dates and times of day in one order that cannot be mistaken",
            sure="from memory",
        ),
        Reference(
            "NIST SP 800-53 rev 5.1.1, PE-2",
            "an approved list of the people with access is kept and reviewed",
            sure="read",
        ),
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


EXAMPLES = (
    Example(
        "words, yes and no, dates, numbers and error cells",
        """
        doors
        door_id | lock    | exit_reader | clear_width_mm | last_tested | name
        D1      | magnet  | Y           | 850,5          | 30/09/2026  | Front
        D2      | glue    | perhaps     | 1,050          | 2026-02-30  | #N/A
        D3      | none    | -           | n/a            | 46295       | none
        """,
        expect={
            "doors door_id": False,
            "doors lock D2": True,
            "doors exit_reader D2": True,
            "doors clear_width_mm D2": True,
            "doors last_tested D2": True,
            "doors name D2": True,
            "doors lock D3": OUT,
            "doors exit_reader D3": OUT,
        },
    ),
    Example(
        "a starred value, and a PIN that goes by its own digits",
        """
        calendars
        calendar | date
        K1       | 25.12.2026
        K2       | 12/31/2026

        pins
        pin_id | pin
        4711   | 4711
        P2     | ****
        P3     | 48O211
        P4     | 4.8E+5

        cards
        card_id | number
        C1      |

        people
        person_id | role
        P1        |

        permissions
        permission_id | holder_kind | holder_id | door_id
        R1            | role        | Staff     | D1
        R2            | role        | cleaners  | D1
        R3            | person      | cleaners  | D1
        """,
        expect={
            "calendars calendar": False,
            "calendars date row-44e0dd102bf8": True,
            "pins pin P3": True,
            "pins pin_id row-c27a3b736cec": True,
            "cards card_id": False,
            "cards number": False,
            "people person_id": False,
            "people role": False,
            "permissions permission_id": False,
            "permissions holder_kind": False,
            "permissions holder_id R2": True,
            "permissions door_id": False,
            "pins pin P2": OUT,
            "pins pin P4": OUT,
        },
    ),
)
