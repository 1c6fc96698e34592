import pandas as pd

from audit.contract import OUT, Dataset, Example, Reference, rule
from audit.trade.escape import settled, zones_in_fire


@rule(
    title="Exits that pass fewer people than the zone holds",
    finds="A zone whose exits together pass fewer people than it holds; where there are two or"
    " more, the widest is taken as out of use.",
    priority="planned",
    life_safety=True,
    needs={
        "zones": ("occupants",),
        "doors": ("inside_zone", "outside_zone", "clear_width_mm"),
    },
    policy=("width_bands", "mm_per_person"),
    subjects=("zone",),
    summary="Zone {zone} holds {occupants:1 person|% people}; its {exits:exit (%)|exits (%)},"
    " with the widest out of use where there are two or more, {exits:passes|pass}"
    " {people_passed:1 person|% people|nobody} at most.",
    evidence=("occupants", "people_passed", "exits"),
    remedy="Widen an exit, open another, or lower the number of people; have a competent person"
    " confirm the capacity by the local code.",
    references=(
        Reference(
            "Approved Document B (England), volume 2, 2019 with amendments, 2.21",
            "where there are more exits than one, the largest is assumed to be lost",
            sure="quoted",
        ),
        Reference(
            "Building Bulletin 100 (England), 2007, Widths of exits, 1.8",
            "the same, as others have put it into a program",
            sure="quoted",
        ),
    ),
)
def exit_capacity_short(data: Dataset) -> pd.DataFrame:
    """A fire at the widest exit leaves the others to serve everybody."""
    zones = zones_in_fire(data)
    zones = zones[((zones["occupants"] > 0) & zones["has_exit"]).fillna(True)]
    short = settled(
        zones["pass_most"] < zones["occupants"], zones["pass_least"] >= zones["occupants"]
    )
    return zones.assign(people_passed=zones["pass_most"], fails=zones["has_exit"] & short)


EXAMPLES = (
    Example(
        "one exit counts whole; of three the widest does not",
        """
        zones
        zone_id | kind    | occupants
        OUT     | outside | 900
        ONE     | common  | 110
        MORE    | common  | 111
        THREE   | common  | 330
        FULL    | common  | 331
        SHUT    | common  | 10
        EMPTY   | plant   | 0

        doors
        door_id | inside_zone | outside_zone | lock   | mechanical_exit | alarm_release | clear_width_mm
        D1      | ONE         | OUT          | none   | none            |               | 850
        D2      | MORE        | OUT          | none   | none            |               | 850
        D3      | THREE       | OUT          | none   | none            |               | 1500
        D4      | THREE       | OUT          | none   | none            |               | 1050
        D5      | THREE       | OUT          | none   | none            |               | 850
        D6      | FULL        | OUT          | none   | none            |               | 1500
        D7      | FULL        | OUT          | none   | none            |               | 1050
        D8      | FULL        | OUT          | none   | none            |               | 850
        D9      | SHUT        | OUT          | magnet | none            | no            | 600
        D0      | EMPTY       | OUT          | none   | none            |               | 600
        """,  # noqa: E501
        expect={
            "OUT": OUT,
            "ONE": False,
            "MORE": True,
            "THREE": False,
            "FULL": True,
            "SHUT": OUT,  # without any exit: zone-without-way-out speaks of it
            "EMPTY": OUT,
        },
    ),
    Example(
        "a width, a lock or the people not given",
        """
        zones
        zone_id | kind    | occupants
        OUT     | outside |
        A       | common  | 10
        B       | common  | 60
        C       | common  |
        D       | common  | 70
        E       | common  | 60
        F       | common  | 10

        doors
        door_id | inside_zone | outside_zone | lock   | mechanical_exit | alarm_release | clear_width_mm
        D1      | A           | OUT          | none   | none            |               |
        D2      | B           | OUT          | none   | none            |               | 850
        D3      | B           | OUT          | magnet | none            |               | 700
        D4      | C           | OUT          | none   | none            |               | 850
        D5      | D           | OUT          | none   | none            |               | 760
        D6      | D           | OUT          | none   | none            |               | 760
        D7      | E           | OUT          | none   | none            |               | 760
        D8      | E           | OUT          | none   | none            |               |
        D9      | F           | OUT          | magnet | none            |               | 600
        """,  # noqa: E501
        expect={"A": None, "B": None, "C": None, "D": True, "E": None, "F": None},
    ),
)
