import pandas as pd

from audit.arithmetic.freedom import all_of, is_word, opposite
from audit.arithmetic.three import YES
from audit.arithmetic.thresholds import found
from audit.contract import Cause, Dataset, Step, rule
from audit.facts.doors import doors, judged, on_route, words_of_locks
from rules.escape._shared import exceeds, facts_of_doors, people_at, vague_limit


@rule(
    title="Escape door for many people without bar or pad",
    finds=(
        "A door on an escape route whose lock is opened from inside by a lever or a thumbturn,"
        " on which more people depend than the local code allows without a panic bar or pad."
    ),
    priority="planned",
    upload=True,
    life_safety=True,
    needs={
        "doors": ("escape_route", "lock", "mechanical_exit", "inside_zone", "outside_zone"),
        "zones": ("occupants",),
    },
    uses=("locks", "dwellings", "buildings"),
    policy=("panic_hardware_people", "people_counted"),
    subjects=("door",),
    cause=Cause("door", ("door",)),
    summary=(
        "Door {door} is on an escape route, opens from inside by {opened_by}, and at least"
        " {people:1 person depends|% people depend} on it; above {most_allowed} a panic bar or"
        " pad is required."
    ),
    evidence=("people", "most_allowed", "opened_by"),
    do=(
        Step(
            "Have a competent person confirm the number of people; then fit a panic bar or pad"
            " in place of the lever or thumbturn.",
            who="door fitter",
            does="free",
        ),
    ),
    cites=("trade-practice-after-bs-9999-panic-hardware", "en-1125-2008-panic-exit-devices"),
)
def panic_hardware_missing(data: Dataset) -> pd.DataFrame:
    """In a crowd nobody has a free hand for a lever, and those behind push."""
    own = doors(data)
    mechanical = words_of_locks(data)
    by_hand = is_word(mechanical, "lever", "thumbturn")
    lock = opposite(is_word(own.locks.taken, "magnet", "none"))
    hardware = own.per_door(all_of(lock, by_hand))
    limit = found(data.policy.panic_hardware_people, own.frame.index, facts_of_doors(data))
    people = people_at(data)
    over = exceeds([p.counted for p in people], limit.value, [p.lacks for p in people])
    reason, lacks = vague_limit(limit, "people at a door without bar or pad", over, people)
    by = pd.Series(mechanical, own.frame["door"].to_numpy()[own.at]).where(by_hand == YES)
    opened_by = by.dropna().groupby(level=0).first().reindex(own.frame["door"]).to_numpy(object)
    return judged(
        data,
        all_of(on_route(data), hardware),
        over,
        ("escape_route", "lock", "mechanical_exit"),
        reason=reason,
        lacks=lacks,
        people=[p.counted[0] for p in people],
        most_allowed=limit.value,
        opened_by=opened_by,
    )
