import numpy as np
import pandas as pd

from audit.arithmetic.chains import START, UNKNOWN, follow
from audit.arithmetic.plain import given, listed
from audit.arithmetic.three import NO, UNCLEAR, YES, nullable
from audit.contract import Cause, Dataset, Step, rule
from audit.facts.stations import KINDS, beyond, line_too_long, named
from rules.stations._shared import board


@rule(
    title="Controller or chain of controllers overloaded",
    finds=(
        "A controller with more units than it supports or two units on one port, or a daisy"
        " chain with more controllers than the equipment allows (reported at the last one)."
    ),
    priority="planned",
    upload=True,
    needs={"stations": ("kind", "controller_id")},
    subjects=("station",),
    cause=Cause("station", ("station",)),
    summary="Controller {station}: {fault}.",
    evidence=("fault", "units", "shared", "in_line"),
    do=(
        Step(
            "Move units to free ports on another controller, or start a new chain.",
            who="panel technician",
            does="fit",
        ),
    ),
    cites=("the-equipment-s-data-sheet",),
)
def controller_overloaded(data: Dataset) -> pd.DataFrame:
    """Beyond the equipment's limits, units drop out or fail when several are used at once."""
    rows = controllers(data)
    crowded = beyond(rows["units"], data.equipment.units_per_controller)
    long = line_too_long(rows, data.equipment.controllers_in_line)
    faults = {
        "too many units": crowded,
        "two units on one port": rows["doubled"],
        "too many controllers in its line": long,
    }
    return rows.assign(
        station=rows["station_id"],
        fault=named(faults),
        fails=(crowded | rows["doubled"] | long).mask(rows["kind"].isna()),
    )


_LIMITS = {"units_per_controller": 2, "controllers_in_line": 2}


def controllers(data: Dataset) -> pd.DataFrame:
    """Every controller (and station of unknown kind) with what hangs on it.

    Columns: `station_id`, `kind`; `units` (Int64: stations with this controller_id and a port;
    NA where the table has no ports), `shared` (list of ports with two units or more),
    `doubled` (boolean), `in_line` (Int64: controllers in its line up to and with it),
    `last` (boolean: no controller hangs on it), `certain` (bool: the whole line is known).
    """
    return data.once(_controllers)


def _controllers(data: Dataset) -> pd.DataFrame:
    b = board(data)
    at = b.of_kind("controller")
    n, size = len(at), len(b.kind)
    own = np.full(size + 1, -1, np.int64)
    own[at] = np.arange(n)
    on = own[b.controller]  # which of the controllers each station hangs on
    hangs = on >= 0

    unit = hangs & (b.port >= 0)
    width = len(b.ports) + 1
    key, counts = np.unique(on[unit] * width + b.port[unit], return_counts=True)
    shared: dict[int, list[str]] = {}
    for twice in key[counts > 1].tolist():
        shared.setdefault(twice // width, []).append(b.ports[twice % width])
    for ports in shared.values():
        ports.sort()
    doubled = np.zeros(n, np.int8)
    doubled[list(shared)] = YES
    units = pd.array(np.bincount(on[unit], minlength=n), dtype="Int64")
    if not data.has("stations", "port"):
        doubled[:], units[:] = UNCLEAR, pd.NA

    controller = b.kind[at] == KINDS.index("controller")
    above = on[at]
    # on nothing, or on a station that is no controller: a line begins here
    begins = ~given(b.frame["controller_id"])[at] | ((b.controller[at] >= 0) & (above < 0))
    sure_above = (above >= 0) & np.append(controller, False)[above]
    through = np.where(sure_above, above, np.where(begins, START, UNKNOWN))
    in_line, certain, circle = follow(through)

    last = np.full(n, YES, np.int8)
    last[above[~controller & (above >= 0)]] = UNCLEAR
    last[above[controller & (above >= 0)]] = NO
    last[circle] = UNCLEAR  # a circle has no last one: nothing can be said of those on it
    return b.told(
        at,
        units=units,
        shared=listed(n, shared),
        doubled=nullable(doubled),
        in_line=pd.array(in_line, dtype="Int64"),
        last=nullable(last),
        certain=certain,
    )
