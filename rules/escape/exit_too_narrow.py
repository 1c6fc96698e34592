import numpy as np
import pandas as pd

from audit.arithmetic.freedom import all_of, any_of
from audit.arithmetic.three import YES, coded
from audit.arithmetic.thresholds import found
from audit.contract import Cause, Dataset, Step, rule
from audit.facts.doors import doors, judged, on_route
from rules.escape._shared import (
    exceeds,
    facts_of_doors,
    falls_short,
    needed_at,
    only_people_at,
    passed_by,
    people_at,
    why_short,
)


@rule(
    title="Escape door that is too narrow",
    finds=(
        "A door on an escape route that is narrower than the local code's narrowest; or a door"
        " that is the only way out of some zones and, by its clear width, passes fewer people"
        " than depend on it there."
    ),
    priority="planned",
    life_safety=True,
    needs={"doors": ("clear_width_mm", "inside_zone", "outside_zone"), "zones": ("occupants",)},
    uses=("locks", "dwellings", "buildings"),
    policy=(
        "narrowest_escape_door_mm",
        "narrowest_from_people",
        "width_bands",
        "mm_per_person",
        "people_counted",
    ),
    subjects=("door",),
    cause=Cause("door", ("door",)),
    summary=(
        "Door {door} has a clear width of {clear_width_mm} mm; {width_needed_mm} mm is"
        " needed{people: (it is the only way out of 1 person and has capacity for"
        " {passes}{passes:|})| (it is the only way out of % people)|}."
    ),
    evidence=("clear_width_mm", "width_needed_mm", "people", "passes"),
    do=(
        Step(
            "Have a competent person confirm the width and the number of people; then widen the"
            " door or provide another way out.",
            who="door fitter",
            does="free",
        ),
    ),
    cites=(
        "approved-document-b-england-volume-2-2019-with-a-2",
        "international-building-code-2018-size-of-doors-1",
    ),
    cannot={"out": "every door may be an only way out"},
)
def exit_too_narrow(data: Dataset) -> pd.DataFrame:
    """A door too narrow for the people who need it keeps some of them waiting in smoke."""
    own = doors(data)
    width = own.frame["clear_width_mm"]
    facts = facts_of_doors(data)
    narrowest = found(data.policy.narrowest_escape_door_mm, own.frame.index, facts).value
    from_people = found(data.policy.narrowest_from_people, own.frame.index, facts).value
    everybody = [p.everybody for p in people_at(data)]
    few = exceeds(everybody, from_people - 1)
    few = np.where(from_people.to_numpy(np.int64) == 0, YES, few).astype(np.int8)
    below = coded((width < narrowest).astype("boolean"))
    narrow = all_of(on_route(data), below, few)
    passes = passed_by(data)
    hanging = only_people_at(data)
    short = falls_short([p.counted for p in hanging], passes, [p.lacks for p in hanging])
    reason, lacks = why_short(data, hanging, passes)
    sure_short = short == YES
    return judged(
        data,
        np.full(len(own.frame), YES, np.int8),
        any_of(narrow, short),
        ("clear_width_mm", "escape_route"),
        reason=reason,
        lacks=lacks,
        width_needed_mm=needed_at(data, hanging, narrowest, sure_short),
        people=[p.counted[0] if s else None for p, s in zip(hanging, sure_short, strict=True)],
        passes=pd.array(
            [c if s else None for c, s in zip(passes, sure_short, strict=True)], "Int64"
        ),
    )
