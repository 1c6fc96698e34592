import pandas as pd

from audit.arithmetic.columns import among
from audit.contract import OUT, Dataset, Example, Reference, rule
from audit.facts.holders import holder
from audit.facts.standing import live
from audit.facts.subjects import once_each


@rule(
    title="Master or guard-tour card in private hands",
    finds="A live master or guard-tour card whose holder is a resident or a visitor.",
    priority="planned",
    upload=True,
    needs={"cards": ("kind", "person_id"), "people": ()},
    subjects=("card", "person"),
    summary="Card {card}, a {kind} card, is held by {person}, a {role}.",
    evidence=("kind", "role"),
    remedy="Take the card back and give its holder an ordinary one.",
    references=(
        Reference(
            "NIST SP 800-53 rev 5.1.1, AC-6(7)",
            "privileges are reviewed, and those not needed are removed",
            sure="read",
        ),
        Reference(
            "practice of door-entry systems",
            "master and guard-tour cards stay with those who run the house",
            sure="common practice, no source",
        ),
    ),
)
def card_kind_for_staff(data: Dataset) -> pd.DataFrame:
    """A master card opens every door, a guard-tour card proves that a guard was there: neither
    is for residents or visitors."""
    cards, held = data["cards"], holder(data, "cards")
    special = live(data, "cards") & among(cards["kind"], "guard-tour", "master")
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


EXAMPLES = (
    Example(
        "who holds the special cards",
        """
        cards
        card_id | number | person_id | kind       | status
        C1      | 1      | P1        | master     |
        C2      | 2      | P2        | guard-tour |
        C3      | 3      | P3        | master     |
        C4      | 4      | P4        | guard-tour |
        C5      | 5      | P1        |            |
        C6      | 6      | P1        | duress     |
        C7      | 7      | P9        | master     |
        C8      | 8      |           | master     |
        C9      | 9      | P1        | master     | stock
        C10     | 10     | P1        | golden     |
        C11     | 11     | P1        | master     | ?
        C12     | 12     | P3        | golden     |
        C13     | 13     | P5        | master     |

        people
        person_id | role
        P1        |
        P2        | visitor
        P3        | staff
        P4        | contractor
        P5        | butler
        """,
        expect={
            "C1 P1": True,
            "C2 P2": True,
            "C3 P3": False,
            "C4 P4": False,
            "C5 P1": OUT,
            "C6 P1": OUT,
            "C7 P9": None,
            "C8": OUT,
            "C9 P1": OUT,
            "C10 P1": None,
            "C11 P1": None,
            "C12 P3": False,
            "C13 P5": None,
        },
    ),
)
