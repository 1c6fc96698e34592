import numpy as np
import pandas as pd

from audit.arithmetic.freedom import STATES, all_of
from audit.arithmetic.three import NO, UNCLEAR, YES, nullable
from audit.contract import Cause, Dataset, Step, rule
from audit.facts.ways_out import at_fault, inhabited, is_recorded, plan, ways, zone_rows
from rules.escape._shared import why_unclear


@rule(
    title="Zone that people cannot leave",
    finds=(
        "A zone with people or a dwelling in it, from which no chain of doors that can be"
        " opened from inside leads to a place of safety: in normal use, on power failure, or on"
        " fire alarm. A way leads through no dwelling, plant room, store or other tenancy."
    ),
    priority="immediate",
    upload=True,
    life_safety=True,
    needs={"zones": ("kind",), "doors": ("inside_zone", "outside_zone")},
    uses=("locks", "dwellings", "buildings"),
    policy=("leaf_switch_needs_alarm",),
    subjects=("zone",),
    cause=Cause("zone", ("zone",)),
    summary=(
        "From zone {zone} no way leads to a place of safety through doors that people can open"
        " ({states}){doors:; the first door that is not free is %|; the first doors that are"
        " not free are %|}."
    ),
    evidence=("states", "door_at_fault", "doors"),
    do=(
        Step(
            "Have a competent person walk the way out; then free the named door in the named"
            " states. On a fire door (fire minutes above 0) it must do so without losing the"
            " latch: a lock or exit device that unlocks and stays latched, never a strike."
            " Where the register is wrong, correct it.",
            who="door fitter",
            does="free",
        ),
    ),
    cites=(
        "regulatory-reform-fire-safety-order-2005-emergen",
        "nfpa-101-locks-and-latches-7-2-1-5-2",
    ),
)
def zone_without_way_out(data: Dataset) -> pd.DataFrame:
    """By what the register says, anyone in this zone in that state is trapped."""
    zones = zone_rows(data)
    at = zones["at"].to_numpy()
    way, fault = ways(data)[at], at_fault(data)[at]
    known, lived = is_recorded(data)[at], inhabited(data)[at]
    shut = way == NO
    trapped = np.where(shut.any(axis=1), YES, np.where((way == UNCLEAR).any(axis=1), UNCLEAR, NO))
    trapped = np.where(known == YES, trapped, np.where(trapped == NO, NO, UNCLEAR)).astype(np.int8)
    ids = plan(data).doors
    names = [
        {STATES[s]: (ids[row[s]] if row[s] >= 0 else None) if no[s] else None for s in range(3)}
        for row, no in zip(fault, shut, strict=True)
    ]
    first = [next((d for d in n.values() if d is not None), None) for n in names]
    frame = zones.assign(
        states=pd.Series(
            [[s for s, no in zip(STATES, n, strict=True) if no] for n in shut],
            zones.index,
            object,
        ),
        door_at_fault=pd.Series(names, zones.index, object),
        doors=pd.Series([sorted({d for d in n.values() if d}) for n in names], zones.index, object),
        fails=nullable(all_of(lived, trapped)),
        cause_kind=["door" if d is not None else "zone" for d in first],
        cause_key=[d if d is not None else z for d, z in zip(first, zones["zone"], strict=True)],
    )
    reason, lacks = why_unclear(data)
    frame["reason"], frame["lacks"] = reason[at], lacks[at]
    inside: pd.DataFrame = frame[(lived > NO) & ~zones["safe"].fillna(False).to_numpy(bool)]
    return inside
