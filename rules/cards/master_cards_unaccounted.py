import pandas as pd

from audit.arithmetic.columns import among
from audit.contract import Cause, Dataset, Step, rule
from audit.facts.missing import why
from audit.facts.standing import live

UNHELD = "live master cards with no holder"
TOO_FEW = "fewer master cards in the register than were delivered"


@rule(
    title="Master cards not accounted for",
    finds="A live master card that no person holds, or fewer master cards in the register,"
    " whatever their status, than were ever delivered to the site. One finding for all of them.",
    priority="planned",
    needs={"cards": ("kind",)},
    subjects=("card",),
    anchor=(),
    cause=Cause("rule", ("=master-cards-unaccounted",)),
    summary="Master cards are not accounted for{unheld:; 1 live master card has no holder|; %"
    " live master cards have no holder|}{missing:; 1 master card that was delivered is not in"
    " the register|; % master cards that were delivered are not in the register|}.",
    evidence=("faults", "unheld", "missing", "registered", "delivered"),
    do=(
        Step(
            "Find out who has each master card and record it. If one cannot be found, have the"
            " doors it opens changed to a new master card.",
            who="office",
            does="record",
        ),
    ),
    cites=("nist-sp-800-53-rev-5-1-1-pe-3-e-f",),
)
def master_cards_unaccounted(data: Dataset) -> pd.DataFrame:
    """A master card opens every door. One that nobody answers for may be in anyone's pocket."""
    cards, delivered = data["cards"], data.site.cards.master_cards
    master, alive = among(cards["kind"], "master"), live(data, "cards")
    unheld = alive & master & data.blank("cards", "person_id")
    known = cards.loc[master.fillna(False), "card_id"]
    perhaps = cards.loc[master.fillna(True), "card_id"].nunique()
    lost = cards.loc[unheld.fillna(False), "card_id"].nunique()
    missing = 0 if delivered is None else delivered - known.nunique()
    short = delivered is not None and perhaps < delivered
    clear = missing <= 0 and not unheld.isna().any()
    row = {
        "card": sorted(set(known)),
        "faults": [UNHELD] * (lost > 0) + [TOO_FEW] * short,
        "unheld": lost or None,
        "missing": missing if short else None,
        "registered": known.nunique(),
        "delivered": delivered,
        "sources": [("cards", int(n)) for n in (known.index if len(known) else cards.index[:1])],
    }
    asked = delivered is not None or (alive & master).fillna(True).any()
    frame = pd.DataFrame([row][: int(asked)], columns=list(row), dtype=object)
    verdict = True if row["faults"] else False if clear else pd.NA
    fails = pd.Series(verdict, index=frame.index, dtype="boolean")
    told = why(
        fails, (fails.isna(), "what some cards are, or who holds them, is not recorded", None)
    )
    return frame.assign(fails=fails, **told)
