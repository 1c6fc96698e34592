"""What a person's reach has that others' has not: other dwellings, plant, and odd doors."""

from __future__ import annotations

import pandas as pd

from audit.contract import Dataset
from audit.facts.standing import by_id, lookup


def zone_kind(data: Dataset, column: str) -> pd.Series:
    """The kind of each door's zone, over `by_id(data, "doors")`; NA where it is not known.

    `column` is `inside_zone` or `outside_zone`.
    """
    doors = by_id(data, "doors")
    return lookup(data, "zones", doors[column], "kind")
