import pandas as pd

from audit.contract import Cause, Dataset, Step, rule
from audit.trade.escape import doors


@rule(
    title="Exit input without a status monitor",
    finds="A door with an exit input (a button, a sensor, a switch in the handle) and without a"
    " status monitor.",
    priority="planned",
    upload=True,
    needs={"doors": ("exit_input", "status_monitor")},
    subjects=("door",),
    cause=Cause("door", ("door",)),
    summary="Door {door} has an exit input ({exit_input}) and no status monitor: nobody learns"
    " that it was left open or forced.",
    evidence=("exit_input", "lock"),
    do=(
        Step(
            "Fit a door contact, wire it to the panel or controller, and set the held-open time;"
            " if there is one already, enter it in the register.",
            who="door fitter",
            does="fit",
        ),
    ),
    cites=(
        "en-60839-11-1-2013-access-point-status-monitorin",
        "installers-of-door-panels",
    ),
)
def exit_input_without_monitor(data: Dataset) -> pd.DataFrame:
    """An exit button unlocks the door and tells nobody whether it shut again, or was forced."""
    own = doors(data, "lock", "exit_input", "status_monitor")
    freed = own["exit_input"] != "none"
    own = own.assign(freed=freed)[freed.fillna(True)]
    return own.assign(fails=own["freed"] & (own["status_monitor"] == "none"))
