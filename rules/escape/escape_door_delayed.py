import pandas as pd

from audit.contract import Cause, Dataset, Step, rule
from audit.trade.escape import doors


@rule(
    title="Exit delayed for longer than the code allows",
    finds="A door that holds people back for longer than the local code allows.",
    priority="immediate",
    upload=True,
    life_safety=True,
    needs={"doors": ("exit_delay_s",)},
    policy=("exit_delay_s",),
    subjects=("door",),
    cause=Cause("door", ("door",)),
    summary="Door {door} holds people back for {delay_s:1 second|% seconds}; {longest_s:1"
    " second is|% seconds are} the most here.",
    evidence=("delay_s", "longest_s"),
    do=(
        Step(
            "Set the delay at the lock to the code's limit or to none; have a competent person"
            " confirm whether the code in force allows a delay here at all.",
            who="door fitter",
            does="free",
        ),
    ),
    cites=(
        "en-13637-2015-classification-time-delay",
        "international-building-code-2018-delayed-egress",
    ),
    cannot={"out": "every door may have a delay, and each of them is asked"},
)
def escape_door_delayed(data: Dataset) -> pd.DataFrame:
    """Behind a door that opens late a crowd builds up, and seconds decide whether people are
    crushed."""
    own = doors(data, "exit_delay_s")
    longest = data.policy.exit_delay_s
    return own.assign(
        delay_s=own["exit_delay_s"], longest_s=longest, fails=own["exit_delay_s"] > longest
    )
