import pandas as pd

from audit.contract import OUT, Dataset, Example, Reference, rule
from audit.facts.standing import in_force


@rule(
    title="A permission that was never sent to the doors",
    finds="A permission in force that was never sent to the controllers, where the register"
    " records the sending of others.",
    priority="planned",
    upload=True,
    needs={"permissions": ("applied_on",)},
    subjects=("permission",),
    summary="Permission {permission} is in force and was never sent to the controllers.",
    remedy="Send the permission to the controllers, or end it where it is no longer wanted.",
    references=(
        Reference(
            "How a permission reaches a door",
            "it is prepared at the desk and then sent; until then the door does not know it",
            sure="common practice, no source",
        ),
    ),
)
def permission_not_applied(data: Dataset) -> pd.DataFrame:
    """The register says that someone may enter, and the door will not let them in."""
    permissions = data["permissions"].assign(force=in_force(data))
    blank = data.blank("permissions", "applied_on")
    permissions = permissions.assign(
        permission=permissions["permission_id"], fails=permissions["force"] & blank
    )
    in_use = not blank.all()
    return permissions[permissions["force"].fillna(True) & in_use]


EXAMPLES = (
    Example(
        "sent and not sent; over and to come",
        """
        permissions
        permission_id | holder_id | door_id | valid_from | valid_to   | applied_on
        SENT          | A         | D1      |            |            | 2026-09-01
        NEVER         | A         | D1      |            |            |
        LAST          | A         | D1      | 2026-09-30 | 2026-09-30 |
        OVER          | A         | D1      |            | 2026-09-29 |
        TOCOME        | A         | D1      | 2026-10-01 |            |
        BLUR          | A         | D1      |            |            | some day
        UNTIL         | A         | D1      |            | some day   |
        """,
        expect={
            "SENT": False,
            "NEVER": True,
            "LAST": True,
            "OVER": OUT,
            "TOCOME": OUT,
            "BLUR": None,
            "UNTIL": None,
        },
    ),
    Example(
        "a column that nobody fills says nothing",
        """
        permissions
        permission_id | holder_id | door_id | applied_on
        NEVER         | A         | D1      |
        """,
        expect={"NEVER": OUT},
    ),
)
