import pandas as pd

from audit.contract import OUT, Dataset, Example, Reference, rule
from audit.trade.cells import reversed_periods
from audit.trade.subjects import sourced


@rule(
    title="An end before its start",
    finds="Two dates of one row, or the two ends of one period, of which the end comes before"
    " the start.",
    priority="planned",
    upload=True,
    needs={},
    uses=("people", "cards", "pins", "permissions"),
    subjects=("table", "id"),
    summary="{table}, {id}: ends on {end}, before it starts on {start}.",
    evidence=("start", "end"),
    remedy="Correct the two dates in the source file; look for day and month exchanged.",
    references=(
        Reference(
            "GDPR (Regulation (EU) 2016/679), Article 5(1)(d)",
            "personal data are accurate and kept up to date",
            sure="read",
        ),
    ),
)
def dates_reversed(data: Dataset) -> pd.DataFrame:
    """Such a period is never in force, or the date that matters is the wrong one of the two."""
    return sourced(reversed_periods(data), "table", "id")


EXAMPLES = (
    Example(
        "a tenancy and three cards",
        """
        people
        person_id | start_date | end_date
        P1        | 2026-03-02 | 2026-03-01
        P2        | 2026-03-02 | 2026-03-02
        P3        | 2026-03-02 |
        P4        | soon       | 2026-03-01

        cards
        card_id | number | valid_from | valid_to
        C1      | 1001   | 01/10/2026 | 02/09/2026
        C2      | 1002   |            | 2026-03-01
        C3      | 1003   |            | never
        """,
        expect={
            "people P1": True,
            "people P2": False,
            "people P3": OUT,
            "people P4": None,
            "cards C1": True,
            "cards C2": OUT,
            "cards C3": OUT,
        },
    ),
    Example(
        "no table has both dates",
        """
        cards
        card_id | number | valid_to
        C1      | 1001   | 2026-03-01
        """,
        expect={"cards": None},
    ),
)
