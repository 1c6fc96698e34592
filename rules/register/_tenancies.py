"""Households of one dwelling that followed each other, and whether they overlap."""

from __future__ import annotations

from typing import Final, NamedTuple

import numpy as np
import pandas as pd

from audit.arithmetic.three import Bools, Ints
from audit.contract import TEXT, Dataset
from audit.facts.standing import departed, entitled

OVERLAP_DAYS: Final = 31
"""More days in common than this are an overlap; who moved in within as many days moved in
with the one who left."""


_NEVER: Final = 2**40


_MISSING: Final = -(2**40)


_COLUMNS: Final = ("dwelling", "fails", "person", "days", "sources")


class _Residents(NamedTuple):
    """Residents with a dwelling, aligned; dates in days since 1970, _MISSING where not known."""

    label: Ints
    home: Ints  # codes of `homes`
    homes: pd.Index
    start: Ints
    end: Ints
    gone: Bools  # surely
    may_be_gone: Bools
    here: Bools
    may_be_here: Bools


def overlapping(data: Dataset) -> pd.DataFrame:
    """Dwellings with a resident who left and one who is entitled, or may be: a row each.

    Columns: `dwelling`, `fails` (nullable), `person` (list: those who left and those there now
    who had more than OVERLAP_DAYS days in common, both ends counted, or who may have had; None
    where none had), `days` (the longest overlap), `sources`.

    Somebody who left and with whom, or after whom by at most OVERLAP_DAYS days, one of those
    there now moved in belonged to the same household. The one there now who moved in first
    decides: the earlier, the longer the overlap and the sooner they count as one household.
    """
    r = _residents(data)
    n = len(r.homes)
    known = r.here & (r.start > _MISSING)
    first = np.full(n, _NEVER)
    np.minimum.at(first, r.home[known], r.start[known])
    some, unsure = np.zeros(n, dtype=bool), np.zeros(n, dtype=bool)
    some[r.home[r.may_be_here]] = True
    unsure[r.home[r.may_be_here & ~known]] = True
    left = np.flatnonzero(r.may_be_gone & some[r.home])
    if not len(left):
        return pd.DataFrame({c: pd.Series(dtype=object) for c in _COLUMNS})
    surely, perhaps = _overlap(r, left, first[r.home[left]], unsure[r.home[left]])
    return _told(data, r, left, surely, perhaps, first)


def _residents(data: Dataset) -> _Residents:
    people = data["people"]
    role, dwelling = people["role"], people["dwelling_id"]
    keep = (role == "resident").fillna(True).to_numpy(bool) & dwelling.notna().to_numpy(bool)
    label = np.flatnonzero(keep)
    told = role.notna().to_numpy(bool)[label]
    home, homes = pd.factorize(dwelling.array.take(label))
    gone, here = (state(data).array.take(label) for state in (departed, entitled))
    dates = [people[c].to_numpy("datetime64[D]")[label] for c in ("start_date", "end_date")]
    start, end = (np.where(np.isnat(d), _MISSING, d.astype(np.int64)) for d in dates)
    may_be_gone, may_be_here = (s.fillna(True).to_numpy(bool) for s in (gone, here))
    return _Residents(
        label,
        home.astype(np.int64),
        pd.Index(homes),
        start,
        end,
        gone.fillna(False).to_numpy(bool) & told,
        may_be_gone,
        here.fillna(False).to_numpy(bool) & told,
        may_be_here,
    )


def _overlap(r: _Residents, left: Ints, first: Ints, unsure: Bools) -> tuple[Bools, Bools]:
    """For each who left: whether the household there now surely overlaps, and perhaps does.

    `first` is when the first of those who are surely there moved in, `unsure` whether there may
    be others with an earlier or unknown first day.
    """
    start, end = r.start[left], r.end[left]
    no_start, no_end = start == _MISSING, end == _MISSING
    one_household = (first <= start + OVERLAP_DAYS) & ~no_start
    may_be_one = one_household | no_start | unsure
    long = (first + OVERLAP_DAYS <= end) & ~no_end
    # Somebody whose first day is unknown overlaps only if there was time to move in after.
    room = no_start | no_end | (end - start > 2 * OVERLAP_DAYS)
    may_be_long = long | (no_end & (first < _NEVER)) | (unsure & room)
    return long & ~may_be_one & r.gone[left], may_be_long & ~one_household


def _told(
    data: Dataset, r: _Residents, left: Ints, surely: Bools, perhaps: Bools, first: Ints
) -> pd.DataFrame:
    n = len(r.homes)
    sure, may, last = np.zeros(n, bool), np.zeros(n, bool), np.full(n, _MISSING)
    sure[r.home[left[surely]]] = True
    may[r.home[left[perhaps]]] = True
    np.maximum.at(last, r.home[left[surely]], r.end[left[surely]])
    # Where a finding is sure, those who make it; else all who might.
    gone = left[np.where(sure[r.home[left]], surely, perhaps)]
    overlaps = (r.start > _MISSING) & (r.start + OVERLAP_DAYS <= last[r.home])
    now = np.flatnonzero(r.may_be_here & np.where(sure[r.home], overlaps, may[r.home]))
    ids = data["people"]["person_id"]
    people: dict[int, list[int]] = {}
    for at in np.concatenate([gone, now]).tolist():
        people.setdefault(int(r.home[at]), []).append(int(r.label[at]))
    scope = np.unique(r.home[left])
    rows = [people.get(home, []) for home in scope.tolist()]
    every = [label for labels in rows for label in labels]
    names = dict(zip(every, ids.iloc[every], strict=True))
    return pd.DataFrame(
        {
            "dwelling": pd.Series(r.homes[scope], dtype=TEXT),
            "fails": pd.arrays.BooleanArray(sure[scope], (may & ~sure)[scope]),
            "person": [
                sorted({names[label] for label in labels}) if labels else None for labels in rows
            ],
            "days": [
                int(last[home] - first[home]) + 1 if sure[home] else None for home in scope.tolist()
            ],
            "sources": [[("people", label) for label in labels] for labels in rows],
        }
    )
