import pandas as pd

from audit.arithmetic.weeks import asked
from audit.contract import Cause, Dataset, Step, rule
from audit.facts.hours import table, year
from audit.facts.missing import why
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
    used = in_use(data)
    schedules = schedules[schedules["schedule"].isin(used.index)]
    sure = used.reindex(schedules["schedule"]).set_axis(schedules.index)
    fails = sure & ~asked(year(data).opens, schedules["schedule"])
    words = "when some permissions end is not understood"
    told = why(fails, (sure.isna(), words, "permissions.valid_to"))
    return schedules.assign(fails=fails, **told)
