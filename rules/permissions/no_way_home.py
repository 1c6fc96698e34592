import pandas as pd

from audit.contract import Cause, Dataset, Step, rule
from audit.facts.way_home import ways_home


@rule(
    title="A resident who cannot get home",
    finds="A resident with a live card or PIN for whom no chain of doors leads from outside to"
    " the dwelling at any hour of the week.",
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
    summary="Resident {person} holds a live credential, and no way leads them home at any"
    " hour{stopped_at:; stopped at door %|; stopped at doors %|}.",
    evidence=("stopped_at",),
    do=(
        Step(
            "Give the resident the door at which they are stopped, or the right kind of credential"
            " for it.",
            who="office",
            does="cut",
        ),
    ),
    cites=(
        "en-60839-11-1-2013-8-tests-of-table-4-lines-14-t",
        "access-for-residents",
    ),
)
def no_way_home(data: Dataset) -> pd.DataFrame:
    """Someone who lives here stands before a door that their own card or PIN will not open."""
    people = ways_home(data)
    return people.assign(stopped_at=people["doors"], fails=people["scope"] & ~people["some"])
