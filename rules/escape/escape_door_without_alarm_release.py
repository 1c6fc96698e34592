import pandas as pd

from audit.arithmetic.freedom import all_of, opposite
from audit.contract import Cause, Dataset, Step, does_not_apply, rule
from audit.facts.doors import alarm_at, controlled, doors, judged, on_route


@rule(
    title="Escape door that the fire alarm does not release",
    finds=(
        "In a building with a communal fire alarm, a controlled door on an escape route without"
        " a handle that opens the lock from inside, which the alarm does not release."
    ),
    priority="immediate",
    upload=True,
    life_safety=True,
    needs={"doors": ("lock",)},
    uses=("locks", "zones", "dwellings", "buildings"),
    policy=("leaf_switch_needs_alarm",),
    subjects=("door",),
    cause=Cause("door", ("door",)),
    summary=(
        "Door {door} is on an escape route, has no handle that opens it from inside, and the"
        " fire alarm does not release it."
    ),
    do=(
        Step(
            "Have a competent person confirm it by the local code; then connect the lock to the"
            " fire alarm, or fit a mechanical exit, and see the release work at the next alarm"
            " test. On a fire door (fire minutes above 0) it must do so without losing the"
            " latch: a lock or exit device that unlocks and stays latched, never a strike.",
            who="door fitter",
            does="free",
        ),
    ),
    cites=(
        "approved-document-b-england-2019-with-amendments",
        "nfpa-72-electrically-locked-doors-2010-21-9-2019",
    ),
)
def escape_door_without_alarm_release(data: Dataset) -> pd.DataFrame:
    """When the alarm sounds, everyone reaches this door at once: it must be unlocked."""
    locks = doors(data).locks
    fault = all_of(
        locks.powered, opposite(locks.handle), opposite(locks.leaf), opposite(locks.released)
    )
    alarm, reason, lacks = alarm_at(data)
    found = judged(
        data,
        all_of(on_route(data), controlled(data), alarm),
        doors(data).per_door(fault),
        (
            "escape_route",
            "lock",
            "mechanical_exit",
            "alarm_release",
            "exit_input",
            "power_loss",
        ),
        reason=reason,
        lacks=lacks,
    )
    return does_not_apply(found, "no building has a communal fire alarm")
