import pandas as pd

from audit.contract import OUT, Dataset, Example, Reference, rule
from audit.trade.pin_origin import known_to_departed
from audit.trade.subjects import once_each


@rule(
    title="Shared code that someone departed may know",
    finds="A shared or unit-release PIN, or an administrator's code, set on or before the last"
    " day of somebody who has left and could know it.",
    priority="immediate",
    needs={"pins": ("kind", "set_on"), "people": ()},
    subjects=("pin", "person"),
    policy=("departure_grace_days",),
    summary="PIN {pin} ({kind}), set on {set_on}, may be known to {person:%, who has left|%,"
    " who have left}.",
    evidence=("kind", "set_on"),
    remedy="Change the code, and tell those who still need it.",
    references=(
        Reference(
            "NIST SP 800-53 revision 5.1.1, PE-3 (g), AC-2 (k), IA-5 (i)",
            "combinations and shared secrets are changed when a holder leaves the group",
            sure="read",
        ),
        Reference(
            "ISO/IEC 27002:2022, 5.18",
            "rights of people who leave are removed in time",
            sure="quoted",
        ),
    ),
)
def pin_shared_after_departure(data: Dataset) -> pd.DataFrame:
    """A code can't be handed back: whoever knew it still opens the door until it is changed.

    Codes of a dwelling are known to its people; codes of a door or station, and the
    administrator's, to staff, contractors and agents.
    """
    return once_each(data, known_to_departed(data), "pins", "pin")


EXAMPLES = (
    Example(
        "set on the last day itself: known; the day after: not",
        """
        people
        person_id | role  | dwelling_id | status   | end_date
        A         |       | D1          |          | 2026-08-31
        B         |       | D1          |          |
        C         |       | D2          |          | 2026-09-30
        S         | staff |             | departed | 2026-05-31
        T         | agent |             |          | 2026-07-31
        U         |       | D3          | departed |
        V         |       | D4          |          | 2026-06-30
        W         |       | D4          |          | 2026-07-31

        pins
        pin_id | kind         | dwelling_id | door_id | station_id | set_on     | status
        P1     | shared       | D1          |         |            | 2026-08-31 |
        P2     | shared       | D1          |         |            | 2026-09-01 |
        P3     | unit-release | D1          |         |            | 2026-01-01 |
        P4     | delivery     | D1          |         |            | 2026-01-01 |
        P5     | personal     | D1          |         |            | 2026-01-01 |
        P6     | shared       | D2          |         |            | 2026-01-01 |
        P7     | admin        |             |         |            | 2026-05-01 |
        P8     | admin        |             |         | S1         | 2026-06-01 |
        P9     | shared       |             | E1      |            | 2026-08-01 |
        P10    | delivery     |             |         | S1         | 2026-07-31 |
        P11    | unit-release |             | E1      |            | 2026-01-01 |
        P12    | shared       |             |         |            | 2026-01-01 |
        P13    | shared       | D1          |         |            |            |
        P14    | shared       | D2          |         |            |            |
        P15    | shared       | D3          |         |            | 2026-01-01 |
        P16    | shared       | D4          |         |            | 2026-01-01 |
        P17    |              | D1          |         |            | 2026-01-01 |
        P18    | shared       | D1          |         |            | 2026-01-01 | suspended
        P19    | shared       | D1          |         |            | 2026-01-01 | perhaps
        P20    | shared       | D1          | E1      |            | 2026-09-01 |
        """,
        expect={
            "P1 A": True,
            "P2": False,
            "P3 A": True,
            "P4": OUT,
            "P5": OUT,
            "P6": False,
            "P7 S+T": True,
            "P8 T": True,
            "P9": False,
            "P10 T": True,
            "P11": OUT,
            "P12": OUT,
            "P13": None,
            "P14": False,
            "P15": None,
            "P16 V+W": True,
            "P17": None,
            "P18": OUT,
            "P19": None,
            "P20": False,
        },
    ),
)
