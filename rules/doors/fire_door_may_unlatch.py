import pandas as pd

from audit.contract import OUT, Dataset, Example, Reference, rule
from audit.trade.escape import doors


@rule(
    title="Fire door whose strike lets go of the latch without power",
    finds="A fire door whose strike unlocks when the power fails.",
    priority="planned",
    upload=True,
    life_safety=True,
    needs={"doors": ("fire_minutes", "lock", "power_loss")},
    subjects=("door",),
    summary="Door {door} is a fire door of {fire_minutes} minutes with a strike that unlocks on"
    " loss of power: the latch may let go in the fire.",
    evidence=("fire_minutes",),
    remedy="Have a competent person choose: a strike that stays locked with a mechanical exit"
    " inside, or a lock whose latch holds while it is unlocked.",
    references=(
        Reference(
            "NFPA 80, Fire doors, latching",
            "a fire door latches positively; the codes are not explicit on strikes, and the pieces"
            " have to be put together",
            sure="quoted",
        ),
    ),
)
def fire_door_may_unlatch(data: Dataset) -> pd.DataFrame:
    """The pressure of a fire pushes open a door that nothing holds shut."""
    own = doors(data, "fire_minutes", "lock", "power_loss")
    rated = own["fire_minutes"] > 0
    own = own.assign(rated=rated)[rated.fillna(True)]
    lets_go = (own["lock"] == "strike") & (own["power_loss"] == "unlocks")
    return own.assign(fails=own["rated"] & lets_go)


EXAMPLES = (
    Example(
        "a strike, and what it does without power",
        """
        doors
        door_id | fire_minutes | lock   | power_loss
        LETS    | 30           | strike | unlocks
        HOLDS   | 30           | strike | stays-locked
        MAGNET  | 30           | magnet | unlocks
        PLAIN   | 0            | strike | unlocks
        POWER   | 30           | strike |
        LOCK    | 30           |        | unlocks
        RATING  |              | strike | unlocks
        """,
        expect={
            "LETS": True,
            "HOLDS": False,
            "MAGNET": False,
            "PLAIN": OUT,
            "POWER": None,
            "LOCK": None,
            "RATING": None,
        },
    ),
)
