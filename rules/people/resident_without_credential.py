import numpy as np
import pandas as pd

from audit.arithmetic.columns import among
from audit.contract import Cause, Dataset, Step, does_not_apply, rule
from audit.facts.holders import in_household
from audit.facts.missing import why
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
    asked = untold(data)
    if not asked:
        nobody = pd.DataFrame({"person": [], "dwelling": [], "fails": pd.array([], "boolean")})
        return does_not_apply(nobody, "the site has neither cards nor PINs")
    here = entitled(data) & among(people["role"], "resident")
    frame = pd.DataFrame(
        {
            "person": people["person_id"],
            "dwelling": people["dwelling_id"],
            "fails": here & ~can_hold(data),
        }
    )
    absent = [t for t in asked if not data.has(t)]
    words = (
        f"there is no {absent[0]} table"
        if absent
        else "who holds some cards or PINs is not recorded"
    )
    told = why(frame["fails"], (frame["fails"].isna(), words, absent[0] if absent else None))
    return once_each(data, frame.assign(**told)[here.fillna(True)], "people", "person")


def untold(data: Dataset) -> list[str]:
    """The registers of cards and PINs, but those that the site is without."""
    return [t for t in ("cards", "pins") if t not in data.site.without]


def can_hold(data: Dataset) -> pd.Series:
    """Whether each person has a live card or PIN, their own or their dwelling's.

    Aligned with data["people"]. NA where it hangs on a card or PIN that may be live, or where a
    register, or a column of holders, is not there that the site is not said to be without.
    """
    rows = data["people"]
    tables = telling(data, "dwelling_id", "person_id")
    blind = [t for t in untold(data) if not data.has(t, "dwelling_id", "person_id")]
    unsaid = bool(blind) or not data.has("people", "dwelling_id")
    sure, may = np.zeros(len(rows), dtype=bool), np.full(len(rows), unsaid)
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
