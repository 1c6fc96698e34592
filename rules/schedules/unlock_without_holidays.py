import pandas as pd

from audit.arithmetic.recurrence import ICALENDAR
from audit.contract import OUT, Dataset, Example, Reference, rule
from audit.facts.hours import table
from audit.facts.neighbours import zone_kind
from audit.facts.standing import by_id


@rule(
    title="An unlock schedule that knows no holidays",
    finds="A schedule that unlocks a door from outside and has no calendar of holidays.",
    priority="advisory",
    needs={
        "schedules": ("calendar",),
        "doors": ("unlock_schedule", "outside_zone"),
        "zones": ("kind",),
    },
    subjects=("schedule",),
    summary="Schedule {schedule} unlocks {doors:door %|doors %} from outside on holidays as on"
    " other days.",
    evidence=("doors",),
    remedy="Give the schedule a calendar with the year's holidays, and enter their hours.",
    references=(
        Reference(
            "EN 60839-11-1:2013, 6.4",
            "a minimum number of holidays is set for each grade",
            sure="read",
        ),
    ),
)
def unlock_without_holidays(data: Dataset) -> pd.DataFrame:
    """On a public holiday nobody is at the desk, and the door opens to the street as usual."""
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
    dated = rows["calendar"].notna() | rows["days"].str.startswith(ICALENDAR).fillna(False)
    named = rows["schedule_id"][dated.to_numpy(dtype=bool)]
    mine = schedules[schedules["schedule"].isin(listed.index)]
    certain = sure.reindex(mine["schedule"]).to_numpy(dtype=bool)
    return mine.assign(
        doors=pd.Series([listed[s] for s in mine["schedule"]], index=mine.index, dtype=object),
        outside=pd.arrays.BooleanArray(certain, ~certain),
        without=~mine["schedule"].isin(named).to_numpy(dtype=bool),
    )


EXAMPLES = (
    Example(
        "with and without calendar, at outside and inner doors",
        """
        zones
        zone_id | kind
        STREET  | outside
        HALL    | common
        BLUR    |

        schedules
        schedule_id | days    | start | end   | calendar
        WITHOUT     | mon-fri | 08:00 | 18:00 |
        WITH        | mon-fri | 08:00 | 18:00 | BANK
        SOME        | mon-fri | 08:00 | 18:00 | BANK
        SOME        | holiday | 10:00 | 12:00 |
        INNER       | mon-fri | 08:00 | 18:00 |
        UNUSED      | mon-fri | 08:00 | 18:00 |
        WHERE       | mon-fri | 08:00 | 18:00 |

        doors
        door_id | outside_zone | unlock_schedule
        D1      | STREET       | WITHOUT
        D2      | STREET       | WITH
        D3      | STREET       | SOME
        D4      | HALL         | INNER
        D5      | BLUR         | WHERE
        """,
        expect={
            "WITHOUT": True,
            "WITH": False,
            "SOME": False,
            "INNER": OUT,
            "UNUSED": OUT,
            "WHERE": None,
        },
    ),
)
