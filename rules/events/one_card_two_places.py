import pandas as pd

from audit.contract import OUT, Dataset, Example, Reference, rule
from audit.trade.activity import two_places


@rule(
    title="One card at two places at once",
    finds="One card that opened two doors without a common zone within fewer seconds than the"
    " site thinks possible.",
    priority="planned",
    needs={
        "events": ("card_number",),
        "cards": (),
        "doors": ("inside_zone", "outside_zone"),
    },
    policy=("travel_seconds_minimum",),
    subjects=("card",),
    summary="Card {card} opened {doors:door %|doors %}, which share no zone, too soon after one"
    " another: {times}.",
    evidence=("doors", "times"),
    remedy="Take the card back, find out whether there is a copy of it, and issue one that"
    " can't be copied.",
    references=(
        Reference(
            "EN 60839-11-1:2013, Table 7 line 19",
            "token data protected against copying: mandatory at grades 3 and 4",
            sure="read",
        ),
        Reference(
            "NIST SP 800-53 rev 5.1.1, PE-6",
            "access out of sequence is suspicious",
            sure="read",
        ),
    ),
)
def one_card_two_places(data: Dataset) -> pd.DataFrame:
    """Nobody walks that fast: there are two cards with one number, or a controller's clock is off.

    Not judged where no time of the file tells seconds.
    """
    return two_places(data, data.policy.travel_seconds_minimum)


_SITE = """
        cards
        card_id | number
        C1      | 1001
        C2      | 1002
        C3      | 1003
        C4      | 1004
        C5      | 1005
        C6      | 1006

        doors
        door_id | inside_zone | outside_zone
        D1      | hall        | street
        D2      | garage      | ramp
        D3      | stair       | hall
        D4      |             | ramp
"""

EXAMPLES = (
    Example(
        "five seconds are enough, and neighbouring doors share a zone",
        f"""
        events
        time                 | door_id | event   | card_number
        2026-09-01T10:00:00Z | D1      | granted | 1001
        2026-09-01T10:00:04Z | D2      | granted | 1001
        2026-09-01T10:00:00Z | D1      | granted | 1002
        2026-09-01T10:00:05Z | D2      | granted | 1002
        2026-09-01T10:00:00Z | D1      | granted | 1003
        2026-09-01T10:00:01Z | D3      | granted | 1003
        2026-09-01T10:00:02Z | D1      | granted | 1003
        2026-09-01T10:00:00Z | D1      | granted | 1004
        2026-09-01T10:00:04Z | D4      | granted | 1004
        2026-09-01T10:00:00Z | D1      | granted | 1005
        2026-09-01T10:00:04Z | D2      | denied  | 1005
        2026-09-01T10:00:00Z | D1      | denied  | 1006
        2026-09-01T10:00:00Z | D1      | granted | 1009
{_SITE}""",
        expect={
            "C1": True,
            "C2": False,
            "C3": False,
            "C4": None,
            "C5": False,
            "C6": OUT,
        },
    ),
    Example(
        "the site may ask for more",
        f"""
        events
        time                 | door_id | event   | card_number
        2026-09-01T10:00:00Z | D1      | granted | 1002
        2026-09-01T10:00:05Z | D2      | granted | 1002
{_SITE}""",
        policy={"travel_seconds_minimum": 5.5},
        expect={"C2": True},
    ),
    Example(
        "times in full minutes tell nothing of seconds",
        f"""
        events
        time                 | door_id | event   | card_number
        2026-09-01T10:00:00Z | D1      | granted | 1001
        2026-09-01T10:00:00Z | D2      | granted | 1001
{_SITE}""",
        expect={"C1": None},
    ),
)
