import pandas as pd

from audit.contract import Cause, Dataset, Step, rule
from rules.register._doubles import listed_twice


@rule(
    title="One person listed twice",
    finds="Two entitled people with the same name in one dwelling, or with the same phone and"
    " nearly the same name.",
    priority="advisory",
    upload=True,
    needs={"people": ("name",)},
    policy=("departure_grace_days",),
    subjects=("person",),
    anchor=("person",),
    cause=Cause("person", ("person",)),
    summary="{person} seem to be one person: {alike}.",
    evidence=("alike",),
    do=(
        Step(
            "Keep one row, and move cards, PINs and permissions to it.", who="office", does="record"
        ),
    ),
    cites=(
        "gdpr-regulation-eu-2016-679-article-5-1-d",
        "en-60839-11-1-2013-6-4",
    ),
)
def person_listed_twice(data: Dataset) -> pd.DataFrame:
    """When this person leaves, one row is ended and the other goes on opening doors."""
    rows = listed_twice(data)
    judged = rows["twice"].astype("boolean")
    return rows.assign(fails=judged.mask(rows["unclear"] & ~rows["twice"]))
