import pandas as pd

from audit.contract import Cause, Dataset, Step, rule
from audit.facts.standing import lookup
from rules.permissions._shared import reaches_into


@rule(
    title="Access to somebody else's dwelling",
    finds="A resident or visitor who can open the door of a dwelling that is not theirs.",
    priority="immediate",
    upload=True,
    needs={
        "people": (),
        "doors": ("inside_zone", "entry"),
        "zones": ("kind",),
        "permissions": (),
    },
    uses=("dwellings", "cards", "pins", "door_groups", "schedules", "calendars"),
    subjects=("person", "door"),
    cause=Cause("person", ("person",)),
    summary="{person} can open door {door}, into a dwelling that is not theirs ({zone}).",
    evidence=("zone",),
    do=(
        Step(
            "Ask whether this person cares for someone there. If not, remove the door from"
            " their permissions today, and check who else has it.",
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
    """Someone with no right to this home can get in today."""
    rows = reaches_into(data, "dwelling", ("resident", "visitor"))
    dwelling = lookup(data, "people", rows["person"], "dwelling_id")
    own = lookup(data, "dwellings", dwelling, "zone_id")
    other = (rows["zone"] != own).astype("boolean")
    return rows.assign(fails=rows["reaches"] & (other | dwelling.isna()))
