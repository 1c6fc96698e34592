import pandas as pd

from audit.arithmetic.freedom import all_of, opposite
from audit.contract import Cause, Dataset, Step, rule
from audit.facts.doors import controlled, doors, judged, on_route


@rule(
    title="Escape door that stays locked when the power fails",
    finds=(
        "A controlled door on an escape route whose lock stays locked without power and has no"
        " handle that opens it from inside."
    ),
    priority="immediate",
    upload=True,
    life_safety=True,
    needs={"doors": ("escape_route", "lock", "power_loss", "mechanical_exit")},
    uses=("locks",),
    subjects=("door",),
    cause=Cause("door", ("door",)),
    summary=(
        "Door {door} is on an escape route, stays locked when the power fails, and has no"
        " handle that opens it from inside."
    ),
    do=(
        Step(
            "Have a competent person confirm it by the local code; then fit a mechanical exit"
            " on the escape side, or a lock that unlocks on loss of power. On a fire door (fire"
            " minutes above 0) it must do so without losing the latch: a lock or exit device"
            " that unlocks and stays latched, never a strike.",
            who="door fitter",
            does="free",
        ),
    ),
    cites=(
        "approved-document-b-england-2019-with-amendments",
        "international-building-code-2018-sensor-release",
    ),
)
def escape_door_locked_without_power(data: Dataset) -> pd.DataFrame:
    """Power often fails early in a fire, and a lock that holds without power traps people."""
    locks = doors(data).locks
    fault = all_of(locks.powered, opposite(locks.unlocks), opposite(locks.handle))
    return judged(
        data,
        all_of(on_route(data), controlled(data)),
        doors(data).per_door(fault),
        ("escape_route", "lock", "power_loss", "mechanical_exit"),
    )
