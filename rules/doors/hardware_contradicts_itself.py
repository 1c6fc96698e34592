import numpy as np
import pandas as pd

from audit.arithmetic.three import NO, UNCLEAR, YES
from audit.contract import Cause, Dataset, Step, rule
from audit.facts.doors import doors, judged
from rules.doors._shared import contradictions


@rule(
    title="Lock that cannot be as recorded",
    finds=(
        "A door whose recorded hardware contradicts itself: a magnet that stays locked without"
        " power or has a handle; a door that asks for a card or PIN without a lock; a lock"
        " under key with an exit button; a delay without a controlled lock; a door kept locked"
        " that is an escape door."
    ),
    priority="planned",
    upload=True,
    life_safety=True,
    needs={"doors": ("lock", "entry")},
    uses=("locks",),
    subjects=("door",),
    cause=Cause("door", ("door",)),
    summary="Door {door} cannot be as recorded: {contradictions}.",
    evidence=("contradictions",),
    do=(
        Step(
            "Look at the door and enter what is there; have a competent person judge it where"
            " it is on an escape route.",
            who="door fitter",
            does="record",
        ),
    ),
    cites=("magnetic-locks-release-by-power-alone",),
    cannot={"out": "every door is asked"},
)
def hardware_contradicts_itself(data: Dataset) -> pd.DataFrame:
    """What cannot be so was not looked at, and every answer about this door rests on it."""
    own = doors(data)
    found = contradictions(data)
    verdict = np.where([len(f) > 0 for f in found], YES, NO).astype(np.int8)
    verdict = np.where((verdict == NO) & own.lacking["lock"], UNCLEAR, verdict).astype(np.int8)
    return judged(
        data,
        np.full(len(own.frame), YES, np.int8),
        verdict,
        ("lock", "entry"),
        contradictions=pd.Series(found, own.frame.index, object),
    )
