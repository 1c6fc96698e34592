import pandas as pd

from audit.contract import Cause, Dataset, Step, rule
from audit.facts.holders import people
from audit.facts.log import log
from audit.facts.missing import why
from rules.events._shared import clock


@rule(
    title="Records kept for too long",
    finds="Events older than the site keeps them, or people whose last day is longer ago than the"
    " site keeps the records of those who have left. One finding per table.",
    priority="planned",
    needs={},
    uses=("events", "people"),
    optional_policy=("events_kept_days", "leavers_kept_days"),
    policy=("departure_grace_days",),
    subjects=("table",),
    cause=Cause("column", ("table",)),
    summary="{count:1 row|% rows} of {table} {count:is|are} kept for longer than the site's limit"
    " of {limit:1 day|% days}; the oldest is of {oldest}.",
    evidence=("count", "oldest", "limit"),
    do=(
        Step(
            "Delete the rows that no open matter needs, here and at the controllers.",
            who="office",
            does="record",
        ),
    ),
    cites=("gdpr-regulation-eu-2016-679-article-5-1-e",),
)
def kept_too_long(data: Dataset) -> pd.DataFrame:
    """Records of who came and went, kept without need, are a risk to people and to the site."""
    policy = data.policy
    tables = {"events": policy.events_kept_days, "people": policy.leavers_kept_days}
    ages = {"events": _events, "people": _leavers}
    rows = [
        ages[table](data, data.today - pd.Timedelta(days=limit)) | {"table": table, "limit": limit}
        for table, limit in tables.items()
        if limit is not None and data.has(table)
    ]
    frame = pd.DataFrame(rows, columns=["table", "limit", "count", "oldest", "fails", "sources"])
    frame["fails"] = frame["fails"].astype("boolean")
    words = "the last day of some who have left is not recorded"
    vague = (frame["fails"].isna(), words, "people.end_date")
    return frame.assign(**why(frame["fails"], vague))


def _events(data: Dataset, before: pd.Timestamp) -> dict[str, object]:
    first = before.tz_localize(data.zone).tz_convert("UTC").tz_localize(None)
    time = log(data).time
    old = time < first.value // 1000
    return {
        "count": int(old.sum()),
        "oldest": clock(data, time[old].min(keepdims=True))[0][:10] if old.any() else None,
        "fails": bool(old.any()),
        "sources": [("events", int(n)) for n in data["events"].index[old][:100]],
    }


def _leavers(data: Dataset, before: pd.Timestamp) -> dict[str, object]:
    known = people(data)
    last = known["end"] + pd.Timedelta(days=data.policy.departure_grace_days)
    old = (last < before).to_numpy(dtype=bool)
    gone = known["departed"]
    undated = (gone.fillna(True) & known["end"].isna()).any()
    at = data["people"]["person_id"].isin(known.index[old])
    return {
        "count": int(old.sum()),
        "oldest": last[old].min().date().isoformat() if old.any() else None,
        "fails": True if old.any() else None if undated else False,
        "sources": [("people", int(n)) for n in data["people"].index[at]],
    }
