import pandas as pd

from audit.arithmetic.weeks import asked
from audit.contract import Dataset, Example, Reference, rule
from audit.facts.hours import table, year


@rule(
    title="Windows of one schedule overlap",
    finds="Two windows of one schedule that overlap.",
    priority="advisory",
    upload=True,
    needs={"schedules": ()},
    uses=("calendars",),
    subjects=("schedule",),
    summary="Windows of schedule {schedule} overlap.",
    remedy="Join the windows, or end the first where the second begins.",
    references=(
        Reference(
            "Time schedules of door controllers",
            "some controllers refuse windows that overlap, others take the first only",
            sure="common practice, no source",
        ),
    ),
    cannot={"out": "every schedule of the table is in scope"},
)
def schedule_overlap(data: Dataset) -> pd.DataFrame:
    """Someone changed one window and forgot the other: the shorter hours are not kept."""
    schedules = table(data)
    return schedules.assign(fails=asked(year(data).overlaps, schedules["schedule"]))


EXAMPLES = (
    Example(
        "end to end is no overlap; a minute is; so is a night that runs into the next morning",
        """
        schedules
        schedule_id | days    | start | end
        TOUCH       | mon-fri | 08:00 | 12:00
        TOUCH       | mon-fri | 12:00 | 18:00
        MINUTE      | mon     | 08:00 | 12:01
        MINUTE      | mon tue | 12:00 | 18:00
        NIGHT       | sun     | 22:00 | 06:00
        NIGHT       | mon     | 05:00 | 07:00
        DAYS        | mon     | 08:00 | 12:00
        DAYS        | tue     | 08:00 | 12:00
        BLUR        | mon     | 08:00 | 12:00
        BLUR        | someday | 08:00 | 12:00
        """,
        expect={"TOUCH": False, "MINUTE": True, "NIGHT": True, "DAYS": False, "BLUR": None},
    ),
)
