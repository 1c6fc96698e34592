import pandas as pd

from audit.contract import OUT, Dataset, Example, Reference, rule
from audit.facts.way_home import ways_home


@rule(
    title="A resident who gets home at some hours only",
    finds="A resident with a live card or PIN who gets home through the doors during a part of"
    " the week only.",
    priority="planned",
    upload=True,
    needs={
        "people": ("dwelling_id",),
        "dwellings": ("zone_id",),
        "doors": ("inside_zone", "outside_zone", "entry"),
        "zones": ("kind",),
        "permissions": (),
    },
    uses=("cards", "pins", "door_groups", "schedules", "calendars"),
    subjects=("person",),
    summary="Resident {person} has no way home at these hours: {missing_hours}{stopped_at:;"
    " stopped at door %|; stopped at doors %|}.",
    evidence=("missing_hours", "stopped_at"),
    remedy="Give the resident the doors of the way home without a schedule, or with one that is"
    " always open.",
    references=(
        Reference(
            "Access for residents",
            "the way home is open to residents at all hours, holidays too",
            sure="common practice, no source",
        ),
        Reference(
            "EN 60839-11-1:2013, 6.4",
            "access follows day of week, hour and minute",
            sure="read",
        ),
    ),
)
def way_home_not_always(data: Dataset) -> pd.DataFrame:
    """Whoever comes home late, or on a holiday, is locked out of their own house."""
    people = ways_home(data)
    people = people[people["some"].fillna(True)]
    return people.assign(
        missing_hours=people["missing"],
        stopped_at=people["doors"],
        fails=people["scope"] & people["some"] & ~people["always"],
    )


EXAMPLES = (
    Example(
        "one minute missing; a second permission that fills the gap; holidays; no way at all",
        """
        zones
        zone_id | kind
        STREET  | outside
        LOBBY   | common
        HALL    | common

        dwellings
        dwelling_id | zone_id
        F1          | HALL
        F2          |

        doors
        door_id | inside_zone | outside_zone | entry | lock   | exit_input | mechanical_exit
        FRONT   | LOBBY       | STREET       | card  | magnet | button     | none
        STAIR   | HALL        | LOBBY        | none  | none   | none       | none

        people
        person_id | role     | dwelling_id | start_date
        MINUTE    | resident | F1          |
        FILLED    | resident | F1          |
        HOLIDAY   | resident | F1          |
        ALWAYS    | resident | F1          |
        OFF       | resident | F1          |
        UNKNOWN   | resident | F1          |
        BLUR      | resident | F1          | some day
        LATER     | resident | F1          | 2026-10-01

        cards
        number | person_id
        1      | MINUTE
        2      | FILLED
        3      | HOLIDAY
        4      | ALWAYS
        5      | OFF
        6      | UNKNOWN
        7      | BLUR
        8      | LATER

        pins
        pin_id | pin | person_id

        schedules
        schedule_id | days    | start | end   | calendar
        MOST        | daily   | 00:00 | 23:59 |
        REST        | daily   | 23:59 | 24:00 |
        WEEK        | mon-sun | 00:00 | 24:00 | BANK
        NIGHT       | daily   | 06:00 | 06:00 |

        calendars
        calendar | date
        BANK     | 2026-12-25

        permissions
        permission_id | holder_id | door_id | schedule_id
        R1            | MINUTE    | FRONT   | MOST
        R2            | FILLED    | FRONT   | MOST
        R3            | FILLED    | FRONT   | REST
        R4            | HOLIDAY   | FRONT   | WEEK
        R5            | ALWAYS    | FRONT   | NIGHT
        R6            | UNKNOWN   | FRONT   | LOST
        R7            | BLUR      | FRONT   | MOST
        R8            | LATER     | FRONT   | MOST
        """,
        expect={
            "MINUTE": True,
            "FILLED": False,
            "HOLIDAY": True,
            "ALWAYS": False,
            "OFF": OUT,
            "UNKNOWN": None,
            "BLUR": None,
            "LATER": OUT,
        },
    ),
    Example(
        "it is known that hours are missing, and not known whether there is any way",
        """
        zones
        zone_id | kind
        STREET  | outside
        LOBBY   | common
        HALL    | common

        dwellings
        dwelling_id | zone_id
        F1          | HALL
        F2          |

        doors
        door_id | inside_zone | outside_zone | entry | lock   | exit_input | mechanical_exit
        FRONT   | LOBBY       | STREET       | card  | magnet | button     | none
        STAIR   | HALL        | LOBBY        | none  | none   | none       | none

        people
        person_id | dwelling_id
        UNCLEAR   | F1

        cards
        number | person_id | valid_to
        1      | UNCLEAR   | some day

        pins
        pin_id | pin  | person_id
        K1     | **** | UNCLEAR

        schedules
        schedule_id | days | start | end
        S           | mon  | 08:00 | 18:00

        permissions
        permission_id | holder_id | door_id | schedule_id
        R1            | UNCLEAR   | FRONT   | S
        """,
        expect={"UNCLEAR": None},
    ),
)
