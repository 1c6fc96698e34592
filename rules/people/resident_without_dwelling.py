import pandas as pd

from audit.arithmetic.columns import among
from audit.contract import Cause, Dataset, Step, rule
from audit.facts.standing import entitled
from audit.facts.subjects import once_each


@rule(
    title="Resident without a dwelling",
    finds="A resident who is entitled to live here and for whom no dwelling is given.",
    priority="planned",
    upload=True,
    needs={"people": ("dwelling_id",)},
    policy=("departure_grace_days",),
    subjects=("person",),
    cause=Cause("column", ("=people.dwelling_id",)),
    summary="{person} is a resident, and no dwelling is given.",
    do=(
        Step(
            "Enter the dwelling, or the role that the person really has.", who="office", does="cut"
        ),
    ),
    cites=(
        "practice-of-door-entry-systems-4",
        "gdpr-regulation-eu-2016-679-article-5-1-d",
    ),
)
def resident_without_dwelling(data: Dataset) -> pd.DataFrame:
    """Nobody will notice when this person moves out, for the register knows no home to leave."""
    people = data["people"]
    here = entitled(data) & among(people["role"], "resident")
    frame = pd.DataFrame(
        {"person": people["person_id"], "fails": here & data.blank("people", "dwelling_id")}
    )
    return once_each(data, frame[here.fillna(True)], "people", "person")
