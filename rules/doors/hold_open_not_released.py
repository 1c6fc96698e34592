import pandas as pd

from audit.arithmetic.freedom import is_word
from audit.arithmetic.three import coded
from audit.contract import Cause, Dataset, Step, rule
from audit.facts.doors import doors, judged, words


@rule(
    title="Fire door that is held open in a fire",
    finds=(
        "A fire door held open by something that neither detection or alarm nor loss of power"
        " lets go."
    ),
    priority="immediate",
    upload=True,
    life_safety=True,
    needs={"doors": ("fire_minutes", "hold_open")},
    subjects=("door",),
    cause=Cause("door", ("door",)),
    summary=(
        "Door {door} is a {fire_minutes}-minute fire door and is held open by something that no"
        " alarm releases."
    ),
    evidence=("fire_minutes",),
    do=(
        Step(
            "After asking those who use the door, take away what holds it open, or fit a"
            " hold-open device that lets go on alarm and on loss of power. Have a competent"
            " person confirm it.",
            who="door fitter",
            does="fit",
        ),
    ),
    cites=("en-1155-1997-hold-open-devices",),
)
def hold_open_not_released(data: Dataset) -> pd.DataFrame:
    """A fire door that stays open lets smoke into the way out."""
    own = doors(data)
    rated = coded((own.frame["fire_minutes"] > 0).astype("boolean"))
    held = is_word(words(own.frame["hold_open"]), "not-released")
    return judged(data, rated, held, ("fire_minutes", "hold_open"))
