import pandas as pd

from audit.contract import OUT, Dataset, Example, Reference, rule
from audit.trade.readback import without_right


@rule(
    title="Credential at a door without permission",
    finds="A card or PIN at a door, on the day the door was read back, whose holder has no"
    " permission there, or that is not live.",
    priority="planned",
    needs={"loaded": (), "permissions": ()},
    uses=("doors", "cards", "pins", "people", "door_groups", "stations"),
    policy=("departure_grace_days",),
    subjects=("door", "card", "pin"),
    summary="Door {door} holds {card:card %|cards %|}{pin:PIN %|PINs %|}: {fault}{read_on:"
    " (read back on %)|}.",
    evidence=("fault", "read_on"),
    remedy="Delete it at the door's controller, or give the permission that is meant.",
    references=(
        Reference(
            "NIST SP 800-53 rev 5.1.1, PE-2 (d)",
            "people are removed when access is no longer required",
            sure="read",
        ),
        Reference(
            "ISO/IEC 27002:2022, 5.18",
            "rights are granted, changed and removed by policy",
            sure="quoted",
        ),
    ),
)
def loaded_without_permission(data: Dataset) -> pd.DataFrame:
    """The door opens for a card or PIN that was never given this door, or is out of use."""
    return without_right(data)


EXAMPLES = (
    Example(
        "by card, person, role, dwelling or group, on the day of the reading",
        """
        people
        person_id | role     | dwelling_id | end_date
        A1        | resident | F1          |
        A2        | staff    | F1          |
        A3        | resident | F3          | 2026-09-09
        A4        | manager  |             |

        doors
        door_id
        D1
        D2
        D3
        D4

        door_groups
        door_group | member_kind | member_id
        G1         | door_group  | G2
        G2         | door        | D2

        cards
        card_id | number | person_id | dwelling_id | status    | valid_to
        C1      | 1001   | A1        |             |           |
        C2      | 1002   | A2        |             |           |
        C3      | 1003   | A3        |             |           |
        C4      | 1004   | A4        |             |           |
        C5      | 1005   | A1        |             | suspended |
        C6      | 1006   |           | F1          |           | 2026-09-10
        C7      | 1007   | A1        |             | misplaced |

        pins
        pin_id | pin    | dwelling_id | door_id | station_id
        P1     | 482915 |             | D4      |
        P2     | 594827 |             |         | S1

        stations
        station_id | door_id
        S1         | D4

        permissions
        permission_id | holder_kind | holder_id | door_group | door_id | valid_from | valid_to
        M1            | card        | C1        | G1         |         |            |
        M2            | person      | A1        |            | D1      |            | 2026-09-10
        M3            | role        | staff     |            | D1      | 2026-09-11 |
        M4            | dwelling    | F1        |            | D3      |            |

        loaded
        door_id | credential_kind | number | read_on
        D1      | card            | 1001   | 2026-09-10
        D2      | card            | 1001   | 2026-09-10
        D3      | card            | 1001   | 2026-09-10
        D4      | card            | 1001   | 2026-09-10
        D1      | card            | 1002   | 2026-09-10
        D1      | card            | 1002   | 2026-09-11
        D3      | card            | 1002   | 2026-09-11
        D1      | card            | 1003   | 2026-09-10
        D1      | card            | 1004   | 2026-09-11
        D2      | card            | 1004   | 2026-09-11
        D3      | card            | 1005   | 2026-09-10
        D3      | card            | 1006   | 2026-09-10
        D3      | card            | 1007   | 2026-09-10
        D9      | card            | 1001   | 2026-09-10
        D4      | pin             | P1     | 2026-09-10
        D3      | pin             | P1     | 2026-09-10
        D4      | pin             | 594827 | 2026-09-10
        """,
        expect={
            "D1 C1": False,
            "D2 C1": False,
            "D3 C1": False,
            "D4 C1": True,
            "D1 C2": True,
            "D3 C2": True,
            "D1 C3": OUT,
            "D1 C4": None,
            "D2 C4": True,
            "D3 C5": True,
            "D3 C6": False,
            "D3 C7": None,
            "D9 C1": None,
            "D4 P1": False,
            "D3 P1": True,
            "D4 P2": False,
        },
    ),
    Example(
        "a number issued anew is judged by the row in use, and by the day of the reading",
        """
        doors
        door_id
        D1
        D2

        cards
        card_id | number | status   | valid_to
        C1      | 1001   | returned |
        C2      | 1001   | active   |
        C3      | 1003   | active   | 2026-09-09

        permissions
        permission_id | holder_kind | holder_id | door_id
        M1            | card        | C1        | D2
        M2            | card        | C2        | D1
        M3            | card        | C3        | D1

        loaded
        door_id | credential_kind | number | read_on
        D1      | card            | 1001   | 2026-09-10
        D2      | card            | 1001   | 2026-09-10
        D1      | card            | 1003   | 2026-09-10
        D1      | card            | 1009   | 2026-09-10
        """,
        expect={"D1 C2": False, "D2 C2": True, "D1 C3": True},
    ),
)
