import pandas as pd

from audit.contract import Cause, Dataset, Step, rule
from audit.trade.escape import doors

SOONEST_S = 10  # EN 60839-11-1: a permitted open time of 10 s or more is recommended


@rule(
    title="Held-open alarm missing, too soon or too late",
    finds="A door with a status monitor whose held-open alarm is missing, sounds sooner than 10"
    " seconds, or later than the site allows.",
    priority="planned",
    upload=True,
    needs={"doors": ("status_monitor", "held_open_alarm_s")},
    policy=("held_open_alarm_seconds",),
    subjects=("door",),
    cause=Cause("door", ("door",)),
    summary="Door {door} is monitored, but its held-open alarm"
    " {alarm_s:sounds after % second|sounds after % seconds|sounds at once|is not given};"
    " {soonest_s} to {latest_s} seconds are suitable.",
    evidence=("alarm_s", "soonest_s", "latest_s"),
    do=(
        Step(
            "Set the held-open time of this door within the limits, and enter it in the register.",
            who="door fitter",
            does="fit",
        ),
    ),
    cites=(
        "en-60839-11-1-2013-access-point-status-monitorin-2",
        "installers-of-door-panels-2",
    ),
)
def held_open_alarm_unsuitable(data: Dataset) -> pd.DataFrame:
    """A contact without an alarm watches in vain; an alarm that is too soon is soon ignored."""
    own = doors(data, "status_monitor", "held_open_alarm_s")
    monitored = own["status_monitor"] != "none"
    own = own.assign(monitored=monitored)[monitored.fillna(True)]
    alarm, latest = own["held_open_alarm_s"], data.policy.held_open_alarm_seconds
    unsuitable = data.blank("doors", "held_open_alarm_s") | (alarm < SOONEST_S) | (alarm > latest)
    return own.assign(
        alarm_s=alarm, soonest_s=SOONEST_S, latest_s=latest, fails=own["monitored"] & unsuitable
    )
