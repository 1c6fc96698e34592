import pandas as pd

from audit.arithmetic.three import UNCLEAR, YES
from audit.arithmetic.weeks import asked
from audit.contract import Cause, Dataset, Step, rule
from audit.facts.doors import controlled
from audit.facts.hours import year
from audit.facts.neighbours import zone_kind
from audit.facts.standing import by_id


@rule(
    title="Entrance unlocked at night",
    finds="A controlled entrance from outside that a schedule unlocks during the site's secure"
    " hours.",
    priority="immediate",
    upload=True,
    needs={
        "doors": ("lock", "unlock_schedule", "outside_zone"),
        "zones": ("kind",),
        "schedules": (),
    },
    uses=("calendars",),
    policy=("secure_hours",),
    subjects=("door",),
    cause=Cause("schedule", ("schedule",)),
    summary="Entrance {door} is unlocked by schedule {schedule} during the secure hours"
    " {secure_hours}.",
    evidence=("schedule", "secure_hours"),
    do=(
        Step(
            "Change the unlock schedule so that it ends before the secure hours start.",
            who="panel technician",
            does="cut",
        ),
    ),
    cites=(
        "nist-sp-800-53-rev-5-1-1-pe-3",
        "unlock-schedules-of-blocks-of-flats",
    ),
)
def entrance_unlocked_in_secure_hours(data: Dataset) -> pd.DataFrame:
    """While everyone is asleep the building is open to anyone who tries the door."""
    level = controlled(data)
    locked = pd.arrays.BooleanArray(level == YES, level == UNCLEAR)
    doors = by_id(data, "doors").assign(kind=zone_kind(data, "outside_zone"), locked=locked)
    doors = doors[doors["unlock_schedule"].notna()].reset_index().set_index("_label")
    start, end = data.policy.secure_minutes
    open_then = asked(lambda name: year(data).within(name, start, end), doors["unlock_schedule"])
    entrance = (doors["kind"] == "outside") & doors["locked"]
    return doors.assign(
        door=doors["door_id"],
        schedule=doors["unlock_schedule"],
        secure_hours=data.policy.secure_hours,
        fails=(entrance & open_then).astype("boolean"),
    )
