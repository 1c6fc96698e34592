from collections.abc import Sequence

import pandas as pd

from audit.contract import Cause, Dataset, Step, rule
from rules.permissions._shared import reaches_into


@rule(
    title="Resident or visitor can enter a plant room",
    finds="A resident or visitor who can open a plant room door.",
    priority="planned",
    upload=True,
    needs={
        "people": (),
        "doors": ("inside_zone", "entry"),
        "zones": ("kind",),
        "permissions": (),
    },
    uses=("cards", "pins", "door_groups", "schedules", "calendars"),
    subjects=("person", "zone"),
    cause=Cause("person", ("person",)),
    summary="{person} can enter plant area {zone} through {doors:door %|doors %}.",
    evidence=("doors",),
    do=(
        Step(
            "Remove the plant doors from this person's permissions.",
            who="office",
            does="cut",
        ),
    ),
    cites=(
        "nist-sp-800-53-rev-5-1-1-ac-6-7-2",
        "plant-rooms",
    ),
)
def reaches_plant(data: Dataset) -> pd.DataFrame:
    """Lift, electrical and boiler rooms are dangerous to untrained people."""
    rows = zones_into(data, "plant", ("resident", "visitor"))
    return rows.assign(fails=rows["reaches"])


def zones_into(data: Dataset, kind: str, roles: Sequence[str]) -> pd.DataFrame:
    """`reaches_into` by zone: one row a person and zone, with the list of `doors`.

    `reaches` is sure when it is by one door.
    """
    rows = reaches_into(data, kind, roles)
    some = rows["door"].notna().to_numpy(dtype=bool)
    none, rows = rows[~some], rows[some].sort_values(["person", "zone", "door"])
    group = rows.groupby(["person", "zone"], sort=True, dropna=False).ngroup().to_numpy()
    doors: dict[int, list[str]] = {}
    for number, door in zip(group.tolist(), rows["door"].tolist(), strict=True):
        doors.setdefault(number, []).append(door)
    rows = rows.assign(number=group, doubt=rows["reaches"].isna())
    rows = rows.sort_values(["number", "doubt"]).drop_duplicates("number")
    listed = pd.Series([doors[n] for n in rows["number"].tolist()], index=rows.index, dtype=object)
    return pd.concat([rows.assign(doors=listed), none])
