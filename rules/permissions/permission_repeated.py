import pandas as pd

from audit.contract import OUT, Dataset, Example, Reference, rule
from audit.facts.permissions import repeated


@rule(
    title="A permission that adds nothing",
    finds="Two permissions in force of one holder, one of which opens no further door and gives"
    " no further hour.",
    priority="advisory",
    upload=True,
    needs={"permissions": ()},
    uses=("doors", "door_groups", "schedules", "calendars"),
    subjects=("permission",),
    summary="Of permissions {permission}, of one holder, one adds neither a door nor an hour.",
    remedy="Keep the wider permission and end the other.",
    references=(
        Reference(
            "NIST SP 800-53 rev 5.1.1, AC-6(7)",
            "review privileges and remove those that are not needed",
            sure="read",
        ),
    ),
)
def permission_repeated(data: Dataset) -> pd.DataFrame:
    """When access is withdrawn, the second permission is easily forgotten and still opens."""
    found = repeated(data)
    return found.assign(fails=found["repeated"])


EXAMPLES = (
    Example(
        "the same twice; a door inside a group; other hours, doors, holders and days add something",
        """
        door_groups
        door_group | member_kind | member_id
        ALL        | door        | D1
        ALL        | door        | D2
        HOLLOW     |             |

        schedules
        schedule_id | days    | start | end
        DAY         | mon-fri | 08:00 | 18:00
        LONG        | mon-fri | 08:00 | 18:01

        permissions
        permission_id | holder_kind | holder_id | door_group | door_id | schedule_id | valid_to
        A1            | person      | A         | ALL        |         |             |
        A2            | person      | A         | ALL        |         |             |
        B1            | person      | B         | ALL        |         |             |
        B2            | person      | B         |            | D1      | DAY         |
        C1            | person      | C         |            | D1      | DAY         |
        C2            | person      | C         |            | D1      | LONG        |
        D1            | person      | D         |            | D1      | LONG        |
        D2            | person      | D         |            | D2      | DAY         |
        E1            | card        | A         |            | D1      |             |
        F1            | person      | F         | ALL        |         |             | 2026-12-31
        F2            | person      | F         |            | D1      |             |
        G1            | person      | G         | ALL        |         |             |
        G2            | person      | G         | ALL        |         |             | 2026-09-29
        H1            | person      | H         | HOLLOW     |         |             |
        H2            | person      | H         | HOLLOW     |         |             |
        """,
        expect={
            "A1": False,
            "A1+A2": True,
            "B1": False,
            "B1+B2": True,
            "C1+C2": True,
            "C2": False,
            "D1": False,
            "D2": False,
            "E1": False,
            "F1": False,
            "F2": False,
            "G1": False,
            "G2": OUT,
            "H1": False,
            "H2": False,
        },
    ),
    Example(
        "hours that are not known; a holder that cannot be read",
        """
        permissions
        permission_id | holder_kind | holder_id | door_id | schedule_id
        A1            | person      | A         | D1      | LOST
        A2            | person      | A         | D1      | GONE
        B1            | person      | B         | D1      |
        B2            | person      | B         | D1      | LOST
        C1            | whoever     | C         | D1      |
        """,
        expect={"A1+A2": None, "A2": False, "B1": False, "B1+B2": True, "C1": None},
    ),
)
