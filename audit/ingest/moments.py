"""A long column of times to UTC: whole blocks at once where they are plain ISO 8601."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from typing import Any, Final
from zoneinfo import ZoneInfo

import numpy as np
import numpy.typing as npt
import pyarrow as pa
import pyarrow.compute as pc

from audit.ingest.values import UNREAD

_BLOCK: Final = 100_000
_BUCKET: Final = 15 * 60 * 1_000_000  # microseconds: no clock has changed within a quarter
Moments = npt.NDArray[np.datetime64]


def moments(
    cells: pa.ChunkedArray, parser: Callable[[str], Any], zone: ZoneInfo
) -> tuple[Moments, npt.NDArray[np.bool_]]:
    """UTC (datetime64[us], NaT where nothing usable stands) and the mask of unreadable cells.

    The answer is `parser`'s for every cell; plain blocks only get it faster.
    """
    times, bad, size = [], [], 0
    for chunk in cells.chunks:
        for start in range(0, len(chunk), _BLOCK):
            block = chunk.slice(start, _BLOCK)
            # the likely way first: a cast that fails takes longer than one that succeeds
            if _has_offset(block):
                found = _with_offset(block)
                found = _local(block, zone) if found is None else found
            else:
                found = _local(block, zone)
                found = _with_offset(block) if found is None else found
            if found is None:
                found, unread = _one_by_one(block, parser)
                bad.append((size, unread))
            times.append(found)
            size += len(block)
    mask = np.zeros(size, bool)
    for at, unread in bad:
        mask[at : at + len(unread)] = unread
    return (np.concatenate(times) if times else np.empty(0, "datetime64[us]")), mask


def _has_offset(block: pa.Array) -> bool:
    """Whether the first text looks like one with an offset."""
    first = block[0].as_py() or ""
    return first[-1:] in ("Z", "z") or first[-6:-5] in ("+", "-") or first[-5:-4] in ("+", "-")


def _local(block: pa.Array, zone: ZoneInfo) -> Moments | None:
    """Site times without offset; None where one is anything else."""
    try:
        read = block.cast(pa.timestamp("us"))
    except pa.ArrowInvalid:
        return None
    return to_utc(read.to_numpy(zero_copy_only=False), zone)


def _with_offset(block: pa.Array) -> Moments | None:
    try:
        read = block.cast(pa.timestamp("us", "UTC"))
    except pa.ArrowInvalid:
        return None
    times: Moments = read.cast(pa.timestamp("us")).to_numpy(zero_copy_only=False)
    return times


def _one_by_one(
    block: pa.Array, parser: Callable[[str], Any]
) -> tuple[Moments, npt.NDArray[np.bool_]]:
    encoded = pc.dictionary_encode(block)
    parsed = [parser(t) for t in encoded.dictionary.to_pylist()]
    codes = encoded.indices.fill_null(-1).to_numpy()
    kept = [None if p is UNREAD else p for p in parsed]
    times = np.array([*("NaT" if p is None else p for p in kept), "NaT"], "datetime64[us]")
    return times[codes], np.array([*(p is UNREAD for p in parsed), False])[codes]


def to_utc(local: Moments, zone: ZoneInfo) -> Moments:
    """Wall-clock times of a zone as UTC, one zone look-up for each quarter of an hour."""
    ticks = local.astype("datetime64[us]").astype(np.int64)
    given = ~np.isnat(local)
    if not given.any():
        return local.astype("datetime64[us]")
    buckets = np.floor_divide(ticks, _BUCKET)
    first, last = int(buckets[given].min()), int(buckets[given].max())
    if last - first > 4 * len(local) + 200_000:
        distinct, where = np.unique(buckets[given], return_inverse=True)
        offsets = np.array([_offset(int(b), zone) for b in distinct])[where]
    else:
        there = np.zeros(last - first + 1, bool)
        there[buckets[given] - first] = True
        table = np.zeros(len(there), np.int64)
        for bucket in np.flatnonzero(there):
            table[bucket] = _offset(int(bucket) + first, zone)
        offsets = table[buckets[given] - first]
    ticks[given] -= offsets
    return ticks.astype("datetime64[us]")


def _offset(bucket: int, zone: ZoneInfo) -> int:
    try:
        wall = dt.datetime(1970, 1, 1) + dt.timedelta(microseconds=bucket * _BUCKET)  # noqa: DTZ001
        shift = wall.replace(tzinfo=zone).utcoffset()
    except OverflowError:
        return 0
    return round(shift.total_seconds() * 1_000_000) if shift is not None else 0
