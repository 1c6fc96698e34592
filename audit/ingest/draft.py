"""A table on its way from raw cells to a typed frame, and what is done to its text columns."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc

from audit.contract import TEXT
from audit.schema import TableSpec

if TYPE_CHECKING:
    from audit.ingest.tables import RawTable

Mask = npt.NDArray[np.bool_]
Texts = Any  # pa.ChunkedArray of large_string


@dataclass
class Draft:
    """A table on its way: text columns as arrow, the others as pandas arrays."""

    raw: RawTable
    spec: TableSpec
    texts: dict[str, Texts] = field(default_factory=dict)
    typed: dict[str, Any] = field(default_factory=dict)
    unread: dict[str, Mask] = field(default_factory=dict)
    damage: dict[str, npt.NDArray[np.object_]] = field(default_factory=dict)
    notes: list[tuple[int, str]] = field(default_factory=list)
    filled: dict[str, Mask] = field(default_factory=dict)

    def __len__(self) -> int:
        return len(self.raw.rows)

    def mark(self, column: str, mask: Mask) -> None:
        """Marks cells as unread."""
        if mask.any():
            old = self.unread.get(column)
            self.unread[column] = mask if old is None else old | mask

    def note(self, column: str, mask: Mask, what: str) -> None:
        """Says what was done to cells of a column, by the first row of them."""
        at = np.flatnonzero(mask)
        if len(at):
            first = int(self.raw.rows[at[0]])
            others = len(at) - 1
            more = f" and {others} more row{'' if others == 1 else 's'}" if others else ""
            where = f"{self.raw.file}{f', sheet {self.raw.sheet!r}' if self.raw.sheet else ''}"
            order = [c.name for c in self.spec.columns].index(column)
            self.notes.append((order, f"{where} row {first}{more}: {column} {what}"))


def distinct_texts(cells: Texts) -> tuple[npt.NDArray[np.int64], list[str]]:
    """Codes (-1: no cell) and the distinct texts they stand for."""
    if not len(cells):
        return np.empty(0, np.int64), []
    encoded = pc.dictionary_encode(cells).unify_dictionaries()
    indices = pa.chunked_array([c.indices for c in encoded.chunks], pa.int32())
    if indices.null_count:
        indices = indices.fill_null(-1)
    dictionary: list[str] = encoded.chunk(0).dictionary.to_pylist()
    return indices.to_numpy().astype(np.int64), dictionary


def taken_texts(texts: Sequence[str | None], codes: npt.NDArray[np.int64]) -> Texts:
    """texts[codes], a code of -1 being the last."""
    if len(texts) == 1:
        return pa.chunked_array([pa.repeat(pa.scalar(texts[0], pa.large_string()), len(codes))])
    at = np.where(codes < 0, len(texts) - 1, codes)
    return pa.chunked_array([pa.array(texts, pa.large_string()).take(pa.array(at))])


def with_texts(cells: Texts, at: npt.NDArray[np.int64], new: Texts | str) -> Texts:
    """The column with other texts at these (ascending) positions."""
    if not len(at):
        return cells
    mask = np.zeros(len(cells), bool)
    mask[at] = True
    replacement = (
        pa.scalar(new, pa.large_string()) if isinstance(new, str) else one_piece(new).chunk(0)
    )
    return one_piece(pc.replace_with_mask(one_piece(cells).chunk(0), pa.array(mask), replacement))


def one_piece(cells: Any) -> Texts:
    """The same column as one chunk."""
    if isinstance(cells, pa.ChunkedArray):
        if cells.num_chunks == 1:
            return cells
        return pa.chunked_array([cells.combine_chunks()], pa.large_string())
    return pa.chunked_array([cells], pa.large_string())


def true_mask(mask: Any) -> Mask:
    if mask.null_count:
        mask = mask.fill_null(False)
    if isinstance(mask, pa.ChunkedArray):
        return np.array(mask.to_numpy(), bool)
    return np.array(mask.to_numpy(zero_copy_only=False), bool)


def draft_frame(draft: Draft, at: npt.NDArray[np.int64] | None = None) -> pd.DataFrame:
    """The typed frame, or some of its rows, index 0 to n-1."""
    columns: dict[str, Any] = {}
    taken = None if at is None else pa.array(at)
    names = ["secret" if c.kind == "pin" else c.name for c in draft.spec.columns]
    if "secret" in draft.texts and "secret" not in names:
        names.append("secret")
    for name in names:
        if name in draft.texts:
            cells = draft.texts[name] if taken is None else draft.texts[name].take(taken)
            columns[name] = TEXT.__from_arrow__(cells)  # type: ignore[attr-defined]
        else:
            array = draft.typed[name]
            columns[name] = array if at is None else array[at]
    n = len(draft) if at is None else len(at)
    return pd.DataFrame(columns, index=pd.RangeIndex(n), copy=False)
