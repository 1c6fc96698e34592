import pandas as pd

from audit.contract import OUT, Dataset, Example, Reference, rule
from audit.facts.way_home import ways_home


@rule(
    title="A resident who cannot get home",
    finds="A resident with a live card or PIN for whom no chain of doors leads from outside to"
    " the dwelling at any hour of the week.",
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
    summary="Resident {person} holds a live credential, and no way leads them home at any"
    " hour{stopped_at:; stopped at door %|; stopped at doors %|}.",
    evidence=("stopped_at",),
    remedy="Give the resident the door at which they are stopped, or the right kind of credential"
    " for it.",
    references=(
        Reference(
            "EN 60839-11-1:2013, 8, tests of Table 4 lines 14 to 17",
            "no access right assigned means no access",
            sure="read",
        ),
        Reference(
            "Access for residents",
            "every door between the street and the dwelling is tried with the resident's own card",
            sure="common practice, no source",
        ),
    ),
)
def no_way_home(data: Dataset) -> pd.DataFrame:
    """Someone who lives here stands before a door that their own card or PIN will not open."""
    people = ways_home(data)
    return people.assign(stopped_at=people["doors"], fails=people["scope"] & ~people["some"])


EXAMPLES = (
    Example(
        "with and without the front door; who has no credential or no right is not asked",
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
        IN        | resident | F1          |
        OFF       | resident | F1          |
        HOMELESS  | resident |             |
        PLACELESS | resident | F2          |
        BARE      | resident | F1          |
        STAFF     | staff    | F1          |
        LATER     | resident | F1          | 2026-10-01
        BLUR      | resident | F1          | some day

        cards
        number | person_id
        1      | IN
        2      | OFF
        3      | HOMELESS
        4      | PLACELESS
        5      | STAFF
        6      | LATER
        7      | BLUR

        pins
        pin_id | pin | person_id

        permissions
        permission_id | holder_id | door_id
        R1            | IN        | FRONT
        """,
        expect={
            "IN": False,
            "OFF": True,
            "HOMELESS": None,
            "PLACELESS": None,
            "BARE": OUT,
            "STAFF": OUT,
            "LATER": OUT,
            "BLUR": None,
        },
    ),
    Example(
        "one hour a week is a way; a PIN of the dwelling at a card door is none",
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
        HOUR      | F1
        KEYPAD    | F1

        cards
        number | person_id
        1      | HOUR

        pins
        pin_id | pin  | person_id
        K1     | **** | KEYPAD

        schedules
        schedule_id | days | start | end
        S           | sun  | 02:00 | 03:00

        permissions
        permission_id | holder_id | door_id | schedule_id
        R1            | HOUR      | FRONT   | S
        R2            | KEYPAD    | FRONT   |
        """,
        expect={"HOUR": False, "KEYPAD": True},
    ),
)
