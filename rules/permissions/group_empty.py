import pandas as pd

from audit.contract import OUT, Dataset, Example, Reference, rule
from audit.trade.permissions import used_groups


@rule(
    title="A group in use that opens no door",
    finds="A door group that a permission uses and that contains no door, where no other"
    " finding says why.",
    priority="advisory",
    upload=True,
    needs={"door_groups": ("member_id",), "permissions": ("door_group",)},
    subjects=("door_group",),
    summary="Door group {door_group} is used by a permission and opens no door.",
    remedy="Add the doors that the group is meant for, or take it out of the permissions.",
    references=(
        Reference(
            "NIST SP 800-53 rev 5.1.1, PE-2",
            "keep an approved list of who has access, review it, and remove what is not needed",
            sure="read",
        ),
    ),
)
def group_empty(data: Dataset) -> pd.DataFrame:
    """Someone believes that they gave access: the register promises a door and opens none."""
    groups = used_groups(data)
    return groups.assign(fails=groups["empty"])


EXAMPLES = (
    Example(
        "empty in itself and through its groups; one door is enough; other findings speak first",
        """
        door_groups
        door_group | member_kind | member_id
        EMPTY      |             |
        HOLLOW     | door_group  | EMPTY
        ONE        | door        | D1
        DEEP       | door_group  | ONE
        UNUSED     |             |
        LOST       | door_group  | NOWHERE
        ABOVE      | door_group  | LOST
        RING       | door_group  | RING
        BLUR       | whichever   | D1

        permissions
        permission_id | holder_id | door_group
        1             | P1        | EMPTY
        2             | P1        | HOLLOW
        3             | P1        | ONE
        4             | P1        | DEEP
        5             | P1        | LOST
        6             | P1        | ABOVE
        7             | P1        | RING
        8             | P1        | BLUR
        9             | P1        | NOWHERE
        """,
        expect={
            "EMPTY": True,
            "HOLLOW": True,
            "ONE": False,
            "DEEP": False,
            "UNUSED": OUT,
            "LOST": OUT,
            "ABOVE": OUT,
            "RING": OUT,
            "BLUR": None,
            "NOWHERE": OUT,
        },
    ),
)
