import pandas as pd

from audit.arithmetic.freedom import all_of
from audit.arithmetic.thresholds import found
from audit.contract import Cause, Dataset, Step, rule
from audit.facts.doors import doors
from rules.doors._shared import facts_of_doors, overdue


@rule(
    title="Manual release that is not tested",
    finds=(
        "A controlled door with a manual release whose last test is longer ago than the site's"
        " interval, or that has none on record."
    ),
    priority="planned",
    needs={"doors": ("release_tested", "lock", "emergency_release")},
    uses=("locks", "zones", "dwellings", "buildings"),
    policy=("release_test_every_months",),
    subjects=("door",),
    cause=Cause("round"),
    summary=(
        "The manual release of door {door} {last:was last tested on %|has no test on record};"
        " this site requires one every {months:month|% months}."
    ),
    evidence=("last", "months"),
    do=(
        Step(
            "Test the manual release and enter the day in release_tested.",
            who="door fitter",
            does="record",
        ),
    ),
    cites=("practice-after-bs-7273-4-manual-releases",),
)
def release_test_overdue(data: Dataset) -> pd.DataFrame:
    """A release that nobody has pressed may not work when it is needed."""
    limit = found(
        data.policy.release_test_every_months, doors(data).frame.index, facts_of_doors(data)
    )
    own = doors(data)
    scope = own.per_door(all_of(own.locks.powered, own.locks.manual))
    return overdue(data, scope, "release_tested", limit, "release-test-overdue")
