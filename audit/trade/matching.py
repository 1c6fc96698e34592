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

from audit.contract import TEXT, Dataset
from audit.trade import card_numbers

NOT_SHOWN: Final = "pin, not shown"
"""What stands for the digits of a PIN that no register row explains."""
YES, NO, UNCLEAR = 1, 0, -1

_Ints = npt.NDArray[np.int64]
_Mask = npt.NDArray[np.bool_]


@dataclass(frozen=True)
class Match:
    """Credentials seen, and the register rows they stand for.

    `code`: which credential each seen row names (0..size-1; -1: none). `row` and `of`: pairs
    of a position in the register's table and the code that it explains. `explained`: of each
    code YES, NO, or UNCLEAR (the register is absent, or holds PINs that can't be read).
    """

    code: _Ints
    size: int
    row: _Ints
    of: _Ints
    explained: npt.NDArray[np.int8]

    def states(self) -> npt.NDArray[np.int8]:
        """YES, NO or UNCLEAR of each row that was seen; NO where it names nothing."""
        return np.append(self.explained, np.int8(NO))[self.code]


def cards_named(data: Dataset, code: _Ints, numbers: pd.Series, texts: pd.Series) -> Match:
    """Cards by number. `numbers`: each code's canonical number, NA where it can't be read;
    `texts`: what stands in each seen row, asked only where a code finds no row.
    """
    size = len(numbers)
    if not data.has("cards"):
        nothing = np.zeros(0, np.int64)
        return Match(code, size, nothing, nothing, np.full(size, UNCLEAR, np.int8))
    known = np.flatnonzero(numbers.notna().to_numpy(bool))
    register = card_numbers.register(data)["canonical"]
    at = pd.Index(numbers.iloc[known]).get_indexer(pd.Index(register))
    row = np.flatnonzero(at >= 0)
    of = known[at[row]]
    explained = np.full(size, NO, np.int8)
    explained[of] = YES
    lost = np.flatnonzero((code >= 0) & (np.append(explained, YES)[code] == NO))
    if lost.size:
        # the same text in a form that the register alone tells, or that nobody can read
        held = data["cards"]["number"]
        here = texts.iloc[lost].isin(held).to_numpy(bool)
        explained[code[lost[here]]] = UNCLEAR
    return Match(code, size, row.astype(np.int64), of.astype(np.int64), explained)


def pins_named(data: Dataset, label: pd.Series, secret: pd.Series) -> Match:
    """PINs by id (`label`) or, where the label is NOT_SHOWN, by digits (`secret`)."""
    code, ids = pd.factorize(label)
    code = code.astype(np.int64)
    shown = len(ids)
    masked = np.flatnonzero(np.asarray(ids == NOT_SHOWN))
    digits: pd.Index = pd.Index([], dtype=TEXT)
    if masked.size:
        rows = np.flatnonzero(code == masked[0])
        own, found = pd.factorize(secret.iloc[rows])
        digits = pd.Index(found)
        code[rows[own >= 0]] = shown + own[own >= 0]
    size = shown + len(digits)
    explained = np.full(size, NO, np.int8)
    if not data.has("pins"):
        explained[:] = UNCLEAR
        return Match(code, size, np.zeros(0, np.int64), np.zeros(0, np.int64), explained)
    pins = data["pins"]
    by_id = pd.Index(ids).get_indexer(pd.Index(pins["pin_id"].mask(pins["pin_id"].duplicated())))
    by_digits = pd.Index(digits).get_indexer(pd.Index(pins["secret"]))
    named, told = np.flatnonzero(by_id >= 0), np.flatnonzero(by_digits >= 0)
    row = np.concatenate([named, told])
    of = np.concatenate([by_id[named], shown + by_digits[told]])
    if masked.size:
        explained[masked[0]] = UNCLEAR
    if pins["secret"].isna().any():
        explained[shown:] = UNCLEAR  # any PIN that is held unreadable may be this one
    explained[of] = YES
    return Match(code, size, row.astype(np.int64), of.astype(np.int64), explained)


def gravest(frame: pd.DataFrame, table: str, keys: list[str]) -> pd.DataFrame:
    """One row a subject: the gravest verdict of its rows, and `sources`, the rows that gave it.

    A finding goes before an unclear row, an unclear one before one in order. `frame` has the
    subject columns, `fails` (nullable) and `label`, the row's label in `table`.
    """
    fails = frame["fails"]
    rank = np.where(fails.isna(), 1, np.where(fails.fillna(False), 0, 2))
    frame = frame.reset_index(drop=True)
    labels = frame["label"].tolist()
    codes = [pd.factorize(frame[k])[0] for k in keys]
    order = np.lexsort((frame["label"].to_numpy(), rank, *codes[::-1]))
    new = np.ones(len(order), bool)
    worst = np.ones(len(order), bool)
    if len(order) > 1:
        new[1:] = np.any([c[order][1:] != c[order][:-1] for c in codes], axis=0)
        worst[1:] = new[1:] | (rank[order][1:] != rank[order][:-1])
    first = np.flatnonzero(new)
    # a subject's rows of one verdict lie together: the first run of each subject speaks
    runs = np.flatnonzero(worst)
    ends = np.append(runs, len(order))[np.searchsorted(runs, first) + 1]
    sources = [
        [(table, labels[at]) for at in order[a:b].tolist()]
        for a, b in zip(first.tolist(), ends.tolist(), strict=True)
    ]
    kept = frame.iloc[order[first]].reset_index(drop=True)
    return kept.assign(sources=pd.Series(sources, index=kept.index, dtype=object))
