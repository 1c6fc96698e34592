import pandas as pd

from audit.contract import OUT, Dataset, Example, Reference, rule
from rules.events._shared import happened


@rule(
    title="Somebody signalled duress",
    finds="A duress signal from a door in the events, all of one door in one finding.",
    priority="immediate",
    needs={"events": ()},
    subjects=("door",),
    summary="At door {door} duress was signalled {count:once, on|% times, the last time on}"
    " {last}.",
    evidence=("count", "last", "times"),
    remedy="Ask the holder at once, and in private, what happened; tell those who respond.",
    references=(
        Reference(
            "EN 60839-11-1:2013, 6.5",
            "duress signalling is a function of its own of the system",
            sure="quoted",
        ),
    ),
    cannot={"unclear": "an event row without time, door or event is set aside and reported"},
)
def duress_used(data: Dataset) -> pd.DataFrame:
    """Somebody may have been made to open this door under threat, and nobody has answered yet."""
    rows = happened(data, "duress")
    return rows.assign(fails=rows["count"] > 0)


EXAMPLES = (
    Example(
        "one is enough",
        """
        events
        time                 | door_id | event
        2026-09-01T10:00:00Z | D1      | duress
        2026-09-02T10:00:00Z | D1      | duress
        2026-09-02T10:00:00Z | D2      | forced

        doors
        door_id
        D4
        """,
        expect={"D1": True, "D2": False, "D4": OUT},
    ),
)
