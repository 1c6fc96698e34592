import pandas as pd

from audit.contract import Cause, Dataset, Step, rule
from audit.trade.escape import doors


@rule(
    title="Fire door that does not close by itself",
    finds="A fire door that the register says does not close by itself.",
    priority="immediate",
    life_safety=True,
    needs={"doors": ("fire_minutes", "self_closing")},
    subjects=("door",),
    cause=Cause("door", ("door",)),
    summary="Door {door} is a fire door of {fire_minutes} minutes and does not close by itself.",
    evidence=("fire_minutes",),
    do=(
        Step(
            "Fit or mend the closer, so that the door shuts over its latch from any angle; have a"
            " competent person confirm it by the local code.",
            who="door fitter",
            does="fit",
        ),
    ),
    cites=(
        "fire-safety-england-regulations-2022-guidance-on",
        "en-1155-1997-hold-open-devices",
    ),
)
def fire_door_not_self_closing(data: Dataset) -> pd.DataFrame:
    """A fire door that stands open stops neither fire nor smoke."""
    own = doors(data, "fire_minutes", "self_closing")
    rated = own["fire_minutes"] > 0
    own = own.assign(rated=rated)[rated.fillna(True)]
    return own.assign(fails=own["rated"] & ~own["self_closing"])
