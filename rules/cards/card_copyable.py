import pandas as pd

from audit.contract import OUT, Dataset, Example, Reference, rule
from rules.cards._copyable import technologies


@rule(
    title="Cards that can be copied",
    finds="Live cards of a technology that common equipment copies: 125 kHz read-only, serial"
    " number only, or a broken cipher. One finding a technology; planned where such a card"
    " opens a door into a zone of security grade 3 or 4.",
    priority="advisory",
    needs={"cards": ("technology",)},
    uses=(
        "people",
        "pins",
        "dwellings",
        "zones",
        "doors",
        "door_groups",
        "permissions",
        "schedules",
        "calendars",
    ),
    subjects=("technology",),
    summary="{count} live {count:card|cards} of technology {technology} can be copied with"
    " common equipment.",
    evidence=("count", "cards", "doors"),
    remedy="Change cards and readers to a technology with a sound cipher, guarded doors first.",
    references=(
        Reference(
            "NIST SP 800-116 rev 1",
            "to read only a card's identifier is no way to authenticate it; use a card key",
            sure="read",
        ),
        Reference(
            "EN 60839-11-1:2013, Table 7 line 19",
            "grades 3 and 4: a token's data are protected against change and copying",
            sure="read",
        ),
        Reference(
            "Garcia et al., ESORICS 2008, LNCS 5283, pages 97 to 114",
            "cards of a broken cipher are copied within seconds",
            sure="read",
        ),
    ),
)
def card_copyable(data: Dataset) -> pd.DataFrame:
    """Whoever borrows such a card for a minute can make a second one, and the log will show its
    owner.

    Planned instead of advisory where they open a door into a zone of security grade 3 or 4.
    """
    rows = technologies(data)
    guarded = rows["doors"].map(bool)
    return rows.assign(
        count=rows["cards"].map(len),
        priority=guarded.map({True: "planned", False: "advisory"}),
        fails=rows["live"] & rows["copyable"],
    )


EXAMPLES = (
    Example(
        "technologies of live cards",
        """
        cards
        card_id | number | technology | status
        C1      | 1      | lf-open    |
        C2      | 2      | hf-uid     |
        C3      | 3      | hf-broken  |
        C4      | 4      | hf-secure  |
        C5      | 5      | unknown    |
        C6      | 6      |            |
        C7      | 7      | lf-open    | lost
        C8      | 8      | crystal    |
        """,
        expect={
            "lf-open": True,
            "hf-uid": True,
            "hf-broken": True,
            "hf-secure": False,
            "unknown": None,
        },
    ),
    Example(
        "only those that are live",
        """
        cards
        card_id | number | technology | status
        C1      | 1      | lf-open    | stock
        C2      | 2      | hf-uid     | somewhere
        C3      | 3      | mobile     | somewhere
        """,
        expect={"lf-open": OUT, "hf-uid": None, "mobile": False},
    ),
)
