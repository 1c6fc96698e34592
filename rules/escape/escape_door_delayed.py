import numpy as np
import pandas as pd

from audit.arithmetic.freedom import all_of, any_of
from audit.arithmetic.three import NO, YES, coded
from audit.arithmetic.thresholds import found
from audit.contract import Cause, Dataset, Step, rule
from audit.facts.doors import doors, judged, on_route
from rules.escape._shared import conditions_lacking


@rule(
    title="Escape door that opens late",
    finds=(
        "A door on an escape route that delays exit for longer than the local code allows; or"
        " one that delays it at all, where the conditions that a code sets for that are not"
        " recorded."
    ),
    priority="immediate",
    upload=True,
    life_safety=True,
    needs={"doors": ("escape_route", "exit_delay_s")},
    uses=("locks", "zones", "dwellings", "buildings"),
    policy=("exit_delay_s",),
    subjects=("door",),
    cause=Cause("door", ("door",)),
    summary=(
        "Door {door} delays exit by {delay_s:1 second|% seconds}{longest_s:; the limit is 1"
        " second|; the limit is % seconds}{conditions:; not recorded: %|}."
    ),
    evidence=("delay_s", "longest_s", "conditions"),
    do=(
        Step(
            "Have a competent person confirm whether the regulations in force allow a delay"
            " here at all; then set it to their limit or to none, and record the conditions"
            " that they set.",
            who="door fitter",
            does="free",
        ),
    ),
    cites=(
        "en-13637-2015-classification-time-delay",
        "international-building-code-2018-delayed-egress",
    ),
)
def escape_door_delayed(data: Dataset) -> pd.DataFrame:
    """Behind a door that opens late a crowd builds up, and people are crushed within seconds."""
    own = doors(data)
    delay = own.frame["exit_delay_s"]
    limit = found(data.policy.exit_delay_s, own.frame.index, {})
    over = coded(
        (delay > limit.value).astype("boolean").mask(limit.value.isna() & delay.notna(), False)
    )
    lacking = conditions_lacking(data)
    none_named = limit.silent
    conditions = [
        names if not none_named[i] else ["a local code that allows a delay", *names]
        for i, names in enumerate(lacking)
    ]
    some = np.array([len(c) > 0 for c in conditions], bool)
    delayed = coded((delay > 0).astype("boolean"))
    lesser = all_of(delayed, np.where(some, YES, NO).astype(np.int8))
    return judged(
        data,
        on_route(data),
        any_of(over, lesser),
        ("escape_route", "exit_delay_s"),
        delay_s=delay,
        longest_s=limit.value,
        conditions=pd.Series(
            [c if o != YES else [] for c, o in zip(conditions, over, strict=True)],
            own.frame.index,
            object,
        ),
        priority=np.where(over == YES, "immediate", "planned"),
    )
