import numpy as np
import pandas as pd

from audit.contract import OUT, TEXT, Dataset, Example, Reference, rule
from audit.facts.reach import ENTRIES, reach
from audit.facts.standing import by_id


@rule(
    title="One person who opens every door",
    finds="A resident, visitor or contractor who opens every controlled door of the site that"
    " asks for a credential (four doors at least).",
    priority="planned",
    needs={"people": (), "doors": ("entry", "lock"), "permissions": ()},
    uses=("cards", "pins", "door_groups", "schedules", "calendars"),
    subjects=("person",),
    summary="Person {person} opens every one of the {doors} doors that ask for a credential.",
    evidence=("doors",),
    remedy="Cut this person's permissions down to the doors that they need.",
    references=(
        Reference(
            "NIST SP 800-53 rev 5.1.1, AC-6(7)",
            "review privileges and remove those that are not needed",
            sure="read",
        ),
    ),
)
def reaches_every_door(data: Dataset) -> pd.DataFrame:
    """One lost card would open the whole site, and nobody meant this person to have it all."""
    found = every_door(data)
    role = data["people"]["role"].reindex(found.index)
    within = role.isin(["resident", "visitor", "contractor"]).astype("boolean").mask(role.isna())
    found = found.assign(within=within)
    found = found[found["within"].fillna(True)]
    return found.assign(fails=found["within"] & found["every"] & (found["doors"] >= 4))


FOUR = """
        doors
        door_id | entry | lock
        D1      | card  | magnet
        D2      | card  | strike
        D3      | pin   | bolt
        D4      | card-or-pin | motor
        FREE    | none  | magnet
        KEY     | key   | bolt
        OPEN    | card  | none
"""


def every_door(data: Dataset) -> pd.DataFrame:
    """Whether each person's reach is every controlled door that asks for a credential.

    Index: labels of the people table (the first row of an id). Columns `person`, `every`
    (nullable boolean) and `doors` (how many such doors the site has, as far as is known).
    """
    r = reach(data)
    doors = by_id(data, "doors")
    no_lock = (doors["lock"] == "none").fillna(False).to_numpy(dtype=bool)
    lock_given = doors["lock"].notna().to_numpy(dtype=bool)
    asks = (r.entry >= 1) & (r.entry <= 4)
    all_doors = (asks | (r.entry == len(ENTRIES))) & ~no_lock
    sure_doors = asks & ~no_lock & lock_given
    people = r.people
    # only classes whose grants open enough doors, counted twice at worst, can have them all
    kept = np.concatenate([[0], np.cumsum(sure_doors[r.targets.doors])])[r.targets.start]
    target = r.grant_target[people.items >> 1]
    count = np.concatenate([[0], np.cumsum(kept[target + 1] - kept[target])])
    enough = np.diff(count[people.start]) >= sure_doors.sum()
    classes = np.flatnonzero(enough)
    pairs = r.pairs(people, all_doors, classes)
    every = np.zeros(people.size, np.int8)
    possible = np.bincount(pairs.of[sure_doors[pairs.door]], minlength=people.size)
    surely = np.bincount(pairs.of[pairs.certain], minlength=people.size)
    every[possible >= sure_doors.sum()] = 1
    every[surely >= all_doors.sum()] = 2
    table = by_id(data, "people")
    mine = every[people.of[: len(table)]]
    return pd.DataFrame(
        {
            "person": table.index.astype(TEXT),
            "every": pd.arrays.BooleanArray(mine == 2, mine == 1),
            "doors": int(sure_doors.sum()),
        },
        index=pd.Index(table["_label"].to_numpy(dtype=np.int64)),
    )


EXAMPLES = (
    Example(
        "all four, three of four, and those of whom it is expected",
        FOUR
        + """
        door_groups
        door_group | member_id
        ALL        | D1
        ALL        | D2
        ALL        | D3
        ALL        | D4
        THREE      | D1
        THREE      | D2
        THREE      | D4

        people
        person_id | role
        ALL4      | resident
        HIRED     | contractor
        THREE4    | resident
        STAFF     | staff
        WHOEVER   | whoever
        BLUR      | visitor

        cards
        number | person_id | status
        1      | ALL4      |
        2      | HIRED     |
        3      | THREE4    |
        4      | STAFF     |
        5      | WHOEVER   |
        6      | BLUR      | unheard

        pins
        pin_id | pin  | person_id
        K1     | **** | ALL4
        K2     | **** | HIRED
        K3     | **** | THREE4
        K4     | **** | STAFF
        K5     | **** | WHOEVER
        K6     | **** | BLUR

        permissions
        permission_id | holder_id | door_group
        R1            | ALL4      | ALL
        R2            | HIRED     | ALL
        R3            | THREE4    | THREE
        R4            | STAFF     | ALL
        R5            | WHOEVER   | ALL
        R6            | BLUR      | ALL
        """,
        expect={
            "ALL4": True,
            "HIRED": True,
            "THREE4": False,
            "STAFF": OUT,
            "WHOEVER": None,
            "BLUR": None,
        },
    ),
    Example(
        "three doors are too few to say so",
        """
        doors
        door_id | entry | lock
        D1      | card  | magnet
        D2      | card  | strike
        D3      | card  | bolt

        people
        person_id | role
        P         | visitor

        cards
        number | person_id
        1      | P

        permissions
        permission_id | holder_id | door_id
        R1            | P         | D1
        R2            | P         | D2
        R3            | P         | D3
        """,
        expect={"P": False},
    ),
)
