import numpy as np
import pandas as pd

from audit.arithmetic.freedom import all_of, opposite
from audit.arithmetic.network import members
from audit.arithmetic.three import NO, UNCLEAR, YES, coded
from audit.contract import Cause, Dataset, Step, rule
from audit.facts.doors import doors, judged
from audit.facts.ways_out import door_positions, inhabited, is_recorded, network, plan
from rules.escape._shared import UNKNOWN_WAY


@rule(
    title="Only way out that is not marked as an escape route",
    finds=(
        "A door that is recorded as not on an escape route, yet every way out of some zone with"
        " people or a dwelling leads through it."
    ),
    priority="planned",
    upload=True,
    life_safety=True,
    needs={"doors": ("escape_route", "inside_zone", "outside_zone"), "zones": ("kind",)},
    uses=("locks", "dwellings", "buildings"),
    subjects=("door",),
    cause=Cause("door", ("door",)),
    summary=(
        "Door {door} is recorded as not on an escape route, yet it is on every way out of"
        " {zones:zone %|zones %}."
    ),
    evidence=("zones",),
    do=(
        Step(
            "Have a competent person walk the way out; then record the door as on the escape"
            " route and check it as one. If a competent person has shown that it is not, record"
            " their document.",
            who="door fitter",
            does="record",
        ),
    ),
    cites=("regulatory-reform-fire-safety-order-2005-emergen",),
    cannot={"out": "every door may be an only way out"},
)
def only_way_out_not_marked(data: Dataset) -> pd.DataFrame:
    """A door that nobody treats as an escape door is not tested, and may be locked by anyone."""
    own = doors(data)
    site, net = plan(data), network(data)
    lived, known = inhabited(data), is_recorded(data)
    verdict, hanging = [], []
    for at in door_positions(data).tolist():
        sure, perhaps = (members(bits, len(site.zones)) for bits in net.only[at])
        certain = sure[(lived[sure] == YES) & (known[sure] == YES)]
        maybe = perhaps[lived[perhaps] > NO]
        verdict.append(YES if len(certain) else UNCLEAR if len(maybe) else NO)
        hanging.append([site.zones[z] for z in certain.tolist()])
    unmarked = opposite(coded(own.frame["escape_route"]))
    return judged(
        data,
        np.full(len(own.frame), YES, np.int8),
        all_of(unmarked, np.array(verdict, np.int8)),
        ("escape_route", "inside_zone", "outside_zone", "entry"),
        reason=np.where(np.array(verdict) == UNCLEAR, UNKNOWN_WAY, "").astype(object),
        zones=pd.Series(hanging, own.frame.index, object),
    )
