import pandas as pd

from audit.contract import Cause, Dataset, Step, rule
from audit.facts.holders import holder
from audit.facts.standing import live
from audit.facts.subjects import once_each


@rule(
    title="Card registered to one dwelling, holder to another",
    finds="A live card registered to one dwelling while its holder is registered at another.",
    priority="planned",
    upload=True,
    needs={"cards": ("person_id", "dwelling_id"), "people": ("dwelling_id",)},
    subjects=("card", "person"),
    cause=Cause("card", ("card",)),
    summary="Card {card} is registered to dwelling {dwelling}, but its holder {person} is"
    " registered at {home}.",
    evidence=("dwelling", "home"),
    do=(
        Step(
            "Correct the card's dwelling or its holder. If the holder moved and kept the"
            " card, get it back.",
            who="office",
            does="record",
        ),
    ),
    cites=(
        "nist-sp-800-53-rev-5-1-1-ps-5",
        "gdpr-regulation-eu-2016-679-article-5-1-d",
    ),
)
def card_holder_elsewhere(data: Dataset) -> pd.DataFrame:
    """The card gives access to a dwelling where its holder does not live; someone has probably
    moved.
    """
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
