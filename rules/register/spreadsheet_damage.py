import numpy as np
import pandas as pd

from audit.contract import OUT, Dataset, Example, Reference, rule
from rules.register._shared import _NONE, _Cell, _cells, _frame


@rule(
    title="Card numbers and PINs changed by a spreadsheet",
    finds="A card number or PIN that a spreadsheet has changed: exponent form, a trailing .0,"
    " digits past the fifteenth turned to zero, or leading zeros lost.",
    priority="immediate",
    upload=True,
    needs={},
    uses=("cards", "pins", "loaded", "events"),
    policy=("pin_minimum_digits",),
    subjects=("table", "column", "id"),
    summary="{table}, {id}: {column} was changed by a spreadsheet ({damage}).",
    evidence=("damage", "rows"),
    remedy=(
        "Export again from the system itself, with the column as text before a spreadsheet opens"
        " it; do not upload these values."
    ),
    references=(
        Reference(
            "IEEE 754-2019",
            "a number in a spreadsheet keeps fifteen decimal digits and no leading zeros",
            sure="from memory",
        ),
        Reference(
            "Practice of the trade",
            "numbers that only look like numbers are kept as text",
            sure="common practice, no source",
        ),
    ),
)
def spreadsheet_damage(data: Dataset) -> pd.DataFrame:
    """Uploaded as it stands, the wrong card or code is let in and the right one locked out."""
    cells = damaged_cells(data)
    return cells.assign(damage=cells["what"], fails=cells["wrong"])


def damaged_cells(data: Dataset) -> pd.DataFrame:
    """Card numbers and PINs that a spreadsheet changed; `wrong` is NA where nobody can tell."""
    cells: list[_Cell] = []
    for name, column in (
        ("cards", "number"),
        ("pins", "pin"),
        ("loaded", "number"),
        ("events", "card_number"),
        ("events", "pin_id"),
    ):
        if not data.has(name, column):
            continue
        found = data.tables[name]
        damage = found.damage.get(column)
        labels = _NONE if damage is None else np.flatnonzero(damage.notna())
        what = () if damage is None else damage.iloc[labels].tolist()
        cells += _cells(data, name, column, labels, what)
        if column == "pin":
            silent = found.frame["secret"].isna().to_numpy()
            hidden = np.setdiff1d(np.flatnonzero(silent), labels)
            if len(hidden):
                cells += (c._replace(wrong=None) for c in _cells(data, name, column, hidden, None))
    lacking = [name for name in ("pins", "events") if name in data.tables and not cells][:1]
    return _frame(cells or (_Cell(name, None, None, None) for name in lacking))


EXAMPLES = (
    Example(
        "exponents, a decimal point, and digits past the fifteenth",
        """
        cards
        card_id | number
        C1      | 1.23E+11
        C2      | 1234567.0
        C3      | 12345678901234000
        C4      | 123456789012345
        C5      | 12,0
        C6      | 04A12E11

        loaded
        door_id | credential_kind | number
        D1      | card            | 1001

        pins
        pin_id | pin
        P1     | 4.83E+05
        P2     | 483000
        P3     | ****
        """,
        expect={
            "cards number C1": True,
            "cards number C2": True,
            "cards number C3": True,
            "loaded number": False,
            "pins pin P1": True,
            "pins pin P3": None,
            "cards number C4": OUT,
            "cards number C5": OUT,
            "cards number C6": OUT,
            "pins pin P2": OUT,
        },
    ),
    Example(
        "a PIN column that arrived as numbers, six digits being the least here",
        """
        pins
        pin_id | pin (numbers)
        P1     | 12345
        P2     | 123456
        """,
        expect={"pins pin P1": True, "pins pin P2": OUT},
        policy={"pin_minimum_digits": 6},
    ),
    Example(
        "the same codes as text are short, not damaged",
        """
        pins
        pin_id | pin
        P1     | 12345
        """,
        expect={"pins pin": False},
    ),
    Example(
        "no column that a spreadsheet could have changed",
        """
        pins
        pin_id | kind
        P1     | shared
        """,
        expect={"pins": None},
    ),
)
