import pandas as pd

from audit.contract import OUT, Dataset, Example, Reference, rule
from audit.facts.holders import holder
from audit.facts.standing import live
from audit.facts.subjects import once_each


@rule(
    title="Departed person with a working card",
    finds="A person who has left, by status or by the last day, and still holds a live card.",
    priority="immediate",
    needs={"cards": ("person_id",), "people": ()},
    policy=("departure_grace_days",),
    subjects=("person", "card"),
    summary="{person} has departed{last_day: (last day: %)|} and still holds live card {card}.",
    evidence=("last_day", "status"),
    remedy="Take the card back, set it returned, and delete it at every controller.",
    references=(
        Reference(
            "NIST SP 800-53 rev 5.1.1, PE-2(d) and PS-4",
            "people are removed from the list, and their credentials revoked, when access is no "
            "longer required",
            sure="read",
        ),
        Reference(
            "ISO/IEC 27001:2022 Annex A, 5.18",
            "the rights of those who leave are removed in time",
            sure="read",
        ),
    ),
)
def departed_with_card(data: Dataset) -> pd.DataFrame:
    """Somebody who no longer lives or works here can still walk in at any time."""
    cards, alive, held = data["cards"], live(data, "cards"), holder(data, "cards")
    frame = pd.DataFrame(
        {
            "person": cards["person_id"],
            "card": cards["card_id"],
            "last_day": held["end"],
            "status": held["status"],
            "fails": alive & held["departed"],
        }
    )
    scope = alive.fillna(True) & cards["person_id"].notna()
    return once_each(data, frame[scope], "cards", "person", "card")


EXAMPLES = (
    Example(
        "by status, by the last day, and the last day itself",
        """
        cards
        card_id | number | person_id | status    | valid_to
        C1      | 1      | P1        |           |
        C2      | 2      | P2        |           |
        C3      | 3      | P3        |           |
        C4      | 4      | P4        |           |
        C5      | 5      | P5        |           |
        C6      | 6      | P6        |           |
        C7      | 7      | P7        |           |
        C8      | 8      | P8        |           |
        C9      | 9      | P9        |           |
        C10     | 10     | P1        | returned  |
        C11     | 11     | P1        |           | 2026-09-29
        C12     | 12     | P1        |           | 2026-09-30
        C13     | 13     | P1        | suspended |
        C14     | 14     | P1        | with them |
        C15     | 15     | P4        | with them |
        C16     | 16     |           |           |
        C17     | 17     | P10       |           |

        people
        person_id | status   | end_date
        P1        | departed |
        P2        | departed | 2026-12-31
        P3        |          | 2026-09-29
        P4        |          | 2026-09-30
        P5        | current  | 2026-09-29
        P6        |          |
        P7        |          | in spring
        P8        | moved on | 2027-01-01
        P10       | departed | in spring
        """,
        expect={
            "P1 C1": True,
            "P2 C2": True,
            "P3 C3": True,
            "P4 C4": False,
            "P5 C5": True,
            "P6 C6": False,
            "P7 C7": None,
            "P8 C8": None,
            "P9 C9": None,
            "P1 C10": OUT,
            "P1 C11": OUT,
            "P1 C12": True,
            "P1 C13": OUT,
            "P1 C14": None,
            "P4 C15": False,
            "C16": OUT,
            "P10 C17": True,
        },
    ),
    Example(
        "the grace is still running on its last day",
        """
        cards
        card_id | number | person_id
        C1      | 1      | P1
        C2      | 2      | P2

        people
        person_id | end_date
        P1        | 2026-09-23
        P2        | 2026-09-22
        """,
        expect={"P1 C1": False, "P2 C2": True},
        policy={"departure_grace_days": 7},
    ),
    Example(
        "two rows of one person: judged where they agree",
        """
        cards
        card_id | number | person_id
        C1      | 1      | P1
        C2      | 2      | P2
        C3      | 3      | P3
        C4      | 4      | P1
        C4      | 5      | P1

        people
        person_id | status   | end_date
        P1        | departed | 2026-01-01
        P1        | departed | 2026-02-01
        P2        | departed |
        P2        | current  |
        P3        | current  |
        P3        |          |
        """,
        expect={"P1 C1": True, "P2 C2": None, "P3 C3": False, "P1 C4": True},
    ),
    Example(
        "a register that says nothing of departures",
        """
        cards
        card_id | number | person_id
        C1      | 1      | P1

        people
        person_id | name
        P1        | A
        """,
        expect={"P1 C1": None},
    ),
)
