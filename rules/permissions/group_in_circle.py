import pandas as pd

from audit.contract import Cause, Dataset, Step, rule
from audit.facts.reach import groups


@rule(
    title="Door groups that contain each other",
    finds="Door groups that contain each other, directly or through other groups.",
    priority="planned",
    upload=True,
    needs={"door_groups": ("member_id",)},
    subjects=("door_group",),
    cause=Cause("rule", ("=group-in-circle",)),
    summary="{door_group:Door group % contains itself|Door groups % contain each other, so each"
    " opens the doors of all}.",
    do=(
        Step(
            "Remove one group from the other so that each covers only what its name says.",
            who="office",
            does="record",
        ),
    ),
    cites=(
        "nist-sp-800-53-rev-5-1-1-pe-2-4",
        "door-groups-in-door-entry-software",
    ),
)
def group_in_circle(data: Dataset) -> pd.DataFrame:
    """Nobody can say what such a group covers: anyone with one of them has them all."""
    found = circles(data)
    return found.assign(fails=found["circle"])


def circles(data: Dataset) -> pd.DataFrame:
    """Groups that hold groups: `door_group` (list), `circle` (nullable boolean), `sources`.

    One row a circle, and one each other group. NA where it hangs on a member of which it
    can't be read whether it is a door or a group.
    """
    g = groups(data)
    rows = data["door_groups"]
    sure = {name for circle in g.circles for name in circle}
    unclear = [tuple(n for n in c if n not in sure) for c in g.perhaps_circles]
    named = sure | {name for circle in unclear for name in circle}
    alone = [(name,) for name, inner in g.members.items() if inner and name not in named]
    found: list[tuple[tuple[str, ...], object]] = [(c, True) for c in g.circles]
    found += [(c, pd.NA) for c in unclear if c]
    found += [(c, False) for c in alone]
    inner_rows = rows[~rows["member_kind"].isin(["door"])]
    where: dict[str, list[int]] = {}
    for label, name in zip(inner_rows.index.tolist(), inner_rows["door_group"], strict=True):
        where.setdefault(name, []).append(label)
    return pd.DataFrame(
        {
            "door_group": [list(c) for c, _ in found],
            "circle": pd.Series([v for _, v in found], dtype="boolean"),
            "sources": [
                [("door_groups", label) for name in c for label in where.get(name, ())]
                for c, _ in found
            ],
        }
    )
