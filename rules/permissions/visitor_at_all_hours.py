from collections.abc import Sequence

import pandas as pd

from audit.contract import TEXT, Cause, Dataset, Step, rule
from audit.facts.holders import called_out
from audit.facts.missing import CALL_OUT, why
from audit.facts.permissions import holders
from audit.facts.standing import by_id


@rule(
    title="Contractor or visitor with access at any time",
    finds="A contractor or visitor, not called out at any hour, with a permission that has no"
    " schedule.",
    priority="planned",
    upload=True,
    needs={"people": ("role",), "permissions": ("schedule_id",)},
    uses=("cards", "pins"),
    subjects=("person",),
    cause=Cause("column", ("=permissions.schedule_id",)),
    summary="{person} has {permissions:permission %|permissions %} with no schedule: any day, any"
    " time.",
    evidence=("permissions",),
    do=(
        Step(
            "If the person frees people from lifts, silences alarms or cares for a"
            " resident at night, record it under call_out.",
            who="office",
            does="record",
        ),
        Step(
            "Add a schedule covering the hours they are expected.",
            who="office",
            does="cut",
        ),
    ),
    cites=(
        "nist-sp-800-53-rev-5-1-1-ac-2-2",
        "nist-sp-800-53-rev-5-1-1-pe-6-2",
    ),
)
def visitor_at_all_hours(data: Dataset) -> pd.DataFrame:
    """Someone here for a job or a visit can come back at three in the morning."""
    people = unbound(data, ("contractor", "visitor"))
    asked = called_out(data).reindex(people.index)
    people = people.assign(asked=asked)[~asked.fillna(False)]
    asked = people["asked"]
    fails = people["unbound"] & ~asked
    return people.assign(fails=fails, **why(fails, (asked.isna(), CALL_OUT, "people.call_out")))


def unbound(data: Dataset, roles: Sequence[str]) -> pd.DataFrame:
    """People of these roles, and their permissions in force that no schedule binds.

    Index: labels of the people table. Columns `person`, `unbound` (nullable boolean),
    `permissions` (list of ids, None where there is none) and `sources`.
    """
    table = data["permissions"]
    people = by_id(data, "people")
    within = people["role"].isin(roles).to_numpy(dtype=bool)
    unclear = people["role"].isna().to_numpy(dtype=bool)
    ours = people[within | unclear]
    mine = holders(data, data.blank("permissions", "schedule_id"), ours.index)
    mine = mine.drop_duplicates(["label", "person_id"])
    mine = mine.assign(permission=table["permission_id"].reindex(mine["label"]).array)
    by = mine.sort_values("permission").groupby("person_id")
    ids, labels = by["permission"].agg(list), by["label"].agg(list)
    sure = by["sure"].max() if len(mine) else pd.Series([], dtype=bool)
    some = ours.index.isin(ids.index)
    certain = sure.reindex(ours.index).fillna(False).to_numpy(dtype=bool) & within[within | unclear]
    own = ours["_label"].tolist()
    return pd.DataFrame(
        {
            "person": ours.index.astype(TEXT),
            "unbound": pd.arrays.BooleanArray(certain, some & ~certain),
            "permissions": [ids.get(p) for p in ours.index],
            "sources": [
                [("people", label), *(("permissions", i) for i in labels.get(p, ()))]
                for p, label in zip(ours.index, own, strict=True)
            ],
        },
        index=pd.Index(own),
    )
