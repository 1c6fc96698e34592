import pandas as pd

from audit.arithmetic.weeks import asked
from audit.contract import Cause, Dataset, Step, rule
from audit.facts.hours import table, year


@rule(
    title="Schedule starts or ends during the clock change",
    finds="A time window that starts or ends in the hour skipped or repeated when the clocks"
    " change in the coming year; all-day windows are left out.",
    priority="advisory",
    upload=True,
    needs={"schedules": ()},
    uses=("calendars",),
    subjects=("schedule",),
    cause=Cause("schedule", ("schedule",)),
    summary="Schedule {schedule} has a time window that starts or ends in the hour skipped or"
    " repeated when the clocks change.",
    do=(
        Step(
            "Move the start or end out of that hour.",
            who="panel technician",
            does="record",
        ),
    ),
    cites=(
        "en-60839-11-1-2013-table-4-line-1-6-4",
        "directive-2000-84-ec-articles-2-and-3",
        "rfc-5545-3-3-5",
    ),
    cannot={"out": "every schedule of the table is in scope"},
)
def schedule_in_clock_change(data: Dataset) -> pd.DataFrame:
    """On two nights a year the door opens an hour early, an hour late or twice, and nobody
    knows why.
    """
    schedules = table(data)
    return schedules.assign(fails=asked(year(data).clock_hit, schedules["schedule"]))
