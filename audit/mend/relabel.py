"""Rows that name a PIN by its old digits name it by its id, once it has new ones.

What was read back, or logged, was that PIN; with the digits gone from the register nobody
could tell any more. data.md allows either in `loaded.number`.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection
from typing import Final

from audit.contract import Dataset
from audit.facts.readback import permitted
from audit.facts.standing import by_id
from audit.ingest.rewrite import Changes

NAMES_IT: Final = {"loaded": "number", "events": "pin_id"}


def relabelled(data: Dataset, changed: Collection[int]) -> dict[str, Changes]:
    """The cells of read-back and log that give the old digits of these rows of the PIN table."""
    pins = data["pins"]
    old = pins["secret"]
    digits = {str(d) for d in old.loc[list(changed)].dropna()}
    if not digits:
        return {}
    holders: dict[str, list[int]] = defaultdict(list)
    for label, code in old[old.isin(sorted(digits)).to_numpy(bool)].items():
        holders[str(code)].append(int(str(label)))
    may = data.once(_may) if data.has("loaded") else frozenset()
    found: dict[str, Changes] = {}
    for table, column in NAMES_IT.items():
        frame = data[table]
        hits = frame[frame["secret"].isin(sorted(digits)).to_numpy(bool)]
        part = Changes()
        for label, code, door in zip(hits.index, hits["secret"], hits["door_id"], strict=True):
            there = [n for n in holders[code] if (n, door) in may] or holders[code]
            if all(n in changed for n in there):
                row = int(data.tables[table].rows[label])
                part.cells[(row, column)] = str(pins.at[there[0], "pin_id"])
        if part:
            found[table] = part
    return found


def _may(data: Dataset) -> frozenset[tuple[int, str]]:
    """(row of the PIN table, door) for every PIN that the register permits at a door."""
    rows, places, _ = permitted(data, "pins")
    doors = by_id(data, "doors").index.to_numpy()
    return frozenset(zip(rows.tolist(), doors[places].tolist(), strict=True))
