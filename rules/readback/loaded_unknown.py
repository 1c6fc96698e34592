import pandas as pd

from audit.contract import Dataset, Example, Reference, rule
from audit.trade.readback import unexplained


@rule(
    title="Credential at a door that the register does not know",
    finds="A card number or PIN that a door held when it was read back, and that no row of the"
    " register explains.",
    priority="immediate",
    needs={"loaded": ()},
    uses=("cards", "pins", "permissions", "people", "door_groups", "doors", "stations"),
    subjects=("door", "number"),
    summary="Door {door} holds a credential that no row of the register explains ({number}).",
    remedy="Delete it at the door's controller unless its holder is found; then enter it.",
    references=(
        Reference(
            "NIST SP 800-53 rev 5.1.1, PE-2",
            "there is an approved list of those with access, and it is reviewed",
            sure="read",
        ),
        Reference(
            "ISO/IEC 27002:2022, 5.18", "a central record of access rights is kept", sure="quoted"
        ),
    ),
    cannot={"out": "every credential that was read back is either explained or not"},
)
def loaded_unknown(data: Dataset) -> pd.DataFrame:
    """Somebody has a working way in, and nobody can say who."""
    return unexplained(data)


EXAMPLES = (
    Example(
        "explained by number in any form, by the PIN's id, or by its digits",
        """
        cards
        card_id | number   | facility_code | status
        C1      | 1001     |               | destroyed
        C2      | 0A0B0C0D |               |
        C3      | 777      | 12            |

        pins
        pin_id | pin    | status
        P1     | 482915 | suspended

        loaded
        door_id | credential_kind | number
        D1      | card            | 1001
        D1      | card            | 0a:0b:0c:0d
        D1      | pin             | P1
        D2      | pin             | 482915
        D2      | card            | 0A0B0C0E
        D2      | card            | 0A:0B:0C:0E
        D2      | card            | 777
        D2      | pin             | 111222
        D2      | pin             | 333444
        D2      | pin             | P9
        D3      |                 | 1001
        D3      |                 | 2002
        """,
        expect={
            "D1 1001": False,
            "D1 0a:0b:0c:0d": False,
            "D1 P1": False,
            "D2 P1": False,
            "D2 0A0B0C0E": True,
            "D2 777": True,
            "D2 pin, not shown": True,
            "D3 1001": False,
            "D3 pin, not shown": True,
        },
    ),
    Example(
        "a PIN held unreadable may be any digits where it is valid and not listed by its id;"
        " without a register nothing is known",
        """
        pins
        pin_id | pin  | door_id | status
        P1     | **** |         |
        P2     | **** | D5      |
        P3     | **** | D6      | suspended

        permissions
        permission_id | holder_kind | holder_id | door_id
        M1            | pin         | P1        | D1
        M2            | pin         | P1        | D4

        loaded
        door_id | credential_kind | number
        D1      | pin             | 482915
        D2      | pin             | P9
        D3      | card            | 1001
        D4      | pin             | P1
        D4      | pin             | 482915
        D5      | pin             | 482915
        D6      | pin             | 482915
        """,
        expect={
            "D1 pin, not shown": None,
            "D2 pin, not shown": True,
            "D3 1001": None,
            "D4 P1": False,
            "D4 pin, not shown": True,
            "D5 pin, not shown": None,
            "D6 pin, not shown": True,
        },
    ),
)
