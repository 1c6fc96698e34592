import pandas as pd

from audit.arithmetic.weeks import asked
from audit.contract import Dataset, Example, Reference, rule
from audit.facts.hours import table, year


@rule(
    title="A window that begins or ends while the clocks change",
    finds="A window of a schedule that begins or ends in the hour that the clock skips or"
    " repeats in the coming year; windows of whole days are left out.",
    priority="advisory",
    upload=True,
    needs={"schedules": ()},
    uses=("calendars",),
    subjects=("schedule",),
    summary="A window of schedule {schedule} begins or ends in the hour that the clock change"
    " skips or repeats.",
    remedy="Move the window's start or end out of that hour.",
    references=(
        Reference(
            "EN 60839-11-1:2013, Table 4 line 1; 6.4",
            "from grade 2 the clock keeps to 10 s a week and handles summer time and leap years",
            sure="read",
        ),
        Reference(
            "Directive 2000/84/EC, articles 2 and 3",
            "summer time begins and ends at 01:00 UTC on the last Sunday of March and October",
            sure="quoted",
        ),
        Reference(
            "RFC 5545, 3.3.5",
            "a local time that comes twice means the first; one that is skipped, the offset before",
            sure="quoted",
        ),
    ),
    cannot={"out": "every schedule of the table is in scope"},
)
def schedule_in_clock_change(data: Dataset) -> pd.DataFrame:
    """On two nights a year the door opens an hour early or late, or twice, and nobody knows why."""
    schedules = table(data)
    return schedules.assign(fails=asked(year(data).clock_hit, schedules["schedule"]))


EXAMPLES = (
    Example(
        "Dublin: the hour from 01:00 to 02:00 of 25 October 2026 and 28 March 2027",
        """
        schedules
        schedule_id | days    | start | end
        BEGINS      | sun     | 01:00 | 05:00
        AFTER       | sun     | 02:00 | 05:00
        ENDS        | sun     | 00:00 | 02:00
        BEFORE      | sun     | 00:00 | 01:00
        NIGHT       | sat     | 22:00 | 01:30
        WEEKDAY     | mon-fri | 01:30 | 05:00
        WHOLE       | daily   | 00:00 | 24:00
        BLUR        | mon     | 08:00 | 12:00
        BLUR        | someday | 08:00 | 12:00
        """,
        expect={
            "BEGINS": True,
            "AFTER": False,
            "ENDS": True,
            "BEFORE": False,
            "NIGHT": True,
            "WEEKDAY": False,
            "WHOLE": False,
            "BLUR": None,
        },
    ),
    Example(
        "a zone that changes nothing",
        """
        schedules
        schedule_id | days | start | end
        BEGINS      | sun  | 01:00 | 05:00
        """,
        site={"timezone": "Africa/Lagos"},
        expect={"BEGINS": False},
    ),
)
