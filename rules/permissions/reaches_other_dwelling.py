import pandas as pd

from audit.contract import Cause, Dataset, Step, rule
from audit.facts.standing import lookup
from rules.permissions._shared import reaches_into


@rule(
    title="A door into somebody else's home",
    finds="A resident or visitor who opens a door into a dwelling that is not theirs.",
    priority="immediate",
    needs={
        "people": (),
        "doors": ("inside_zone", "entry"),
        "zones": ("kind",),
        "permissions": (),
    },
    uses=("dwellings", "cards", "pins", "door_groups", "schedules", "calendars"),
    subjects=("person", "door"),
    cause=Cause("person", ("person",)),
    summary="Person {person} can open door {door} into a dwelling that is not theirs ({zone}).",
    evidence=("zone",),
    do=(
        Step(
            "Take the door out of this person's permissions today, and check who else has it.",
            who="office",
            does="cut",
        ),
    ),
    cites=(
        "nist-sp-800-53-rev-5-1-1-pe-2-4",
        "nist-sp-800-53-rev-5-1-1-ps-5-2",
    ),
)
def reaches_other_dwelling(data: Dataset) -> pd.DataFrame:
    """A person without right to this home has a working way into it today."""
    rows = reaches_into(data, "dwelling", ("resident", "visitor"))
    dwelling = lookup(data, "people", rows["person"], "dwelling_id")
    own = lookup(data, "dwellings", dwelling, "zone_id")
    other = (rows["zone"] != own).astype("boolean")
    return rows.assign(fails=rows["reaches"] & (other | dwelling.isna()))
