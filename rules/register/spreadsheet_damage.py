import numpy as np
import pandas as pd

from audit.contract import Cause, Dataset, Step, rule
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
    cause=Cause("column", ("table", "column")),
    summary="{table}, {id}: {column} was changed by a spreadsheet ({damage}).",
    evidence=("damage", "rows"),
    do=(
        Step(
            "Export again from the system itself, with the column as text before a spreadsheet"
            " opens it; do not upload these values.",
            who="office",
            does="record",
        ),
    ),
    cites=(
        "ieee-754-2019",
        "practice-of-the-trade",
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
