"""The security grade of what lies behind a door (EN 60839-11-1, grades 1 to 4)."""

from __future__ import annotations

import pandas as pd

from audit.contract import Dataset
from audit.facts.standing import by_id


def inside_grade(data: Dataset) -> pd.Series:
    """The grade of each door's inside zone, aligned with the doors table (Int64).

    The zone's own, else the site's but for zones of kind dwelling; NA where the zone is not
    given or unknown, its grade unreadable, or the site has none. Without a zones table every
    zone has the site's.
    """
    return data.once(_inside_grade)


def _inside_grade(data: Dataset) -> pd.Series:
    doors = data["doors"]
    site = data.site.security_grade
    if not data.has("zones"):
        every = pd.Series(pd.NA if site is None else site, index=doors.index, dtype="Int64")
        return every.mask(doors["inside_zone"].isna())
    grades = data["zones"]["security_grade"]
    if site is not None:  # the default of every zone but a dwelling's own
        blank = grades.isna() & ~data.unread("zones", "security_grade")
        other = (data["zones"]["kind"] != "dwelling").fillna(False).to_numpy(bool)
        grades = grades.mask(blank & other, site)
    first = grades.loc[by_id(data, "zones")["_label"]].set_axis(by_id(data, "zones").index)
    positions = first.index.get_indexer(pd.Index(doors["inside_zone"]))
    taken = first.reset_index(drop=True).reindex(positions)
    return pd.Series(taken.array, index=doors.index, dtype="Int64")
