from typing import Any, Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from audit.arithmetic.columns import distinct
from audit.arithmetic.plain import given, places
from audit.arithmetic.three import Bools, Credential, Ints
from audit.contract import Cause, Dataset, Step, rule
from audit.facts.missing import why
from audit.facts.readback import keys, rights
from audit.facts.standing import in_force, live
from rules.stations._shared import board


@rule(
    title="More cards and PINs than the controller can store",
    finds="More live cards and PINs with a permission at a controller's doors, each counted once,"
    " than the equipment can store.",
    priority="planned",
    upload=True,
    needs={"stations": ("kind", "controller_id", "door_id"), "permissions": ()},
    uses=("cards", "pins", "people", "doors", "door_groups"),
    equipment=("credentials_per_controller",),
    subjects=("station",),
    cause=Cause("station", ("station",)),
    summary="Controller {station} has {count:1 card or PIN|% cards and PINs} to store for"
    " {doors:door %|doors %}; it can store {limit}.",
    evidence=("count", "limit", "doors"),
    do=(
        Step(
            "Withdraw cards and PINs that are not needed at these doors, or move a door to another"
            " controller.",
            who="panel technician",
            does="record",
        ),
    ),
    cites=("the-equipment-s-data-sheet-5",),
)
def controller_credentials_exceeded(data: Dataset) -> pd.DataFrame:
    """What does not fit is dropped at upload, and its holders stand outside."""
    limit = data.equipment.credentials_per_controller or 0
    b = board(data)
    at = b.of_kind("controller")
    doors = [_doors_of(data, int(place)) for place in at.tolist()]
    counts = np.array([_stored(data, ids) for ids in doors], np.int64).reshape(len(doors), 2)
    over, may = counts[:, 0] > limit, counts[:, 1] > limit
    surely = over & given(b.frame["kind"])[at]
    blind = _blind(data) & np.array([bool(ids) for ids in doors], bool)
    frame = b.told(
        at,
        station=b.frame["station_id"].array.take(at),
        count=counts[:, 0],
        limit=limit,
        doors=pd.Series(doors, dtype=object).array,
        fails=pd.arrays.BooleanArray(surely, (may | blind) & ~surely),
    )
    words = "some cards, PINs or permissions are not recorded"
    return frame.assign(**why(frame["fails"], (frame["fails"].isna(), words, None)))


REGISTERS: Final[tuple[Credential, ...]] = ("cards", "pins")


def _blind(data: Dataset) -> bool:
    """Whether a register of cards or PINs is missing that the site is not without."""
    return any(not data.has(t) and t not in data.site.without for t in REGISTERS)


def _doors_of(data: Dataset, place: int) -> list[str]:
    """The doors of a controller: its own, and those of the stations on it."""
    frame, controller = board(data).frame, board(data).controller
    mine = controller == place
    mine[place] = True
    return sorted(set(frame["door_id"][mine].dropna()))


def _stored(data: Dataset, ids: list[str]) -> tuple[int, int]:
    """How many live cards and PINs surely, and perhaps, have a permission at these doors."""
    right = rights(data)
    n = len(right.doors)
    asked = np.zeros(n + 1, bool)
    asked[places(right.doors, pd.Series(ids, dtype=object).astype("string"))] = True
    asked[n] = False
    force = in_force(data)
    sure, perhaps = 0, 0
    for table in REGISTERS:
        row, holder, certain = keys(data, table)
        alive = live(data, table)
        counts = []
        for surely in (True, False):
            pairs = right.pairs_sure if surely else right.pairs
            groups = distinct(pairs[asked[pairs % max(n, 1)]] // max(n, 1))
            opens = np.isin(right.target - n, groups) | asked[np.minimum(right.target, n)]
            opens &= force.fillna(not surely).to_numpy(dtype=bool)[right.label]
            opens &= right.sure | (not surely)
            mine = _held(row, holder, right.holder[opens], certain | (not surely))
            mine &= alive.fillna(not surely).to_numpy(dtype=bool)
            counts.append(int(mine.sum()))
        sure, perhaps = sure + counts[0], perhaps + counts[1]
    return sure, perhaps


def _held(row: Ints, holder: Ints, wanted: Ints, certain: npt.NDArray[Any]) -> Bools:
    """Which rows have a key among the wanted holders."""
    found = np.zeros(int(row.max(initial=-1)) + 1, bool)
    found[row[certain & np.isin(holder, wanted)]] = True
    return found
