"""The three-valued column: what is so, what is not, and what cannot be told.

In nullable columns these are True, False and NA; in coded arrays (int8) YES, NO and UNCLEAR,
ordered so that the greatest of several is their *or* and the least their *and*.
"""

from __future__ import annotations

from typing import Final, Literal

import numpy as np
import numpy.typing as npt
import pandas as pd

Ints = npt.NDArray[np.int64]
Small = npt.NDArray[np.int8]
Bools = npt.NDArray[np.bool_]
Verdict = bool | None
Credential = Literal["cards", "pins"]

NO: Final = 0
UNCLEAR: Final = 1
YES: Final = 2


def nullable(verdict: Small | Ints | Bools) -> pd.arrays.BooleanArray:
    """YES, NO, UNCLEAR as True, False, NA; a mask has no NA."""
    if verdict.dtype == bool:
        return pd.arrays.BooleanArray(verdict.astype(bool), np.zeros(verdict.shape, bool))
    return pd.arrays.BooleanArray(np.asarray(verdict == YES), np.asarray(verdict == UNCLEAR))


def coded(verdict: pd.Series) -> Small:
    """True, False, NA as YES, NO, UNCLEAR."""
    column = verdict.astype("boolean")
    out: Small = np.where(column.isna(), UNCLEAR, np.where(column.fillna(False), YES, NO))
    return out.astype(np.int8)


def before(
    left: pd.Series, right: pd.Series | pd.Timestamp, blank: bool | None = None
) -> pd.Series:
    """Whether `left` is earlier, in whole days or moments; a missing side gives `blank`.

    `blank` None: unclear. A caller that knows an empty cell from an unreadable one masks the
    latter itself (`standing.dated`).
    """
    return _compared(left, right, blank, (left < right))


def until(left: pd.Series, right: pd.Series | pd.Timestamp, blank: bool | None = None) -> pd.Series:
    """Whether `left` is not later; a missing side gives `blank`, None: unclear."""
    return _compared(left, right, blank, (left <= right))


def _compared(
    left: pd.Series, right: pd.Series | pd.Timestamp, blank: bool | None, answer: pd.Series
) -> pd.Series:
    missing = left.isna() | (right.isna() if isinstance(right, pd.Series) else pd.isna(right))
    return answer.astype("boolean").mask(missing, pd.NA if blank is None else blank)


def either(*values: Verdict) -> Verdict:
    """True where one is, else None where one is not given."""
    return True if True in values else None if None in values else False


def both(*values: Verdict) -> Verdict:
    """False where one is, else None where one is not given."""
    return False if False in values else None if None in values else True
