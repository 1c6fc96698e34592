import pandas as pd

from audit.contract import OUT, Dataset, Example, Reference, rule
from audit.trade.activity import unknown_uses


@rule(
    title="Door opened with a card or PIN that nobody issued",
    finds="A door that opened for a card number or PIN that no row of the register explains.",
    priority="immediate",
    needs={"events": ()},
    uses=("cards", "pins", "permissions", "people", "door_groups", "doors", "stations", "loaded"),
    subjects=("door", "number"),
    summary="Door {door} was opened with a credential that is not in the register ({number}),"
    " {uses:once, on|% times, the last time on} {last}.",
    evidence=("uses", "last", "times"),
    remedy="Delete it at the controllers unless its holder is found; then enter it.",
    references=(
        Reference(
            "EN 60839-11-1:2013, test of Table 4 lines 14 to 17",
            "an unknown credential is refused",
            sure="quoted",
        ),
        Reference(
            "NIST SP 800-53 rev 5.1.1, PE-2",
            "there is an approved list of those with access",
            sure="read",
        ),
    ),
)
def used_unknown(data: Dataset) -> pd.DataFrame:
    """Somebody has a working way in, and nobody can say who."""
    return unknown_uses(data)


EXAMPLES = (
    Example(
        "explained by number in any form, by the PIN's id, or by its digits",
        """
        cards
        card_id | number   | status | facility_code
        C1      | 1001     | lost   |
        C2      | 0A0B0C0D | active |
        C3      | 777      | active | 12

        pins
        pin_id | pin
        P1     | 482915

        events
        time                 | door_id | event   | card_number | pin_id
        2026-09-01T10:00:00Z | D1      | granted | 1001        |
        2026-09-01T10:00:00Z | D1      | granted | 0a:0b:0c:0d | P1
        2026-09-01T10:00:00Z | D1      | granted |             | 482915
        2026-09-01T10:00:00Z | D2      | granted | 1A:0B:0C:0D |
        2026-09-01T10:00:00Z | D2      | granted | 1A0B0C0D    |
        2026-09-01T10:00:00Z | D2      | denied  | 3003        |
        2026-09-01T10:00:00Z | D3      | granted |             | 111222
        2026-09-01T10:00:00Z | D3      | granted |             | 333444
        2026-09-01T10:00:00Z | D3      | granted |             | P9
        2026-09-01T10:00:00Z | D4      | denied  | 2002        |
        2026-09-01T10:00:00Z | D5      | granted | 777         |
        2026-09-01T10:00:00Z | D6      | granted |             |
        """,
        expect={
            "D1": False,
            "D2 1A0B0C0D": True,
            "D3 pin, not shown": True,
            "D4 2002": OUT,
            "D5 777": True,
            "D6": OUT,
        },
    ),
    Example(
        "a PIN held unreadable may be any digits where it is valid; without a register nothing"
        " is known",
        """
        pins
        pin_id | pin
        P1     | ****

        permissions
        permission_id | holder_kind | holder_id | door_id
        M1            | pin         | P1        | D1

        events
        time                 | door_id | event   | card_number | pin_id
        2026-09-01T10:00:00Z | D1      | granted |             | 482915
        2026-09-01T10:00:00Z | D2      | granted |             | P9
        2026-09-01T10:00:00Z | D2      | granted |             | 482915
        2026-09-01T10:00:00Z | D3      | granted | 1001        |
        2026-09-01T10:00:00Z | D4      | granted |             | 482915
        """,
        expect={
            "D1 pin, not shown": None,
            "D2 pin, not shown": True,
            "D3": None,
            "D4 pin, not shown": True,
        },
    ),
)
