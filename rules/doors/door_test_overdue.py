import pandas as pd

from audit.contract import Cause, Dataset, Step, rule
from rules.doors._shared import door_checks


@rule(
    title="Fire door or escape door that is not checked",
    finds=(
        "A fire door whose last check is longer ago than the interval for its class, use and"
        " height, or that has none on record; or a door on an escape route without fire rating,"
        " likewise. Doors within one dwelling or tenancy aside."
    ),
    priority="planned",
    needs={"doors": ("fire_door_checked|last_tested",)},
    uses=("zones", "dwellings", "buildings"),
    policy=("fire_door_check_months", "dwelling_door_check_months", "escape_door_test_months"),
    subjects=("door",),
    cause=Cause("round"),
    summary=(
        "Door {door} ({what}) {last:was last checked on %|has no check on record}; it is due"
        " every {months:month|% months}."
    ),
    evidence=("what", "last", "months"),
    do=(
        Step(
            "Check the door: closing, latching, gaps, and opening as those who escape would."
            " Enter the day. Have a competent person confirm the interval that applies.",
            who="door fitter",
            does="record",
        ),
    ),
    cites=(
        "fire-safety-england-regulations-2022-fire-doors",
        "bs-9999-inspection-of-fire-doors",
        "nfpa-80-and-nfpa-101-inspection-of-door-openings",
    ),
)
def door_test_overdue(data: Dataset) -> pd.DataFrame:
    """Nobody can rely on a door that has not been seen to close, latch and open."""
    return door_checks(data)
