"""Which schedules are in use."""

from __future__ import annotations

import pandas as pd

from audit.contract import Dataset


def in_use(data: Dataset) -> frozenset[str]:
    """Schedules that a permission which is not over, or a door's unlocking, refers to."""
    return data.once(_in_use)


def _in_use(data: Dataset) -> frozenset[str]:
    permissions = data["permissions"]
    over = (permissions["valid_to"] < data.today).to_numpy(dtype=bool)
    named = pd.concat([permissions["schedule_id"][~over], data["doors"]["unlock_schedule"]])
    return frozenset(named.dropna().unique())
