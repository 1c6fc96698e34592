"""The shape in which every reader hands over a table: text, row numbers, and what was odd."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Final

import numpy as np
import numpy.typing as npt
import pyarrow as pa

from audit.site import InputError

MAX_COLUMNS: Final = 1_000
MAX_CELL: Final = 32_767  # characters: what a spreadsheet cell can hold
MAX_LINE: Final = 1_048_576  # bytes
MAX_ROWS: Final = 50_000_000
MAX_TEXT: Final = 2 << 30  # bytes of one table that is read row by row
HEADER_WITHIN: Final = 40  # records: titles above a header are few
NAMED_AT_MOST: Final = 5  # rows named in one note; the rest is counted
_CHUNK: Final = 20_000
_CHUNK_TEXT: Final = 1 << 26

Judge = Callable[[Sequence[str]], int]
"""How many columns of the wanted table a row of cells names, were it the header; and SURELY
more where it names every one that the table needs."""
SURELY: Final = 100

Mask = npt.NDArray[np.bool_]


class Number(str):
    """The text of a cell that arrived as a number, not as text."""

    __slots__ = ()


@dataclass(frozen=True)
class RawTable:
    """One table as it stands in its file: every cell text.

    `cells` holds a column each (large_string; null or empty text: nothing stands there);
    `rows` the row numbers that a person sees, the first row of the sheet being 1; `numbers`
    marks, by column position, the cells that arrived as numbers; `long_rows` the positions
    of rows with more cells than the header.
    """

    file: str
    sheet: str | None
    header: tuple[str, ...]
    header_row: int
    cells: tuple[pa.ChunkedArray, ...]
    rows: npt.NDArray[np.int64]
    numbers: Mapping[int, Mask] = field(default_factory=dict)
    long_rows: npt.NDArray[np.int64] = field(default_factory=lambda: np.empty(0, np.int64))
    notes: tuple[str, ...] = ()
    encoding: str | None = None
    separator: str | None = None

    def __len__(self) -> int:
        return len(self.rows)


def choose_header(records: Sequence[Sequence[str]], judge: Judge, wish: int | None = None) -> int:
    """Which of the first records is the header: the one that names the most columns.

    `wish` is a position that is taken as it is. Where nothing is recognised, the first
    record with a value.
    """
    if wish is not None:
        return wish
    scores: list[int] = []
    for cells in records[:HEADER_WITHIN]:
        scores.append(judge(cells))
        if scores[-1] > SURELY + 1:
            break
    if scores and max(scores) > 0:
        return scores.index(max(scores))
    return next((i for i, cells in enumerate(records) if any(c.strip() for c in cells)), 0)


def place(file: str, sheet: str | None) -> str:
    """How a message names a file, and in a workbook its sheet."""
    return f"{file}, sheet {sheet!r}" if sheet else file


def check_header(header: Sequence[str], where: str) -> tuple[str, ...]:
    """The header's cells without outer blanks; InputError where it is none."""
    cells = [_shown(h) for h in header]
    while len(cells) > MAX_COLUMNS and not cells[-1]:
        cells.pop()
    if not any(cells):
        raise InputError(f"{where}: the file is empty; it needs a line of column names")
    if len(cells) > MAX_COLUMNS:
        raise InputError(f"{where}: {len(cells)} columns; the most a table may have is 1,000")
    return tuple(cells)


def _shown(text: str) -> str:
    return text.lstrip("\ufeff").strip() if text else ""


