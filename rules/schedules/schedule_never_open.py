import pandas as pd

from audit.arithmetic.weeks import asked
from audit.contract import Cause, Dataset, Step, rule
from audit.facts.hours import table, year
from rules.schedules._shared import in_use


@rule(
    title="A schedule that is never open",
    finds="A schedule in use without a single open minute in the coming year.",
    priority="planned",
    upload=True,
    needs={"schedules": ()},
    uses=("calendars", "permissions", "doors"),
    subjects=("schedule",),
    cause=Cause("schedule", ("schedule",)),
    summary="Schedule {schedule} is in use and has no open minute in the coming year.",
    do=(
        Step(
            "Mend the schedule's days, hours or calendar, or take it out of use.",
            who="panel technician",
            does="cut",
        ),
    ),
    cites=(
        "rfc-5545-3-8-5-3",
        "time-schedules-of-door-controllers",
    ),
)
def schedule_never_open(data: Dataset) -> pd.DataFrame:
    """Whoever was given this schedule is turned away at every hour of the year."""
    schedules = table(data)
    schedules = schedules[schedules["schedule"].isin(in_use(data))]
    return schedules.assign(fails=~asked(year(data).opens, schedules["schedule"]))
