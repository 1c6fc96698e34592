import pandas as pd

from audit.contract import OUT, Dataset, Example, Reference, rule
from audit.trade.escape import doors_in_fire, settled


@rule(
    title="Escape door too narrow",
    finds="An escape door narrower than the local code's narrowest, or too narrow for the"
    " people who depend on it.",
    priority="planned",
    life_safety=True,
    needs={"doors": ("escape_route", "clear_width_mm")},
    uses=("zones",),
    policy=("narrowest_escape_door_mm", "width_bands", "mm_per_person"),
    subjects=("door",),
    summary="Door {door} is {clear_width_mm} mm wide and passes {passes:1 person|%"
    " people|nobody}{people:; at least 1 person depends on it|; at least % people depend on"
    " it|}; {width_needed_mm} mm are needed here.",
    evidence=("clear_width_mm", "passes", "people", "width_needed_mm"),
    remedy="Widen the door, or lead some of its people another way; have a competent person"
    " confirm the clear width and the number of people by the local code.",
    references=(
        Reference(
            "Approved Document B (England), volume 2, 2019 with amendments, Width of escape routes"
            " and exits, Table 2.3",
            "60 people at 750 mm, 110 at 850 mm, 220 at 1050 mm, then 5 mm a person",
            sure="quoted",
        ),
        Reference(
            "International Building Code 2018, Size of doors, 1010.1.1; capacity, 1005.3.2",
            "32 in (813 mm) at least; 0.2 in (5.08 mm) a person",
            sure="read",
        ),
    ),
)
def exit_too_narrow(data: Dataset) -> pd.DataFrame:
    """A door that passes fewer people than come to it makes the rest wait in the smoke."""
    doors = doors_in_fire(data, "escape_route", "clear_width_mm")
    doors = doors[doors["escape_route"].fillna(True)]
    narrow = doors["clear_width_mm"] < data.policy.narrowest_escape_door_mm
    passes = doors["passes"]
    crowded = settled(doors["people_least"] > passes, doors["people_most"] <= passes)
    return doors.assign(
        people=doors["people_least"], fails=doors["escape_route"] & (narrow | crowded)
    )


EXAMPLES = (
    Example(
        "750 mm, and 60 people there, are the limits themselves",
        """
        zones
        zone_id | kind    | occupants
        OUT     | outside |
        A       | common  | 60
        B       | common  | 61
        C       | common  | 1
        D       | common  | 111
        E       | common  |

        doors
        door_id | inside_zone | outside_zone | lock | escape_route | clear_width_mm
        LIMIT   | A           | OUT          | none | yes          | 750
        CROWD   | B           | OUT          | none | yes          | 750
        NARROW  | C           | OUT          | none | yes          | 749
        BAND    | D           | OUT          | none | yes          | 1049
        WIDE    | D           | OUT          | none | yes          | 1050
        STORE   | C           | OUT          | none | no           | 600
        EMPTY   | E           | OUT          | none | yes          | 749.9
        """,
        expect={
            "LIMIT": False,
            "CROWD": True,
            "NARROW": True,
            "BAND": True,
            "WIDE": False,
            "STORE": OUT,
            "EMPTY": True,
        },
    ),
    Example(
        "a width, a route, or people not given",
        """
        zones
        zone_id | kind    | occupants
        OUT     | outside |
        A       | common  | 61
        B       | common  |

        doors
        door_id | inside_zone | outside_zone | lock | escape_route | clear_width_mm
        WIDTH   | A           | OUT          | none | yes          |
        ROUTE   | A           | OUT          | none |              | 750
        EMPTY   | B           | OUT          | none | yes          | 1500
        """,
        expect={"WIDTH": None, "ROUTE": None, "EMPTY": None},
    ),
    Example(
        "34 in pass 170 people where 0.2 in a person are asked",
        """
        zones
        zone_id | kind    | occupants
        OUT     | outside |
        A       | common  | 170
        B       | common  | 171

        doors
        door_id | inside_zone | outside_zone | lock | escape_route | clear_width_mm
        FITS    | A           | OUT          | none | yes          | 863.6
        SHORT   | B           | OUT          | none | yes          | 863.6
        """,
        site={"local_code": "nfpa"},
        expect={"FITS": False, "SHORT": True},
    ),
)
