from collections.abc import Iterable

import numpy as np
import pandas as pd

from audit.contract import Cause, Dataset, Step, rule
from audit.facts.reach import groups


@rule(
    title="Door group in use with no doors",
    finds="A door group used by a permission but containing no doors, where no other finding"
    " explains why.",
    priority="advisory",
    upload=True,
    needs={"door_groups": ("member_id",), "permissions": ("door_group",)},
    subjects=("door_group",),
    cause=Cause("rule", ("=group-empty",)),
    summary="Door group {door_group} is used by a permission but contains no doors.",
    do=(
        Step(
            "Add the intended doors, or remove the group from the permissions.",
            who="office",
            does="record",
        ),
    ),
    cites=("nist-sp-800-53-rev-5-1-1-pe-2-4",),
)
def group_empty(data: Dataset) -> pd.DataFrame:
    """Someone thinks they gave access, but the permission opens nothing."""
    groups = used_groups(data)
    return groups.assign(fails=groups["empty"])


def used_groups(data: Dataset) -> pd.DataFrame:
    """Groups of the table that a permission uses and no other finding speaks of.

    Index: the group's first row in door_groups. Columns `door_group`, `empty` (nullable
    boolean: it holds no door, in itself or in its groups). Left out: groups in a circle, or
    that hold, however deep, a group that is not in the table.
    """
    g = groups(data)
    rows = data["door_groups"]
    first = rows.dropna(subset=["door_group"]).drop_duplicates("door_group")
    used = set(data["permissions"]["door_group"].dropna().unique())
    first = first[first["door_group"].isin(used).to_numpy(bool)]
    circled = {name for circle in g.circles for name in circle}
    dangling = _holding(data, g.dangling)
    kept = [n not in circled and n not in dangling for n in first["door_group"]]
    first = first[np.array(kept, bool)]
    empty = [
        pd.NA if g.possible[n] and not g.sure[n] else not g.possible[n] for n in first["door_group"]
    ]
    return pd.DataFrame(
        {"door_group": first["door_group"], "empty": pd.array(empty, dtype="boolean")},
        index=first.index,
    )


def _holding(data: Dataset, names: Iterable[str]) -> set[str]:
    """These groups, and every group that holds one of them, however deep."""
    above: dict[str, list[str]] = {}
    for outer, inner in groups(data).members.items():
        for name in inner:
            above.setdefault(name, []).append(outer)
    found = set(names)
    work = list(found)
    while work:
        for outer in above.get(work.pop(), ()):
            if outer not in found:
                found.add(outer)
                work.append(outer)
    return found