def build(
    records: Iterable[tuple[int, Sequence[str | None]]],
    header: tuple[str, ...],
    *,
    file: str,
    sheet: str | None,
    header_row: int,
    notes: Iterable[str] = (),
    encoding: str | None = None,
    separator: str | None = None,
    ragged: bool = True,
) -> RawTable:
    """A table from (row number, cells) below the header, without holding the rows twice.

    Rows without any value are left out. A long row keeps the cells that have a header and
    is marked; with `ragged`, short rows are noted.
    """
    width = len(header)
    where = place(file, sheet)
    chunks: list[list[pa.Array]] = [[] for _ in header]
    flags: list[list[Mask]] = [[] for _ in header]
    typed = [False] * width
    pending: list[list[str | None]] = []
    rows: list[int] = []
    long_rows: list[int] = []
    long_at: list[int] = []
    short: list[int] = []
    held = [0]
    waiting = 0

    def flush() -> None:
        columns = list(zip(*pending, strict=True)) if pending else [()] * width
        for i, column in enumerate(columns):
            marks = np.fromiter((isinstance(c, Number) for c in column), bool, len(column))
            typed[i] = typed[i] or bool(marks.any())
            flags[i].append(marks)
            chunks[i].append(pa.array(column, pa.large_string()))
            held[0] += chunks[i][-1].nbytes
        pending.clear()
        if held[0] > MAX_TEXT:
            raise InputError(f"{where}: more text than a register holds; split the file")

    for number, cells in records:
        if not any(c and not c.isspace() for c in cells):
            continue
        if any(c is not None and len(c) > MAX_CELL for c in cells):
            raise InputError(
                f"{where} row {number}: a cell longer than {MAX_CELL:,} characters; shorten it"
            )
        if len(cells) > width:
            if any(c and not c.isspace() for c in cells[width:]):
                long_rows.append(len(rows))
                long_at.append(number)
            cells = cells[:width]
        elif len(cells) < width:
            if ragged:
                short.append(number)
            cells = [*cells, *[None] * (width - len(cells))]
        rows.append(number)
        if len(rows) > MAX_ROWS:
            raise InputError(f"{where}: more than {MAX_ROWS:,} rows; split the file")
        pending.append(list(cells))
        waiting += sum(len(c) for c in cells if c)
        if len(pending) >= _CHUNK or waiting > _CHUNK_TEXT:
            flush()
            waiting = 0
    flush()
    said = list(notes)
    if short:
        said.append(f"{where}: {listed(short)} fewer cells than the header; the rest is not given")
    if long_at:
        said.append(
            f"{where}: {listed(long_at)} more cells than the header; put a text that holds the"
            " separator in double quotes"
        )
    return RawTable(
        file,
        sheet,
        header,
        header_row,
        tuple(pa.chunked_array(c, pa.large_string()) for c in chunks),
        np.array(rows, np.int64),
        {i: np.concatenate(flags[i]) for i in range(width) if typed[i]},
        np.array(long_rows, np.int64),
        tuple(said),
        encoding,
        separator,
    )


def listed(rows: Sequence[int]) -> str:
    """`row 7 has` or `rows 7, 9 and 12 more have`."""
    if len(rows) == 1:
        return f"row {rows[0]} has"
    first = ", ".join(map(str, rows[:NAMED_AT_MOST]))
    more = f" and {len(rows) - NAMED_AT_MOST} more" if len(rows) > NAMED_AT_MOST else ""
    return f"rows {first}{more} have"


def text_of(value: Any) -> str | None:
    """A value of a typed file (JSON, Parquet, workbook) as text; None stays None."""
    import datetime as dt
    from decimal import Decimal

    if value is None:
        return None
    if isinstance(value, str):
        return value
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int):
        return Number(value)
    if isinstance(value, float):
        return None if value != value else Number(repr(value))
    if isinstance(value, Decimal):
        return Number(format(value, "f"))
    if isinstance(value, dt.datetime):
        return value.isoformat(timespec="auto")
    if isinstance(value, dt.date):
        return value.isoformat()
    if isinstance(value, dt.time):
        return value.isoformat(timespec="minutes" if not value.second else "seconds")
    if isinstance(value, list | tuple) and all(isinstance(v, str) for v in value):
        return " ".join(value)
    raise TypeError(type(value).__name__)
