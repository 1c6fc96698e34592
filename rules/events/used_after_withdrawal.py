import pandas as pd

from audit.contract import Cause, Dataset, Step, rule
from rules.events._misuse import after_withdrawal


@rule(
    title="Withdrawn card used",
    finds="A card that is lost, returned, destroyed or in stock and opened a door on or after the"
    " first day of that status; where that day is blank, after its end of validity, or after its"
    " last recorded use.",
    priority="immediate",
    needs={"events": ("card_number",), "cards": ()},
    subjects=("card",),
    cause=Cause("card", ("card",)),
    summary="Card {card} is marked {status} but opened {doors:door %|doors %}: {uses:once, on|%"
    " times, most recently on} {last}.",
    evidence=("status", "uses", "last", "times", "doors"),
    do=(
        Step(
            "Delete the card from every controller today.",
            who="panel technician",
            does="cut",
        ),
        Step(
            "Find out who has it.",
            who="office",
            does="record",
        ),
    ),
    cites=("nist-sp-800-53-rev-5-1-1-ia-5-d-2",),
)
def used_after_withdrawal(data: Dataset) -> pd.DataFrame:
    """A card that should not work is opening doors, and nobody knows who has it."""
    return after_withdrawal(data)
