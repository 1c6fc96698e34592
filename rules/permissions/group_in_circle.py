import pandas as pd

from audit.contract import OUT, Dataset, Example, Reference, rule
from audit.trade.permissions import circles


@rule(
    title="Door groups that contain each other",
    finds="Door groups that contain each other, directly or through other groups.",
    priority="planned",
    upload=True,
    needs={"door_groups": ("member_id",)},
    subjects=("door_group",),
    summary="{door_group:Door group % contains itself|Door groups % contain each other: each"
    " opens the doors of all}.",
    remedy="Take one of the groups out of the other, so that each holds only what its name says.",
    references=(
        Reference(
            "NIST SP 800-53 rev 5.1.1, PE-2",
            "keep an approved list of who has access, review it, and remove what is not needed",
            sure="read",
        ),
        Reference(
            "Door groups in door-entry software",
            "a nested group gives all that it holds; some systems refuse a circle at upload",
            sure="common practice, no source",
        ),
    ),
)
def group_in_circle(data: Dataset) -> pd.DataFrame:
    """Nobody can say any more what such a group is for: whoever has one has them all."""
    found = circles(data)
    return found.assign(fails=found["circle"])


EXAMPLES = (
    Example(
        "two in a circle, one in itself, one that holds another, one that holds doors only",
        """
        door_groups
        door_group | member_kind | member_id
        A          | door_group  | B
        B          | door_group  | A
        B          | door        | D1
        SELF       | door_group  | SELF
        OUTER      | door_group  | INNER
        INNER      | door        | D2
        """,
        expect={"A+B": True, "SELF": True, "OUTER": False, "INNER": OUT},
    ),
    Example(
        "a member that may be a door or a group",
        """
        door_groups
        door_group | member_kind | member_id
        A          | whichever   | B
        B          | door_group  | A
        """,
        expect={"A+B": None},
    ),
)
