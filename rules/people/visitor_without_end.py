import pandas as pd

from audit.arithmetic.columns import among
from audit.contract import Cause, Dataset, Step, rule
from audit.facts.standing import entitled
from audit.facts.subjects import once_each


@rule(
    title="Contractor or visitor without a last day",
    finds="An entitled contractor or visitor for whom no last day is given.",
    priority="planned",
    upload=True,
    needs={"people": ("role", "end_date")},
    policy=("departure_grace_days",),
    subjects=("person",),
    cause=Cause("column", ("=people.end_date",)),
    summary="{person}, a {role}, has no end date.",
    evidence=("role",),
    do=(Step("Enter the day on which the work or the visit ends.", who="office", does="cut"),),
    cites=(
        "iso-iec-27001-2022-annex-a-5-18-2",
        "nist-sp-800-53-rev-5-1-1-ac-2",
    ),
)
def visitor_without_end(data: Dataset) -> pd.DataFrame:
    """Without a last day nothing ever reminds anybody to take the access back."""
    people = data["people"]
    here = entitled(data) & among(people["role"], "contractor", "visitor")
    frame = pd.DataFrame(
        {
            "person": people["person_id"],
            "role": people["role"],
            "fails": here & data.blank("people", "end_date"),
        }
    )
    return once_each(data, frame[here.fillna(True)], "people", "person")
