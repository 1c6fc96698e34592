import pandas as pd

from audit.arithmetic.columns import among
from audit.contract import Cause, Dataset, Step, rule
from audit.facts.holders import holder, in_household
from audit.facts.standing import live
from audit.facts.subjects import once_each


@rule(
    title="Card not registered to a dwelling",
    finds="A live ordinary card with no dwelling, its own or its holder's, unless the holder is"
    " staff, a contractor, an agent or a responder.",
    priority="planned",
    upload=True,
    needs={"cards": ("dwelling_id|person_id",)},
    uses=("people",),
    subjects=("card",),
    cause=Cause("column", ("=cards.dwelling_id",)),
    summary="Card {card} has no dwelling, its own or its holder's.",
    evidence=("holder", "role"),
    do=(
        Step(
            "Find out whose card it is and register it to their dwelling, or withdraw it"
            " if nobody carries it.",
            who="office",
            does="record",
        ),
    ),
    cites=(
        "practice-of-door-entry-systems-2",
        "nist-sp-800-53-rev-5-1-1-ac-2-3-2",
    ),
)
def card_without_dwelling(data: Dataset) -> pd.DataFrame:
    """Nobody knows whose card this is, so nobody will ask for it back when the holder leaves.

    Staff, contractors, agents and responders need no dwelling.
    """
    alive = live(data, "cards") & among(data["cards"]["kind"], "ordinary")
    held = holder(data, "cards")
    serving = held["named"] & among(held["role"], "staff", "contractor", "agent", "responder")
    frame = pd.DataFrame(
        {
            "card": data["cards"]["card_id"],
            "holder": held["person"],
            "role": held["role"],
            "fails": alive & ~in_household(data, "cards")["bound"] & ~serving,
        }
    )
    return once_each(data, frame[alive.fillna(True)], "cards", "card")
