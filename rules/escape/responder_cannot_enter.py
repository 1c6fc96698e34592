import pandas as pd

from audit.contract import Cause, Dataset, Step, rule
from rules.escape._shared import entrances


@rule(
    title="Entrance that the fire service cannot open",
    finds=(
        "A controlled entrance to a building with a dwelling, where nothing is recorded by"
        " which the fire service gets in at every hour: no key, switch, card, PIN or staffed"
        " desk. Advisory where the building is not high-rise, or its height is not recorded."
    ),
    priority="planned",
    gravest="planned",
    upload=True,
    life_safety=True,
    needs={
        "doors": ("entry", "lock", "inside_zone", "outside_zone"),
        "zones": ("kind",),
        "dwellings": (),
    },
    uses=(
        "locks",
        "people",
        "cards",
        "pins",
        "permissions",
        "door_groups",
        "schedules",
        "calendars",
        "stations",
        "buildings",
    ),
    subjects=("door",),
    cause=Cause("door", ("door",)),
    summary=(
        "Door {door} is an entrance by which the fire service cannot get in at every hour"
        " ({recorded})."
    ),
    evidence=("recorded",),
    do=(
        Step(
            "Ask the fire service how it wants to get in; then fit what it names (a key safe, a"
            " switch, a card or PIN held at every hour) and record it in responder_entry.",
            who="office",
            does="record",
        ),
    ),
    cites=("fire-service-entry-common-practice",),
)
def responder_cannot_enter(data: Dataset) -> pd.DataFrame:
    """Firefighters lose minutes at a locked door while people wait for them."""
    return entrances(data)
