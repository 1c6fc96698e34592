import pandas as pd

from audit.contract import Cause, Dataset, Step, rule
from rules.register._tenancies import overlapping


@rule(
    title="Two households of one dwelling at the same time",
    finds="A household that has left and the present one of the same dwelling, whose dates"
    " overlap by more than 31 days.",
    priority="advisory",
    upload=True,
    needs={"people": ("dwelling_id", "start_date", "end_date")},
    policy=("departure_grace_days",),
    subjects=("dwelling", "person"),
    anchor=("dwelling",),
    cause=Cause("dwelling", ("dwelling",)),
    summary="In dwelling {dwelling} one household left {days:1 day|% days} after the next moved"
    " in: {person}.",
    evidence=("days",),
    do=(
        Step(
            "Correct the dates, or the dwelling of whoever really lived elsewhere.",
            who="office",
            does="record",
        ),
    ),
    cites=(
        "gdpr-regulation-eu-2016-679-article-5-1-d",
        "nist-sp-800-53-rev-5-1-1-ps-5",
    ),
)
def overlapping_tenancies(data: Dataset) -> pd.DataFrame:
    """One flat can't be let to two households: a wrong date leaves somebody with access for
    longer than their stay, or takes it from them too early."""
    return overlapping(data)
