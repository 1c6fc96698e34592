import pandas as pd

from audit.contract import Cause, Dataset, Step, rule
from audit.facts.way_home import ways_home


@rule(
    title="A resident who gets home at some hours only",
    finds="A resident with a live card or PIN who gets home through the doors during a part of"
    " the week only.",
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
    summary="Resident {person} has no way home at these hours: {missing_hours}{stopped_at:;"
    " stopped at door %|; stopped at doors %|}.",
    evidence=("missing_hours", "stopped_at"),
    do=(
        Step(
            "Give the resident the doors of the way home without a schedule, or with one that is"
            " always open.",
            who="office",
            does="cut",
        ),
    ),
    cites=(
        "access-for-residents-2",
        "en-60839-11-1-2013-6-4-2",
    ),
)
def way_home_not_always(data: Dataset) -> pd.DataFrame:
    """Whoever comes home late, or on a holiday, is locked out of their own house."""
    people = ways_home(data)
    people = people[people["some"].fillna(True)]
    return people.assign(
        missing_hours=people["missing"],
        stopped_at=people["doors"],
        fails=people["scope"] & people["some"] & ~people["always"],
    )
