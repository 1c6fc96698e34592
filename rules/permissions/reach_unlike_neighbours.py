import pandas as pd

from audit.contract import OUT, Dataset, Example, Reference, rule
from audit.trade.neighbours import unlike_neighbours


@rule(
    title="A door that hardly any neighbour has",
    finds="Doors that a resident opens and fewer than one in ten of the residents of the same"
    " building and core do (ten residents at least). Doors on the way home, doors into"
    " dwellings, and doors that three or more residents open are left out.",
    priority="advisory",
    needs={
        "people": ("dwelling_id",),
        "dwellings": ("building", "core"),
        "doors": ("entry", "lock"),
        "permissions": (),
    },
    uses=("zones", "cards", "pins", "door_groups", "schedules", "calendars"),
    subjects=("person", "door"),
    summary="Resident {person} opens {door:door %|doors %}, which hardly any of the"
    " {neighbours} residents of the same building and core can open.",
    evidence=("neighbours",),
    remedy="Ask why; where there is no reason, take the doors out of this person's permissions.",
    references=(
        Reference(
            "NIST SP 800-53 rev 5.1.1, AC-6(7)",
            "review privileges and remove those that are not needed",
            sure="read",
        ),
        Reference(
            "Access that differs from the neighbours'",
            "is most often left over from an earlier job, flat or favour",
            sure="common practice, no source",
        ),
    ),
)
def reach_unlike_neighbours(data: Dataset) -> pd.DataFrame:
    """A right that the neighbours lack is often left over, and nobody remembers why it is there."""
    people = unlike_neighbours(data)
    return people.assign(door=people["doors"], fails=people["odd"])


def _people(count: int, dwelling: str = "F1", prefix: str = "R") -> str:
    """Rows of residents, all of one dwelling."""
    return "".join(f"        {prefix}{i:02d} | {dwelling} |\n" for i in range(1, count + 1))


def _cards(count: int, prefix: str = "R") -> str:
    return "".join(f"        {prefix}{i} | {prefix}{i:02d}\n" for i in range(1, count + 1))


def _ordinary(first: int, last: int) -> dict[str, bool | None]:
    return {f"R{i:02d}": False for i in range(first, last + 1)}


SITE = """
        zones
        zone_id | kind
        STREET  | outside
        LOBBY   | common
        HALL    | common
        CELLAR  | store
        FLAT    | dwelling

        dwellings
        dwelling_id | building | core | zone_id
        F1          | B        | 1    | HALL
        F2          | B        | 2    | HALL
        F3          | B        |      | HALL

        doors
        door_id | inside_zone | outside_zone | entry | lock
        FRONT   | LOBBY       | STREET       | card  | magnet
        UP      | HALL        | LOBBY        | none  | none
        STORE   | CELLAR      | LOBBY        | card  | strike
        OWN     | FLAT        | HALL         | card  | bolt
        SHED    | CELLAR      | LOBBY        | card  | none
        NOLOCK  | CELLAR      | LOBBY        | card  |

        permissions
        permission_id | holder_kind | holder_id | door_id
        ALL           | role        | resident  | HOUSE
"""

EXAMPLES = (
    Example(
        "one of eleven has the store, their own flat and the front door",
        SITE
        + """        P1            | person      | R01       | STORE
        P2            | person      | R02       | OWN
        P3            | person      | R03       | FRONT
        P4            | person      | R04       | SHED
        P5            | person      | X01       | STORE
        P6            | person      | R05       | NOLOCK

        people
        person_id | dwelling_id | status
"""
        + _people(11)
        + _people(1, "F2", "X")
        + _people(1, "F3", "Y")
        + """        GONE | F1 | departed

        cards
        number | person_id
"""
        + _cards(11)
        + _cards(1, "X"),
        expect={
            **_ordinary(2, 11),
            "R01 STORE": True,
            "R05": None,  # its lock is not given
            "X01": OUT,
            "Y01": None,
            "GONE": OUT,
        },
    ),
    Example(
        "one of ten is one in ten, and no finding",
        SITE
        + """        P1            | person      | R01       | STORE

        people
        person_id | dwelling_id | status
"""
        + _people(10)
        + """
        cards
        number | person_id
"""
        + _cards(10),
        expect=_ordinary(1, 10),
    ),
    Example(
        "two of twenty-one are odd",
        SITE
        + """        P1            | person      | R01       | STORE
        P2            | person      | R02       | STORE

        people
        person_id | dwelling_id | status
"""
        + _people(21)
        + """
        cards
        number | person_id
"""
        + _cards(21),
        expect={**_ordinary(3, 21), "R01 STORE": True, "R02 STORE": True},
    ),
    Example(
        "three residents who have a door are no oddity",
        SITE
        + """        P1            | person      | R01       | STORE
        P2            | person      | R02       | STORE
        P3            | person      | R03       | STORE

        people
        person_id | dwelling_id | status
"""
        + _people(31)
        + """
        cards
        number | person_id
"""
        + _cards(31),
        expect=_ordinary(1, 31),
    ),
)
