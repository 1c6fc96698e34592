"""A local code's threshold, looked up by what it hangs on: kind, use, height.

A threshold is a list of cases; the first that fits gives the value. A case without a value says
that the code gives none. A fact that is not recorded leaves open which case fits: there is a
value only where every case that may fit gives the same one.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from audit.arithmetic.three import NO, UNCLEAR, YES, Bools, Small, coded

FACTS: Final = ("kind", "use", "above_11_m", "high_rise")
"""What a case may hang on: the zone's kind, its use, and two heights of the building."""


@dataclass(frozen=True, slots=True)
class Case:
    """One line of a threshold: the value (None: the code gives none) and when it holds."""

    value: int | None = None
    kind: tuple[str, ...] = ()
    use: tuple[str, ...] = ()
    above_11_m: bool | None = None
    high_rise: bool | None = None


Cases = tuple[Case, ...]


@dataclass(frozen=True, slots=True)
class Found:
    """The threshold of each row: `value` (NA: none), `silent` where the code gives none, and
    `lacks`, the first fact that is missing ("" where none is)."""

    value: pd.Series
    silent: Bools
    lacks: npt.NDArray[np.object_]


def always(value: int | None) -> Cases:
    """A threshold that hangs on nothing."""
    return (Case(value),)


def found(cases: Cases, index: pd.Index, facts: Mapping[str, pd.Series]) -> Found:
    """The threshold for each row of the index; facts are series aligned with it, NA unknown.

    A fact of FACTS that is not in `facts` counts as not recorded.
    """
    size = len(index)
    open_ = np.ones(size, bool)  # no earlier case surely fits
    values: list[tuple[Bools, int | None]] = []
    lacks = np.full(size, "", object)
    for case in cases:
        fits = np.full(size, YES, np.int8)
        for name, fit in _conditions(case, facts, size):
            lacks[open_ & (fit == UNCLEAR) & (fits > NO) & (lacks == "")] = name
            fits = np.minimum(fits, fit)
        values.append((open_ & (fits > NO), case.value))
        open_ &= fits < YES
    values.append((open_, None))
    low = np.full(size, np.iinfo(np.int64).max)
    high = np.full(size, np.iinfo(np.int64).min)
    some, none = np.zeros(size, bool), np.zeros(size, bool)
    for may, one in values:
        if one is None:
            none |= may
        else:
            low[may] = np.minimum(low[may], one)
            high[may] = np.maximum(high[may], one)
            some |= may
    sure = (some & ~none & (low == high)) | (none & ~some)
    lacks[sure] = ""
    given = some & sure
    value = pd.Series(
        pd.arrays.IntegerArray(np.where(given, low, 0).astype(np.int64), ~given), index=index
    )
    return Found(value, none & sure, lacks)


def _conditions(case: Case, facts: Mapping[str, pd.Series], size: int) -> list[tuple[str, Small]]:
    told = []
    for name in FACTS:
        wanted = getattr(case, name)
        if wanted is None or wanted == ():
            continue
        if name not in facts:
            told.append((name, np.full(size, UNCLEAR, np.int8)))
        elif isinstance(wanted, tuple):
            held = facts[name]
            within = np.where(held.isin(wanted).fillna(False), YES, NO)
            told.append((name, np.where(held.isna(), UNCLEAR, within).astype(np.int8)))
        else:
            fit = coded(facts[name])
            told.append((name, fit if wanted else (YES - fit).astype(np.int8)))
    return told
