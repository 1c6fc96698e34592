import numpy as np
import pandas as pd

from audit.arithmetic.freedom import all_of, opposite
from audit.arithmetic.three import YES, coded
from audit.arithmetic.thresholds import found
from audit.contract import Cause, Dataset, Step, rule
from audit.facts.doors import doors, judged
from rules.escape._shared import exceeds, facts_of_doors, people_at, vague_limit


@rule(
    title="Door that opens against the direction of escape",
    finds=(
        "A door that opens against the direction of escape and lies on the shortest way out of"
        " more people than the local code allows."
    ),
    priority="planned",
    life_safety=True,
    needs={
        "doors": ("opens_with_escape", "inside_zone", "outside_zone"),
        "zones": ("occupants",),
    },
    uses=("locks", "dwellings", "buildings"),
    policy=("opens_against_people",),
    subjects=("door",),
    cause=Cause("door", ("door",)),
    summary=(
        "Door {door} opens against the direction of escape and serves at least {people:1"
        " person|% people}; the limit is {most_allowed}."
    ),
    evidence=("people", "most_allowed"),
    do=(
        Step(
            "Have a competent person confirm the number of people; then rehang the door to open"
            " in the direction of escape, or provide another way.",
            who="door fitter",
            does="free",
        ),
    ),
    cites=(
        "approved-document-b-england-volume-2-2019-with-a",
        "international-building-code-2018-door-swing-1010",
    ),
    cannot={"out": "every door is asked how it opens"},
)
def escape_door_opens_inward(data: Dataset) -> pd.DataFrame:
    """A crowd pressing forward holds shut a door that opens towards it."""
    own = doors(data)
    against = opposite(coded(own.frame["opens_with_escape"]))
    limit = found(data.policy.opens_against_people, own.frame.index, facts_of_doors(data))
    people = people_at(data)
    over = exceeds([p.everybody for p in people], limit.value)
    reason, lacks = vague_limit(limit, "people that a door opens against", over)
    return judged(
        data,
        np.full(len(own.frame), YES, np.int8),
        all_of(against, over),
        ("opens_with_escape",),
        reason=reason,
        lacks=lacks,
        people=[p.everybody[0] for p in people],
        most_allowed=limit.value,
    )
