import pandas as pd

from audit.contract import OUT, Dataset, Example, Reference, rule
from audit.facts.subjects import once_each
from rules.pins._shared import live_pins


@rule(
    title="PIN shorter than the site allows",
    finds="A live PIN with fewer digits than the site's minimum.",
    priority="immediate",
    upload=True,
    needs={"pins": ("pin",)},
    policy=("pin_minimum_digits",),
    subjects=("pin",),
    summary="PIN {pin} has {digits:1 digit|% digits}; {minimum:1 is|% are} the fewest allowed"
    " here.",
    evidence=("digits", "minimum"),
    remedy="Give the holder a longer PIN, chosen at random, and delete this one everywhere.",
    references=(
        Reference(
            "NIST SP 800-63B revision 3, 5.1.1.1 and 5.1.1.2",
            "a secret of digits chosen at random by the provider has at least six",
            sure="read",
        ),
        Reference("ISO 9564-1, PIN length", "4 to 12 digits", sure="quoted"),
        Reference("Installers of door panels", "six digits", sure="common practice, no source"),
    ),
)
def pin_too_short(data: Dataset) -> pd.DataFrame:
    """Every digit fewer makes a code ten times easier to find by trying.

    At a door with many residents every try tests all their codes at once.
    """
    pins = live_pins(data)
    minimum = data.policy.pin_minimum_digits
    pins = pins.assign(minimum=minimum, fails=pins["live"] & (pins["digits"] < minimum))
    return once_each(data, pins, "pins", "pin")


EXAMPLES = (
    Example(
        "the fewest digits themselves are in order, and a PIN that can't be read is unclear",
        """
        pins
        pin_id | pin    | status    | valid_to
        P1     | 83914  |           |
        P2     | 839146 |           |
        P3     | ****   |           |
        P4     | 83914  | suspended |
        P5     | 83914  |           | 2026-09-30
        P6     | 83914  |           | 2026-09-29
        P7     | 83914  | perhaps   |
        P8     | 839146 | perhaps   |
        """,
        expect={
            "P1": True,
            "P2": False,
            "P3": None,
            "P4": OUT,
            "P5": True,
            "P6": OUT,
            "P7": None,
            "P8": False,
        },
    ),
    Example(
        "a site may ask for fewer",
        """
        pins
        pin_id | pin
        P1     | 839
        P2     | 8391
        """,
        policy={"pin_minimum_digits": 4},
        expect={"P1": True, "P2": False},
    ),
)
