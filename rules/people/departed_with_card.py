import pandas as pd

from audit.contract import Cause, Dataset, Step, rule
from audit.facts.holders import holder
from audit.facts.standing import live
from audit.facts.subjects import once_each
from rules.people._shared import household_first

STEPS = (
    Step(
        "Get the card back, mark it returned and delete it from every controller.",
        who="office",
        does="cut",
    ),
)


@rule(
    title="Person has left but still has a live card",
    finds="A person who has left, by status or last day, and still holds a live card.",
    priority="immediate",
    upload=True,
    needs={"cards": ("person_id",), "people": ()},
    policy=("departure_grace_days",),
    subjects=("person", "card"),
    cause=Cause("leaver", ("person",)),
    summary="{person} has left{last_day: (last day %)|} but still has live card {card}.",
    evidence=("last_day", "status"),
    do=STEPS,
    cites=(
        "nist-sp-800-53-rev-5-1-1-pe-2-d-and-ps-4",
        "iso-iec-27001-2022-annex-a-5-18-3",
    ),
)
def departed_with_card(data: Dataset) -> pd.DataFrame:
    """Somebody who no longer lives or works here can still walk in at any time."""
    cards, alive, held = data["cards"], live(data, "cards"), holder(data, "cards")
    frame = pd.DataFrame(
        {
            "person": cards["person_id"],
            "card": cards["card_id"],
            "last_day": held["end"],
            "status": held["status"],
            "fails": alive & held["departed"],
            "do": household_first(data, held["dwelling"], *STEPS),
        }
    )
    scope = alive.fillna(True) & cards["person_id"].notna()
    return once_each(data, frame[scope], "cards", "person", "card")
