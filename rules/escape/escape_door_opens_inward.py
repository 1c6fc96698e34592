import pandas as pd

from audit.contract import OUT, Dataset, Example, Reference, rule
from audit.trade.escape import doors_in_fire, settled


@rule(
    title="Door that opens against more people than the code allows",
    finds="A door that opens against the way out, while more people depend on it than the local"
    " code allows.",
    priority="planned",
    life_safety=True,
    needs={
        "doors": ("opens_with_escape", "inside_zone", "outside_zone"),
        "zones": ("occupants",),
    },
    policy=("opens_against_people",),
    subjects=("door",),
    summary="Door {door} opens against the way out, and at least {people:1 person depends|%"
    " people depend} on it; {most_allowed} {most_allowed:is|are} the most here.",
    evidence=("people", "most_allowed"),
    remedy="Rehang the door to open with the escape, or give its people another way; have a"
    " competent person confirm the number of people by the local code.",
    references=(
        Reference(
            "Approved Document B (England), volume 2, 2019 with amendments, Direction of opening",
            "with the escape where more than 60 may use the door in a fire",
            sure="quoted",
        ),
        Reference(
            "International Building Code 2018, Door swing, 1010.1.2.1",
            "in the direction of egress for an occupant load of 50 or more",
            sure="quoted",
        ),
    ),
)
def escape_door_opens_inward(data: Dataset) -> pd.DataFrame:
    """People who press forward hold a door shut that opens towards them."""
    doors = doors_in_fire(data, "opens_with_escape")
    doors = doors[~doors["opens_with_escape"].fillna(False)]
    limit = data.policy.opens_against_people
    too_many = settled(doors["people_least"] > limit, doors["people_most"] <= limit)
    return doors.assign(
        people=doors["people_least"],
        most_allowed=limit,
        fails=~doors["opens_with_escape"] & too_many,
    )


EXAMPLES = (
    Example(
        "60 people are the limit itself",
        """
        zones
        zone_id | kind    | occupants
        OUT     | outside |
        A       | common  | 60
        B       | common  | 61
        C       | common  | 61
        D       | common  |

        doors
        door_id | inside_zone | outside_zone | lock | opens_with_escape
        LIMIT   | A           | OUT          | none | no
        OVER    | B           | OUT          | none | no
        WITH    | C           | OUT          | none | yes
        BLANK   | C           | OUT          | none |
        NOBODY  | D           | OUT          | none | no
        """,
        expect={"LIMIT": False, "OVER": True, "WITH": OUT, "BLANK": None, "NOBODY": None},
    ),
    Example(
        "people whose way may pass the door, for all that is given",
        """
        zones
        zone_id | kind    | occupants
        OUT     | outside |
        A       | common  | 30
        B       | common  | 31

        doors
        door_id | inside_zone | outside_zone | lock   | mechanical_exit | alarm_release | opens_with_escape
        FRONT   | A           | OUT          | none   | none            | no            | no
        BETWEEN | B           | A            | magnet | none            |               | no
        """,  # noqa: E501
        expect={"FRONT": None, "BETWEEN": False},
    ),
)
