"""Columns as coded arrays: positions, spans, families of alike rows, bits of a set."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final, NamedTuple

import numpy as np
import numpy.typing as npt
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc

from audit.arithmetic.plain import listed
from audit.arithmetic.three import YES, Bools, Ints


def among(words: pd.Series, *of: str) -> pd.Series:
    """Whether each word is one of `of` (nullable boolean: NA for NA)."""
    held = pa.array(words.array)
    if pa.types.is_null(held.type):  # not a single word
        held = held.cast(pa.large_string())
    found = pc.is_in(held, value_set=pa.array(of, held.type)).to_numpy(zero_copy_only=False)
    return pd.Series(pd.arrays.BooleanArray(found, words.isna().to_numpy()), index=words.index)


def gravest(
    verdict: npt.NDArray[np.int8], label: Ints, table: str, *keys: Ints
) -> tuple[Ints, npt.NDArray[np.object_]]:
    """One row a subject: where its gravest verdict stands, and a finding's rows.

    A finding goes before an unclear row, an unclear one before one in order. Rows are parallel
    arrays: verdicts, labels in `table`, and the codes that make the subject. Returns positions
    and, for each, the list of (table, label), empty unless it is a finding.
    """
    rank = YES - verdict
    sorting: list[npt.NDArray[Any]] = [label, rank, *keys[::-1]]
    order = np.lexsort(sorting)
    n = len(order)
    new = np.ones(n, bool)
    fresh = np.ones(n, bool)
    if n > 1:
        new[1:] = np.any([k[order][1:] != k[order][:-1] for k in keys], axis=0)
        fresh[1:] = new[1:] | (rank[order][1:] != rank[order][:-1])
    first = np.flatnonzero(new)
    # a subject's rows of one verdict lie together: the first run of each subject speaks
    runs = np.append(np.flatnonzero(fresh), n)
    ends = runs[np.searchsorted(runs, first, "right")]
    kept = order[first]
    failing = np.flatnonzero(verdict[kept] == YES)
    labels = label[order]
    rows = {
        at: [(table, one) for one in labels[a:b].tolist()]
        for at, a, b in zip(
            failing.tolist(), first[failing].tolist(), ends[failing].tolist(), strict=True
        )
    }
    return kept, listed(len(kept), rows)


class Family(NamedTuple):
    """Sets of items: `of` gives each entity's set, `start`/`items` the distinct sets (CSR).

    Set 0 is the empty set. An item is grant × 2 + 1 when sure, grant × 2 when possible.
    """

    of: Ints
    start: Ints
    items: Ints


def family(entity: Ints, item: Ints, n: int) -> Family:
    """The distinct sets of items that n entities have; rows (entity, item) in any order."""
    if not len(entity):
        return Family(np.zeros(n, np.int64), np.array([0, 0]), np.empty(0, np.int64))
    width = int(item.max()) + 1
    key = distinct(entity.astype(np.int64) * width + item)
    entity, item = key // width, key % width
    size = np.bincount(entity, minlength=n)
    start = np.concatenate([[0], np.cumsum(size)])
    # a set's hash is the sum of its items' random words: 64 bits, fixed so that runs agree
    weight = np.random.default_rng(60839).integers(1, 2**63, width, dtype=np.uint64)
    total = np.concatenate([np.zeros(1, np.uint64), np.cumsum(weight[item])])
    mark = total[start[1:]] - total[start[:-1]]
    of, first = classes(np.concatenate([np.zeros(1, np.uint64), mark]))  # the empty set first
    of, first = of[1:], np.maximum(first - 1, 0)
    chosen = size[first]
    chosen[0] = 0
    items = item[spans(start[first], chosen)]
    starts = np.concatenate([[0], np.cumsum(chosen)])
    if (size != chosen[of]).any() or (item != items[spans(starts[of], size)]).any():
        raise AssertionError("two sets of permissions share a hash")
    return Family(of, starts, items)


def classes(code: npt.NDArray[Any]) -> tuple[Ints, Ints]:
    """Each one's class, numbered as they appear, and the first member of each class."""
    of, each = pd.factorize(code)
    first = np.zeros(len(each), np.int64)
    first[of[::-1]] = np.arange(len(of))[::-1]
    return of.astype(np.int64), first


def distinct(values: Ints) -> Ints:
    """The distinct values in order; by sorting, which no pattern of values can slow down."""
    values = np.sort(values)
    return values[np.concatenate([[True], values[1:] != values[:-1]])] if len(values) else values


def spans(start: Ints, count: Ints) -> Ints:
    """The positions start, start + 1, … of each span, count of them, one after another."""
    total = int(count.sum())
    shift = np.repeat(start - np.concatenate([[0], np.cumsum(count)[:-1]]), count)
    places: Ints = np.arange(total) + shift
    return places


def bits_to_places(bits: int, n: int) -> Ints:
    """The positions below n of the bits that are set."""
    bits &= (1 << n) - 1  # doors that are not in the table stand beyond it
    raw = np.frombuffer(bits.to_bytes(-(-n // 8) or 1, "little"), np.uint8)
    return np.flatnonzero(np.unpackbits(raw, bitorder="little", count=n)).astype(np.int64)


MANY: Final = 100
"""A code that more rows of the register explain says nothing of any one of them."""


LONG_AGO, FAR_AHEAD = -1_000_000, 4_000_000
"""Days before and after every date that a register holds; ends of open periods."""


@dataclass(frozen=True)
class Periods:
    """Periods of whole days by key, sorted; asks whether a key has one that covers a day."""

    place: Ints
    reach: Ints

    SPAN = FAR_AHEAD - LONG_AGO + 1

    @classmethod
    def of(cls, key: Ints, start: Ints, end: Ints) -> Periods:
        """From parallel arrays: key (not negative), first and last day, both included."""
        order = np.lexsort((start, key))
        base = key[order] * cls.SPAN
        # of the periods that began by a day the one that ends last decides
        ends = np.maximum.accumulate(base + (end[order] - LONG_AGO))
        return cls(base + (start[order] - LONG_AGO), ends)

    def cover(self, key: Ints, day: Ints) -> Bools:
        """Whether a period of each key covers the day."""
        if not len(self.place):
            return np.zeros(len(key), bool)
        asked = key * self.SPAN + (day - LONG_AGO)
        at = np.searchsorted(self.place, asked, "right") - 1
        inside = np.maximum(at, 0)
        return np.asarray(
            (at >= 0) & (self.place[inside] >= key * self.SPAN) & (self.reach[inside] >= asked)
        )


def day_numbers(dates: pd.Series, blank: int) -> Ints:
    """Dates as days since 1970, `blank` where none is given."""
    days = dates.to_numpy("datetime64[D]").view(np.int64)
    return np.where(days == np.iinfo(np.int64).min, blank, days)


def _among(ordered: Ints, values: Ints) -> Bools:
    if not len(ordered):
        return np.zeros(len(values), bool)
    at = np.minimum(np.searchsorted(ordered, values), len(ordered) - 1)
    return np.asarray(ordered[at] == values)
