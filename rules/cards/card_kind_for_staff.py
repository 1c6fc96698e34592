import pandas as pd

from audit.arithmetic.columns import among
from audit.contract import Cause, Dataset, Step, rule
from audit.facts.holders import holder
from audit.facts.standing import live
from audit.facts.subjects import once_each


@rule(
    title="Master or rounds card held by someone who should not",
    finds="A live rounds or master card held by a resident or visitor, or a live master card"
    " held by a contractor.",
    priority="planned",
    upload=True,
    needs={"cards": ("kind", "person_id"), "people": ()},
    subjects=("card", "person"),
    cause=Cause("card", ("card",)),
    summary="Card {card} is a {kind} card held by {person}, a {role}.",
    evidence=("kind", "role"),
    do=(
        Step(
            "Get the card back and issue an ordinary one.",
            who="office",
            does="cut",
        ),
    ),
    cites=(
        "nist-sp-800-53-rev-5-1-1-ac-6-7",
        "practice-of-door-entry-systems",
    ),
)
def card_kind_for_staff(data: Dataset) -> pd.DataFrame:
    """A master card opens every door and a rounds card records patrols. Neither should be held
    by a resident or visitor, nor a master card by a contractor.
    """
    cards, held = data["cards"], holder(data, "cards")
    special = live(data, "cards") & among(cards["kind"], "rounds", "master")
    private = among(held["role"], "resident", "visitor")
    outsider = among(held["role"], "contractor")
    frame = pd.DataFrame(
        {
            "card": cards["card_id"],
            "person": cards["person_id"],
            "kind": cards["kind"],
            "role": held["role"],
            "fails": special & (private | (among(cards["kind"], "master") & outsider)),
        }
    )
    scope = special.fillna(True) & cards["person_id"].notna()
    return once_each(data, frame[scope], "cards", "card", "person")
