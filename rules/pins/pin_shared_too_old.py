import pandas as pd

from audit.contract import Cause, Dataset, Step, rule
from audit.facts.subjects import once_each
from rules.pins._shared import live_pins


@rule(
    title="Shared PIN not changed for too long",
    finds="A shared or delivery PIN that was set longer ago than the site allows.",
    priority="planned",
    needs={"pins": ("kind", "set_on")},
    policy=("shared_pin_maximum_age_days",),
    subjects=("pin",),
    cause=Cause("pin", ("pin",)),
    summary="PIN {pin} ({kind}) was set {age_days:1 day|% days} ago; the site allows {most_days}.",
    evidence=("kind", "set_on", "age_days", "most_days"),
    do=(
        Step(
            "Change the PIN and tell those who need it.",
            who="office",
            does="cut",
        ),
    ),
    cites=(
        "nist-sp-800-53-revision-5-1-1-pe-3-g",
        "managing-agents",
    ),
)
def pin_shared_too_old(data: Dataset) -> pd.DataFrame:
    """The longer a shared PIN is in use, the more people know it, and nobody can say who."""
    pins = live_pins(data)
    pins = pins[pins["kind"].isin(("shared", "delivery")) | pins["kind"].isna()]
    age = (data.today - pins["set_on"]).dt.days.astype("Int64")
    most = data.policy.shared_pin_maximum_age_days
    fails = (pins["live"] & (age > most)).mask(pins["kind"].isna())
    pins = pins.assign(age_days=age, most_days=most, fails=fails)
    return once_each(data, pins, "pins", "pin")
