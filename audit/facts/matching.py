"""Which rows of the register a card or PIN stands for that was seen at a door.

Events and read-backs name a card by its number and a PIN by its id or its digits. One code
may stand for many rows (a number issued twice, digits that many hold), and one row for two
codes (a PIN seen by its id and by its digits), so the answer is a list of pairs.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from audit.arithmetic.plain import given, places
from audit.arithmetic.three import NO, UNCLEAR, YES, Ints
from audit.contract import TEXT, Dataset
from audit.facts import card_register as card_numbers

NOT_SHOWN: Final = "pin, not shown"
"""What stands for the digits of a PIN that no register row explains."""


@dataclass(frozen=True)
class Match:
    """Credentials seen, and the register rows they stand for.

    `code`: which credential each seen row names (0..size-1; -1: none). `row` and `of`: pairs
    of a position in the register's table and the code that it explains. `explained`: of each
    code YES, NO, or UNCLEAR (the register is absent, or holds PINs that can't be read).
    """

    code: Ints
    size: int
    row: Ints
    of: Ints
    explained: npt.NDArray[np.int8]

    def states(self) -> npt.NDArray[np.int8]:
        """YES, NO or UNCLEAR of each row that was seen; NO where it names nothing."""
        return np.append(self.explained, np.int8(NO))[self.code]


def cards_named(data: Dataset, code: Ints, numbers: pd.Series, texts: pd.Series) -> Match:
    """Cards by number. `numbers`: each code's canonical number, NA where it can't be read;
    `texts`: what stands in each seen row, asked only where a code finds no row.
    """
    size = len(numbers)
    if not data.has("cards"):
        nothing = np.zeros(0, np.int64)
        return Match(code, size, nothing, nothing, np.full(size, UNCLEAR, np.int8))
    at = places(numbers, card_numbers.register(data)["canonical"])
    row = np.flatnonzero(at >= 0)
    of = at[row]
    explained = np.full(size, NO, np.int8)
    explained[of] = YES
    lost = np.flatnonzero((code >= 0) & (np.append(explained, np.int8(YES))[code] == NO))
    if lost.size:
        # the same text as of a card whose number nobody can read
        unread = card_numbers.register(data)["canonical"].isna()
        here = places(data["cards"]["number"][unread], texts.iloc[lost]) >= 0
        explained[code[lost[here]]] = UNCLEAR
    return Match(code, size, row.astype(np.int64), of, explained)


def pins_named(data: Dataset, label: pd.Series, secret: pd.Series) -> Match:
    """PINs by id (`label`) or, where the label is NOT_SHOWN, by digits (`secret`)."""
    if not given(label).any():  # a log of cards alone: millions of rows that name no PIN
        code, ids = np.broadcast_to(np.int64(-1), len(label)), label.array[:0]
    else:
        code, ids = pd.factorize(label)
        code = code.astype(np.int64)
    names = pd.Series(ids, dtype=TEXT)
    shown = len(names)
    masked = places(names, pd.Series([NOT_SHOWN], dtype=TEXT))[0] if shown else -1
    digits = pd.Series([], dtype=TEXT)
    if masked >= 0:
        rows = np.flatnonzero(code == masked)
        own, found = pd.factorize(secret.iloc[rows])
        digits = pd.Series(found, dtype=TEXT)
        code[rows[own >= 0]] = shown + own[own >= 0]
    size = shown + len(digits)
    explained = np.full(size, NO, np.int8)
    if not data.has("pins") or not size:
        explained[:] = UNCLEAR
        return Match(code, size, np.zeros(0, np.int64), np.zeros(0, np.int64), explained)
    pins = data["pins"]
    by_id = places(names, pins["pin_id"])
    if not pins["pin_id"].is_unique:
        by_id[pins["pin_id"].duplicated().to_numpy(bool)] = -1
    named = np.flatnonzero(by_id >= 0)
    row, of = named, by_id[named]
    if len(digits):
        by_digits = places(digits, pins["secret"])
        told = np.flatnonzero(by_digits >= 0)
        row, of = np.concatenate([row, told]), np.concatenate([of, shown + by_digits[told]])
        if pins["secret"].isna().any():
            explained[shown:] = UNCLEAR  # any PIN that is held unreadable may be this one
    if masked >= 0:
        explained[masked] = UNCLEAR
    explained[of] = YES
    return Match(code, size, row.astype(np.int64), of.astype(np.int64), explained)
