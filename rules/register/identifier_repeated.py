import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc

from audit.contract import TEXT, Cause, Dataset, Step, rule
from audit.facts.standing import one_row_each
from audit.schema import TABLES
from rules.register._shared import EVERY_TABLE, _Cell, _frame


@rule(
    title="One identifier on several rows",
    finds="One identifier on two or more rows of a table in which each row has its own.",
    priority="planned",
    upload=True,
    needs={},
    uses=EVERY_TABLE,
    subjects=("table", "id"),
    cause=Cause("column", ("table",)),
    summary="{table}: {id} stands on {count:1 row|% rows}; only the first is used by what"
    " refers to it.",
    evidence=("count",),
    do=(
        Step(
            "Give each row its own identifier, or delete the row that is out of date.",
            who="office",
            does="record",
        ),
    ),
    cites=(
        "en-60839-11-1-2013-6-4",
        "en-60839-11-1-2013-8-test-of-table-4",
    ),
    cannot={"unclear": "two identifiers are the same text or they are not"},
)
def identifier_repeated(data: Dataset) -> pd.DataFrame:
    """Nobody can tell which of the rows a card, a permission or an event speaks of."""
    ids = repeated_ids(data)
    return ids.assign(count=ids["what"], fails=ids["wrong"])


def repeated_ids(data: Dataset) -> pd.DataFrame:
    """Ids that stand on more than one row; `what` counts those rows."""
    cells: list[_Cell] = []
    for name, found in data.tables.items():
        own = TABLES[name].row_id
        if own is None:
            continue
        ids = found.frame[own]
        if not len(found.set_aside) and one_row_each(data, name):
            cells.append(_Cell(name, None, None, False))
            continue
        for marks in (found.unread, found.filled):
            if own in marks:
                ids = ids.mask(marks[own])
        if len(found.set_aside):
            aside = found.set_aside.drop_duplicates("row")
            lines = -1 - aside.index.to_numpy(np.int64)
            ids = pd.concat([ids, pd.Series(aside["id"].to_numpy(), index=lines, dtype=TEXT)])
        counted = pc.value_counts(pa.array(ids.array)).flatten()
        often = pc.and_(pc.greater(counted[1], 1), pc.is_valid(counted[0]))
        repeated = counted[0].filter(often)
        if not len(repeated):
            cells.append(_Cell(name, None, None, False))
            continue
        twice = ids[ids.isin(repeated.to_pylist())]
        for key, labels in twice.groupby(twice, sort=True).groups.items():
            rows = tuple((name, int(i)) for i in labels)
            cells.append(_Cell(name, None, str(key), True, len(rows), len(rows), rows))
    return _frame(cells)
