"""What several rules on permissions ask of reach."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd

from audit.contract import TEXT, Dataset
from audit.facts.neighbours import zone_kind
from audit.facts.reach import person_doors
from audit.facts.standing import by_id


def reaches_into(data: Dataset, kind: str, roles: Sequence[str]) -> pd.DataFrame:
    """Doors into zones of this kind that people of these roles reach.

    Columns `person`, `door`, `zone` (the inside zone), `reaches` (nullable boolean); index:
    labels of the people table. One row a person and door; a person who reaches none has one
    row without door and zone, and False.
    """
    people = by_id(data, "people")
    role = people["role"]
    known_role = role.notna().to_numpy(dtype=bool)
    within = role.isin(roles).to_numpy(dtype=bool) | ~known_role
    doors = by_id(data, "doors")
    found = zone_kind(data, "inside_zone")
    pairs = person_doors(data, (found == kind).fillna(True))
    pairs = pairs[within[pairs["person"].to_numpy()]]
    who, door = pairs["person"].to_numpy(), pairs["door"].to_numpy()
    sure = pairs["sure"].to_numpy(dtype=bool) & found.notna().to_numpy()[door] & known_role[who]
    label = people["_label"].to_numpy(dtype=np.int64)
    reached = pd.DataFrame(
        {
            "person": pairs["person_id"].array,
            "door": pairs["door_id"].array,
            "zone": doors["inside_zone"].array.take(door),
            "reaches": pd.arrays.BooleanArray(np.ones(len(pairs), bool), ~sure),
        },
        index=pd.Index(label[who]),
    )
    within[who] = False
    rest = np.flatnonzero(within)
    none = pd.DataFrame(
        {
            "person": people.index[rest].astype(TEXT),
            "door": pd.array([pd.NA] * len(rest), dtype=TEXT),
            "zone": pd.array([pd.NA] * len(rest), dtype=TEXT),
            "reaches": pd.array(np.zeros(len(rest), bool), dtype="boolean"),
        },
        index=pd.Index(label[rest]),
    )
    return pd.concat([reached, none])
