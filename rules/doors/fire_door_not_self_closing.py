import numpy as np
import pandas as pd

from audit.arithmetic.freedom import all_of, opposite
from audit.arithmetic.three import NO, UNCLEAR, YES, coded
from audit.contract import Cause, Dataset, Step, rule
from audit.facts.doors import doors, judged
from rules.doors._shared import SILENT_ON_KEPT_LOCKED, kept_shut, same_dwelling


@rule(
    title="Fire door that does not close by itself",
    finds=(
        "A fire door without a self-closer. Doors kept locked shut, plant rooms and stores"
        " under key, and doors within one dwelling aside, unless they are on an escape route."
    ),
    priority="immediate",
    upload=True,
    life_safety=True,
    needs={"doors": ("fire_minutes", "self_closing")},
    uses=("zones", "dwellings", "buildings"),
    policy=("kept_locked_needs_closer",),
    subjects=("door",),
    cause=Cause("door", ("door",)),
    summary="Door {door} is a {fire_minutes}-minute fire door and does not close by itself.",
    evidence=("fire_minutes",),
    do=(
        Step(
            "Fit a self-closing device that shuts the door fully into its frame over any latch,"
            " from any angle.",
            who="door fitter",
            does="fit",
        ),
    ),
    cites=("approved-document-b-england-fire-doors-c5", "nfpa-80-fire-doors-latching"),
)
def fire_door_not_self_closing(data: Dataset) -> pd.DataFrame:
    """A fire door that is left open stops neither fire nor smoke."""
    own = doors(data)
    frame = own.frame
    rated = coded((frame["fire_minutes"] > 0).astype("boolean"))
    left_out = kept_shut(data)
    needs_closer = data.policy.kept_locked_needs_closer
    scope = all_of(rated, opposite(same_dwelling(data)))
    fails = opposite(coded(frame["self_closing"]))
    reason = np.full(len(frame), "", object)
    if needs_closer is None:  # the local code is silent on doors kept locked
        fails = np.where(left_out == NO, fails, np.minimum(fails, UNCLEAR))
        reason[left_out == YES] = SILENT_ON_KEPT_LOCKED
    elif not needs_closer:
        scope = all_of(scope, opposite(left_out))
    return judged(
        data,
        scope,
        fails,
        ("fire_minutes", "self_closing", "entry", "kept_locked", "escape_route"),
        reason=reason,
    )
