import pandas as pd

from audit.contract import OUT, Dataset, Example, Reference, rule
from audit.trade.holders import dwellings_with_credentials


@rule(
    title="Empty dwelling with working credentials",
    finds="A dwelling in which nobody is entitled to live, or that is marked as not occupied,"
    " while live cards or PINs are bound to it.",
    priority="immediate",
    needs={},
    uses=("people", "dwellings", "cards", "pins"),
    policy=("departure_grace_days",),
    subjects=("dwelling",),
    summary="Nobody lives in dwelling {dwelling}, yet credentials bound to it are live{cards:;"
    " card %|; cards %|}{pins:; PIN %|; PINs %|}.",
    evidence=("cards", "pins", "occupied", "entitled"),
    remedy="Withdraw the dwelling's cards and PINs, or enter who lives there now.",
    references=(
        Reference(
            "NIST SP 800-53 rev 5.1.1, PE-2(d)",
            "people are removed from the access list when access is no longer required",
            sure="read",
        ),
        Reference(
            "NIST SP 800-53 rev 5.1.1, AC-2(3)",
            "credentials that are not tied to a person are disabled",
            sure="read",
        ),
    ),
)
def vacant_with_credentials(data: Dataset) -> pd.DataFrame:
    """The people are gone and their cards or PINs still open: whoever has them can come in, and
    will still be able to when the next tenant lives there."""
    rows = dwellings_with_credentials(data)
    return rows.assign(fails=rows["live"] & rows["known"] & (~rows["entitled"] | rows["empty"]))


EXAMPLES = (
    Example(
        "nobody entitled, or said to be empty",
        """
        people
        person_id | dwelling_id | status   | start_date | end_date
        P1        | A1          |          |            |
        P2        | A2          | departed |            |
        P3        | A3          |          |            | 2026-09-29
        P4        | A4          |          |            | 2026-09-30
        P5        | A5          |          | 2026-10-01 |
        P6        | A6          |          | 2026-09-30 |
        P7        | A7          |          |            |
        P8        | A8          |          |            | soon
        P9        | A9          |          |            |
        P11       | A11         | departed |            |
        P12       | A12         |          |            |

        dwellings
        dwelling_id | occupied
        A1          | yes
        A2          | yes
        A3          |
        A4          |
        A5          |
        A6          | yes
        A7          | no
        A8          | yes
        A9          | perhaps
        A10         | no
        A11         |
        A13         |
        A14         | no
        A15         |
        A16         | no
        A17         | no

        cards
        card_id | number | person_id | dwelling_id | status
        C1      | 1      |           | A1          |
        C2      | 2      | P2        |             |
        C3      | 3      |           | A3          |
        C4      | 4      |           | A4          |
        C5      | 5      |           | A5          |
        C6      | 6      |           | A6          |
        C7      | 7      |           | A7          |
        C8      | 8      |           | A8          |
        C9      | 9      |           | A9          |
        C10     | 10     |           | A10         | lost
        C11     | 11     |           | A11         | lost
        C12     | 12     |           | A12         |
        C13     | 13     |           | A13         |
        C14     | 14     |           | A14         | drawer
        C15     | 15     |           | A99         |
        C16     | 16     |           |             |
        C17     | 17     |           | A1          | drawer

        pins
        pin_id | pin    | dwelling_id | status
        N1     | 481516 | A11         |
        N2     | 481517 | A17         | suspended
        N3     | 481518 | A16         | active
        """,
        expect={
            "A1": False,
            "A2": True,
            "A3": True,
            "A4": False,
            "A5": True,
            "A6": False,
            "A7": True,
            "A8": None,
            "A9": None,
            "A10": OUT,
            "A11": True,
            "A12": None,
            "A13": True,
            "A14": None,
            "A15": OUT,
            "A16": True,
            "A17": OUT,
            "A99": None,
        },
    ),
    Example(
        "a register without a table of dwellings",
        """
        people
        person_id | dwelling_id | status
        P1        | A1          | departed
        P2        | A2          |

        cards
        card_id | number | dwelling_id
        C1      | 1      | A1
        C2      | 2      | A2
        C3      | 3      | A3
        """,
        expect={"A1": True, "A2": False, "A3": True},
    ),
    Example(
        "a register without cards and PINs",
        """
        people
        person_id | dwelling_id | status
        P1        | A1          | departed
        P2        | A2          |

        dwellings
        dwelling_id
        A1
        A2
        """,
        expect={"A1": None, "A2": False},
    ),
    Example(
        "a register without people: only what is said to be empty is",
        """
        dwellings
        dwelling_id | occupied
        A1          | no
        A2          | yes
        A3          |

        pins
        pin_id | pin    | dwelling_id
        N1     | 481516 | A1
        N2     | 481517 | A2
        N3     | 481518 | A3
        """,
        expect={"A1": True, "A2": None, "A3": None},
    ),
)
