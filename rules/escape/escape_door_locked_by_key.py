import numpy as np
import pandas as pd

from audit.arithmetic.freedom import all_of, any_of, is_word, opposite
from audit.contract import Cause, Dataset, Step, rule
from audit.facts.buildings import at_place
from audit.facts.doors import (
    MAY_BE_SHUT_WHEN_EMPTY,
    doors,
    judged,
    on_route,
    words,
    words_of_locks,
)


@rule(
    title="Escape door that needs a key from inside",
    finds=(
        "A door on an escape route with a mechanical lock and no handle that opens it from"
        " inside, or with another lock that only a key opens from inside and no exit input."
        " Planned where an office or shop keeps it unlocked by schedule: to be shown that it is"
        " locked only while nobody is inside."
    ),
    priority="immediate",
    upload=True,
    life_safety=True,
    needs={"doors": ("escape_route", "lock", "mechanical_exit")},
    uses=("locks", "zones", "dwellings", "buildings"),
    subjects=("door",),
    cause=Cause("door", ("door",)),
    summary=(
        "Door {door} is on an escape route and needs a key from inside{shown:; % keeps it"
        " unlocked at times, and it is to be shown that it is locked only while nobody is"
        " inside|}."
    ),
    evidence=("shown",),
    do=(
        Step(
            "Have a competent person confirm it by the local code; then fit a lock that opens"
            " from inside without a key, or show that it is locked only while nobody is inside"
            " and record their document.",
            who="door fitter",
            does="free",
        ),
    ),
    cites=(
        "approved-document-b-england-2019-with-amendments-2",
        "nfpa-101-locks-and-latches-7-2-1-5",
    ),
)
def escape_door_locked_by_key(data: Dataset) -> pd.DataFrame:
    """Whoever has no key at hand cannot get out."""
    own = doors(data)
    locks = own.locks
    mechanical = words_of_locks(data)
    key = all_of(is_word(locks.taken, "key"), opposite(locks.handle))
    other = all_of(locks.powered, is_word(mechanical, "key"), opposite(locks.input))
    use = words(at_place(data, "use"))[own.frame.index]
    scheduled = own.frame["unlock_schedule"].notna().to_numpy(bool)
    empty = scheduled & ((use == "") | np.isin(use, MAY_BE_SHUT_WHEN_EMPTY))
    schedule = own.frame["unlock_schedule"].astype(object)
    return judged(
        data,
        on_route(data),
        own.per_door(any_of(key, other)),
        ("escape_route", "lock", "mechanical_exit", "exit_input"),
        shown=schedule.where(empty).map(lambda s: None if pd.isna(s) else f"schedule {s}"),
        priority=np.where(empty, "planned", "immediate"),
    )
