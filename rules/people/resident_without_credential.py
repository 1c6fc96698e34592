import numpy as np
import pandas as pd

from audit.arithmetic.columns import among
from audit.contract import Cause, Dataset, Step, rule
from audit.facts.holders import in_household
from audit.facts.standing import entitled, live
from audit.facts.subjects import is_in, once_each
from rules.people._shared import telling


@rule(
    title="Resident with no card or PIN",
    finds="A resident with neither a live card nor a live PIN, whose dwelling has none either.",
    priority="advisory",
    upload=True,
    needs={"people": ()},
    uses=("cards", "pins"),
    policy=("departure_grace_days",),
    subjects=("person",),
    cause=Cause("person", ("person",)),
    summary="{person}{dwelling: of dwelling %|} has no live card or PIN{dwelling:, and nor has the"
    " dwelling|}.",
    evidence=("dwelling",),
    do=(
        Step(
            "Ask how they get in: a borrowed card, or one missing from the register.",
            who="office",
            does="record",
        ),
    ),
    cites=(
        "en-60839-11-1-2013-6-4",
        "practice-of-door-entry-systems-3",
    ),
)
def resident_without_credential(data: Dataset) -> pd.DataFrame:
    """Residents get in somehow. One with no card or PIN on record is using something that is
    not on record.
    """
    people = data["people"]
    here = entitled(data) & among(people["role"], "resident")
    frame = pd.DataFrame(
        {
            "person": people["person_id"],
            "dwelling": people["dwelling_id"],
            "fails": here & ~can_hold(data),
        }
    )
    return once_each(data, frame[here.fillna(True)], "people", "person")


def can_hold(data: Dataset) -> pd.Series:
    """Whether each person has a live card or PIN, their own or their dwelling's.

    Aligned with data["people"]. NA where it hangs on a credential that may be live, or where
    neither cards nor PINs are there and bound to anybody. A site with one of the two tables has
    no other credentials: many have no keypad, and so no table of PINs.
    """
    rows = data["people"]
    tables = telling(data, "dwelling_id", "person_id")
    sure, may = np.zeros(len(rows), dtype=bool), np.full(len(rows), not tables)
    for table in tables:
        alive, bound = live(data, table), in_household(data, table)["dwelling"]
        for own, theirs in (
            (rows["person_id"], data[table]["person_id"]),
            (rows["dwelling_id"], bound),
        ):
            sure |= is_in(own, theirs[alive.fillna(False)]).to_numpy()
            may |= is_in(own, theirs[alive.isna()]).to_numpy()
    if not rows["person_id"].is_unique:  # what one row of a person shows, holds for the person
        sure |= is_in(rows["person_id"], rows["person_id"][sure]).to_numpy()
    return pd.Series(sure, index=rows.index, dtype="boolean").mask(may & ~sure)
