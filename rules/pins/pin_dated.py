import pandas as pd

from audit.arithmetic.pin_risk import Dated, birth_dates
from audit.contract import Cause, Dataset, Step, rule
from audit.facts.pin_holders import in_one_finding
from rules.pins._shared import live_pins


@rule(
    title="Too many PINs look like dates of birth",
    finds="More PINs that read as a date of birth (ages 16 to 99) than chance would explain; one"
    " finding for the site.",
    priority="advisory",
    upload=True,
    needs={"pins": ("pin",)},
    policy=("pin_guesses_minimum",),
    subjects=("pin",),
    anchor=(),
    cause=Cause("rule", ("=pin-dated",)),
    summary="{count:1 PIN looks|% PINs look} like a date of birth; about {expected} would be"
    " expected by chance.",
    evidence=("count", "expected", "chance"),
    do=(
        Step(
            "Ask the holders. Replace any date-of-birth PIN with a random one.",
            who="office",
            does="cut",
        ),
    ),
    cites=(
        "bonneau-preibusch-anderson-a-birthday-present-ev",
        "the-binomial-distribution",
    ),
)
def pin_dated(data: Dataset) -> pd.DataFrame:
    """A date of birth is known to family, friends and anyone who has seen the holder's
    documents.

    One code that reads as a date may be an accident; this finding is about too many of them
    together: dates of people aged 16 to 99, in the order in which the site writes dates.
    """
    dated = birth_dated(data)
    return in_one_finding(live_pins(data), dated.beyond_chance).assign(
        count=dated.found, expected=round(dated.expected, 1), chance=round(dated.chance, 6)
    )


def birth_dated(data: Dataset) -> Dated:
    """Which live PINs read as a birth date in the site's date order, against chance.

    `reads` is NA where the digits can't be read, or it can't be told whether the PIN is live.
    """
    pins = live_pins(data)
    source = data.site.sources.get("pins")
    order = (source.date_order if source else None) or data.site.date_order
    codes = pins["secret"].mask(pins["live"].isna())
    return birth_dates(codes, data.as_of, order, data.policy.pin_guesses_minimum)
