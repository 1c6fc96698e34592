import pandas as pd

from audit.arithmetic.pin_risk import Dated, birth_dates
from audit.contract import OUT, Dataset, Example, Reference, rule
from audit.facts.pin_holders import in_one_finding
from rules.pins._shared import live_pins


@rule(
    title="More birth dates among the PINs than chance explains",
    finds="More PINs that read as a date of birth, of people aged 16 to 99, than chance"
    " explains; one finding for the whole site.",
    priority="advisory",
    upload=True,
    needs={"pins": ("pin",)},
    policy=("pin_guesses_minimum",),
    subjects=("pin",),
    summary="{count:1 PIN reads|% PINs read} as a date of birth; chance explains about {expected}.",
    evidence=("count", "expected", "chance"),
    remedy="Ask the holders whether the code is a birth date, and give those a random one.",
    references=(
        Reference(
            "Bonneau, Preibusch, Anderson: A birthday present every eleven wallets? FC 2012",
            "nearly 7 % of people use their own birth date, and a thief who knows it is ahead",
            sure="quoted",
        ),
        Reference(
            "The binomial distribution",
            "the chance that so many codes or more read as dates by accident",
            sure="from memory",
        ),
    ),
)
def pin_dated(data: Dataset) -> pd.DataFrame:
    """A birth date is known to family, friends and whoever has seen a paper of its holder.

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


EXAMPLES = (
    Example(
        "two codes of five that read as dates: eight or nine in a thousand",
        """
        pins
        pin_id | pin    | status
        P1     | 170583 |
        P2     | 241171 |
        P3     | 839146 |
        P4     | 911460 |
        P5     | 740962 |
        P6     | ****   |
        P7     | 170583 | suspended
        P8     | 261190 | perhaps
        """,
        expect={
            "P1+P2": True,
            "P3": False,
            "P4": False,
            "P5": False,
            "P6": None,
            "P7": OUT,
            "P8": None,
        },
    ),
    Example(
        "two of six: more than one in a hundred",
        """
        pins
        pin_id | pin
        P1     | 170583
        P2     | 241171
        P3     | 839146
        P4     | 911460
        P5     | 740962
        P6     | 597380
        P7     | ****
        """,
        expect={
            "P1": False,
            "P2": False,
            "P3": False,
            "P4": False,
            "P5": False,
            "P6": False,
            "P7": None,
        },
    ),
    Example(
        "sixteen today, and 99 until tomorrow; the days beside them are no dates of residents",
        """
        pins
        pin_id | pin
        P1     | 30092010
        P2     | 01101926
        P3     | 01102010
        P4     | 30091926
        """,
        expect={"P1+P2": True, "P3": False, "P4": False},
    ),
    Example(
        "the site writes the year first",
        """
        pins
        pin_id | pin
        P1     | 831705
        P2     | 710524
        P3     | 830517
        """,
        site={"date_order": "ymd"},
        expect={"P2+P3": True, "P1": False},
    ),
)
