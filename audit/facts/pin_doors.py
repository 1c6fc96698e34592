"""The codes at each door that opens by PIN alone, and what a stranger's tries come to there.

Sources: data.md (tries in a visit; codes are the distinct live digits valid at the door; where
lengths differ, the worst length decides), access.md 1.4 and 7.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import pandas as pd

from audit.arithmetic.pin_guessing import distinct
from audit.arithmetic.three import Bools, Ints

PIN_ALONE = ("pin", "card-or-pin")


class DoorCodes(NamedTuple):
    """Doors that open, or may open, by PIN alone, and how many codes of each length they take.

    sure, possible: one row a door, one column a length (`lengths`); different codes, counted
    once. unread: codes at the door that can't be read, or live PINs that may be valid there.
    """

    doors: pd.DataFrame  # index: labels of the doors table; columns door, entry
    lengths: list[int]
    sure: Ints
    possible: Ints
    unread: Bools


def _count(counts: Ints, door: Ints, label: Ints, use: Bools, code: Ints, digits: Ints) -> None:
    """Adds the different codes of each length to the counts of their doors."""
    width = int(code.max(initial=0)) + 1
    pairs = distinct(door[use] * width + code[label[use]])
    length = np.zeros(width, np.int64)
    length[code[code >= 0]] = digits[code >= 0]
    np.add.at(counts, (pairs // width, length[pairs % width]), 1)


def _unbound(pins: pd.DataFrame) -> pd.Series:
    """PINs that, without any permissions in the register, may open any door."""
    return pins["door_id"].isna() & pins["station_id"].isna()


def _answer(at: DoorCodes, over: list[bool], may: list[bool]) -> pd.DataFrame:
    alone = at.doors["entry"].notna().to_numpy()
    return at.doors.assign(
        over=pd.array(np.array(over, bool) & alone, dtype="boolean"),
        may_be_over=pd.array(np.array(over, bool) | np.array(may, bool) | at.unread, "boolean"),
    )
