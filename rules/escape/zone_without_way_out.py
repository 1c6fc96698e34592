import pandas as pd

from audit.contract import Cause, Dataset, Step, rule
from audit.trade.escape import zones_leaving


@rule(
    title="Zone that people cannot leave",
    finds="A zone with people or a dwelling in it, from which no chain of doors that can be"
    " opened from inside leads to a place of safety: on a normal day, when the power fails, or"
    " when the fire alarm sounds.",
    priority="immediate",
    upload=True,
    life_safety=True,
    needs={"zones": (), "doors": ("inside_zone", "outside_zone")},
    uses=("dwellings",),
    subjects=("zone",),
    cause=Cause("zone", ("zone",)),
    summary="From zone {zone} no way through doors that are free to leave leads to a place of"
    " safety ({states:in the state %|in the states %}){doors:; the first locked door on a"
    " recorded way is %|; the first locked doors on recorded ways are %|}; {recorded_doors:1"
    " door of the zone is|% doors of the zone are|no door of the zone is} in the register.",
    evidence=("states", "doors", "recorded_doors"),
    do=(
        Step(
            "Free the named door in the named states: a mechanical exit, a lock that unlocks"
            " without power, release by the fire alarm. Have a competent person walk the way, and"
            " correct the register where it is the register that errs.",
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
    """By what the register says, whoever is in this zone in that state is trapped.

    A zone that no recorded doors join to a place of safety is a finding too: where its doors are
    merely missing from the register, entering them mends it.
    """
    zones = zones_leaving(data)
    zones = zones[zones["inhabited"].fillna(True)]
    return zones.assign(fails=zones["inhabited"] & zones["trapped"])
