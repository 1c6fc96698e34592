import pandas as pd

from audit.arithmetic.pin_guessing import guessable
from audit.contract import OUT, Dataset, Example, Reference, rule
from audit.facts.subjects import once_each
from rules.pins._shared import live_pins


@rule(
    title="PIN that a guesser tries early",
    finds="A live PIN that somebody who tries the likeliest codes of its length first (popular"
    " ones, repeats, runs, keypad shapes, years and dates) reaches within the number of tries"
    " that the site sets.",
    priority="immediate",
    upload=True,
    needs={"pins": ("pin",)},
    policy=("pin_guesses_minimum",),
    subjects=("pin",),
    summary="PIN {pin} is among the first that a guesser tries: {pattern}, about try {tries}.",
    evidence=("pattern", "tries", "digits"),
    remedy="Give the holder a PIN chosen at random, and delete this one everywhere.",
    references=(
        Reference(
            "Markert, Bailey, Golla, Dürmuth, Aviv: This PIN Can Be Easily Guessed, IEEE S&P 2020",
            "easy lists in wide use hold 274 codes of four digits and 2,910 of six; refusing the "
            "most popular codes is what helps",
            sure="read",
        ),
        Reference(
            "NIST SP 800-63B revision 3, 5.1.1.2",
            "secrets that are common, repetitive or sequential are refused",
            sure="read",
        ),
        Reference(
            "PIN analysis, DataGenetics 2012",
            "the most popular code has a share of 10.7 %, the first twenty of 26.8 %",
            sure="quoted",
        ),
        Reference(
            "Order of the patterns among themselves",
            "small patterns first",
            sure="common practice, no source",
        ),
    ),
)
def pin_guessable(data: Dataset) -> pd.DataFrame:
    """People choose the same few codes everywhere, and whoever wants in tries those first.

    A code counts as guessable when an informed guesser comes to it within the tries that the
    site's policy names: at six digits and more; within a tenth of them at fewer.
    """
    pins = live_pins(data)
    guess = guessable(pins["secret"], data.policy.pin_guesses_minimum)
    pins = pins.assign(
        pattern=guess["pattern"], tries=guess["told"], fails=pins["live"] & guess["easy"]
    )
    return once_each(data, pins, "pins", "pin")


EXAMPLES = (
    Example(
        "repeats, runs, keypad lines, pairs in turn; a code without pattern is in order",
        """
        pins
        pin_id | pin      | status
        P1     | 000000   |
        P2     | 456789   |
        P3     | 147258   |
        P4     | 838383   |
        P5     | 839146   |
        P6     | 2580     |
        P7     | 8391     |
        P8     | ****     |
        P9     | 000000   | suspended
        P10    | 000000   | perhaps
        P11    | 839146   | perhaps
        P12    | 12345678 |
        P13    | 83914602 |
        """,
        expect={
            "P1": True,
            "P2": True,
            "P3": True,
            "P4": True,
            "P5": False,
            "P6": True,
            "P7": False,
            "P8": None,
            "P9": OUT,
            "P10": None,
            "P11": False,
            "P12": True,
            "P13": False,
        },
    ),
    Example(
        "the last code within the limit, and the first beyond it",
        """
        pins
        pin_id | pin
        P1     | 999998
        P2     | 258025
        P3     | 7667
        P4     | 7890
        """,
        expect={"P1": True, "P2": False, "P3": True, "P4": False},
    ),
    Example(
        "the limit is the site's own",
        """
        pins
        pin_id | pin
        P1     | 123456
        P2     | 654321
        P3     | 1234
        """,
        policy={"pin_guesses_minimum": 1},
        expect={"P1": True, "P2": False, "P3": False},
    ),
)
