import pandas as pd

from audit.contract import Cause, Dataset, Step, rule
from audit.trade.escape import controlled_escape_doors


@rule(
    title="Escape door that asks for a credential on the way out",
    finds="A controlled door on an escape route that asks for a credential on the way out and"
    " has neither an exit input nor a mechanical exit.",
    priority="immediate",
    upload=True,
    life_safety=True,
    needs={
        "doors": ("escape_route", "lock", "exit_reader", "exit_input", "mechanical_exit"),
    },
    subjects=("door",),
    cause=Cause("door", ("door",)),
    summary="Door {door} is on an escape route and can be left only with a card or PIN.",
    do=(
        Step(
            "Fit an exit input and a mechanical exit on the escape side, or take the door off the"
            " escape plan; have a competent person settle which, by the local code.",
            who="door fitter",
            does="free",
        ),
    ),
    cites=(
        "approved-document-b-england-2019-with-amendments-2",
        "nfpa-101-locks-and-latches-7-2-1-5",
    ),
)
def escape_door_needs_credential(data: Dataset) -> pd.DataFrame:
    """Whoever flees without a card, or with a card that fails, is shut in."""
    doors = controlled_escape_doors(data, "exit_reader", "exit_input", "mechanical")
    no_input = doors["exit_input"] == "none"
    return doors.assign(
        fails=doors["concerned"] & doors["exit_reader"] & no_input & ~doors["mechanical"]
    )
