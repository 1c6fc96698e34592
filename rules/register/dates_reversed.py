from typing import Any

import numpy as np
import pandas as pd
import pyarrow as pa

from audit.contract import TEXT, Cause, Dataset, Step, rule
from audit.facts.subjects import sourced
from audit.schema import TABLES


@rule(
    title="An end before its start",
    finds="Two dates of one row, or the two ends of one period, of which the end comes before"
    " the start.",
    priority="planned",
    upload=True,
    needs={},
    uses=("people", "cards", "pins", "permissions"),
    subjects=("table", "id"),
    cause=Cause("column", ("table",)),
    summary="{table}, {id}: ends on {end}, before it starts on {start}.",
    evidence=("start", "end"),
    do=(
        Step(
            "Correct the two dates in the source file; look for day and month exchanged.",
            who="office",
            does="record",
        ),
    ),
    cites=("gdpr-regulation-eu-2016-679-article-5-1-d",),
)
def dates_reversed(data: Dataset) -> pd.DataFrame:
    """Such a period is never in force, or the date that matters is the wrong one of the two."""
    return sourced(reversed_periods(data), "table", "id")


def reversed_periods(data: Dataset) -> pd.DataFrame:
    """Every period with both ends: table, label, id, start, end, `fails` (nullable boolean).

    One row without id, neither sound nor wrong, where no table has both columns.
    """
    parts = []
    for name, found in data.tables.items():
        for start, end in TABLES[name].periods:
            if not data.has(name, start, end):
                continue
            frame = found.frame
            marks = data.unread(name, start).to_numpy(), data.unread(name, end).to_numpy()
            unread = marks[0] | marks[1]
            both = (frame[start].notna().to_numpy() | marks[0]) & (
                frame[end].notna().to_numpy() | marks[1]
            )
            labels = np.flatnonzero(both)
            starts, ends = frame[start].to_numpy()[labels], frame[end].to_numpy()[labels]
            parts.append(
                {
                    "table": np.full(len(labels), name, object),
                    "label": labels,
                    "id": pa.array(frame[TABLES[name].row_id].array).take(pa.array(labels)),
                    "start": starts,
                    "end": ends,
                    "fails": ends < starts,
                    "unread": unread[labels],
                }
            )
    if not parts:
        # tables, and not a period in them: nothing was looked at
        cannot = [name for name in data.tables if TABLES[name].periods][:1]
        row: dict[str, Any] = {"table": cannot, "label": [-1] * len(cannot), "id": None}
        fails = pd.array([None] * len(cannot), dtype="boolean")
        return pd.DataFrame({**row, "start": pd.NaT, "end": pd.NaT, "fails": fails})
    columns = ("table", "label", "start", "end", "fails", "unread")
    joined: dict[str, Any] = {c: np.concatenate([p[c] for p in parts]) for c in columns}
    unread = joined.pop("unread").astype(bool)
    joined["fails"] = pd.arrays.BooleanArray(joined["fails"].astype(bool), unread)
    ids = [chunk for p in parts for chunk in getattr(p["id"], "chunks", [p["id"]])]
    joined["id"] = pd.array(pa.chunked_array(ids, pa.large_string()), dtype=TEXT)
    return pd.DataFrame(joined)
