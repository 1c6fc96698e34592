import pandas as pd

from audit.contract import OUT, Dataset, Example, Reference, rule
from audit.facts.standing import live
from audit.facts.subjects import once_each


@rule(
    title="Card bound to a dwelling but to no person",
    finds="A live card that is bound to a dwelling but names no person.",
    priority="advisory",
    upload=True,
    needs={"cards": ("person_id", "dwelling_id")},
    subjects=("card",),
    summary="Card {card} belongs to dwelling {dwelling}, and nobody is named as its holder.",
    evidence=("dwelling",),
    remedy="Name the person who carries it.",
    references=(
        Reference(
            "EN 60839-11-1:2013, 6.4",
            "grades 2 to 4: each authorised user has a unique identity",
            sure="read",
        ),
        Reference(
            "NIST SP 800-53 rev 5.1.1, PE-2",
            "an approved list of the people with access is kept and reviewed",
            sure="read",
        ),
    ),
)
def card_without_person(data: Dataset) -> pd.DataFrame:
    """When somebody of the household leaves, nobody can tell whether this card went with them."""
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


EXAMPLES = (
    Example(
        "a household's card without a name",
        """
        cards
        card_id | number | person_id | dwelling_id | status
        C1      | 1      |           | A1          |
        C2      | 2      | P1        | A1          |
        C3      | 3      |           |             |
        C4      | 4      |           | A1          | returned
        C5      | 5      |           | A1          | in a drawer
        C6      | 6      | P1        | A1          | in a drawer
        C7      | 7      | P1        |             |
        """,
        expect={
            "C1": True,
            "C2": False,
            "C3": OUT,
            "C4": OUT,
            "C5": None,
            "C6": False,
            "C7": OUT,
        },
    ),
)
