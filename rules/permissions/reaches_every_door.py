from typing import Final

import numpy as np
import pandas as pd

from audit.arithmetic.columns import among
from audit.arithmetic.three import NO, YES, Bools
from audit.contract import TEXT, Cause, Dataset, Step, rule
from audit.facts.doors import controlled
from audit.facts.reach import ENTRIES, reach
from audit.facts.standing import by_id, entitled


@rule(
    title="One person can open every door",
    finds=(
        "A resident, visitor or contractor who can open every controlled door that needs a"
        " card or PIN, doors that three or more residents can open left out (at least four"
        " others)."
    ),
    priority="planned",
    upload=True,
    needs={"people": (), "doors": ("entry", "lock"), "permissions": ()},
    uses=("cards", "pins", "door_groups", "schedules", "calendars"),
    subjects=("person",),
    cause=Cause("person", ("person",)),
    summary="{person} can open all {doors} doors that need a card or PIN and that residents do not"
    " share.",
    evidence=("doors",),
    do=(
        Step(
            "If the person frees people from lifts, silences alarms or cares for a"
            " resident at night, record it under call_out.",
            who="office",
            does="record",
        ),
        Step(
            "Limit this person's permissions to the doors they need.",
            who="office",
            does="cut",
        ),
    ),
    cites=("nist-sp-800-53-rev-5-1-1-ac-6-7-2",),
)
def reaches_every_door(data: Dataset) -> pd.DataFrame:
    """One lost card would open the whole site, and nobody intended this person to have that."""
    found = every_door(data)
    role = data["people"]["role"].reindex(found.index)
    within = role.isin(["resident", "visitor", "contractor"]).astype("boolean").mask(role.isna())
    found = found.assign(within=within)
    found = found[found["within"].fillna(True)]
    enough = (
        (found["doors"] >= FEWEST)
        .astype("boolean")
        .mask((found["doors"] < FEWEST) & (found["most"] >= FEWEST))
    )
    return found.assign(fails=found["within"] & found["every"] & enough)


FEWEST: Final = 4
"""Doors that it takes, those that residents share aside."""


SHARED: Final = 3
"""Residents who reach a door that is theirs in common."""


def _shared_by_residents(data: Dataset) -> tuple[Bools, Bools]:
    """Doors that SHARED residents or more surely reach, and that they may reach."""
    r = reach(data)
    people = by_id(data, "people")
    here = entitled(data).reindex(people["_label"]).set_axis(people.index)
    resident = here & among(people["role"], "resident")
    pairs = r.pairs(r.people, np.ones(len(r.door_ids), bool))
    counts = []
    for unsure, some in ((False, pairs.certain), (True, np.ones(len(pairs.of), bool))):
        mine = r.people.of[: len(people)][resident.fillna(unsure).to_numpy(dtype=bool)]
        weight = np.bincount(mine, minlength=r.people.size)
        counts.append(
            np.bincount(pairs.door[some], weight[pairs.of[some]], minlength=len(r.door_ids))
        )
    return counts[0] >= SHARED, counts[1] >= SHARED


def every_door(data: Dataset) -> pd.DataFrame:
    """Whether each person's reach is every controlled door that asks for a credential.

    Index: labels of the people table (the first row of an id). Columns `person`, `every`
    (nullable boolean) and `doors` (how many such doors the site has, as far as is known).
    """
    r = reach(data)
    locked = controlled(data)
    asks = (r.entry >= 1) & (r.entry <= 4)
    shared, perhaps_shared = _shared_by_residents(data)
    all_doors = (asks | (r.entry == len(ENTRIES))) & (locked > NO) & ~shared
    sure_doors = asks & (locked == YES) & ~perhaps_shared
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
            "most": int(all_doors.sum()),
        },
        index=pd.Index(table["_label"].to_numpy(dtype=np.int64)),
    )
