"""Parquet: typed columns turned back to text, with a mark on what was a number."""

from __future__ import annotations

from pathlib import Path
from typing import Any, Final

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from audit.ingest.readers.json_records import NESTED
from audit.ingest.readers.raw import MAX_CELL, MAX_ROWS, Mask, RawTable, check_header, text_of
from audit.site import InputError

MAX_BYTES: Final = 4 << 30


def read_parquet(path: Path, file: str) -> RawTable:
    """The table in a Parquet file; the first record is row 2."""
    import pyarrow.parquet as parquet

    try:
        with parquet.ParquetFile(str(path)) as source:
            _check(source, file)
            found = source.read()
    except InputError:
        raise
    except Exception:
        raise InputError(f"{file}: damaged, so it is no Parquet file; write it again") from None
    header = check_header(found.column_names, file)
    cells, numbers = [], {}
    for i in range(len(header)):
        text, mask = _column(found.column(i))
        if (pc.max(pc.utf8_length(text)).as_py() or 0) > MAX_CELL:
            raise InputError(f"{file}: a cell longer than {MAX_CELL:,} characters; shorten it")
        cells.append(text)
        if mask is not None and mask.any():
            numbers[i] = mask
    rows = np.arange(2, 2 + found.num_rows, dtype=np.int64)
    return RawTable(file, None, header, 1, tuple(cells), rows, numbers)


def _check(source: Any, file: str) -> None:
    meta = source.metadata
    size = sum(meta.row_group(i).total_byte_size for i in range(meta.num_row_groups))
    if size > MAX_BYTES or meta.num_rows > MAX_ROWS:
        raise InputError(f"{file}: unpacks to more than a register holds; split the file")


def _column(column: pa.ChunkedArray) -> tuple[pa.ChunkedArray, Mask | None]:
    kind = column.type
    if pa.types.is_dictionary(kind):
        column = column.cast(kind.value_type)
        kind = column.type
    if pa.types.is_string(kind) or pa.types.is_large_string(kind) or pa.types.is_null(kind):
        return column.cast(pa.large_string()), None
    if pa.types.is_floating(kind):
        column = pc.if_else(pc.is_finite(column), column, pa.scalar(None, kind))
        whole = pc.all(pc.and_(pc.equal(pc.trunc(column), column), pc.less(pc.abs(column), 2**53)))
        if whole.as_py() is not False:
            column = column.cast(pa.int64())
        mask = ~column.is_null().to_numpy()
        return column.cast(pa.large_string()), mask
    if pa.types.is_integer(kind) or pa.types.is_decimal(kind):
        return column.cast(pa.large_string()), ~column.is_null().to_numpy()
    if pa.types.is_boolean(kind) or pa.types.is_date(kind):
        return column.cast(pa.large_string()), None
    if pa.types.is_timestamp(kind) and kind.tz:
        text = pc.strftime(column.cast(pa.timestamp("us", "UTC")), "%Y-%m-%dT%H:%M:%SZ")
        return text.cast(pa.large_string()), None
    return _by_value(column), None


def _by_value(column: pa.ChunkedArray) -> pa.ChunkedArray:
    """Times of day, lists and what else there is, a value at a time."""

    def text(value: Any) -> str | None:
        try:
            return text_of(value)
        except TypeError:
            return NESTED

    return pa.chunked_array([pa.array([text(v) for v in column.to_pylist()], pa.large_string())])
