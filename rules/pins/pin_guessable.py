import pandas as pd

from audit.arithmetic.pin_guessing import guessable
from audit.contract import Cause, Dataset, Step, rule
from audit.facts.subjects import once_each
from rules.pins._shared import live_pins


@rule(
    title="Easily guessed PIN",
    finds="A live PIN within the site's limit of guesses for someone who tries the likeliest"
    " codes first: popular ones, repeats, runs, keypad shapes, years and dates.",
    priority="immediate",
    upload=True,
    needs={"pins": ("pin",)},
    policy=("pin_guesses_minimum",),
    subjects=("pin",),
    cause=Cause("pin", ("pin",)),
    summary="PIN {pin} is easy to guess: {pattern}, found at about guess {tries}.",
    evidence=("pattern", "tries", "digits"),
    do=(
        Step(
            "Issue a random PIN.",
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
        "markert-bailey-golla-durmuth-aviv-this-pin-can-b",
        "nist-sp-800-63b-revision-3-5-1-1-2-2",
        "pin-analysis-datagenetics-2012",
        "order-of-the-patterns-among-themselves",
    ),
)
def pin_guessable(data: Dataset) -> pd.DataFrame:
    """People everywhere choose the same few codes, and an intruder tries those first.

    A code counts as guessable when an informed guesser comes to it within the tries that the
    site's policy names: at six digits and more; within a tenth of them at fewer.
    """
    pins = live_pins(data)
    guess = guessable(pins["secret"], data.policy.pin_guesses_minimum)
    pins = pins.assign(
        pattern=guess["pattern"], tries=guess["told"], fails=pins["live"] & guess["easy"]
    )
    return once_each(data, pins, "pins", "pin")
