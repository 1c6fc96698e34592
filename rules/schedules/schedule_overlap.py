import pandas as pd

from audit.arithmetic.weeks import asked
from audit.contract import Cause, Dataset, Step, rule
from audit.facts.hours import table, year


@rule(
    title="Overlapping times in one schedule",
    finds="Two time windows of one schedule that overlap.",
    priority="advisory",
    upload=True,
    needs={"schedules": ()},
    uses=("calendars",),
    subjects=("schedule",),
    cause=Cause("schedule", ("schedule",)),
    summary="Schedule {schedule} has overlapping time windows.",
    do=(
        Step(
            "Merge the windows, or end the first where the second starts.",
            who="panel technician",
            does="record",
        ),
    ),
    cites=("time-schedules-of-door-controllers-2",),
    cannot={"out": "every schedule of the table is in scope"},
)
def schedule_overlap(data: Dataset) -> pd.DataFrame:
    """Someone changed one window and missed the other, so the shorter hours do not apply."""
    schedules = table(data)
    return schedules.assign(fails=asked(year(data).overlaps, schedules["schedule"]))
