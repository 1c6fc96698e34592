"""Which schedules are in use."""

from __future__ import annotations

import pandas as pd

from audit.contract import Dataset


def in_use(data: Dataset) -> pd.Series:
    """Schedules that a permission which is not over, or a door's unlocking, refers to.

    Index: their names; values True, or NA where it hangs on a date that is not understood.
    """
    return data.once(_in_use)


def _in_use(data: Dataset) -> pd.Series:
    permissions = data["permissions"]
    over = (permissions["valid_to"] < data.today).astype("boolean")
    over = over.mask(data.unread("permissions", "valid_to"))
    used = pd.concat(
        [
            pd.Series((~over).array, index=permissions["schedule_id"]),
            pd.Series(True, index=data["doors"]["unlock_schedule"], dtype="boolean"),
        ]
    )
    used = used[used.index.notna() & used.fillna(True).to_numpy(dtype=bool)]
    sure = used.fillna(False).groupby(level=0).any()
    named: pd.Series = sure.astype("boolean").where(sure, pd.NA)
    return named
