import pandas as pd

from audit.arithmetic.columns import among
from audit.contract import Cause, Dataset, Step, rule
from audit.facts.holders import holder
from audit.facts.standing import live
from audit.facts.subjects import once_each


@rule(
    title="Master or rounds card in private hands",
    finds="A live master or rounds card whose holder is a resident or a visitor.",
    priority="planned",
    upload=True,
    needs={"cards": ("kind", "person_id"), "people": ()},
    subjects=("card", "person"),
    cause=Cause("card", ("card",)),
    summary="Card {card}, a {kind} card, is held by {person}, a {role}.",
    evidence=("kind", "role"),
    do=(Step("Take the card back and give its holder an ordinary one.", who="office", does="cut"),),
    cites=(
        "nist-sp-800-53-rev-5-1-1-ac-6-7",
        "practice-of-door-entry-systems",
    ),
)
def card_kind_for_staff(data: Dataset) -> pd.DataFrame:
    """A master card opens every door, a rounds card proves that a guard was there: neither
    is for residents or visitors."""
    cards, held = data["cards"], holder(data, "cards")
    special = live(data, "cards") & among(cards["kind"], "rounds", "master")
    frame = pd.DataFrame(
        {
            "card": cards["card_id"],
            "person": cards["person_id"],
            "kind": cards["kind"],
            "role": held["role"],
            "fails": special & among(held["role"], "resident", "visitor"),
        }
    )
    scope = special.fillna(True) & cards["person_id"].notna()
    return once_each(data, frame[scope], "cards", "card", "person")
