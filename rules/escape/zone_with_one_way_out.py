import numpy as np
import pandas as pd

from audit.arithmetic.freedom import all_of
from audit.arithmetic.three import UNCLEAR, YES, coded, nullable
from audit.arithmetic.thresholds import FACTS, found
from audit.contract import Cause, Dataset, Step, rule
from audit.facts.ways_out import is_recorded, network, plan, zone_rows
from rules.escape._shared import vague_limit, why_unclear


@rule(
    title="Zone for many people with one way out",
    finds=(
        "A zone with more people than the local code allows for one exit, and one door whose"
        " closing cuts every way out of it."
    ),
    priority="planned",
    life_safety=True,
    needs={"zones": ("occupants",), "doors": ("inside_zone", "outside_zone")},
    uses=("locks", "dwellings", "buildings"),
    policy=("one_way_out_people",),
    subjects=("zone",),
    cause=Cause("zone", ("zone",)),
    summary=(
        "Zone {zone} is for {occupants} people, and every way out of it leads through door"
        " {only_door}; the limit for one way out is {most_allowed}."
    ),
    evidence=("occupants", "most_allowed", "only_door"),
    do=(
        Step(
            "Have a competent person confirm the number of people and the ways out; then"
            " provide a second way, or lower the number of people.",
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
    """Where smoke fills the only way, nobody can leave."""
    zones = zone_rows(data)
    at = zones["at"].to_numpy()
    net, ids = network(data), plan(data).doors
    limit = found(data.policy.one_way_out_people, zones.index, {f: zones[f] for f in FACTS})
    over = coded((zones["occupants"] > limit.value).astype("boolean"))
    weak = np.array(net.weak, np.int8)[at]
    known = is_recorded(data)[at]
    weak = np.where(known == YES, weak, UNCLEAR).astype(np.int8)
    doors_ = [ids[net.weak_door[a]] if net.weak_door[a] >= 0 else None for a in at.tolist()]
    code = all_of(weak, over)
    reason, lacks = vague_limit(limit, "people in a zone with one way out", over)
    ways_reason, ways_lacks = why_unclear(data)
    open_ = reason == ""
    reason, lacks = np.where(open_, ways_reason[at], reason), np.where(open_, ways_lacks[at], lacks)
    frame = zones.assign(
        most_allowed=limit.value,
        only_door=pd.Series(doors_, zones.index, object),
        fails=nullable(code),
        reason=reason,
        lacks=lacks,
    )
    return frame[~zones["safe"].fillna(False).to_numpy(bool)]
