import pandas as pd

from audit.contract import Cause, Dataset, Step, rule
from rules.events._misuse import after_departure


@rule(
    title="Card or PIN used after the holder left",
    finds="A card or PIN that opened a door after its holder's last day.",
    priority="immediate",
    needs={"events": (), "people": ()},
    uses=("cards", "pins"),
    policy=("departure_grace_days",),
    subjects=("person", "card", "pin"),
    cause=Cause("leaver", ("person",)),
    summary="{card:Card %|Cards %|}{pin:PIN %|PINs %|} of {person}, whose last day was {last_day},"
    " opened {doors:door %|doors %} after that date: {uses:once, on|% times, most recently"
    " on} {last}.",
    evidence=("last_day", "uses", "last", "times", "doors"),
    do=(
        Step(
            "Delete it from every controller today.",
            who="panel technician",
            does="cut",
        ),
        Step(
            "Find out who has it.",
            who="office",
            does="record",
        ),
    ),
    cites=(
        "nist-sp-800-53-rev-5-1-1-ps-4-2",
        "iso-iec-27002-2022-5-18",
    ),
)
def used_after_departure(data: Dataset) -> pd.DataFrame:
    """Someone who has left, or who has their card, is still getting in."""
    return after_departure(data)
