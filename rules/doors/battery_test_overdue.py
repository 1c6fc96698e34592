import pandas as pd

from audit.arithmetic.thresholds import found
from audit.contract import Cause, Dataset, Step, rule
from audit.facts.doors import controlled, doors
from rules.doors._shared import facts_of_doors, overdue


@rule(
    title="Battery of a lock supply that is not tested",
    finds=(
        "A controlled door whose lock supply's battery was last tested longer ago than the"
        " site's interval, or never on record."
    ),
    priority="advisory",
    needs={"doors": ("battery_tested", "lock")},
    uses=("locks", "zones", "dwellings", "buildings"),
    policy=("battery_test_every_months",),
    subjects=("door",),
    cause=Cause("round"),
    summary=(
        "The battery of the lock supply of door {door} {last:was last tested on %|has no test"
        " on record}; this site requires one every {months:month|% months}."
    ),
    evidence=("last", "months"),
    do=(
        Step(
            "Test the battery under load and enter the day in battery_tested.",
            who="door fitter",
            does="record",
        ),
    ),
    cites=("battery-of-a-lock-supply-practice",),
)
def battery_test_overdue(data: Dataset) -> pd.DataFrame:
    """A battery that has failed is noticed only when the power fails."""
    limit = found(
        data.policy.battery_test_every_months, doors(data).frame.index, facts_of_doors(data)
    )
    scope = controlled(data)
    return overdue(data, scope, "battery_tested", limit, "battery-test-overdue")
