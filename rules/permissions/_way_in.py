"""Which doors lie on a way in from outside to a home."""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd

from audit.contract import Dataset
from audit.facts.standing import by_id


def on_way_in(
    data: Dataset, doors: Sequence[str], homes: Sequence[str | None]
) -> list[bool | None]:
    """Whether each door can be passed on a way in from outside to the home beside it.

    A way in passes doors from their outside zone to their inside zone; a door that is closed
    from outside leads nowhere. None where a zone is not given.
    """
    table = by_id(data, "doors")
    near, far = table["outside_zone"], table["inside_zone"]
    shut = (table["entry"] == "closed").fillna(False)
    onward: dict[str, set[str]] = {}
    back: dict[str, set[str]] = {}
    for a, b, closed in zip(near, far, shut, strict=True):
        if not closed and not pd.isna(a) and not pd.isna(b):
            onward.setdefault(a, set()).add(b)
            back.setdefault(b, set()).add(a)
    zones = by_id(data, "zones")
    entrances = set(zones.index[(zones["kind"] == "outside").fillna(False).to_numpy(dtype=bool)])
    from_outside = _reached(entrances, onward)
    to_home: dict[str, set[str]] = {}
    found: list[bool | None] = []
    for door, home in zip(doors, homes, strict=True):
        a, b = near[door], far[door]
        if home is None or pd.isna(a) or pd.isna(b):
            found.append(None)
            continue
        if home not in to_home:
            to_home[home] = _reached({home}, back)
        found.append(a in from_outside and b in to_home[home] and not shut[door])
    return found


def _reached(start: set[str], onward: dict[str, set[str]]) -> set[str]:
    seen = set(start)
    work = list(start)
    while work:
        for to in onward.get(work.pop(), ()):
            if to not in seen:
                seen.add(to)
                work.append(to)
    return seen
