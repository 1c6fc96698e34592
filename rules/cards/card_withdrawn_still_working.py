import pandas as pd

from audit.contract import OUT, Dataset, Example, Reference, rule
from audit.trade.cards import elsewhere, where_it_works, withdrawn
from audit.trade.subjects import once_each


@rule(
    title="Lost or returned card that still opens",
    finds="A card that is lost, returned or destroyed, while its number is on another live row"
    " or still loaded at a door.",
    priority="immediate",
    needs={"cards": ("status",)},
    uses=("loaded",),
    subjects=("card",),
    summary="Card {card} is {status}, yet its number still opens{live_as: as live card %| as"
    " live cards %|}{doors: (loaded at door %)| (loaded at doors %)|}.",
    evidence=("status", "live_as", "doors"),
    remedy="Delete the number at every controller, and withdraw the rows that repeat it.",
    references=(
        Reference(
            "NIST SP 800-53 rev 5.1.1, IA-5(d)",
            "lost, compromised and damaged credentials are revoked by a set procedure",
            sure="read",
        ),
        Reference(
            "NIST SP 800-53 rev 5.1.1, PE-3(g)",
            "keys and combinations are changed when keys are lost",
            sure="read",
        ),
    ),
)
def card_withdrawn_still_working(data: Dataset) -> pd.DataFrame:
    """Whoever found the card can walk in: on paper it is withdrawn, at the door it works."""
    gone, works = withdrawn(data, stock=False), elsewhere(data)
    frame = pd.DataFrame(
        {
            "card": data["cards"]["card_id"],
            "status": data["cards"]["status"],
            "key": works["key"],
            "fails": gone & (works["on_a_row"] | works["at_a_door"]),
        }
    )[gone.fillna(True)]
    return once_each(data, where_it_works(data, frame), "cards", "card")


EXAMPLES = (
    Example(
        "live on another row, loaded at a door, or neither",
        """
        cards
        card_id | number   | number_form  | status    | valid_to
        C1      | 101      |              | lost      |
        C2      | 0101     |              | active    |
        C3      | 103      |              | returned  |
        C4      | 104      |              | destroyed |
        C5      | 105      |              | stock     |
        C6      | 106      |              | lost      |
        C7      | 106      |              | active    | 2026-09-29
        C8      | 04A1B2C3 |              | lost      |
        C9      | 109      |              | mislaid   |
        C10     | 12G4     |              | lost      |
        C11     | 111      |              | lost      |
        C12     | 111      |              | mislaid   |
        C13     | 105      |              | active    |
        C14     | 114      |              | suspended |
        C15     | 115      |              | lost      |

        loaded
        door_id | credential_kind | number
        D1      | card            | 103
        D2      | card            | C3B2A104
        D2      | card            | 77705923
        D1      | pin             | 104
        D1      | card            | 109
        D1      | card            | 114
        D1      |                 | 115
        """,
        expect={
            "C1": True,
            "C2": OUT,
            "C3": True,
            "C4": False,
            "C5": OUT,
            "C6": False,
            "C7": OUT,
            "C8": True,
            "C9": None,
            "C10": None,
            "C11": None,
            "C12": None,
            "C13": OUT,
            "C14": OUT,
            "C15": None,  # what was read back there may be a PIN
        },
    ),
    Example(
        "without a read-back nobody knows whether a lost card was deleted at the doors",
        """
        cards
        card_id | number | status
        C1      | 101    | lost
        C2      | 102    | lost
        C3      | 102    |
        C4      | 104    | lost
        C4      | 105    | lost
        C5      | 105    |
        """,
        expect={"C1": None, "C2": True, "C4": True},
    ),
)
