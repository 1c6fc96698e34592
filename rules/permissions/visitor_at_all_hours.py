import pandas as pd

from audit.contract import OUT, Dataset, Example, Reference, rule
from audit.trade.permissions import unbound


@rule(
    title="A visitor or contractor who may come at any hour",
    finds="A contractor or visitor with a permission that is bound to no schedule.",
    priority="planned",
    needs={"people": ("role",), "permissions": ("schedule_id",)},
    uses=("cards", "pins"),
    subjects=("person",),
    summary="Person {person} has {permissions:permission %|permissions %} without a schedule:"
    " any day, any hour.",
    evidence=("permissions",),
    remedy="Bind the permission to the hours in which the person is expected.",
    references=(
        Reference(
            "NIST SP 800-53 rev 5.1.1, AC-2",
            "rights of temporary accounts are specified, and may depend on time of day and day",
            sure="read",
        ),
        Reference(
            "NIST SP 800-53 rev 5.1.1, PE-6",
            "access outside normal hours is a sign to look for",
            sure="read",
        ),
    ),
)
def visitor_at_all_hours(data: Dataset) -> pd.DataFrame:
    """Someone who is here for a job or a visit can come back at three in the morning."""
    people = unbound(data, ("contractor", "visitor"))
    return people.assign(fails=people["unbound"])


EXAMPLES = (
    Example(
        "with and without schedule, by person, role and card",
        """
        people
        person_id | role       | dwelling_id
        FREE      | contractor |
        BOUND     | contractor |
        CARDED    | visitor    |
        LOSTCARD  | visitor    |
        HOMED     | visitor    | F1
        RESIDENT  | resident   | F1
        OVER      | visitor    |
        BLUR      | visitor    |
        WHOEVER   | whoever    |

        cards
        card_id | number | person_id | status
        C1      | 1      | CARDED    |
        C2      | 2      | LOSTCARD  | lost

        permissions
        permission_id | holder_kind | holder_id | door_id | schedule_id | valid_to
        R1            | person      | FREE      | D1      |             |
        R2            | person      | BOUND     | D1      | DAY         |
        R3            | card        | C1        | D1      |             |
        R4            | card        | C2        | D1      |             |
        R5            | dwelling    | F1        | D1      |             |
        R6            | person      | RESIDENT  | D1      |             |
        R7            | person      | OVER      | D1      |             | 2026-09-29
        R8            | person      | BLUR      | D1      |             | some day
        R9            | person      | WHOEVER   | D1      |             |
        """,
        expect={
            "FREE": True,
            "BOUND": False,
            "CARDED": True,
            "LOSTCARD": False,
            "HOMED": False,
            "RESIDENT": OUT,
            "OVER": False,
            "BLUR": None,
            "WHOEVER": None,
        },
    ),
    Example(
        "a permission of the role is everyone's",
        """
        people
        person_id | role
        GUEST     | visitor
        HIRED     | contractor

        permissions
        permission_id | holder_kind | holder_id | door_id | schedule_id
        R1            | role        | visitor   | D1      |
        """,
        expect={"GUEST": True, "HIRED": False},
    ),
)
