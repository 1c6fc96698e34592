import pandas as pd

from audit.contract import OUT, Dataset, Example, Reference, rule
from rules.events._shared import happened


@rule(
    title="Door forced, or its equipment tampered with",
    finds="Forced or tamper events of a door, all of one door in one finding.",
    priority="planned",
    needs={"events": ()},
    subjects=("door",),
    summary="Door {door} was forced or tampered with {count:once, on|% times, the last time on}"
    " {last}.",
    evidence=("count", "last", "times"),
    remedy="Look at the door, its contact and its panel, and ask who was there at those times.",
    references=(
        Reference(
            "NIST SP 800-53 rev 5.1.1, PE-6 (b)",
            "access logs are reviewed at a set frequency and on events",
            sure="read",
        ),
    ),
    cannot={"unclear": "an event row without time, door or event is set aside and reported"},
)
def forced_door(data: Dataset) -> pd.DataFrame:
    """A forced door lets anyone in, and often does not lock again afterwards."""
    rows = happened(data, "forced", "tamper")
    return rows.assign(fails=rows["count"] > 0)


EXAMPLES = (
    Example(
        "one is enough",
        """
        events
        time                 | door_id | event
        2026-09-01T10:00:00Z | D1      | forced
        2026-09-02T10:00:00Z | D1      | tamper
        2026-09-02T10:00:00Z | D2      | opened
        2026-09-02T10:00:00Z | D3      | tamper

        doors
        door_id
        D4
        """,
        expect={"D1": True, "D2": False, "D3": True, "D4": OUT},
    ),
)
