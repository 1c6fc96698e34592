import pandas as pd

from audit.contract import Cause, Dataset, Step, rule
from audit.facts.missing import why
from rules.events._misuse import while_suspended


@rule(
    title="Suspended card or PIN used",
    finds="A suspended card or PIN that opened a door on or after the first day of its suspension."
    " Where that day is blank, planned: one that opened a door within the last 31 days.",
    priority="immediate",
    needs={"events": ("card_number|pin_id",)},
    uses=("cards", "pins"),
    subjects=("card", "pin"),
    cause=Cause("card", ("card", "pin")),
    summary="{card:Card %|Cards %|}{pin:PIN %|PINs %|} is suspended{since: since %|}, but opened"
    " {doors:door %|doors %}: {uses:once, on|% times, most recently on} {last}.",
    evidence=("since", "uses", "first", "last", "times", "doors"),
    do=(
        Step(
            "Suspend it at every controller too, or make it active again if the suspension is"
            " over.",
            who="panel technician",
            does="cut",
        ),
    ),
    cites=("nist-sp-800-53-rev-5-1-1-ac-2-h",),
)
def used_while_suspended(data: Dataset) -> pd.DataFrame:
    """It was suspended for a reason, yet the door still opens for it."""
    rows = while_suspended(data)
    dated = rows["since"].notna()
    return rows.assign(
        priority=dated.map({True: "immediate", False: "planned"}),
        **why(
            rows["fails"],
            (
                ~dated,
                "when some cards or PINs were suspended is not recorded",
                "cards.status_since",
            ),
        ),
    )
