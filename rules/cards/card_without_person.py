import pandas as pd

from audit.contract import Cause, Dataset, Step, rule
from audit.facts.standing import live
from audit.facts.subjects import once_each


@rule(
    title="Card with a dwelling but no named holder",
    finds="A live card registered to a dwelling with no person named as holder.",
    priority="advisory",
    upload=True,
    needs={"cards": ("person_id", "dwelling_id")},
    subjects=("card",),
    cause=Cause("column", ("=cards.person_id",)),
    summary="Card {card} is registered to dwelling {dwelling} but has no named holder.",
    evidence=("dwelling",),
    do=(
        Step(
            "Name the person who holds it.",
            who="office",
            does="record",
        ),
    ),
    cites=(
        "en-60839-11-1-2013-6-4",
        "nist-sp-800-53-rev-5-1-1-pe-2",
    ),
)
def card_without_person(data: Dataset) -> pd.DataFrame:
    """When someone in the household leaves, nobody can tell whether this card went with them."""
    cards, alive = data["cards"], live(data, "cards")
    bound = cards["dwelling_id"].notna()
    frame = pd.DataFrame(
        {
            "card": cards["card_id"],
            "dwelling": cards["dwelling_id"],
            "fails": alive & data.blank("cards", "person_id"),
        }
    )
    return once_each(data, frame[bound & alive.fillna(True)], "cards", "card")
