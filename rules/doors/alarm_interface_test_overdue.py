import numpy as np
import pandas as pd

from audit.arithmetic.freedom import all_of
from audit.arithmetic.thresholds import found
from audit.contract import Cause, Dataset, Step, rule
from audit.facts.doors import alarm_at, doors
from rules.doors._shared import facts_of_doors, overdue


@rule(
    title="Release by the fire alarm that is not tested",
    finds=(
        "In a building with a communal fire alarm, a controlled door that the alarm releases,"
        " whose last test is longer ago than the interval for its use and height, or that has"
        " none on record."
    ),
    priority="planned",
    needs={"doors": ("lock",)},
    uses=("locks", "zones", "dwellings", "buildings"),
    policy=("alarm_interface_test_every_months",),
    subjects=("door",),
    cause=Cause("round"),
    summary=(
        "The release of door {door} by the fire alarm {last:was last tested on %|has no test on"
        " record}; it is due every {months:month|% months}."
    ),
    evidence=("last", "months"),
    do=(
        Step(
            "See the door unlock at the next alarm test and enter the day in"
            " alarm_interface_tested.",
            who="door fitter",
            does="record",
        ),
    ),
    cites=("fire-safety-england-regulations-2022-reg-7",),
)
def alarm_interface_test_overdue(data: Dataset) -> pd.DataFrame:
    """The alarm and the lock are two systems, and the link between them fails unseen."""
    limit = found(
        data.policy.alarm_interface_test_every_months,
        doors(data).frame.index,
        facts_of_doors(data),
    )
    own = doors(data)
    alarm, reason, lacks = alarm_at(data)
    scope = np.minimum(own.per_door(all_of(own.locks.powered, own.locks.released)), alarm)
    return overdue(
        data,
        scope,
        "alarm_interface_tested",
        limit,
        "alarm-interface-test-overdue",
        reason=reason,
        lacks=lacks,
    )
