import pandas as pd

from audit.arithmetic.weeks import asked
from audit.contract import OUT, Dataset, Example, Reference, rule
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
    summary="Schedule {schedule} is in use and has no open minute in the coming year.",
    remedy="Mend the schedule's days, hours or calendar, or take it out of use.",
    references=(
        Reference(
            "RFC 5545, 3.8.5.3",
            "a recurrence may end, and dates that do not exist are passed over",
            sure="quoted",
        ),
        Reference(
            "Time schedules of door controllers",
            "whoever is bound to an empty schedule is refused at every hour",
            sure="common practice, no source",
        ),
    ),
)
def schedule_never_open(data: Dataset) -> pd.DataFrame:
    """Whoever was given this schedule is turned away at every hour of the year."""
    schedules = table(data)
    schedules = schedules[schedules["schedule"].isin(in_use(data))]
    return schedules.assign(fails=~asked(year(data).opens, schedules["schedule"]))


EXAMPLES = (
    Example(
        "holidays that never come, and one that does; in use by a permission or a door",
        """
        schedules
        schedule_id | days    | start | end   | calendar
        NONE1       | holiday | 08:00 | 18:00 |
        PAST        | holiday | 08:00 | 18:00 | OLD
        LAST        | holiday | 08:00 | 18:00 | NEW
        AFTER       | holiday | 08:00 | 18:00 | LATE
        UNUSED      | holiday | 08:00 | 18:00 |
        OVER        | holiday | 08:00 | 18:00 |
        DOOR        | holiday | 08:00 | 18:00 |
        WEEK        | mon     | 08:00 | 18:00 | LOST
        LOST        | holiday | 08:00 | 18:00 | LOST

        calendars
        calendar | date
        OLD      | 2026-09-29
        NEW      | 2027-09-29
        LATE     | 2027-09-30

        doors
        door_id | unlock_schedule
        D1      | DOOR

        permissions
        permission_id | holder_id | door_id | schedule_id | valid_to
        R1            | P         | D1      | NONE1       |
        R2            | P         | D1      | PAST        |
        R3            | P         | D1      | LAST        | 2026-09-30
        R4            | P         | D1      | AFTER       |
        R5            | P         | D1      | OVER        | 2026-09-29
        R6            | P         | D1      | WEEK        |
        R7            | P         | D1      | LOST        |
        """,
        expect={
            "NONE1": True,
            "PAST": True,
            "LAST": False,
            "AFTER": True,
            "UNUSED": OUT,
            "OVER": OUT,
            "DOOR": True,
            "WEEK": None,
            "LOST": None,
        },
    ),
)
