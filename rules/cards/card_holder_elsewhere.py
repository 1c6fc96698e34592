import pandas as pd

from audit.contract import Cause, Dataset, Step, rule
from audit.facts.holders import holder
from audit.facts.standing import live
from audit.facts.subjects import once_each


@rule(
    title="Card of one dwelling, holder of another",
    finds="A live card bound to one dwelling while the person who holds it is entered at another.",
    priority="planned",
    upload=True,
    needs={"cards": ("person_id", "dwelling_id"), "people": ("dwelling_id",)},
    subjects=("card", "person"),
    cause=Cause("card", ("card",)),
    summary="Card {card} is bound to dwelling {dwelling}; {person}, its holder, lives in {home}.",
    evidence=("dwelling", "home"),
    do=(
        Step(
            "Correct the card's dwelling or its holder; take the card back if the holder took it"
            " along.",
            who="office",
            does="cut",
        ),
    ),
    cites=(
        "nist-sp-800-53-rev-5-1-1-ps-5",
        "gdpr-regulation-eu-2016-679-article-5-1-d",
    ),
)
def card_holder_elsewhere(data: Dataset) -> pd.DataFrame:
    """The card opens for a dwelling in which its holder does not live: somebody moved."""
    cards, alive, held = data["cards"], live(data, "cards"), holder(data, "cards")
    differs = (cards["dwelling_id"] != held["dwelling"]).astype("boolean")
    both = cards["dwelling_id"].notna() & cards["person_id"].notna()
    frame = pd.DataFrame(
        {
            "card": cards["card_id"],
            "person": cards["person_id"],
            "dwelling": cards["dwelling_id"],
            "home": held["dwelling"],
            "fails": alive & differs,
        }
    )
    return once_each(data, frame[both & alive.fillna(True)], "cards", "card", "person")
