import pandas as pd

from audit.arithmetic.weeks import asked
from audit.contract import Cause, Dataset, Step, rule
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
    cause=Cause("schedule", ("schedule",)),
    summary="A window of schedule {schedule} begins or ends in the hour that the clock change"
    " skips or repeats.",
    do=(
        Step(
            "Move the window's start or end out of that hour.", who="panel technician", does="cut"
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
    """On two nights a year the door opens an hour early or late, or twice, and nobody knows why."""
    schedules = table(data)
    return schedules.assign(fails=asked(year(data).clock_hit, schedules["schedule"]))
