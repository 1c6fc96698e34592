import pandas as pd

from audit.arithmetic.columns import among
from audit.contract import Cause, Dataset, Step, rule
from audit.facts.holders import holder
from audit.facts.standing import live
from audit.facts.subjects import once_each
from rules.people._shared import household_first

STEPS = (Step("Delete the PIN from every controller.", who="panel technician", does="cut"),)


@rule(
    title="Person has left but still has a live PIN",
    finds="A person who has left and still has a live personal or duress PIN.",
    priority="immediate",
    upload=True,
    needs={"pins": ("person_id",), "people": ()},
    policy=("departure_grace_days",),
    subjects=("person", "pin"),
    cause=Cause("leaver", ("person",)),
    summary="{person} has left{last_day: (last day %)|} but {kind} PIN {pin} is still live.",
    evidence=("last_day", "status", "kind"),
    do=STEPS,
    cites=(
        "nist-sp-800-53-rev-5-1-1-pe-2-d-and-ps-4",
        "nist-sp-800-53-rev-5-1-1-pe-3-g-2",
    ),
)
def departed_with_pin(data: Dataset) -> pd.DataFrame:
    """A PIN cannot be handed back. Until it is deleted, whoever left can still come in."""
    pins, held = data["pins"], holder(data, "pins")
    own = live(data, "pins") & among(pins["kind"], "personal", "duress")
    frame = pd.DataFrame(
        {
            "person": pins["person_id"],
            "pin": pins["pin_id"],
            "last_day": held["end"],
            "status": held["status"],
            "kind": pins["kind"],
            "fails": own & held["departed"],
            "do": household_first(data, held["dwelling"], *STEPS),
        }
    )
    scope = own.fillna(True) & pins["person_id"].notna()
    return once_each(data, frame[scope], "pins", "person", "pin")
