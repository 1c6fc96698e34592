import pandas as pd

from audit.arithmetic.recurrence import ICALENDAR
from audit.contract import Cause, Dataset, Step, rule
from audit.facts.hours import table
from audit.facts.neighbours import zone_kind
from audit.facts.standing import by_id


@rule(
    title="Unlock schedule without holidays",
    finds="A schedule that unlocks an outside door and has no holiday calendar.",
    priority="advisory",
    needs={
        "schedules": ("calendar",),
        "doors": ("unlock_schedule", "outside_zone"),
        "zones": ("kind",),
    },
    subjects=("schedule",),
    cause=Cause("schedule", ("schedule",)),
    summary="Schedule {schedule} unlocks outside {doors:door %|doors %} on holidays as on any"
    " other day.",
    evidence=("doors",),
    do=(
        Step(
            "Give the schedule a holiday calendar and set its hours for holidays.",
            who="panel technician",
            does="record",
        ),
    ),
    cites=("en-60839-11-1-2013-6-4-5",),
)
def unlock_without_holidays(data: Dataset) -> pd.DataFrame:
    """On a public holiday nobody is at the desk, yet the door opens to the street as usual."""
    schedules = unlocks_outside(data, table(data))
    return schedules.assign(fails=schedules["outside"] & schedules["without"])


def unlocks_outside(data: Dataset, schedules: pd.DataFrame) -> pd.DataFrame:
    """Schedules that unlock doors from outside, perhaps or surely.

    `schedules` has a column `schedule`; added are `doors` (list of the doors), `outside` (NA
    where no door's outside zone is surely outside) and `without` (no window names a
    calendar; iCalendar events excepted, which name their own days).
    """
    doors = by_id(data, "doors")
    doors = doors.assign(kind=zone_kind(data, "outside_zone")).reset_index()
    doors = doors[doors["unlock_schedule"].notna() & (doors["kind"] == "outside").fillna(True)]
    by = doors.sort_values("door_id").groupby("unlock_schedule")
    listed, sure = by["door_id"].agg(list), by["kind"].count() > 0
    rows = data["schedules"]
    dated = rows["calendar"].notna() | rows["days"].str.startswith(ICALENDAR, na=False)
    named = rows["schedule_id"][dated.to_numpy(dtype=bool)]
    mine = schedules[schedules["schedule"].isin(listed.index)]
    certain = sure.reindex(mine["schedule"]).to_numpy(dtype=bool)
    return mine.assign(
        doors=pd.Series([listed[s] for s in mine["schedule"]], index=mine.index, dtype=object),
        outside=pd.arrays.BooleanArray(certain, ~certain),
        without=~mine["schedule"].isin(named).to_numpy(dtype=bool),
    )
