import pandas as pd

from audit.arithmetic.freedom import all_of, is_word
from audit.arithmetic.three import coded
from audit.contract import Cause, Dataset, Step, rule
from audit.facts.doors import doors, judged


@rule(
    title="Fire door whose latch lets go when the power fails",
    finds="A fire door with an electric strike that unlocks on loss of power.",
    priority="planned",
    upload=True,
    life_safety=True,
    needs={"doors": ("fire_minutes", "lock", "power_loss")},
    uses=("locks",),
    subjects=("door",),
    cause=Cause("door", ("door",)),
    summary=(
        "Door {door} is a {fire_minutes}-minute fire door, and its strike releases on power"
        " failure."
    ),
    evidence=("fire_minutes",),
    do=(
        Step(
            "Have a competent person confirm it; then fit a lock or exit device that unlocks on"
            " loss of power without losing the latch: one that unlocks and stays latched, never"
            " a strike.",
            who="door fitter",
            does="fit",
        ),
    ),
    cites=("nfpa-80-fire-doors-latching",),
)
def fire_door_may_unlatch(data: Dataset) -> pd.DataFrame:
    """The pressure of a fire pushes open a door that nothing holds shut."""
    own = doors(data)
    rated = coded((own.frame["fire_minutes"] > 0).astype("boolean"))
    strike = all_of(is_word(own.locks.taken, "strike"), own.locks.unlocks)
    return judged(data, rated, own.per_door(strike), ("fire_minutes", "lock", "power_loss"))
