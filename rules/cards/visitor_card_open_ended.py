import pandas as pd

from audit.arithmetic.columns import among
from audit.contract import Cause, Dataset, Step, rule
from audit.facts.holders import holder
from audit.facts.missing import CALL_OUT, why
from audit.facts.standing import live
from audit.facts.subjects import once_each


@rule(
    title="Contractor or visitor card without a suitable end date",
    finds="A live card of a contractor or visitor who is not called out, with no end date, or"
    " valid for longer than the site allows without a review.",
    priority="planned",
    upload=True,
    needs={"cards": ("person_id", "valid_to"), "people": ("role",)},
    policy=("visitor_credential_days",),
    subjects=("card",),
    cause=Cause("column", ("=cards.valid_to",)),
    summary="Card {card}, held by a {role}, {valid_to:is valid until %|has no end date}; the site"
    " allows {limit:1 day|% days}.",
    evidence=("role", "valid_to", "days", "limit"),
    do=(
        Step(
            "If the person frees people from lifts, silences alarms or cares for a"
            " resident at night, record it under call_out.",
            who="office",
            does="record",
        ),
        Step(
            "Set an end date within the site's limit, and renew only after a review.",
            who="office",
            does="record",
        ),
    ),
    cites=(
        "nist-sp-800-53-rev-5-1-1-ac-2",
        "iso-iec-27001-2022-annex-a-5-18-2",
    ),
)
def visitor_card_open_ended(data: Dataset) -> pd.DataFrame:
    """Jobs end and visitors leave. A card without an end date stays live after the reason for
    it has gone.
    """
    cards, alive, held = data["cards"], live(data, "cards"), holder(data, "cards")
    scope = alive & among(held["role"], "contractor", "visitor") & ~held["call_out"]
    days, limit = days_valid(data), data.policy.visitor_credential_days
    frame = pd.DataFrame(
        {
            "card": cards["card_id"],
            "role": held["role"],
            "valid_to": cards["valid_to"],
            "days": days,
            "limit": limit,
            "fails": scope & (data.blank("cards", "valid_to") | (days > limit)),
        }
    )
    frame = frame.assign(
        **why(
            frame["fails"],
            (held["role"].isna(), "who holds some cards, or in what role, is not recorded", None),
            (held["call_out"].isna(), CALL_OUT, "people.call_out"),
            (days.isna(), "the first day of some cards is not recorded", "cards.valid_from"),
        )
    )
    named = scope.fillna(True) & cards["person_id"].notna()
    return once_each(data, frame[named], "cards", "card")


def days_valid(data: Dataset) -> pd.Series:
    """Days from `valid_from`, where blank from `issued_on`, to `valid_to` (Int64).

    NA where an end is not given or not readable.
    """
    cards = data["cards"]
    start = cards["valid_from"].fillna(cards["issued_on"])
    start = start.mask(data.unread("cards", "valid_from"))
    return (cards["valid_to"] - start).dt.days.astype("Int64")
