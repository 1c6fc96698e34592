import pandas as pd

from audit.contract import Cause, Dataset, Step, rule
from audit.facts.subjects import once_each
from rules.pins._shared import live_pins


@rule(
    title="PIN too short",
    finds="A live PIN with fewer digits than the site's minimum.",
    priority="immediate",
    upload=True,
    needs={"pins": ("pin",)},
    policy=("pin_minimum_digits",),
    subjects=("pin",),
    cause=Cause("codes"),
    summary="PIN {pin} has {digits:1 digit|% digits}; the site requires {minimum}.",
    evidence=("digits", "minimum"),
    do=(
        Step(
            "Issue a longer random PIN.",
            who="office",
            does="cut",
        ),
        Step(
            "Delete this one from every panel and controller.",
            who="panel technician",
            does="cut",
        ),
    ),
    cites=(
        "nist-sp-800-63b-revision-3-5-1-1-1-and-5-1-1-2",
        "iso-9564-1-pin-length",
        "installers-of-door-panels-3",
    ),
)
def pin_too_short(data: Dataset) -> pd.DataFrame:
    """Each digit fewer makes a PIN ten times easier to guess.

    At a door with many residents every try tests all their codes at once.
    """
    pins = live_pins(data)
    minimum = data.policy.pin_minimum_digits
    pins = pins.assign(minimum=minimum, fails=pins["live"] & (pins["digits"] < minimum))
    return once_each(data, pins, "pins", "pin")
