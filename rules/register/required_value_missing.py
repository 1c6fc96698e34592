import pandas as pd

from audit.contract import Cause, Dataset, Step, rule
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
    cause=Cause("column", ("table", "column")),
    summary="{table}, {id}: {column} is not given; the row is set aside and was not audited.",
    evidence=("rows",),
    do=(
        Step("Give the value in the source file, or delete the row.", who="office", does="record"),
    ),
    cites=(
        "gdpr-regulation-eu-2016-679-article-5-1-d",
        "nist-sp-800-53-rev-5-1-1-pe-2",
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
