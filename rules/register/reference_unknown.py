import pandas as pd

from audit.contract import OUT, Dataset, Example, Reference, rule
from audit.trade.cells import EVERY_TABLE, unknown_references


@rule(
    title="A reference to something that is not in the register",
    finds="A row that names a dwelling, person, card, PIN, door, group, zone, schedule,"
    " calendar or station that is not in its table.",
    priority="planned",
    upload=True,
    needs={},
    uses=EVERY_TABLE,
    subjects=("table", "column", "id"),
    summary="{table}, {id}: {column} names {named}, which is not in its table.",
    evidence=("named", "rows"),
    remedy="Correct the reference, or add the missing row to its table.",
    references=(
        Reference(
            "NIST SP 800-53 rev 5.1.1, PE-2",
            "an approved list of the people with access is kept and reviewed",
            sure="read",
        ),
        Reference(
            "EN 60839-11-1:2013, 8, test of table 4",
            "an unknown credential is refused",
            sure="read",
        ),
    ),
)
def reference_unknown(data: Dataset) -> pd.DataFrame:
    """A card whose person is in no list stays behind unnoticed when that person moves out."""
    cells = unknown_references(data)
    return cells.assign(named=cells["what"], fails=cells["wrong"])


EXAMPLES = (
    Example(
        "people, dwellings and doors that are in no list",
        """
        people
        person_id | dwelling_id
        P1        | A1
        P2        | A2

        dwellings
        dwelling_id | zone_id
        A1          | Z1

        cards
        card_id | number | person_id | dwelling_id
        C1      | 1001   | P1        | A1
        C2      | 1002   | P9        |
        C3      |        | P2        |

        permissions
        permission_id | holder_kind | holder_id | door_id
        R1            |             | P1        | D9
        R2            | card        | C3        |
        R3            | card        | 1001      | D9
        R4            | role        | staff     | D9
        R5            | dwelling    | A9        | D9

        events
        time             | door_id | event   | card_number | pin_id
        2026-09-30T10:00 | D9      | granted | 9           | P9

        doors
        door_id
        D1
        """,
        expect={
            "people dwelling_id P2": True,
            "dwellings zone_id": None,
            "cards person_id C2": True,
            "cards dwelling_id": False,
            "permissions holder_id R3": True,
            "permissions holder_id R5": True,
            "permissions door_id R1": True,
            "permissions door_id R3": True,
            "permissions door_id R4": True,
            "permissions door_id R5": True,
            "events door_id row-67b76bca1ff5": True,
            "permissions holder_id R4": OUT,
            "events pin_id": OUT,
        },
    ),
)
