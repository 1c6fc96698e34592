import numpy as np
import pandas as pd

from audit.arithmetic.chains import pairs_of
from audit.arithmetic.plain import places, taken
from audit.contract import Cause, Dataset, Step, rule
from audit.facts.standing import by_id
from audit.facts.stations import KINDS, _members, _one_row_each
from rules.stations._shared import board


@rule(
    title="Same call number for several dwellings",
    finds=(
        "Handsets of different dwellings in one building that a caller would dial with the"
        " same number."
    ),
    priority="planned",
    upload=True,
    needs={"stations": ("kind", "dwelling_id", "number"), "dwellings": ("building",)},
    subjects=("station",),
    cause=Cause("station", ("station",)),
    summary=(
        "{building:In building %, call|Call} number {number} rings {dwellings:dwelling"
        " %|dwellings %}."
    ),
    evidence=("building", "number", "dwellings"),
    do=(
        Step(
            "Give each dwelling its own call number.",
            who="panel technician",
            does="fit",
        ),
    ),
    cites=("practice-of-door-entry-systems-6",),
)
def call_number_repeated(data: Dataset) -> pd.DataFrame:
    """A caller who dials this number may reach a neighbour, who may let a stranger in."""
    rows = call_numbers(data)
    return rows.assign(fails=(rows["homes"] > 1).astype("boolean"))


def call_numbers(data: Dataset) -> pd.DataFrame:
    """Answering units by building and the number a caller dials; a row for each.

    Columns: `station` (list of ids), `building`, `number`, `dwellings` (sorted list of the
    dwellings it rings at), `homes` (Int64: how many they are; NA where building, number or
    dwelling is not given), `sources`.
    The index is that of each row's first station.
    """
    return data.once(_call_numbers)


def _call_numbers(data: Dataset) -> pd.DataFrame:
    b = board(data)
    at = b.of_kind("answering-unit")
    dwellings = by_id(data, "dwellings")
    building, _ = pd.factorize(dwellings["building"])
    home = b.home[at]
    place = np.append(places(dwellings.index, b.homes), -1)[home]
    of = np.append(building, -1).astype(np.int64)[place]
    number = np.where(b.kind[at] == KINDS.index("answering-unit"), b.number[at], -1)
    codes, groups = pairs_of(of, number)
    members, first = _members(codes, groups)
    homes = b.homes.tolist()
    rings = [
        sorted({homes[home[m]] for m in row}) if i < groups else [] for i, row in enumerate(members)
    ]
    rows = _one_row_each(b, at, members, first)
    return rows.assign(
        building=taken(dwellings["building"], place[first]),
        number=b.frame["number"].array.take(at[first]),
        dwellings=pd.Series(rings, index=rows.index, dtype=object),
        homes=pd.array([len(r) or None for r in rings], dtype="Int64"),
    )
