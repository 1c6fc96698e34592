import pandas as pd

from audit.contract import Cause, Dataset, Step, rule
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
    cause=Cause("door", ("door",)),
    summary="Door {door} opens against the way out, and at least {people:1 person depends|%"
    " people depend} on it; {most_allowed} {most_allowed:is|are} the most here.",
    evidence=("people", "most_allowed"),
    do=(
        Step(
            "Rehang the door to open with the escape, or give its people another way; have a"
            " competent person confirm the number of people by the local code.",
            who="door fitter",
            does="free",
        ),
    ),
    cites=(
        "approved-document-b-england-volume-2-2019-with-a",
        "international-building-code-2018-door-swing-1010",
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
