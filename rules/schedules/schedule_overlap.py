import pandas as pd

from audit.arithmetic.weeks import asked
from audit.contract import Cause, Dataset, Step, rule
from audit.facts.hours import table, year


@rule(
    title="Windows of one schedule overlap",
    finds="Two windows of one schedule that overlap.",
    priority="advisory",
    upload=True,
    needs={"schedules": ()},
    uses=("calendars",),
    subjects=("schedule",),
    cause=Cause("schedule", ("schedule",)),
    summary="Windows of schedule {schedule} overlap.",
    do=(
        Step(
            "Join the windows, or end the first where the second begins.",
            who="panel technician",
            does="cut",
        ),
    ),
    cites=("time-schedules-of-door-controllers-2",),
    cannot={"out": "every schedule of the table is in scope"},
)
def schedule_overlap(data: Dataset) -> pd.DataFrame:
    """Someone changed one window and forgot the other: the shorter hours are not kept."""
    schedules = table(data)
    return schedules.assign(fails=asked(year(data).overlaps, schedules["schedule"]))
