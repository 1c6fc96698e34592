import pandas as pd

from audit.arithmetic.weeks import asked
from audit.contract import Cause, Dataset, Step, rule
from audit.facts.hours import table, year
from rules.schedules._shared import in_use


@rule(
    title="Schedule that never opens",
    finds="A schedule in use that is open at no time in the coming year.",
    priority="planned",
    upload=True,
    needs={"schedules": ()},
    uses=("calendars", "permissions", "doors"),
    subjects=("schedule",),
    cause=Cause("schedule", ("schedule",)),
    summary="Schedule {schedule} is in use but is never open in the coming year.",
    do=(
        Step(
            "Correct the schedule's days, times or calendar, or stop using it.",
            who="panel technician",
            does="record",
        ),
    ),
    cites=(
        "rfc-5545-3-8-5-3",
        "time-schedules-of-door-controllers",
    ),
)
def schedule_never_open(data: Dataset) -> pd.DataFrame:
    """Anyone given this schedule is refused at every hour of the year."""
    schedules = table(data)
    schedules = schedules[schedules["schedule"].isin(in_use(data))]
    return schedules.assign(fails=~asked(year(data).opens, schedules["schedule"]))
