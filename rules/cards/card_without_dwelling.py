import pandas as pd

from audit.arithmetic.columns import among
from audit.contract import OUT, Dataset, Example, Reference, rule
from audit.facts.holders import holder, in_household
from audit.facts.standing import live
from audit.facts.subjects import once_each


@rule(
    title="Card bound to no dwelling",
    finds="A live card that is bound to no dwelling, neither itself nor through its holder,"
    " unless the holder is staff, a contractor, an agent or a responder.",
    priority="planned",
    upload=True,
    needs={"cards": ("dwelling_id|person_id",)},
    uses=("people",),
    subjects=("card",),
    summary="Card {card} is bound to no dwelling, neither itself nor through its holder.",
    evidence=("holder", "role"),
    remedy="Find out whose card it is and bind it to that dwelling, or withdraw it.",
    references=(
        Reference(
            "practice of door-entry systems",
            "besides its number a card needs a dwelling, or calls and records go nowhere",
            sure="common practice, no source",
        ),
        Reference(
            "NIST SP 800-53 rev 5.1.1, AC-2(3)",
            "credentials that are not tied to a person are disabled",
            sure="read",
        ),
    ),
)
def card_without_dwelling(data: Dataset) -> pd.DataFrame:
    """Nobody can say whose card this is, so nobody will take it back when its holder leaves.

    Staff, contractors, agents and responders need no dwelling.
    """
    alive = live(data, "cards")
    held = holder(data, "cards")
    serving = held["named"] & among(held["role"], "staff", "contractor", "agent", "responder")
    frame = pd.DataFrame(
        {
            "card": data["cards"]["card_id"],
            "holder": held["person"],
            "role": held["role"],
            "fails": alive & ~in_household(data, "cards")["bound"] & ~serving,
        }
    )
    return once_each(data, frame[alive.fillna(True)], "cards", "card")


EXAMPLES = (
    Example(
        "by itself, through its holder, or held by those who serve the house",
        """
        cards
        card_id | number | person_id | dwelling_id | status
        C1      | 1      |           |             |
        C2      | 2      |           | A1          |
        C3      | 3      | P1        |             |
        C4      | 4      | P2        |             |
        C5      | 5      | P3        |             |
        C6      | 6      | P4        |             |
        C7      | 7      | P5        |             |
        C8      | 8      | P6        |             |
        C9      | 9      | P9        |             |
        C10     | 10     | P7        |             |
        C11     | 11     |           |             | lost
        C12     | 12     |           |             | perhaps
        C13     | 13     | P8        |             |
        C14     | 14     | P2        |             | perhaps
        C15     | 15     |           | A1          | perhaps

        people
        person_id | role       | dwelling_id
        P1        |            | A1
        P2        |            |
        P3        | staff      |
        P4        | contractor |
        P5        | agent      |
        P6        | responder  |
        P7        | visitor    |
        P8        | lodger?    |
        """,
        expect={
            "C1": True,
            "C2": False,
            "C3": False,
            "C4": True,
            "C5": False,
            "C6": False,
            "C7": False,
            "C8": False,
            "C9": None,
            "C10": True,
            "C11": OUT,
            "C12": None,
            "C13": None,
            "C14": None,
            "C15": False,
        },
    ),
    Example(
        "a register without people still knows a card without holder",
        """
        cards
        card_id | number | person_id | dwelling_id
        C1      | 1      |           |
        C2      | 2      | P1        |
        C3      | 3      | P1        | A1
        """,
        expect={"C1": True, "C2": None, "C3": False},
    ),
    Example(
        "no column of holders: only the card's own dwelling is known",
        """
        cards
        card_id | number | dwelling_id
        C1      | 1      |
        C2      | 2      | A1
        """,
        expect={"C1": None, "C2": False},
    ),
    Example(
        "one id on two rows is one finding; two rows of one person that disagree are unclear",
        """
        cards
        card_id | number | person_id | dwelling_id
        C1      | 1      |           | A1
        C1      | 2      |           |
        C2      | 3      | P1        |
        C3      | 4      | P2        |

        people
        person_id | role    | dwelling_id
        P1        |         |
        P1        | staff   |
        P2        |         | A1
        P2        |         | A2
        """,
        expect={"C1": True, "C2": None, "C3": False},
    ),
)
