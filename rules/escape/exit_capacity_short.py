import pandas as pd

from audit.contract import Cause, Dataset, Step, rule
from audit.trade.escape import settled, zones_in_fire


@rule(
    title="Exits that pass fewer people than the zone holds",
    finds="A zone whose exits together pass fewer people than it holds; where there are two or"
    " more, the widest is taken as out of use.",
    priority="planned",
    life_safety=True,
    needs={
        "zones": ("occupants",),
        "doors": ("inside_zone", "outside_zone", "clear_width_mm"),
    },
    policy=("width_bands", "mm_per_person"),
    subjects=("zone",),
    cause=Cause("zone", ("zone",)),
    summary="Zone {zone} holds {occupants:1 person|% people}; its {exits:exit (%)|exits (%)},"
    " with the widest out of use where there are two or more, {exits:passes|pass}"
    " {people_passed:1 person|% people|nobody} at most.",
    evidence=("occupants", "people_passed", "exits"),
    do=(
        Step(
            "Widen an exit, open another, or lower the number of people; have a competent person"
            " confirm the capacity by the local code.",
            who="door fitter",
            does="free",
        ),
    ),
    cites=(
        "approved-document-b-england-volume-2-2019-with-a-2",
        "building-bulletin-100-england-2007-widths-of-exi",
    ),
)
def exit_capacity_short(data: Dataset) -> pd.DataFrame:
    """A fire at the widest exit leaves the others to serve everybody."""
    zones = zones_in_fire(data)
    zones = zones[((zones["occupants"] > 0) & zones["has_exit"]).fillna(True)]
    short = settled(
        zones["pass_most"] < zones["occupants"], zones["pass_least"] >= zones["occupants"]
    )
    return zones.assign(people_passed=zones["pass_most"], fails=zones["has_exit"] & short)
