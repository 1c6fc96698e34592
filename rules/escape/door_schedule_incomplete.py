import numpy as np
import pandas as pd

from audit.arithmetic.freedom import all_of, opposite
from audit.arithmetic.three import NO, UNCLEAR, YES, nullable
from audit.contract import Cause, Dataset, Step, rule
from audit.facts.ways_out import inhabited, is_recorded, zone_rows


@rule(
    title="Building whose doors are not all in the register",
    finds=(
        "A building with zones where people are or live, from which no doors in the register"
        " lead to a place of safety at all: their doors, or those between them and the outside,"
        " are missing."
    ),
    priority="planned",
    upload=True,
    life_safety=True,
    needs={"zones": ("kind",), "doors": ("inside_zone", "outside_zone")},
    uses=("dwellings", "buildings"),
    subjects=("building",),
    cause=Cause("building", ("building",)),
    summary=(
        "Doors of {building} are missing from the register: {count:1 zone|% zones} with people"
        " or a dwelling {count:has|have} no recorded way to a place of safety ({zones})."
    ),
    evidence=("count", "zones"),
    do=(
        Step(
            "Walk from these zones to the outside and enter every door on the way, plain ones too.",
            who="office",
            does="record",
        ),
    ),
    cites=("regulatory-reform-fire-safety-order-2005-emergen",),
)
def door_schedule_incomplete(data: Dataset) -> pd.DataFrame:
    """What is not in the register cannot be checked: nothing is said of these zones' ways out."""
    zones = zone_rows(data)
    at = zones["at"].to_numpy()
    lived, known = inhabited(data)[at], is_recorded(data)[at]
    missing = all_of(lived, opposite(known))
    rows = zones.assign(missing=missing, known=np.minimum(lived, known))
    rows = rows[(lived > NO)]
    whose = rows["building"].fillna(data.site.name)
    made = []
    for building, own in rows.groupby(whose, sort=True):
        named = own.loc[own["missing"] == YES, "zone"].sort_values().tolist()
        verdict = YES if named else UNCLEAR if (own["missing"] == UNCLEAR).any() else NO
        made.append(
            {
                "building": building,
                "fails": verdict,
                "count": len(named),
                "zones": named,
                "reason": "occupants or the sides of a door are not recorded",
                "lacks": "zones.occupants",
                "sources": [("zones", int(i)) for i in own.index[own["missing"] == YES]],
            }
        )
    columns = ["building", "fails", "count", "zones", "reason", "lacks", "sources"]
    frame = pd.DataFrame(made, columns=columns)
    return frame.assign(fails=nullable(frame["fails"].to_numpy(np.int8)))
