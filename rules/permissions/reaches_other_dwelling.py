import pandas as pd

from audit.contract import OUT, Dataset, Example, Reference, rule
from audit.facts.standing import lookup
from rules.permissions._shared import reaches_into


@rule(
    title="A door into somebody else's home",
    finds="A resident or visitor who opens a door into a dwelling that is not theirs.",
    priority="immediate",
    needs={
        "people": (),
        "doors": ("inside_zone", "entry"),
        "zones": ("kind",),
        "permissions": (),
    },
    uses=("dwellings", "cards", "pins", "door_groups", "schedules", "calendars"),
    subjects=("person", "door"),
    summary="Person {person} can open door {door} into a dwelling that is not theirs ({zone}).",
    evidence=("zone",),
    remedy="Take the door out of this person's permissions today, and check who else has it.",
    references=(
        Reference(
            "NIST SP 800-53 rev 5.1.1, PE-2",
            "keep an approved list of who has access, review it, and remove what is not needed",
            sure="read",
        ),
        Reference(
            "NIST SP 800-53 rev 5.1.1, PS-5",
            "when somebody moves, confirm the need for their physical rights",
            sure="read",
        ),
    ),
)
def reaches_other_dwelling(data: Dataset) -> pd.DataFrame:
    """A person without right to this home has a working way into it today."""
    rows = reaches_into(data, "dwelling", ("resident", "visitor"))
    dwelling = lookup(data, "people", rows["person"], "dwelling_id")
    own = lookup(data, "dwellings", dwelling, "zone_id")
    other = (rows["zone"] != own).astype("boolean")
    return rows.assign(fails=rows["reaches"] & (other | dwelling.isna()))


EXAMPLES = (
    Example(
        "one's own home, another's, and people who reach none",
        """
        zones
        zone_id | kind
        HALL    | common
        HOME1   | dwelling
        HOME2   | dwelling
        BLUR    |

        dwellings
        dwelling_id | zone_id
        F1          | HOME1
        F2          | HOME2
        F3          |

        doors
        door_id | inside_zone | outside_zone | entry
        FRONT   | HALL        |              | card
        D1      | HOME1       | HALL         | card
        D2      | HOME2       | HALL         | card
        D3      | BLUR        | HALL         | card
        D4      | HOME2       | HALL         | key

        people
        person_id | role     | dwelling_id
        OWN       | resident | F1
        OTHER     | resident | F1
        GUEST     | visitor  | F1
        ROVER     | visitor  |
        NOZONE    | resident | F3
        CLEANER   | staff    |
        BLURRED   | whoever  | F1
        KEYED     | resident | F1
        HAZY      | resident | F1

        cards
        number | person_id
        1      | OWN
        2      | OTHER
        3      | GUEST
        4      | ROVER
        5      | NOZONE
        6      | CLEANER
        7      | BLURRED
        8      | KEYED
        9      | HAZY

        permissions
        permission_id | holder_id | door_id
        R1            | OWN       | D1
        R2            | OTHER     | D1
        R3            | OTHER     | D2
        R4            | GUEST     | D1
        R5            | ROVER     | D2
        R6            | NOZONE    | D1
        R7            | CLEANER   | D2
        R8            | BLURRED   | D2
        R9            | KEYED     | D4
        R10           | HAZY      | D3
        """,
        expect={
            "OWN D1": False,
            "OTHER D1": False,
            "OTHER D2": True,
            "GUEST D1": False,
            "ROVER D2": True,
            "NOZONE D1": None,
            "CLEANER D2": OUT,
            "BLURRED D2": None,
            "KEYED": False,
            "HAZY D3": None,
        },
    ),
)
