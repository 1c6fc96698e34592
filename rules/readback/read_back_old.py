import numpy as np
import pandas as pd

from audit.contract import Cause, Dataset, Step, rule
from audit.facts.missing import why


@rule(
    title="Read-back too old",
    finds="Doors whose latest read-back from the controller is older than the site allows. One"
    " finding for all of them.",
    priority="planned",
    needs={"loaded": ("read_on",)},
    policy=("read_back_maximum_age_days",),
    subjects=("door",),
    anchor=(),
    cause=Cause("rule", ("=read-back-old",)),
    summary="{door:Door %|Doors %} {door:was|were} last read back on {oldest} or later, but more"
    " than {limit:1 day|% days} ago.",
    evidence=("oldest", "limit"),
    do=(
        Step(
            "Read the controllers of these doors back again.",
            who="panel technician",
            does="record",
        ),
    ),
    cites=("read-back-of-controllers",),
    cannot={"out": "every door that was read back is asked about"},
)
def read_back_old(data: Dataset) -> pd.DataFrame:
    """Nobody knows what the controllers hold now, so a card that was deleted may still work."""
    rows, limit = data["loaded"], data.policy.read_back_maximum_age_days
    by_door = rows["read_on"].groupby(rows["door_id"])
    latest = by_door.max()
    blank = rows["read_on"].isna().groupby(rows["door_id"]).any()
    old = (latest + pd.Timedelta(days=limit) < data.today).astype("boolean")
    # a row without a day may be newer than all the others
    old = old.mask(latest.isna()) & pd.Series(True, index=old.index, dtype="boolean").mask(blank)
    found = old.fillna(False).to_numpy(dtype=bool)
    doors = pd.Series(latest.index, index=latest.index)
    rest = pd.DataFrame(
        {"door": [[d] for d in doors[~found]], "fails": old[~found].array, "oldest": pd.NaT}
    )
    if found.any():
        late = doors[found]
        labels = rows.index[rows["door_id"].isin(late)]
        whole = pd.DataFrame(
            {
                "door": [late.tolist()],
                "fails": pd.array([True], "boolean"),
                "oldest": [latest[found].min()],
                "sources": [[("loaded", int(label)) for label in labels]],
            }
        )
        rest = pd.concat([whole, rest], ignore_index=True)
    else:
        rest["sources"] = np.full(len(rest), None, object)
    words = "when some doors were read back is not recorded"
    told = why(rest["fails"], (rest["fails"].isna(), words, "loaded.read_on"))
    return rest.assign(limit=limit, **told)
