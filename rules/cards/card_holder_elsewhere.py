import pandas as pd

from audit.contract import OUT, Dataset, Example, Reference, rule
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
    summary="Card {card} is bound to dwelling {dwelling}; {person}, its holder, lives in {home}.",
    evidence=("dwelling", "home"),
    remedy="Correct the card's dwelling or its holder; take the card back if the holder took it"
    " along.",
    references=(
        Reference(
            "NIST SP 800-53 rev 5.1.1, PS-5",
            "when somebody moves, the need for their physical rights is confirmed",
            sure="read",
        ),
        Reference(
            "GDPR (Regulation (EU) 2016/679), Article 5(1)(d)",
            "personal data are accurate and kept up to date",
            sure="read",
        ),
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


EXAMPLES = (
    Example(
        "the card's dwelling and its holder's",
        """
        cards
        card_id | number | person_id | dwelling_id | status
        C1      | 1      | P1        | A2          |
        C2      | 2      | P1        | A1          |
        C3      | 3      | P2        | A1          |
        C4      | 4      | P9        | A1          |
        C5      | 5      |           | A1          |
        C6      | 6      | P1        |             |
        C7      | 7      | P1        | A2          | lost
        C8      | 8      | P1        | A2          | mislaid
        C9      | 9      | P1        | A1          | mislaid

        people
        person_id | dwelling_id
        P1        | A1
        P2        |
        """,
        expect={
            "C1 P1": True,
            "C2 P1": False,
            "C3 P2": None,
            "C4 P9": None,
            "C5": OUT,
            "C6 P1": OUT,
            "C7 P1": OUT,
            "C8 P1": None,
            "C9 P1": False,
        },
    ),
)
