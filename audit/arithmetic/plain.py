"""Columns as plain arrays, in few steps: what a table of a hundred rows costs counts too.

A small site is audited in a blink only where no rule spends milliseconds on turning nullable
columns round; and a large one where texts are looked up in C. Nothing here knows the trade.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache
from typing import Any, Final

import numpy as np
import numpy.typing as npt
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc

from audit.arithmetic.three import Bools, Ints

TEXT: Final = pd.StringDtype("pyarrow", na_value=pd.NA)
"""The dtype of ids, references, words and free text: comparisons give NA for NA."""


def arrow(texts: pd.Series | pd.Index) -> Any:
    """The column as an arrow array of large strings; no copy where it is one already."""
    array = texts.array
    if texts.dtype != TEXT:
        array = pd.array(array, dtype=TEXT)
    found = array.__arrow_array__()
    return found if found.type == pa.large_string() else found.cast(pa.large_string())


def places(known: pd.Series | pd.Index, asked: pd.Series | pd.Index) -> Ints:
    """Where each text first stands among the known ones; -1: nowhere, or no text."""
    found = pc.index_in(arrow(asked), value_set=arrow(known), skip_nulls=True)
    return np.asarray(pc.fill_null(found, -1).to_numpy(), np.int64)


@cache
def _words(words: tuple[str, ...]) -> Any:
    return pa.array(words, pa.large_string())


def word_codes(column: pd.Series, words: tuple[str, ...]) -> Ints:
    """Each word's place in `words`; -1: another, or none."""
    found = pc.index_in(arrow(column), value_set=_words(words), skip_nulls=True)
    return np.asarray(pc.fill_null(found, -1).to_numpy(), np.int64)


def codes(column: pd.Series | pd.Index) -> tuple[Ints, pd.Index]:
    """A number for each text, in the order of their first rows (-1: none), and the texts."""
    code, distinct = pd.factorize(column)
    return code.astype(np.int64), pd.Index(distinct, dtype=TEXT)


def given(column: pd.Series) -> Bools:
    """Where something stands."""
    return np.asarray(column.notna().to_numpy(), bool)


def taken(column: pd.Series, at: Ints) -> Any:
    """The values at these positions, NA at -1, as an array of the column's dtype."""
    return column.array.take(at, allow_fill=True)


def listed(size: int, rows: dict[int, list[Any]]) -> npt.NDArray[np.object_]:
    """A column of lists: those of `rows`, and one empty list for all the others."""
    column = np.empty(size, object)
    empty: list[Any] = []
    column[:] = [empty] * size
    for at, row in rows.items():
        column[at] = row
    return column


def lists(column: pd.Series, at: Ints, size: Ints) -> Any:
    """A column of lists of texts: those of `column` at these positions, `size` to each row."""
    ends = pa.array(np.concatenate([[0], np.cumsum(size)]), pa.int64())
    flat = arrow(column).take(pa.array(at)).combine_chunks()
    return pd.arrays.ArrowExtensionArray(pa.LargeListArray.from_arrays(ends, flat))


def sorted_places(column: pd.Series, at: Ints) -> Ints:
    """These positions in the order of the texts that stand there (of their bytes)."""
    some = arrow(column)
    some = some if len(at) == len(some) else some.take(pa.array(at))
    rising = pc.all(pc.less_equal(some[:-1], some[1:])) if len(at) > 1 else pa.scalar(True)
    if rising.as_py():  # as registers often are
        return at
    order: Ints = at[pc.sort_indices(some).to_numpy()]
    return order


def texts(values: Sequence[str | None]) -> Any:
    """A text column's array."""
    return pd.array(list(values), dtype=TEXT)
