import numpy as np
import pandas as pd

from audit.arithmetic.plain import places
from audit.arithmetic.three import NO, UNCLEAR, YES, nullable
from audit.contract import Cause, Dataset, Step, rule
from audit.facts.standing import by_id
from audit.facts.stations import KINDS
from rules.stations._shared import board


@rule(
    title="Occupied dwelling with no handset or indoor unit",
    finds="An occupied dwelling with no answering unit in the stations table.",
    priority="advisory",
    upload=True,
    needs={"dwellings": ("occupied",), "stations": ("kind", "dwelling_id")},
    subjects=("dwelling",),
    cause=Cause("column", ("=stations.dwelling_id",)),
    summary="Dwelling {dwelling} is occupied but has no handset or indoor unit.",
    do=(
        Step(
            "Add the handset or indoor unit to the register, or fit one.",
            who="panel technician",
            does="record",
        ),
    ),
    cites=("practice-of-door-entry-systems-7",),
)
def dwelling_without_answering_unit(data: Dataset) -> pd.DataFrame:
    """Visitors cannot call these residents, and the residents cannot let them in."""
    rows = answering(data)
    rows = rows[rows["occupied"].fillna(True)]
    return rows.assign(dwelling=rows["dwelling_id"], fails=~rows["unit"] & rows["occupied"])


def answering(data: Dataset) -> pd.DataFrame:
    """Every dwelling, `unit` saying whether an answering unit hangs there.

    NA where none does for certain and a station of unknown kind may be one. A repeated
    dwelling's first row only.
    """
    return data.once(_answering)


def _answering(data: Dataset) -> pd.DataFrame:
    b, homes = board(data), by_id(data, "dwellings")
    unit = np.full(len(b.homes) + 1, NO, np.int8)
    unit[b.home[b.kind < 0]] = UNCLEAR
    unit[b.home[b.kind == KINDS.index("answering-unit")]] = YES
    unit[-1] = NO
    at = places(b.homes, homes.index)
    return pd.DataFrame(
        {
            "dwelling_id": homes.index.array,
            "occupied": homes["occupied"].array,
            "unit": nullable(unit[at]),
        },
        index=homes["_label"].array,
    )
