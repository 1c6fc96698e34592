from collections.abc import Sequence

import pandas as pd

from audit.contract import OUT, TEXT, Dataset, Example, Reference, rule
from audit.facts.permissions import holders
from audit.facts.standing import by_id


@rule(
    title="A visitor or contractor who may come at any hour",
    finds="A contractor or visitor with a permission that is bound to no schedule.",
    priority="planned",
    needs={"people": ("role",), "permissions": ("schedule_id",)},
    uses=("cards", "pins"),
    subjects=("person",),
    summary="Person {person} has {permissions:permission %|permissions %} without a schedule:"
    " any day, any hour.",
    evidence=("permissions",),
    remedy="Bind the permission to the hours in which the person is expected.",
    references=(
        Reference(
            "NIST SP 800-53 rev 5.1.1, AC-2",
            "rights of temporary accounts are specified, and may depend on time of day and day",
            sure="read",
        ),
        Reference(
            "NIST SP 800-53 rev 5.1.1, PE-6",
            "access outside normal hours is a sign to look for",
            sure="read",
        ),
    ),
)
def visitor_at_all_hours(data: Dataset) -> pd.DataFrame:
    """Someone who is here for a job or a visit can come back at three in the morning."""
    people = unbound(data, ("contractor", "visitor"))
    return people.assign(fails=people["unbound"])


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


EXAMPLES = (
    Example(
        "with and without schedule, by person, role and card",
        """
        people
        person_id | role       | dwelling_id
        FREE      | contractor |
        BOUND     | contractor |
        CARDED    | visitor    |
        LOSTCARD  | visitor    |
        HOMED     | visitor    | F1
        RESIDENT  | resident   | F1
        OVER      | visitor    |
        BLUR      | visitor    |
        WHOEVER   | whoever    |

        cards
        card_id | number | person_id | status
        C1      | 1      | CARDED    |
        C2      | 2      | LOSTCARD  | lost

        permissions
        permission_id | holder_kind | holder_id | door_id | schedule_id | valid_to
        R1            | person      | FREE      | D1      |             |
        R2            | person      | BOUND     | D1      | DAY         |
        R3            | card        | C1        | D1      |             |
        R4            | card        | C2        | D1      |             |
        R5            | dwelling    | F1        | D1      |             |
        R6            | person      | RESIDENT  | D1      |             |
        R7            | person      | OVER      | D1      |             | 2026-09-29
        R8            | person      | BLUR      | D1      |             | some day
        R9            | person      | WHOEVER   | D1      |             |
        """,
        expect={
            "FREE": True,
            "BOUND": False,
            "CARDED": True,
            "LOSTCARD": False,
            "HOMED": False,
            "RESIDENT": OUT,
            "OVER": False,
            "BLUR": None,
            "WHOEVER": None,
        },
    ),
    Example(
        "a permission of the role is everyone's",
        """
        people
        person_id | role
        GUEST     | visitor
        HIRED     | contractor

        permissions
        permission_id | holder_kind | holder_id | door_id | schedule_id
        R1            | role        | visitor   | D1      |
        """,
        expect={"GUEST": True, "HIRED": False},
    ),
)
