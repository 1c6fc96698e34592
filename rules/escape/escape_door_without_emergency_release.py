import pandas as pd

from audit.arithmetic.freedom import all_of, opposite
from audit.contract import Cause, Dataset, Step, rule
from audit.facts.doors import controlled, doors, judged, on_route


@rule(
    title="Escape door without a manual release",
    finds=(
        "A controlled door on an escape route without a handle that opens the lock from inside"
        " and without a manual release that cuts the lock's power."
    ),
    priority="immediate",
    upload=True,
    life_safety=True,
    needs={"doors": ("escape_route", "lock", "mechanical_exit", "emergency_release")},
    uses=("locks",),
    policy=("leaf_switch_needs_alarm",),
    subjects=("door",),
    cause=Cause("door", ("door",)),
    summary=(
        "Door {door} is on an escape route and has neither a handle that opens it from inside"
        " nor a manual release that cuts the lock's power."
    ),
    do=(
        Step(
            "Have a competent person confirm it by the local code; then fit a manual release on"
            " the escape side that cuts the lock's power directly, or a mechanical exit.",
            who="door fitter",
            does="free",
        ),
    ),
    cites=(
        "approved-document-b-england-2019-with-amendments",
        "international-building-code-2018-sensor-release-2",
    ),
)
def escape_door_without_emergency_release(data: Dataset) -> pd.DataFrame:
    """If the electronics fail, someone must still be able to cut the lock's power by hand."""
    locks = doors(data).locks
    fault = all_of(
        locks.powered, opposite(locks.handle), opposite(locks.leaf), opposite(locks.manual)
    )
    return judged(
        data,
        all_of(on_route(data), controlled(data)),
        doors(data).per_door(fault),
        (
            "escape_route",
            "lock",
            "mechanical_exit",
            "emergency_release",
            "exit_input",
            "power_loss",
        ),
    )
