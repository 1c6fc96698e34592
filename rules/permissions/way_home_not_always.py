import pandas as pd

from audit.contract import Cause, Dataset, Step, rule
from audit.facts.way_home import ways_home


@rule(
    title="Resident locked out at some times",
    finds="A resident with a live card or PIN who can reach their dwelling only for part of the"
    " week.",
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
    summary="Resident {person} cannot get home at these times: {missing_hours}{stopped_at:;"
    " stopped at door %|; stopped at doors %|}.",
    evidence=("missing_hours", "stopped_at"),
    do=(
        Step(
            "Remove the schedule from the doors on the way home, or use one that is always open.",
            who="office",
            does="record",
        ),
    ),
    cites=(
        "access-for-residents-2",
        "en-60839-11-1-2013-6-4-2",
    ),
)
def way_home_not_always(data: Dataset) -> pd.DataFrame:
    """Anyone coming home late, or on a holiday, is locked out of their own home."""
    people = ways_home(data)
    people = people[people["some"].fillna(True)]
    return people.assign(
        missing_hours=people["missing"],
        stopped_at=people["doors"],
        fails=people["scope"] & people["some"] & ~people["always"],
    )
