import pandas as pd

from audit.contract import OUT, Dataset, Example, Reference, rule
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
    summary="Door {door} is monitored, but its held-open alarm"
    " {alarm_s:sounds after % second|sounds after % seconds|sounds at once|is not given};"
    " {soonest_s} to {latest_s} seconds are suitable.",
    evidence=("alarm_s", "soonest_s", "latest_s"),
    remedy="Set the held-open time of this door within the limits, and enter it in the register.",
    references=(
        Reference(
            "EN 60839-11-1:2013, Access point status monitoring, Table 2 C line 21",
            "a permitted open time of 10 s or more is recommended; no upper limit is given",
            sure="read",
        ),
        Reference(
            "Installers of door panels", "15 to 60 s are usual", sure="common practice, no source"
        ),
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


EXAMPLES = (
    Example(
        "10 s and 60 s are the limits themselves; without an alarm is a finding",
        """
        doors
        door_id | status_monitor   | held_open_alarm_s
        LEAST   | contact          | 10
        SOON    | contact          | 9
        MOST    | contact-and-bolt | 60
        LATE    | contact          | 61
        ZERO    | contact          | 0
        WITHOUT | contact          |
        BLIND   | none             |
        TEXT    | contact          | soon
        MONITOR |                  | 61
        """,
        expect={
            "LEAST": False,
            "SOON": True,
            "MOST": False,
            "LATE": True,
            "ZERO": True,
            "WITHOUT": True,
            "BLIND": OUT,
            "TEXT": None,
            "MONITOR": None,
        },
    ),
    Example(
        "the site's own limit",
        """
        doors
        door_id | status_monitor | held_open_alarm_s
        A       | contact        | 30
        B       | contact        | 31
        """,
        policy={"held_open_alarm_seconds": 30},
        expect={"A": False, "B": True},
    ),
)
