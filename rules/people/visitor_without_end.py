import pandas as pd

from audit.arithmetic.columns import among
from audit.contract import Cause, Dataset, Step, rule
from audit.facts.holders import called_out
from audit.facts.missing import CALL_OUT, why
from audit.facts.standing import entitled
from audit.facts.subjects import once_each


@rule(
    title="Contractor or visitor with no end date",
    finds="A current contractor or visitor with no end date, who is not called out at any hour.",
    priority="planned",
    upload=True,
    needs={"people": ("role", "end_date")},
    policy=("departure_grace_days",),
    subjects=("person",),
    cause=Cause("column", ("=people.end_date",)),
    summary="{person}, a {role}, has no end date.",
    evidence=("role",),
    do=(
        Step(
            "If the person frees people from lifts, silences alarms or cares for a"
            " resident at night, record it under call_out.",
            who="office",
            does="record",
        ),
        Step(
            "Enter the date the work or visit ends.",
            who="office",
            does="record",
        ),
    ),
    cites=(
        "iso-iec-27001-2022-annex-a-5-18-2",
        "nist-sp-800-53-rev-5-1-1-ac-2",
    ),
)
def visitor_without_end(data: Dataset) -> pd.DataFrame:
    """Without an end date, nothing prompts anyone to remove the access."""
    people = data["people"]
    asked = called_out(data)
    here = entitled(data) & among(people["role"], "contractor", "visitor") & ~asked
    frame = pd.DataFrame(
        {
            "person": people["person_id"],
            "role": people["role"],
            "fails": here & data.blank("people", "end_date"),
        }
    )
    frame = frame.assign(**why(frame["fails"], (asked.isna(), CALL_OUT, "people.call_out")))
    return once_each(data, frame[here.fillna(True)], "people", "person")
