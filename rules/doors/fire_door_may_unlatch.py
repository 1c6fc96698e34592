import pandas as pd

from audit.contract import Cause, Dataset, Step, rule
from audit.trade.escape import doors


@rule(
    title="Fire door whose strike lets go of the latch without power",
    finds="A fire door whose strike unlocks when the power fails.",
    priority="planned",
    upload=True,
    life_safety=True,
    needs={"doors": ("fire_minutes", "lock", "power_loss")},
    subjects=("door",),
    cause=Cause("door", ("door",)),
    summary="Door {door} is a fire door of {fire_minutes} minutes with a strike that unlocks on"
    " loss of power: the latch may let go in the fire.",
    evidence=("fire_minutes",),
    do=(
        Step(
            "Have a competent person choose: a strike that stays locked with a mechanical exit"
            " inside, or a lock whose latch holds while it is unlocked.",
            who="door fitter",
            does="fit",
        ),
    ),
    cites=("nfpa-80-fire-doors-latching",),
)
def fire_door_may_unlatch(data: Dataset) -> pd.DataFrame:
    """The pressure of a fire pushes open a door that nothing holds shut."""
    own = doors(data, "fire_minutes", "lock", "power_loss")
    rated = own["fire_minutes"] > 0
    own = own.assign(rated=rated)[rated.fillna(True)]
    lets_go = (own["lock"] == "strike") & (own["power_loss"] == "unlocks")
    return own.assign(fails=own["rated"] & lets_go)
