import pandas as pd

from audit.arithmetic.names import fold_names
from audit.contract import Cause, Dataset, Step, rule
from audit.facts.missing import why
from audit.facts.standing import in_force


@rule(
    title="Permission approved by the person who granted it",
    finds="Permissions in force that the same person granted and approved. One finding per name.",
    priority="planned",
    needs={"permissions": ("approved_by", "granted_by")},
    subjects=("permission",),
    cause=Cause("column", ("=permissions.approved_by",)),
    summary="{permission:Permission % was|Permissions % were} granted and approved by the same"
    " person, {name}.",
    evidence=("name", "count"),
    do=(
        Step(
            "Have someone else review the permissions, and record who approved them.",
            who="office",
            does="record",
        ),
    ),
    cites=("nist-sp-800-53-rev-5-1-1-ac-5",),
)
def approved_by_granter(data: Dataset) -> pd.DataFrame:
    """A second pair of eyes finds the mistake, or the favour, that the first does not."""
    rows, force = data["permissions"], in_force(data)
    approved, granted = (
        fold_names(rows[c]).str.replace(" ", "") for c in ("approved_by", "granted_by")
    )
    same = (approved == granted).astype("boolean")
    fails = (force & same)[force.fillna(True)]
    bad = fails.fillna(False).to_numpy(dtype=bool)
    good = rows.loc[fails.index[~bad], "permission_id"].map(lambda name: [name])
    others = pd.DataFrame({"permission": good, "fails": fails[~bad], "name": None, "count": 1})
    labels = fails.index[bad]
    found = [
        {
            "permission": sorted(set(rows.loc[part, "permission_id"])),
            "fails": True,
            "name": min(rows.loc[part, "approved_by"]),
            "count": len(part),
            "sources": [("permissions", int(label)) for label in part],
        }
        for part in pd.Series(labels, labels).groupby(approved[labels]).agg(list)
    ]
    frame = pd.concat([pd.DataFrame(found), others], ignore_index=True)
    frame["fails"] = frame["fails"].astype("boolean")
    words = "who approved or granted some permissions is not recorded"
    return frame.assign(
        **why(frame["fails"], (frame["fails"].isna(), words, "permissions.approved_by"))
    )
