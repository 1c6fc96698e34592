import pandas as pd

from audit.arithmetic.columns import among
from audit.contract import OUT, Dataset, Example, Reference, rule
from audit.facts.holders import holder
from audit.facts.standing import live
from audit.facts.subjects import once_each


@rule(
    title="Contractor's or visitor's card without a near end",
    finds="A live card of a contractor or visitor without an end date, or valid for longer than"
    " the site allows without a review.",
    priority="planned",
    upload=True,
    needs={"cards": ("person_id", "valid_to"), "people": ("role",)},
    policy=("visitor_credential_days",),
    subjects=("card",),
    summary="Card {card} of a {role} {valid_to:is valid until %|has no end date}; {limit:1 day"
    " is|% days are} the longest here.",
    evidence=("role", "valid_to", "days", "limit"),
    remedy="Give the card an end date, at most that far ahead, and renew it after a review.",
    references=(
        Reference(
            "NIST SP 800-53 rev 5.1.1, AC-2",
            "temporary and guest accounts are risky kinds, and are reviewed at a set frequency",
            sure="read",
        ),
        Reference(
            "ISO/IEC 27001:2022 Annex A, 5.18",
            "temporary rights have an end date and are withdrawn then",
            sure="read",
        ),
    ),
)
def visitor_card_open_ended(data: Dataset) -> pd.DataFrame:
    """Work ends and visitors go; a card without an end outlives the reason for it."""
    cards, alive, held = data["cards"], live(data, "cards"), holder(data, "cards")
    scope = alive & among(held["role"], "contractor", "visitor")
    days, limit = days_valid(data), data.policy.visitor_credential_days
    frame = pd.DataFrame(
        {
            "card": cards["card_id"],
            "role": held["role"],
            "valid_to": cards["valid_to"],
            "days": days,
            "limit": limit,
            "fails": scope & (data.blank("cards", "valid_to") | (days > limit)),
        }
    )
    named = scope.fillna(True) & cards["person_id"].notna()
    return once_each(data, frame[named], "cards", "card")


def days_valid(data: Dataset) -> pd.Series:
    """Days from `valid_from`, where blank from `issued_on`, to `valid_to` (Int64).

    NA where an end is not given or not readable.
    """
    cards = data["cards"]
    start = cards["valid_from"].fillna(cards["issued_on"])
    start = start.mask(data.unread("cards", "valid_from"))
    return (cards["valid_to"] - start).dt.days.astype("Int64")


EXAMPLES = (
    Example(
        "thirty days are in order, thirty-one are not (the default is 30)",
        """
        cards
        card_id | number | person_id | valid_from | valid_to   | issued_on  | status
        C1      | 1      | P1        | 2026-09-10 | 2026-10-10 | 2026-01-01 |
        C2      | 2      | P1        | 2026-09-10 | 2026-10-11 | 2026-09-20 |
        C3      | 3      | P2        |            | 2026-10-10 | 2026-09-10 |
        C4      | 4      | P2        |            | 2026-10-11 | 2026-09-10 |
        C5      | 5      | P2        | 2026-09-10 |            | 2026-09-10 |
        C6      | 6      | P2        |            | 2026-10-11 |            |
        C7      | 7      | P3        |            |            |            |
        C8      | 8      | P4        |            |            |            |
        C9      | 9      | P9        |            |            |            |
        C10     | 10     |           |            |            |            |
        C11     | 11     | P1        |            | 2026-09-29 | 2020-01-01 |
        C12     | 12     | P1        |            | Michaelmas | 2026-09-10 |
        C13     | 13     | P1        | Michaelmas | 2026-10-11 | 2026-09-10 |
        C14     | 14     | P1        |            |            |            | pending
        C15     | 15     | P5        |            |            |            |
        C16     | 16     | P3        | 2026-09-10 | 2026-10-10 |            | pending
        C17     | 17     | P5        | 2026-09-10 | 2026-10-10 |            |

        people
        person_id | role
        P1        | contractor
        P2        | visitor
        P3        |
        P4        | staff
        P5        | guest?
        """,
        expect={
            "C1": False,
            "C2": True,
            "C3": False,
            "C4": True,
            "C5": True,
            "C6": None,
            "C7": OUT,
            "C8": OUT,
            "C9": None,
            "C10": OUT,
            "C11": OUT,
            "C12": None,
            "C13": None,
            "C14": None,
            "C15": None,
            "C16": OUT,
            "C17": False,
        },
    ),
    Example(
        "one id on two rows",
        """
        cards
        card_id | number | person_id | valid_to
        C1      | 1      | P1        |
        C1      | 2      | P1        |

        people
        person_id | role
        P1        | visitor
        """,
        expect={"C1": True},
    ),
)
