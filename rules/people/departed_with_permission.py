import pandas as pd

from audit.arithmetic.columns import among
from audit.arithmetic.plain import places
from audit.contract import Cause, Dataset, Step, rule
from audit.facts.holders import _at, people
from audit.facts.standing import in_force
from audit.facts.subjects import once_each


@rule(
    title="Person has left but still has a permission",
    finds="A permission still in force for a person who has left.",
    priority="planned",
    upload=True,
    needs={"permissions": (), "people": ()},
    policy=("departure_grace_days",),
    subjects=("person", "permission"),
    cause=Cause("leaver", ("person",)),
    summary="{person} has left{last_day: (last day %)|} but permission {permission} is still in"
    " force.",
    evidence=("last_day", "status"),
    do=(
        Step(
            "End the permission, and send the change to the controllers.",
            who="office",
            does="cut",
        ),
    ),
    cites=(
        "nist-sp-800-53-rev-5-1-1-ps-4-3",
        "iso-iec-27001-2022-annex-a-5-18-3",
    ),
)
def departed_with_permission(data: Dataset) -> pd.DataFrame:
    """Any card or PIN assigned to this person again would work at once."""
    rows = data["permissions"]
    standing = in_force(data) & among(rows["holder_kind"], "person")
    held = of_people(data, rows["holder_id"])
    frame = pd.DataFrame(
        {
            "person": rows["holder_id"],
            "permission": rows["permission_id"],
            "last_day": held["end"],
            "status": held["status"],
            "fails": standing & held["departed"],
        }
    )
    return once_each(data, frame[standing.fillna(True)], "permissions", "person", "permission")


def of_people(data: Dataset, ids: pd.Series) -> pd.DataFrame:
    """The columns of `people` for each id, aligned with `ids`; NA for unknown ids."""
    return _at(data, places(people(data).index, ids), ids.index)
