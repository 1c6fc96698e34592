import pandas as pd

from audit.contract import Cause, Dataset, Step, rule
from audit.facts.grades import inside_grade
from audit.trade.escape import doors


@rule(
    title="Controlled door of grade 2 or higher without a status monitor",
    finds="A controlled door without exit input and without status monitor that leads into a"
    " zone of security grade 2 or higher.",
    priority="planned",
    upload=True,
    needs={"doors": ("lock", "exit_input", "status_monitor", "inside_zone")},
    uses=("zones",),
    subjects=("door",),
    cause=Cause("door", ("door",)),
    summary="Door {door} leads into a zone of grade {grade}, is controlled, and has no status"
    " monitor: nobody learns that it was left open or forced.",
    evidence=("grade", "lock"),
    do=(
        Step(
            "Fit a door contact, wire it to the panel or controller, and set the held-open time;"
            " if there is one already, enter it in the register.",
            who="door fitter",
            does="fit",
        ),
    ),
    cites=("en-60839-11-1-2013-access-point-status-monitorin",),
)
def controlled_door_without_monitor(data: Dataset) -> pd.DataFrame:
    """A lock keeps nobody out while the door stands open, and without a monitor nobody is told."""
    own = doors(data, "lock", "controlled", "exit_input", "status_monitor").assign(
        grade=inside_grade(data)
    )
    asked = own["controlled"] & (own["exit_input"] == "none") & (own["grade"] >= 2)
    own = own.assign(asked=asked)[asked.fillna(True)]
    return own.assign(fails=own["asked"] & (own["status_monitor"] == "none"))
