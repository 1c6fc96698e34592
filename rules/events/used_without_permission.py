import pandas as pd

from audit.contract import Cause, Dataset, Step, rule
from audit.facts.missing import why
from rules.events._rights import told


@rule(
    title="Card or PIN used at a door without permission",
    finds="A registered card or PIN that opened a door on a day on which it had no "
    "permission in force there. Master cards, doors that ask for nothing, and moments"
    " at which the door is unlocked by its schedule are left out.",
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
    summary="{card:Card %|Cards %|}{pin:PIN %|PINs %|} opened door {door} without a "
    "permission in force: {uses:once, on|% times, most recently on} {last}.",
    evidence=("uses", "first", "last"),
    do=(
        Step(
            "Delete it from the door's controller, or record the permission that was meant.",
            who="panel technician",
            does="cut",
        ),
    ),
    cites=("nist-sp-800-53-rev-5-1-1-pe-3", "iso-iec-27002-2022-5-18-5"),
)
def used_without_permission(data: Dataset) -> pd.DataFrame:
    """The door opens for a card or PIN that was never given access to it. The controllers
    hold something else than the register says.
    """
    rows = told(data, hours=False)
    vague = rows["fails"].isna()
    words = "permissions, holders or hours of some cards and PINs are not recorded"
    return rows.assign(**why(rows["fails"], (vague, words, None)))
