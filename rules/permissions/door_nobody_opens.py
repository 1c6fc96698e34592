import pandas as pd

from audit.contract import OUT, Dataset, Example, Reference, rule
from audit.trade.neighbours import opened_by_someone


@rule(
    title="A door that nobody can open",
    finds="A door that asks for a card or PIN, while no live card or PIN reaches it at any hour.",
    priority="planned",
    upload=True,
    needs={"doors": ("entry",), "permissions": ()},
    uses=("people", "cards", "pins", "door_groups", "schedules", "calendars", "stations"),
    subjects=("door",),
    summary="Door {door} asks for a credential ({entry}), and no live card or PIN opens it at"
    " any hour.",
    evidence=("entry",),
    remedy="Give the door to those who need it, or enter it as closed.",
    references=(
        Reference(
            "EN 60839-11-1:2013, 8, tests of Table 4 lines 14 to 17",
            "no access right assigned means no access",
            sure="read",
        ),
    ),
)
def door_nobody_opens(data: Dataset) -> pd.DataFrame:
    """The reader is there and refuses everyone: staff and rescuers too stand outside."""
    doors = opened_by_someone(data)
    return doors.assign(fails=~doors["opened"] & doors["asks"])


EXAMPLES = (
    Example(
        "no permission, a withdrawn card, the wrong kind, a PIN bound to the door",
        """
        doors
        door_id | entry
        USED    | card
        UNUSED  | card
        LOST    | card
        WRONG   | pin
        BOUND   | pin
        PANEL   | card-or-pin
        PANEL2  | pin
        PANEL3  | pin
        PANEL4  | card
        BOTH    | card-and-pin
        NEVER   | card
        BLUR    |
        PERHAPS | card
        FREE    | none
        KEYED   | key

        people
        person_id | role
        P         | staff
        Q         | staff

        cards
        card_id | number | person_id | status
        C1      | 1      | P         |
        C2      | 2      | Q         | lost
        C3      | 3      |           | unheard

        pins
        pin_id | pin  | door_id | station_id | kind     | status
        K1     | **** | BOUND   |            |          |
        K2     | **** |         | S1         | delivery |
        K3     | **** |         | S2         | admin    |
        K4     | **** |         | S3         | delivery | unheard
        K5     | **** |         | S4         | delivery |

        stations
        station_id | door_id
        S1         | PANEL
        S2         | PANEL2
        S3         | PANEL3
        S4         | PANEL4

        schedules
        schedule_id | days    | start | end
        HOLIDAYS    | holiday | 08:00 | 18:00

        permissions
        permission_id | holder_kind | holder_id | door_id | schedule_id
        R1            | person      | P         | USED    |
        R2            | person      | Q         | LOST    |
        R3            | person      | P         | WRONG   |
        R4            | person      | P         | BOTH    |
        R5            | person      | P         | NEVER   | HOLIDAYS
        R6            | card        | C3        | PERHAPS |
        """,
        expect={
            "USED": False,
            "UNUSED": True,
            "LOST": True,
            "WRONG": True,
            "BOUND": False,
            "PANEL": False,
            "PANEL2": True,
            "PANEL3": None,
            "PANEL4": True,
            "BOTH": True,
            "NEVER": True,
            "BLUR": None,
            "PERHAPS": None,
            "FREE": OUT,
            "KEYED": OUT,
        },
    ),
    Example(
        "no PIN table: one of its PINs may open the door",
        """
        doors
        door_id | entry
        PAD     | pin
        READER  | card

        cards
        number | person_id

        permissions
        permission_id | holder_id | door_id
        R1            | P         | PAD
        """,
        expect={"PAD": None, "READER": True},
    ),
)
