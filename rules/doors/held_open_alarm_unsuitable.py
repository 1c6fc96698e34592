import numpy as np
import pandas as pd

from audit.arithmetic.freedom import any_of, is_word, opposite
from audit.arithmetic.three import NO, YES, coded
from audit.contract import Cause, Dataset, Step, rule
from audit.facts.buildings import at_place
from audit.facts.doors import doors, judged, words

SOONEST_S = 10


@rule(
    title="Held-open alarm that is missing, too soon or too late",
    finds=(
        "A monitored door without a held-open alarm or with one sooner than 10 seconds;"
        " advisory: later than the site's longest setting, sheltered housing aside."
    ),
    priority="planned",
    upload=True,
    needs={"doors": ("status_monitor", "held_open_alarm_s")},
    uses=("zones", "dwellings", "buildings"),
    policy=("held_open_alarm_seconds",),
    subjects=("door",),
    cause=Cause("door", ("door",)),
    summary=(
        "Door {door} is monitored and {alarm_s:alarms after % s|has no held-open alarm};"
        " {soonest_s} to {latest_s} s is suitable."
    ),
    evidence=("alarm_s", "soonest_s", "latest_s"),
    do=(
        Step(
            "Set the held-open alarm of this door within the limits and enter it in the"
            " register; a longer opening time that people need is shortened only after asking"
            " those who use the door.",
            who="panel technician",
            does="fit",
        ),
    ),
    cites=("en-60839-11-1-2013-access-point-status-monitorin-2", "installers-of-door-panels-2"),
)
def held_open_alarm_unsuitable(data: Dataset) -> pd.DataFrame:
    """A contact without an alarm watches in vain, and an alarm that is too soon is soon ignored."""
    own = doors(data)
    frame = own.frame
    monitored = opposite(is_word(words(frame["status_monitor"]), "none"))
    alarm, latest = frame["held_open_alarm_s"], data.policy.held_open_alarm_seconds
    blank = coded(data.blank("doors", "held_open_alarm_s").loc[frame.index])
    soon = any_of(blank, coded((alarm < SOONEST_S).astype("boolean").mask(blank == YES, False)))
    late = coded((alarm > latest).astype("boolean").mask(blank == YES, False))
    sheltered = words(at_place(data, "use"))[frame.index] == "sheltered"
    late = np.where(sheltered, NO, late).astype(np.int8)
    return judged(
        data,
        monitored,
        any_of(soon, late),
        ("status_monitor", "held_open_alarm_s"),
        life_safety=False,
        alarm_s=alarm,
        soonest_s=SOONEST_S,
        latest_s=latest,
        priority=np.where(soon == YES, "planned", "advisory"),
    )
