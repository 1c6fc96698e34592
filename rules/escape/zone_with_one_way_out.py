import pandas as pd

from audit.contract import Cause, Dataset, Step, rule
from audit.trade.escape import zones_in_fire


@rule(
    title="More people than one way out may serve",
    finds="A zone with more people than the local code allows for one exit, where one door cuts"
    " off every way out.",
    priority="planned",
    life_safety=True,
    needs={"zones": ("occupants",), "doors": ("inside_zone", "outside_zone")},
    policy=("one_way_out_people",),
    subjects=("zone",),
    cause=Cause("zone", ("zone",)),
    summary="Zone {zone} holds {occupants:1 person|% people}, and every way out passes door"
    " {weak_door}; {most_allowed} {most_allowed:is|are} the most for one way out here.",
    evidence=("occupants", "most_allowed", "weak_door"),
    do=(
        Step(
            "Open a second way that does not pass the named door, or lower the number of people;"
            " have a competent person confirm both by the local code.",
            who="door fitter",
            does="free",
        ),
    ),
    cites=(
        "existing-premises-with-sleeping-accommodation-pr",
        "international-building-code-2018-spaces-with-one",
    ),
)
def zone_with_one_way_out(data: Dataset) -> pd.DataFrame:
    """If smoke or a jammed lock takes that one door, all these people are shut in."""
    zones = zones_in_fire(data)
    zones = zones[(zones["occupants"] > 0).fillna(True)]
    limit = data.policy.one_way_out_people
    return zones.assign(most_allowed=limit, fails=zones["one_way"] & (zones["occupants"] > limit))
