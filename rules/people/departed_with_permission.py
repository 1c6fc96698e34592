import pandas as pd

from audit.arithmetic.columns import among
from audit.arithmetic.plain import places
from audit.contract import OUT, Dataset, Example, Reference, rule
from audit.facts.holders import _at, people
from audit.facts.standing import in_force
from audit.facts.subjects import once_each


@rule(
    title="Departed person with a permission in force",
    finds="A permission that is in force for a person who has left.",
    priority="planned",
    needs={"permissions": (), "people": ()},
    policy=("departure_grace_days",),
    subjects=("person", "permission"),
    summary="{person} has departed{last_day: (last day: %)|}; permission {permission} is still in"
    " force.",
    evidence=("last_day", "status"),
    remedy="End the permission, and send the change to the controllers.",
    references=(
        Reference(
            "NIST SP 800-53 rev 5.1.1, PS-4",
            "access is disabled in a set time when somebody leaves",
            sure="read",
        ),
        Reference(
            "ISO/IEC 27001:2022 Annex A, 5.18",
            "the rights of those who leave are removed in time",
            sure="read",
        ),
    ),
)
def departed_with_permission(data: Dataset) -> pd.DataFrame:
    """Any card or PIN that is ever bound to this person again opens at once."""
    rows = data["permissions"]
    standing = in_force(data) & among(rows["holder_kind"], "person")
    held = of_people(data, rows["holder_id"])
    frame = pd.DataFrame(
        {
            "person": rows["holder_id"],
            "permission": rows["permission_id"],
            "last_day": held["end"],
            "status": held["status"],
            "fails": standing & held["departed"],
        }
    )
    return once_each(data, frame[standing.fillna(True)], "permissions", "person", "permission")


def of_people(data: Dataset, ids: pd.Series) -> pd.DataFrame:
    """The columns of `people` for each id, aligned with `ids`; NA for unknown ids."""
    return _at(data, places(people(data).index, ids), ids.index)


EXAMPLES = (
    Example(
        "permissions of people who left, yesterday or today",
        """
        permissions
        permission_id | holder_kind | holder_id | door_id | valid_to
        R1            |             | P1        | D1      |
        R2            | person      | P1        | D1      | 2026-09-30
        R3            | person      | P1        | D1      | 2026-09-29
        R4            | person      | P2        | D1      |
        R5            | card        | P1        | D1      |
        R6            | person      | P9        | D1      |
        R7            | person      | P1        | D1      | later
        R8            | someone     | P1        | D1      |
        R9            | person      | P2        | D1      | later
        R10           | person      | P3        | D1      |

        people
        person_id | end_date
        P1        | 2026-09-29
        P2        | 2026-09-30
        P3        | later
        """,
        expect={
            "P1 R1": True,
            "P1 R2": True,
            "P1 R3": OUT,
            "P2 R4": False,
            "P1 R5": OUT,
            "P9 R6": None,
            "P1 R7": None,
            "P1 R8": None,
            "P2 R9": False,
            "P3 R10": None,
        },
    ),
)
