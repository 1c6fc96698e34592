import pandas as pd

from audit.contract import OUT, Dataset, Example, Reference, rule
from audit.trade.activity import after_departure


@rule(
    title="Card or PIN used after its holder's last day",
    finds="A card or PIN that opened a door after its holder's last day.",
    priority="immediate",
    needs={"events": (), "people": ()},
    uses=("cards", "pins"),
    subjects=("person", "card", "pin"),
    summary="{card:Card %|Cards %|}{pin:PIN %|PINs %|} of {person}, whose last day was"
    " {last_day}, opened {doors:door %|doors %} after that day, {uses:once, on|% times, the last"
    " time on} {last}.",
    evidence=("last_day", "uses", "last", "times", "doors"),
    remedy="Withdraw it at every controller today, and find out who has it.",
    references=(
        Reference(
            "NIST SP 800-53 rev 5.1.1, PS-4",
            "on leaving: disable access, take back keys and cards",
            sure="read",
        ),
        Reference("ISO/IEC 27002:2022, 5.18", "leavers' rights are removed in time", sure="quoted"),
    ),
)
def used_after_departure(data: Dataset) -> pd.DataFrame:
    """Somebody who no longer lives or works here, or who has their card, still comes in."""
    return after_departure(data)


EXAMPLES = (
    Example(
        "the last day itself is theirs, by the site's clock",
        """
        people
        person_id | status   | end_date
        A1        |          | 2026-08-31
        A2        |          | 2026-08-31
        A3        | departed |
        A4        | current  |
        A5        | departed |
        A6        |          | 2026-08-31
        A7        |          | 2026-08-31

        cards
        card_id | number | person_id | status
        C1      | 1001   | A1        | active
        C2      | 1002   | A2        | returned
        C3      | 1003   | A3        |
        C4      | 1004   | A4        |
        C5      | 1005   | A5        |
        C6      | 1006   | A6        | returned
        C7      | 1006   | A4        | active
        C8      | 1008   | A9        |
        C9      | 1009   |           |

        pins
        pin_id | pin    | person_id
        P7     | 482915 | A7

        events
        time                 | door_id | event   | card_number | pin_id
        2026-08-31T22:59:59Z | D1      | granted | 1001        |
        2026-08-31T23:00:00Z | D1      | granted | 1002        |
        2026-09-10T10:00:00Z | D1      | granted | 1003        |
        2026-09-10T10:00:00Z | D1      | granted | 1004        |
        2026-09-10T10:00:00Z | D1      | denied  | 1005        |
        2026-09-10T10:00:00Z | D1      | granted | 1006        |
        2026-09-10T10:00:00Z | D1      | granted | 1008        |
        2026-09-10T10:00:00Z | D1      | granted | 1009        |
        2026-09-10T10:00:00Z | D2      | granted |             | 482915
        """,
        policy={"departure_grace_days": 60},
        expect={
            "A1 C1": False,
            "A2 C2": True,
            "A3 C3": None,
            "A4 C4": OUT,
            "A5 C5": False,
            "A6 C6": False,
            "A9 C8": None,
            "A7 P7": True,
        },
    ),
)
