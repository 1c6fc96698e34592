import pandas as pd

from audit.arithmetic.columns import among
from audit.contract import Cause, Dataset, Step, rule
from audit.facts.standing import entitled
from audit.facts.subjects import once_each


@rule(
    title="Resident with no dwelling",
    finds="A current resident with no dwelling entered.",
    priority="planned",
    upload=True,
    needs={"people": ("dwelling_id",)},
    policy=("departure_grace_days",),
    subjects=("person",),
    cause=Cause("column", ("=people.dwelling_id",)),
    summary="{person} is a resident but has no dwelling entered.",
    do=(
        Step(
            "Enter the dwelling, or correct the person's role.",
            who="office",
            does="record",
        ),
    ),
    cites=(
        "practice-of-door-entry-systems-4",
        "gdpr-regulation-eu-2016-679-article-5-1-d",
    ),
)
def resident_without_dwelling(data: Dataset) -> pd.DataFrame:
    """With no dwelling on record, nobody will notice when this person moves out."""
    people = data["people"]
    here = entitled(data) & among(people["role"], "resident")
    frame = pd.DataFrame(
        {"person": people["person_id"], "fails": here & data.blank("people", "dwelling_id")}
    )
    return once_each(data, frame[here.fillna(True)], "people", "person")
