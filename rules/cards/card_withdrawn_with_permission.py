import pandas as pd

from audit.arithmetic.columns import among
from audit.contract import OUT, Dataset, Example, Reference, rule
from audit.facts.cards import _failing
from audit.facts.standing import in_force
from audit.facts.subjects import is_in, lists, once_each
from rules.cards._shared import withdrawn


@rule(
    title="Withdrawn card with a permission in force",
    finds="A card that is lost, returned, destroyed or in stock, while a permission of the card"
    " itself is still in force.",
    priority="planned",
    needs={"cards": ("status",), "permissions": ()},
    subjects=("card",),
    summary="Card {card} has the status {status}, and {permissions:permission % is|permissions"
    " % are} still in force for it.",
    evidence=("status", "permissions"),
    remedy="End the permission.",
    references=(
        Reference(
            "NIST SP 800-53 rev 5.1.1, PS-4",
            "access is disabled and credentials are revoked in a set time",
            sure="read",
        ),
        Reference(
            "ISO/IEC 27001:2022 Annex A, 5.18",
            "rights are granted, reviewed, changed and removed by policy",
            sure="read",
        ),
    ),
)
def card_withdrawn_with_permission(data: Dataset) -> pd.DataFrame:
    """The card works again the day somebody sets it active or enters its number anew."""
    cards, gone = data["cards"], withdrawn(data, stock=True)
    frame = pd.DataFrame(
        {
            "card": cards["card_id"],
            "status": cards["status"],
            "fails": gone & permitted(data),
        }
    )[gone.fillna(True)]
    return once_each(data, permissions_of(data, frame), "cards", "card")


def permitted(data: Dataset) -> pd.Series:
    """Whether a card permission is in force for each card; aligned with data["cards"]."""
    rows = data["permissions"]
    standing = among(rows["holder_kind"], "card") & in_force(data)
    ids = data["cards"]["card_id"]
    sure = is_in(ids, rows.loc[standing.fillna(False).to_numpy(dtype=bool), "holder_id"])
    may = is_in(ids, rows.loc[standing.isna().to_numpy(dtype=bool), "holder_id"])
    return sure.astype("boolean").mask(may & ~sure)


def permissions_of(data: Dataset, frame: pd.DataFrame) -> pd.DataFrame:
    """The frame (with `card` and `fails`) and, for its failing rows, the list `permissions`."""
    ids = _failing(frame, "card")
    if ids.empty:
        return frame.assign(permissions=None)
    rows = data["permissions"]
    standing = (among(rows["holder_kind"], "card") & in_force(data)).fillna(False)
    held = rows.loc[standing.to_numpy(dtype=bool), "holder_id"]
    told = {"permissions": lists(held, rows["permission_id"], ids)}
    return frame.join(pd.DataFrame(told, index=ids.index, dtype=object))


EXAMPLES = (
    Example(
        "permissions of withdrawn cards",
        """
        cards
        card_id | number | status
        C1      | 1      | lost
        C2      | 2      | returned
        C3      | 3      | destroyed
        C4      | 4      | stock
        C5      | 5      | lost
        C6      | 6      | lost
        C7      | 7      | active
        C8      | 8      | suspended
        C9      | 9      | lost
        C10     | 10     | astray
        C11     | 11     | astray
        C12     | 12     | lost
        C13     | 13     | lost

        permissions
        permission_id | holder_kind | holder_id | door_id | valid_from | valid_to
        R1            | card        | C1        | D1      |            |
        R2            | card        | C2        | D1      |            | 2026-09-30
        R3            | card        | C3        | D1      | 2026-09-30 |
        R4            | card        | C4        | D1      |            |
        R5            | card        | C5        | D1      |            | 2026-09-29
        R6            | person      | C6        | D1      |            |
        R7            | card        | C7        | D1      |            |
        R8            | card        | C8        | D1      |            |
        R9            | card        | C9        | D1      |            | soon
        R10           | card        | C10       | D1      |            |
        R12           | card        | C12       | D1      |            | soon
        R13           | card        | C12       | D1      |            |
        R14           | token       | C13       | D1      |            |
        """,
        expect={
            "C1": True,
            "C2": True,
            "C3": True,
            "C4": True,
            "C5": False,
            "C6": False,
            "C7": OUT,
            "C8": OUT,
            "C9": None,
            "C10": None,
            "C11": False,
            "C12": True,
            "C13": None,
        },
    ),
    Example(
        "one id on two rows",
        """
        cards
        card_id | number | status
        C1      | 1      | lost
        C1      | 2      | lost

        permissions
        permission_id | holder_kind | holder_id | door_id
        R1            | card        | C1        | D1
        """,
        expect={"C1": True},
    ),
)
