"""Which fact an unclear row lacks, in words and as what to record."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pandas as pd

Fact = tuple[pd.Series | npt.NDArray[np.bool_], str, str | None]
"""Rows that the fact is missing for, the words, and what to record (`people.call_out`)."""


def why(fails: pd.Series, *facts: Fact) -> dict[str, pd.Series]:
    """Columns `reason` and `lacks` of a rule's answer: the first fact that an unclear row lacks.

    Masks are aligned with `fails`; a row that is judged has neither.
    """
    reason = np.full(len(fails), None, object)
    lacks = np.full(len(fails), None, object)
    open_ = np.array(fails.isna(), dtype=bool)
    if open_.any():
        for mask, words, what in facts:
            here = open_ & np.asarray(pd.Series(mask).fillna(False), dtype=bool)
            reason[here], lacks[here] = words, what
            open_ &= ~here
    return {
        "reason": pd.Series(reason, index=fails.index, dtype=object),
        "lacks": pd.Series(lacks, index=fails.index, dtype=object),
    }


CALL_OUT = "who is called out at any hour is not recorded"
"""The words for a blank people.call_out."""
