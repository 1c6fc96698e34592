from collections.abc import Sequence

import pandas as pd

from audit.contract import OUT, Dataset, Example, Reference, rule
from rules.permissions._shared import reaches_into


@rule(
    title="A resident or visitor who can enter a plant room",
    finds="A resident or visitor who opens a door into a plant room.",
    priority="planned",
    needs={
        "people": (),
        "doors": ("inside_zone", "entry"),
        "zones": ("kind",),
        "permissions": (),
    },
    uses=("cards", "pins", "door_groups", "schedules", "calendars"),
    subjects=("person", "zone"),
    summary="Person {person} can enter plant zone {zone} through {doors:door %|doors %}.",
    evidence=("doors",),
    remedy="Take the plant doors out of this person's permissions.",
    references=(
        Reference(
            "NIST SP 800-53 rev 5.1.1, AC-6(7)",
            "review privileges and remove those that are not needed",
            sure="read",
        ),
        Reference(
            "Plant rooms",
            "open to those who work on the plant, not to residents",
            sure="common practice, no source",
        ),
    ),
)
def reaches_plant(data: Dataset) -> pd.DataFrame:
    """Lift, electrical and boiler rooms can hurt whoever enters them untrained."""
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


EXAMPLES = (
    Example(
        "by card into plant, by two doors into one zone, and not at all",
        """
        zones
        zone_id | kind
        HALL    | common
        LIFT    | plant
        BOILER  | plant

        doors
        door_id | inside_zone | entry
        FRONT   | HALL        | card
        L1      | LIFT        | card
        L2      | LIFT        | pin
        B1      | BOILER      |

        people
        person_id | role
        NOPLANT   | resident
        LIFTER    | resident
        GUEST     | visitor
        STAFF     | staff
        BLUR      | resident
        WHOEVER   | whoever

        cards
        number | person_id
        1      | NOPLANT
        2      | LIFTER
        3      | GUEST
        4      | STAFF
        5      | BLUR
        6      | WHOEVER

        pins
        pin_id | pin  | person_id | status
        K1     | **** | LIFTER    | unheard

        permissions
        permission_id | holder_id | door_id
        R1            | NOPLANT   | FRONT
        R2            | LIFTER    | L1
        R3            | LIFTER    | L2
        R4            | GUEST     | L1
        R5            | STAFF     | L1
        R6            | BLUR      | B1
        R7            | WHOEVER   | L1
        """,
        expect={
            "NOPLANT": False,
            "LIFTER LIFT": True,
            "GUEST LIFT": True,
            "STAFF LIFT": OUT,
            "BLUR BOILER": None,
            "WHOEVER LIFT": None,
        },
    ),
)
