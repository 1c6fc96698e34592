import pandas as pd

from audit.contract import OUT, Dataset, Example, Reference, rule
from audit.facts.subjects import once_each
from rules.pins._shared import live_pins


@rule(
    title="Shared code that has not been changed for too long",
    finds="A shared or delivery PIN that was set longer ago than the site allows.",
    priority="planned",
    needs={"pins": ("kind", "set_on")},
    policy=("shared_pin_maximum_age_days",),
    subjects=("pin",),
    summary="PIN {pin} ({kind}) was set {age_days:1 day|% days} ago; {most_days:1 is|% are} the"
    " most here.",
    evidence=("kind", "set_on", "age_days", "most_days"),
    remedy="Change the code, and tell those who need it.",
    references=(
        Reference(
            "NIST SP 800-53 revision 5.1.1, PE-3 (g)",
            "combinations are changed at a set frequency",
            sure="read",
        ),
        Reference("Managing agents", "every quarter", sure="common practice, no source"),
    ),
)
def pin_shared_too_old(data: Dataset) -> pd.DataFrame:
    """The longer a shared code lives, the more people know it, and nobody can say who."""
    pins = live_pins(data)
    pins = pins[pins["kind"].isin(("shared", "delivery")) | pins["kind"].isna()]
    age = (data.today - pins["set_on"]).dt.days.astype("Int64")
    most = data.policy.shared_pin_maximum_age_days
    fails = (pins["live"] & (age > most)).mask(pins["kind"].isna())
    pins = pins.assign(age_days=age, most_days=most, fails=fails)
    return once_each(data, pins, "pins", "pin")


EXAMPLES = (
    Example(
        "ninety days are in order",
        """
        pins
        pin_id | kind     | set_on     | status
        P1     | shared   | 2026-07-01 |
        P2     | shared   | 2026-07-02 |
        P3     | delivery | 2026-07-01 |
        P4     | shared   |            |
        P5     | personal | 2020-01-01 |
        P6     | shared   | 2020-01-01 | suspended
        P7     | shared   | 2020-01-01 | perhaps
        P8     | shared   | 2026-09-01 | perhaps
        P9     |          | 2020-01-01 |
        """,
        expect={
            "P1": True,
            "P2": False,
            "P3": True,
            "P4": None,
            "P5": OUT,
            "P6": OUT,
            "P7": None,
            "P8": False,
            "P9": None,
        },
    ),
)
