import pandas as pd

from audit.contract import Cause, Dataset, Step, rule
from audit.trade.escape import doors


@rule(
    title="Escape or fire door not tested in time",
    finds="An escape or fire door that was never tested, or last tested longer ago than the"
    " site's interval.",
    priority="planned",
    needs={"doors": ("last_tested",)},
    policy=("door_test_every_months",),
    subjects=("door",),
    cause=Cause("round", ("door",)),
    summary="Door {door}, an escape or fire door, {last_tested:was last tested on %|has no test"
    " on record}; a test every {months:month|% months} is asked for here.",
    evidence=("last_tested", "months"),
    do=(
        Step(
            "Test the door: its release by alarm, by power loss and by hand, its closing and"
            " latching. Enter the date; have a competent person name the interval that applies.",
            who="door fitter",
            does="fit",
        ),
    ),
    cites=(
        "fire-safety-england-regulations-2022-fire-doors",
        "bs-9999-inspection-of-fire-doors",
        "nfpa-80-and-nfpa-101-inspection-of-door-openings",
    ),
)
def door_test_overdue(data: Dataset) -> pd.DataFrame:
    """Nobody knows that a release works until it was seen to work."""
    own = doors(data, "escape_route", "fire_minutes", "last_tested")
    concerned = own["escape_route"] | (own["fire_minutes"] > 0)
    own = own.assign(concerned=concerned)[concerned.fillna(True)]
    months, tested = data.policy.door_test_every_months, own["last_tested"]
    late = tested + pd.DateOffset(months=months) < data.today
    # a test dated after the day of the audit tells nothing about that day
    known = late.astype("boolean").mask(tested.isna() | (tested > data.today))
    never = data.blank("doors", "last_tested")
    return own.assign(months=months, fails=own["concerned"] & (never | known))
