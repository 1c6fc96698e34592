from collections.abc import Iterable

import numpy as np
import pandas as pd

from audit.contract import OUT, Dataset, Example, Reference, rule
from audit.facts.reach import groups


@rule(
    title="A group in use that opens no door",
    finds="A door group that a permission uses and that contains no door, where no other"
    " finding says why.",
    priority="advisory",
    upload=True,
    needs={"door_groups": ("member_id",), "permissions": ("door_group",)},
    subjects=("door_group",),
    summary="Door group {door_group} is used by a permission and opens no door.",
    remedy="Add the doors that the group is meant for, or take it out of the permissions.",
    references=(
        Reference(
            "NIST SP 800-53 rev 5.1.1, PE-2",
            "keep an approved list of who has access, review it, and remove what is not needed",
            sure="read",
        ),
    ),
)
def group_empty(data: Dataset) -> pd.DataFrame:
    """Someone believes that they gave access: the register promises a door and opens none."""
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


EXAMPLES = (
    Example(
        "empty in itself and through its groups; one door is enough; other findings speak first",
        """
        door_groups
        door_group | member_kind | member_id
        EMPTY      |             |
        HOLLOW     | door_group  | EMPTY
        ONE        | door        | D1
        DEEP       | door_group  | ONE
        UNUSED     |             |
        LOST       | door_group  | NOWHERE
        ABOVE      | door_group  | LOST
        RING       | door_group  | RING
        BLUR       | whichever   | D1

        permissions
        permission_id | holder_id | door_group
        1             | P1        | EMPTY
        2             | P1        | HOLLOW
        3             | P1        | ONE
        4             | P1        | DEEP
        5             | P1        | LOST
        6             | P1        | ABOVE
        7             | P1        | RING
        8             | P1        | BLUR
        9             | P1        | NOWHERE
        """,
        expect={
            "EMPTY": True,
            "HOLLOW": True,
            "ONE": False,
            "DEEP": False,
            "UNUSED": OUT,
            "LOST": OUT,
            "ABOVE": OUT,
            "RING": OUT,
            "BLUR": None,
            "NOWHERE": OUT,
        },
    ),
)
