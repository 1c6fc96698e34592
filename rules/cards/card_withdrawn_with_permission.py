import pandas as pd

from audit.arithmetic.columns import among
from audit.contract import Cause, Dataset, Step, rule
from audit.facts.cards import _failing
from audit.facts.standing import in_force
from audit.facts.subjects import is_in, lists, once_each
from rules.cards._shared import withdrawn


@rule(
    title="Withdrawn card still has a permission",
    finds="A card that is lost, returned, destroyed or in stock, while a permission of the card"
    " itself is still in force.",
    priority="planned",
    upload=True,
    needs={"cards": ("status",), "permissions": ()},
    subjects=("card",),
    cause=Cause("card", ("card",)),
    summary="Card {card} is marked {status}, but {permissions:permission % is|permissions % are}"
    " still in force for it.",
    evidence=("status", "permissions"),
    do=(
        Step(
            "End the permission.",
            who="office",
            does="cut",
        ),
    ),
    cites=(
        "nist-sp-800-53-rev-5-1-1-ps-4",
        "iso-iec-27001-2022-annex-a-5-18",
    ),
)
def card_withdrawn_with_permission(data: Dataset) -> pd.DataFrame:
    """The card works again as soon as someone sets it active or re-enters its number."""
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
