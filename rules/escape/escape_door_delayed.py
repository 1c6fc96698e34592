import pandas as pd

from audit.contract import Dataset, Example, Reference, rule
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
    summary="Door {door} holds people back for {delay_s:1 second|% seconds}; {longest_s:1"
    " second is|% seconds are} the most here.",
    evidence=("delay_s", "longest_s"),
    remedy="Set the delay at the lock to the code's limit or to none; have a competent person"
    " confirm whether the code in force allows a delay here at all.",
    references=(
        Reference(
            "EN 13637:2015, Classification, time delay",
            "grade 1 delays by 15 s at most; a longer delay needs grade 2 and a manned centre",
            sure="quoted",
        ),
        Reference(
            "International Building Code 2018, Delayed egress, 1010.1.9.8",
            "unlocks in 15 s at most; 30 s only where the authority approves",
            sure="read",
        ),
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


EXAMPLES = (
    Example(
        "15 s are the limit itself",
        """
        doors
        door_id | exit_delay_s
        LONG    | 16
        LIMIT   | 15
        NO      | 0
        BLANK   |
        TEXT    | soon
        """,
        expect={"LONG": True, "LIMIT": False, "NO": False, "BLANK": None, "TEXT": None},
    ),
    Example(
        "where the authority approved 30 s",
        """
        doors
        door_id | exit_delay_s
        A       | 30
        B       | 31
        """,
        policy={"pack_exit_delay_s": 30},
        expect={"A": False, "B": True},
    ),
)
