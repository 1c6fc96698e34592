"""Households of one dwelling that followed each other, and whether they overlap."""

from __future__ import annotations

from typing import Final

import pandas as pd

from audit.contract import TEXT, Dataset
from audit.trade.holders import among
from audit.trade.standing import departed, entitled
from audit.trade.subjects import is_in

OVERLAP_DAYS: Final = 31
"""More days in common than this are an overlap; who moved in within as many days moved in
with the one who left."""


def overlapping(data: Dataset) -> pd.DataFrame:
    """Dwellings with a resident who left and one who is entitled, or may be: a row each.

    Columns: `dwelling`, `fails` (nullable), `person` (list: those who left and those there now
    who had more than OVERLAP_DAYS days in common, both ends counted; NA where none had), `days`
    (the longest overlap), `sources`.

    Somebody who left and with whom, or after whom by at most OVERLAP_DAYS days, one of those
    there now moved in belonged to the same household.
    """
    rows = _residents(data)
    if rows.empty:
        return rows.reindex(columns=["dwelling", "fails", "person", "days", "sources"])
    there = rows[rows["here"].fillna(True)]
    known = there["here"].fillna(False) & there["start"].notna()
    by_home = pd.DataFrame(
        {
            "first": there["start"].where(known).groupby(there["dwelling"]).min(),
            "open": (~known).groupby(there["dwelling"]).any(),
        }
    )
    left = rows[rows["gone"].fillna(True)]
    left = left.join(by_home, on="dwelling", how="inner").reset_index(drop=True)
    left["fails"] = _verdict(left)
    return _told(there, left)


def _residents(data: Dataset) -> pd.DataFrame:
    people = data["people"]
    role = among(people["role"], "resident")
    frame = pd.DataFrame(
        {
            "label": people.index,
            "person": people["person_id"],
            "dwelling": people["dwelling_id"],
            "start": people["start_date"],
            "end": people["end_date"],
            "gone": departed(data) & role,
            "here": entitled(data) & role,
        }
    )
    return frame[frame["dwelling"].notna() & role.fillna(True)]


def _verdict(left: pd.DataFrame) -> pd.Series:
    """For each who left: whether the household there now overlaps; NA where it can't be said.

    The one there now who moved in first decides: the earlier somebody moved in, the longer they
    overlap and the sooner they count as one household.
    """
    days = pd.Timedelta(days=OVERLAP_DAYS)
    no_start, no_end = left["start"].isna(), left["end"].isna()
    together = (left["first"] <= left["start"] + days).astype("boolean")
    together = together.mask(~together & (no_start | left["open"]))
    long = (left["first"] + days <= left["end"]).astype("boolean")
    # Somebody whose first day is open overlaps only if there was time enough to move in after.
    room = left["end"] - left["start"] > 2 * days
    long = long.mask(~long & (no_end | (left["open"] & (room | no_start))))
    both = long & ~together
    return both.mask(both & left["gone"].isna())


def _told(there: pd.DataFrame, left: pd.DataFrame) -> pd.DataFrame:
    """A row a dwelling, with who overlaps with whom, for how many days, and their rows."""
    sure, may = left["fails"].fillna(False), left["fails"].isna()
    homes = pd.DataFrame(
        {
            "sure": sure.groupby(left["dwelling"]).any(),
            "may": may.groupby(left["dwelling"]).any(),
            "last": left["end"].where(sure).groupby(left["dwelling"]).max(),
            "first": left["first"].groupby(left["dwelling"]).min(),
        }
    )
    fails = homes["sure"].astype("boolean").mask(homes["may"] & ~homes["sure"])
    # Where a finding is sure, those who make it; else all who might.
    gone = left[sure | (may & ~is_in(left["dwelling"], left["dwelling"][sure]))]
    now = there.join(homes[["sure", "may", "last"]], on="dwelling", how="inner")
    overlaps = now["start"] + pd.Timedelta(days=OVERLAP_DAYS) <= now["last"]
    now = now[overlaps | (now["may"] & ~now["sure"])]
    both = pd.concat([gone, now])[["dwelling", "person", "label"]]
    people: dict[str, set[str]] = {}
    rows: dict[str, list[tuple[str, int]]] = {}
    for home, person, label in both.itertuples(index=False, name=None):
        people.setdefault(home, set()).add(person)
        rows.setdefault(home, []).append(("people", label))
    return pd.DataFrame(
        {
            "dwelling": pd.Series(homes.index, dtype=TEXT),
            "fails": fails.array,
            "person": [sorted(people[home]) if home in people else None for home in homes.index],
            "days": ((homes["last"] - homes["first"]).dt.days + 1).astype("Int64").array,
            "sources": [rows.get(home) for home in homes.index],
        }
    )
