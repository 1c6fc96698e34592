import pandas as pd

from audit.contract import OUT, Dataset, Example, Reference, rule
from audit.trade.escape import zones_in_fire


@rule(
    title="More people than one way out may serve",
    finds="A zone with more people than the local code allows for one exit, where one door cuts"
    " off every way out.",
    priority="planned",
    life_safety=True,
    needs={"zones": ("occupants",), "doors": ("inside_zone", "outside_zone")},
    policy=("one_way_out_people",),
    subjects=("zone",),
    summary="Zone {zone} holds {occupants:1 person|% people}, and every way out passes door"
    " {weak_door}; {most_allowed} {most_allowed:is|are} the most for one way out here.",
    evidence=("occupants", "most_allowed", "weak_door"),
    remedy="Open a second way that does not pass the named door, or lower the number of people;"
    " have a competent person confirm both by the local code.",
    references=(
        Reference(
            "Existing premises with sleeping accommodation, practical fire safety guidance"
            " (Scottish Government), Number of exits, para 204",
            "more than 60 people: at least two exits",
            sure="read",
        ),
        Reference(
            "International Building Code 2018, Spaces with one exit, Table 1006.2.1",
            "49 people in most groups, 20 in a dwelling or sleeping space",
            sure="read",
        ),
    ),
)
def zone_with_one_way_out(data: Dataset) -> pd.DataFrame:
    """If smoke or a jammed lock takes that one door, all these people are shut in."""
    zones = zones_in_fire(data)
    zones = zones[(zones["occupants"] > 0).fillna(True)]
    limit = data.policy.one_way_out_people
    return zones.assign(most_allowed=limit, fails=zones["one_way"] & (zones["occupants"] > limit))


EXAMPLES = (
    Example(
        "60 people are the limit itself; two doors at one place are two ways",
        """
        zones
        zone_id | kind    | occupants
        OUT     | outside | 500
        LIMIT   | common  | 60
        OVER    | common  | 61
        TWO     | common  | 61
        BEHIND  | common  | 61
        EMPTY   | plant   | 0
        SHUT    | common  | 61

        doors
        door_id | inside_zone | outside_zone | lock   | mechanical_exit | alarm_release
        D1      | LIMIT       | OUT          | none   | none            |
        D2      | OVER        | OUT          | none   | none            |
        D3      | TWO         | OUT          | magnet | none            | yes
        D4      | TWO         | OUT          | magnet | none            | yes
        D5      | BEHIND      | TWO          | none   | none            |
        D6      | EMPTY       | OUT          | none   | none            |
        D7      | SHUT        | OUT          | magnet | none            | no
        """,
        expect={
            "OUT": OUT,
            "LIMIT": False,
            "OVER": True,
            "TWO": False,
            "BEHIND": True,
            "EMPTY": OUT,
            "SHUT": False,  # zone-without-way-out speaks of it
        },
    ),
    Example(
        "a second door that may be free, and people who are not counted",
        """
        zones
        zone_id | kind    | occupants
        OUT     | outside |
        A       | common  | 61
        B       | common  |
        C       | common  | 60

        doors
        door_id | inside_zone | outside_zone | lock   | mechanical_exit | alarm_release
        D1      | A           | OUT          | none   | none            |
        D2      | A           | OUT          | magnet | none            |
        D3      | B           | OUT          | none   | none            |
        D4      | C           | OUT          | none   | none            |
        D5      | C           | OUT          | magnet | none            |
        """,
        expect={"A": None, "B": None, "C": False},
    ),
    Example(
        "another code's limit",
        """
        zones
        zone_id | kind    | occupants
        OUT     | outside |
        A       | common  | 49
        B       | common  | 50

        doors
        door_id | inside_zone | outside_zone | lock
        D1      | A           | OUT          | none
        D2      | B           | OUT          | none
        """,
        site={"local_code": "nfpa"},
        expect={"A": False, "B": True},
    ),
)
