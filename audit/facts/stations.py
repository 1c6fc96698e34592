"""Stations: what hangs on what, and which numbers and addresses occur twice.

Everything here is linear in the number of stations (sorting aside), whatever the shape: a
line of 5,000 controllers and a circle of them cost no more than a flat list. Stations whose
kind is not given stay in scope as unclear, for they may be of the kind a rule speaks of.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import pandas as pd

from audit.arithmetic.three import Ints
from audit.schema import TABLES


@dataclass(frozen=True)
class Board:
    """The stations as plain arrays: places in the table, codes of texts, -1 for none."""

    frame: pd.DataFrame
    kind: Ints  # a place in KINDS
    controller: Ints  # where the controller it hangs on stands; -1: nowhere, or not given
    main: Ints  # where the unit or panel stands that it extends
    home: Ints  # a place in `homes`
    homes: pd.Series
    port: Ints  # a place in `ports`
    ports: list[str]
    number: Ints  # a place in `numbers`
    numbers: list[str]

    def of_kind(self, kind: str) -> Ints:
        """Stations of that kind, and those whose kind is not given (may be, may not)."""
        return np.flatnonzero((self.kind == KINDS.index(kind)) | (self.kind < 0))

    def told(self, at: Ints, **columns: Any) -> pd.DataFrame:
        """A row a station: its id and kind, and the columns; the labels are the table's."""
        named = {c: self.frame[c].array.take(at) for c in ("station_id", "kind")}
        return pd.DataFrame({**named, **columns}, index=self.frame.index.take(at))


KINDS: Final = TABLES["stations"].column("kind").words


def beyond(count: pd.Series, limit: int | None) -> pd.Series:
    """Whether the count is above the limit; NA everywhere where no limit is given."""
    if limit is None:
        return pd.Series(pd.NA, index=count.index, dtype="boolean")
    return (count > limit).astype("boolean")


def named(faults: Mapping[str, pd.Series]) -> list[str]:
    """Which of the faults surely hold in each row, in words: "too many units; …"."""
    words: list[list[str]] = [[] for _ in range(len(next(iter(faults.values()))))]
    for word, holds in faults.items():
        for at in np.flatnonzero(holds.to_numpy(bool, na_value=False)).tolist():
            words[at].append(word)
    return ["; ".join(w) for w in words]


def line_too_long(rows: pd.DataFrame, limit: int | None) -> pd.Series:
    """Whether each controller ends a line of more than `limit` (boolean, NA unclear).

    A line whose beginning is not known is too long for certain when its known part is, and
    never surely short enough. `rows` are those of `controllers`.
    """
    over = beyond(rows["in_line"], limit)
    return over.mask(~over.fillna(True) & ~rows["certain"]) & rows["last"]


def _members(codes: Ints, groups: int) -> tuple[list[list[int]], Ints]:
    """The members of each group, then each of those in no group (code -1); and the first."""
    members: list[list[int]] = [[] for _ in range(groups)]
    for at, code in enumerate(codes.tolist()):
        if code >= 0:
            members[code].append(at)
        else:
            members.append([at])
    return members, np.array([row[0] for row in members], np.int64)


def _one_row_each(b: Board, at: Ints, members: list[list[int]], first: Ints) -> pd.DataFrame:
    """A row for each list of members: their ids, sorted, and their rows as sources."""
    ids = b.frame["station_id"].array.take(at).tolist()
    labels = b.frame.index.take(at)
    rows = labels.tolist()
    index = labels.take(first)
    return pd.DataFrame(
        {
            "station": pd.Series([sorted(ids[m] for m in row) for row in members], index, object),
            "sources": pd.Series(
                [[("stations", rows[m]) for m in row] for row in members], index, object
            ),
        }
    )
