import pandas as pd

from audit.contract import Cause, Dataset, Step, rule
from audit.facts.way_home import ways_home


@rule(
    title="Resident cannot reach their dwelling",
    finds="A resident with a live card or PIN but no route from outside to their dwelling at any"
    " time of the week.",
    priority="planned",
    upload=True,
    needs={
        "people": ("dwelling_id",),
        "dwellings": ("zone_id",),
        "doors": ("inside_zone", "outside_zone", "entry"),
        "zones": ("kind",),
        "permissions": (),
    },
    uses=("cards", "pins", "door_groups", "schedules", "calendars"),
    subjects=("person",),
    cause=Cause("person", ("person",)),
    summary="Resident {person} has a live card or PIN but cannot reach their dwelling at any"
    " time{stopped_at:; stopped at door %|; stopped at doors %|}.",
    evidence=("stopped_at",),
    do=(
        Step(
            "Give the resident access to the door where they are stopped, or the kind of"
            " card or PIN it needs.",
            who="office",
            does="record",
        ),
    ),
    cites=(
        "en-60839-11-1-2013-8-tests-of-table-4-lines-14-t",
        "access-for-residents",
    ),
)
def no_way_home(data: Dataset) -> pd.DataFrame:
    """Someone who lives here is stopped at a door that their own card or PIN does not open."""
    people = ways_home(data)
    return people.assign(stopped_at=people["doors"], fails=people["scope"] & ~people["some"])
