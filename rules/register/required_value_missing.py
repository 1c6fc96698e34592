import pandas as pd

from audit.contract import OUT, Dataset, Example, Reference, rule
from audit.schema import ONE_OF, TABLES
from rules.register._shared import EVERY_TABLE, _aside, _cells, _frame


@rule(
    title="A value without which a row cannot be used",
    finds="A row without a value that its table cannot do without. The row is set aside; the"
    " others are audited.",
    priority="planned",
    upload=True,
    needs={},
    uses=EVERY_TABLE,
    subjects=("table", "column", "id"),
    summary="{table}, {id}: {column} is not given; the row is set aside and was not audited.",
    evidence=("rows",),
    remedy="Give the value in the source file, or delete the row.",
    references=(
        Reference(
            "GDPR (Regulation (EU) 2016/679), Article 5(1)(d)",
            "personal data are accurate and kept up to date",
            sure="read",
        ),
        Reference(
            "NIST SP 800-53 rev 5.1.1, PE-2",
            "an approved list of the people with access is kept and reviewed",
            sure="read",
        ),
    ),
    cannot={"unclear": "a cell holds something or it does not"},
)
def required_value_missing(data: Dataset) -> pd.DataFrame:
    """What has no number or no name can be compared with nothing, so the audit is blind to it."""
    cells = empty_cells(data)
    return cells.assign(fails=cells["wrong"])


def empty_cells(data: Dataset) -> pd.DataFrame:
    """Starred cells without a value."""
    return _frame(
        cell
        for name, found in data.tables.items()
        for column in (*TABLES[name].starred, *(ONE_OF[name][-1:] if name in ONE_OF else ()))
        for cell in _cells(data, name, column, _aside(found, column, unread=False), "empty")
    )


EXAMPLES = (
    Example(
        "a card without number, and a right to no door",
        """
        cards
        card_id | number | person_id | dwelling_id
        C1      | 1001   |           |
        C2      | -      | P1        |
        C3      |        | P9        |
        -       |        | n/a       |
        C4      | 1.2E+9 |           |

        permissions
        permission_id | holder_id | door_group | door_id
        R1            | P1        | G1         |
        R2            | P1        |            | D1
        R3            | P1        |            | none
        R4            |           |            |

        people
        person_id | name
        P1        |
        """,
        expect={
            "cards number C2": True,
            "cards number C3": True,
            "permissions permission_id": False,
            "permissions holder_id R4": True,
            "permissions door_id R3": True,
            "permissions door_id R4": True,
            "people person_id": False,
            "cards number C1": OUT,
            "cards number C4": OUT,
            "people name P1": OUT,
        },
    ),
    Example(
        "a text that is not understood is given all the same",
        """
        calendars
        calendar | date
        K1       | 2026-12-25
        K1       | Christmas

        schedules
        schedule_id | days    | start | end
        S1          | mon-fri | 08:00 | 18:00
        """,
        expect={
            "calendars calendar": False,
            "calendars date": False,
            "schedules schedule_id": False,
            "schedules days": False,
            "schedules start": False,
            "schedules end": False,
        },
    ),
)
