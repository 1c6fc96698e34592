import pandas as pd

from audit.contract import Cause, Dataset, Step, rule
from audit.facts.missing import why
from rules.events._rights import told


@rule(
    title="Card or PIN used outside its hours",
    finds="A registered card or PIN that opened a door on a day on which it had a "
    "permission there, but at a moment at which no schedule of such a permission was "
    "open.",
    priority="planned",
    needs={
        "events": ("card_number|pin_id",),
        "permissions": (),
        "doors": ("entry", "unlock_schedule"),
    },
    uses=("cards", "pins", "people", "door_groups", "stations", "schedules", "calendars"),
    policy=("departure_grace_days",),
    subjects=("door", "card", "pin"),
    cause=Cause("card", ("card", "pin")),
    summary="{card:Card %|Cards %|}{pin:PIN %|PINs %|} opened door {door} outside the hours "
    "of its permission: {uses:once, on|% times, most recently on} {last}.",
    evidence=("uses", "first", "last"),
    do=(
        Step(
            "Send the schedule to the door's controller and check its clock. If the "
            "person needs other hours, record them.",
            who="panel technician",
            does="record",
        ),
    ),
    cites=("nist-sp-800-53-rev-5-1-1-pe-3", "iso-iec-27002-2022-5-18-5"),
)
def used_outside_hours(data: Dataset) -> pd.DataFrame:
    """The controllers do not keep the hours that the register sets, so the schedule protects
    nobody.
    """
    rows = told(data, hours=True)
    vague = rows["fails"].isna()
    words = "permissions, holders or hours of some cards and PINs are not recorded"
    return rows.assign(**why(rows["fails"], (vague, words, None)))
