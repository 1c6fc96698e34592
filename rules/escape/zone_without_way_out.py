import pandas as pd

from audit.contract import OUT, Dataset, Example, Reference, rule
from audit.trade.escape import zones_leaving


@rule(
    title="Zone that people cannot leave",
    finds="A zone with people or a dwelling in it, from which no chain of doors that can be"
    " opened from inside leads to a place of safety: on a normal day, when the power fails, or"
    " when the fire alarm sounds.",
    priority="immediate",
    upload=True,
    life_safety=True,
    needs={"zones": (), "doors": ("inside_zone", "outside_zone")},
    uses=("dwellings",),
    subjects=("zone",),
    summary="From zone {zone} no way through doors that are free to leave leads to a place of"
    " safety ({states:in the state %|in the states %}){doors:; the first locked door on a"
    " recorded way is %|; the first locked doors on recorded ways are %|}; {recorded_doors:1"
    " door of the zone is|% doors of the zone are|no door of the zone is} in the register.",
    evidence=("states", "doors", "recorded_doors"),
    remedy="Free the named door in the named states: a mechanical exit, a lock that unlocks without"
    " power, release by the fire alarm. Have a competent person walk the way, and correct the"
    " register where it is the register that errs.",
    references=(
        Reference(
            "Regulatory Reform (Fire Safety) Order 2005, Emergency routes and exits, art. 14(2)",
            "emergency doors are not so locked or fastened that anyone who needs them cannot easily"
            " and immediately open them",
            sure="read",
        ),
        Reference(
            "NFPA 101, Locks and latches, 7.2.1.5",
            "openable from the egress side whenever the building is occupied",
            sure="quoted",
        ),
    ),
)
def zone_without_way_out(data: Dataset) -> pd.DataFrame:
    """By what the register says, whoever is in this zone in that state is trapped.

    A zone that no recorded doors join to a place of safety is a finding too: where its doors are
    merely missing from the register, entering them mends it.
    """
    zones = zones_leaving(data)
    zones = zones[zones["inhabited"].fillna(True)]
    return zones.assign(fails=zones["inhabited"] & zones["trapped"])


EXAMPLES = (
    Example(
        "the three states, a zone behind a locked one, and nobody there",
        """
        zones
        zone_id | kind     | occupants
        OUT     | outside  | 0
        FREE    | common   | 9
        DARK    | common   | 9
        FIRE    | stair    | 9
        NIGHT   | dwelling |
        DEEP    | common   | 1
        VOID    | plant    | 0
        HOME    | common   | 0

        dwellings
        dwelling_id | zone_id
        1           | HOME

        doors
        door_id | inside_zone | outside_zone | entry | lock   | exit_input | mechanical_exit | power_loss   | alarm_release
        D1      | FREE        | OUT          | card  | magnet | button     | none            | unlocks      | yes
        D2      | DARK        | OUT          | card  | strike | button     | none            | stays-locked | yes
        D3      | FIRE        | OUT          | card  | magnet | sensor     | none            | unlocks      | no
        D4      | NIGHT       | OUT          | card  | magnet | none       | none            | unlocks      | yes
        D5      | DEEP        | DARK         | none  | none   | none       | none            |              |
        D6      | VOID        | OUT          | card  | strike | none       | none            | stays-locked | no
        D7      | HOME        | OUT          | card  | strike | none       | none            | stays-locked | no
        """,  # noqa: E501
        expect={
            "OUT": OUT,
            "FREE": False,
            "DARK": True,
            "FIRE": True,
            "NIGHT": True,
            "DEEP": True,
            "VOID": OUT,
            "HOME": True,
        },
    ),
    Example(
        "one way is enough, an entrance that asks nothing is one, a closed door is none",
        """
        zones
        zone_id | kind    | occupants | place_of_safety
        OUT     | outside | 0         |
        YARD    | outside | 2         | no
        HALL    | common  | 5         |
        ROOF    | plant   | 5         | yes
        LOFT    | store   | 5         |
        CAGE    | store   | 5         |

        doors
        door_id | inside_zone | outside_zone | entry  | lock   | exit_input | mechanical_exit | power_loss   | alarm_release
        D1      | HALL        | OUT          | card   | strike | none       | lever           | stays-locked | no
        D2      | HALL        | OUT          | card   | strike | none       | none            | stays-locked | no
        D3      | HALL        | YARD         | none   | none   | none       | none            |              |
        D4      | ROOF        | LOFT         | none   | none   | none       | none            |              |
        D5      | HALL        | CAGE         | closed | none   | none       | none            |              |
        """,  # noqa: E501
        expect={
            "OUT": OUT,
            "YARD": False,
            "HALL": False,
            "ROOF": False,
            "LOFT": False,
            "CAGE": True,
        },
    ),
    Example(
        "what is not given makes neither free nor trapped",
        """
        zones
        zone_id | kind    | occupants
        OUT     | outside | 0
        A       | common  | 5
        B       | common  | 5
        C       | common  |
        D       | common  |
        E       | common  | 5
        F       | common  | 5
        G       |         | 5

        doors
        door_id | inside_zone | outside_zone | entry | lock   | exit_input | mechanical_exit | power_loss   | alarm_release
        D1      | A           | OUT          | card  | magnet | button     | none            | unlocks      |
        D2      | B           | OUT          | card  |        | button     | none            | stays-locked | no
        D3      | C           | OUT          | card  | strike | none       | none            | stays-locked | no
        D4      | D           | OUT          | card  | strike | none       | lever           | stays-locked | no
        D5      | E           |              | card  | magnet | button     | none            | unlocks      | yes
        D6      | G           | OUT          | card  | strike | none       | none            | stays-locked | no
        """,  # noqa: E501
        expect={
            "OUT": OUT,
            "A": None,
            "B": None,
            "C": None,
            "D": False,
            "E": None,
            "F": True,  # no door of it is in the register
            "G": None,  # its kind is not given: it may be outside
        },
    ),
)
