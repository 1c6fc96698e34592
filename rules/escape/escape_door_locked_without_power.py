import pandas as pd

from audit.contract import Cause, Dataset, Step, rule
from audit.trade.escape import controlled_escape_doors


@rule(
    title="Escape door that stays locked without power",
    finds="A controlled door on an escape route that stays locked when the power fails and has"
    " no mechanical exit.",
    priority="immediate",
    upload=True,
    life_safety=True,
    needs={"doors": ("escape_route", "lock", "power_loss", "mechanical_exit")},
    subjects=("door",),
    cause=Cause("door", ("door",)),
    summary="Door {door} is on an escape route, stays locked when the power fails, and has no"
    " mechanical exit.",
    do=(
        Step(
            "Fit a lock that unlocks on loss of power, or a mechanical exit on the escape side;"
            " have a competent person confirm it by the local code.",
            who="door fitter",
            does="free",
        ),
    ),
    cites=(
        "approved-document-b-england-2019-with-amendments",
        "international-building-code-2018-sensor-release",
    ),
)
def escape_door_locked_without_power(data: Dataset) -> pd.DataFrame:
    """In a fire the power goes early, and a lock that holds without it holds the people too."""
    doors = controlled_escape_doors(data, "power_loss", "mechanical")
    stays = doors["power_loss"] == "stays-locked"
    return doors.assign(fails=doors["concerned"] & stays & ~doors["mechanical"])
