"""A dozen rules as an expert would write them for one site: in plain pandas, and in SQL.

Each reads the CSV files and counts findings; nothing of what an audit adds is here (no
coverage, no file and row, no unclear values, no wording). They are what the auditor's speed is
compared with, and a check on its counts.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pandas as pd

TODAY = pd.Timestamp("2026-09-30")
RULES = (
    "pin-too-short",
    "pin-reused",
    "card-without-dwelling",
    "card-number-repeated",
    "card-without-person",
    "cards-per-dwelling-exceeded",
    "departed-with-card",
    "departed-with-permission",
    "visitor-without-end",
    "exit-input-without-monitor",
    "used-after-departure",
    "refused-burst",
    "held-open-often",
)
TABLES = ("people", "cards", "pins", "doors", "permissions", "events")


def in_pandas(site: Path) -> dict[str, int]:
    """Findings of each rule, in plain pandas over frames read as text."""
    people, cards, pins, doors, permissions, events = (
        pd.read_csv(site / f"{name}.csv", dtype=str) for name in TABLES
    )
    people["end_date"] = pd.to_datetime(people["end_date"])
    gone = people[people["end_date"] < TODAY]
    live = cards[cards["status"] == "active"]
    held = live.merge(people, on="person_id", how="left", suffixes=("_card", ""))
    home = held["dwelling_id_card"].fillna(held["dwelling_id"])
    exempt = held["role"].isin(["staff", "contractor", "agent", "responder"])
    per_home = home.value_counts()
    digits = pins[pins["status"] == "active"].groupby("pin")["person_id"].nunique()
    numbers = live["number"].value_counts()
    granted = events[events["event"] == "granted"].merge(
        cards.merge(gone, on="person_id")[["number", "person_id", "card_id", "end_date"]],
        left_on="card_number",
        right_on="number",
    )
    local = pd.to_datetime(granted["time"]).dt.tz_convert("Europe/Dublin").dt.tz_localize(None)
    late = granted[local.dt.normalize() > granted["end_date"]]
    denied = events[events["event"] == "denied"]
    times = pd.to_datetime(denied["time"]).groupby(denied["door_id"])
    span = times.transform(lambda t: t.sort_values() - t.sort_values().shift(9))
    heldopen = events[events["event"] == "held"]["door_id"].value_counts()
    first, last = (
        pd.Timestamp(t).tz_convert("Europe/Dublin").date()
        for t in (events["time"].min(), events["time"].max())
    )
    days = max((last - first).days + 1, 7)
    entitled = people[~(people["end_date"] < TODAY)]
    return {
        "pin-too-short": int((pins["pin"].str.len() < 6).sum()),
        "pin-reused": int((digits > 1).sum()),
        "card-without-dwelling": int((home.isna() & ~exempt).sum()),
        "card-number-repeated": int((numbers > 1).sum()),
        "card-without-person": int((live["person_id"].isna() & live["dwelling_id"].notna()).sum()),
        "cards-per-dwelling-exceeded": int((per_home > 6).sum()),
        "departed-with-card": int(live["person_id"].isin(gone["person_id"]).sum()),
        "departed-with-permission": int(
            (
                (permissions["holder_kind"] == "person")
                & permissions["holder_id"].isin(gone["person_id"])
            ).sum()
        ),
        "visitor-without-end": int(
            (entitled["role"].isin(["contractor", "visitor"]) & entitled["end_date"].isna()).sum()
        ),
        "exit-input-without-monitor": int(
            ((doors["exit_input"] != "none") & (doors["status_monitor"] == "none")).sum()
        ),
        "used-after-departure": int(late[["person_id", "card_id"]].drop_duplicates().shape[0]),
        "refused-burst": int(denied["door_id"][span <= pd.Timedelta(minutes=5)].nunique()),
        "held-open-often": int((heldopen * 7 > days).sum()),
    }


SQL = {
    "pin-too-short": "select count(*) from pins where length(pin) < 6",
    "pin-reused": """
        select count(*) from (
            select pin from pins where status = 'active'
            group by pin having count(distinct person_id) > 1)""",
    "card-without-dwelling": """
        select count(*) from cards c left join people p using (person_id)
        where c.status = 'active' and coalesce(c.dwelling_id, p.dwelling_id) is null
          and coalesce(p.role, '') not in ('staff', 'contractor', 'agent', 'responder')""",
    "card-number-repeated": """
        select count(*) from (
            select number from cards where status = 'active'
            group by number having count(*) > 1)""",
    "card-without-person": """
        select count(*) from cards
        where status = 'active' and person_id is null and dwelling_id is not null""",
    "cards-per-dwelling-exceeded": """
        select count(*) from (
            select coalesce(c.dwelling_id, p.dwelling_id) as home
            from cards c left join people p using (person_id) where c.status = 'active'
            group by home having count(*) > 6) where home is not null""",
    "departed-with-card": """
        select count(*) from cards c join people p using (person_id)
        where c.status = 'active' and p.end_date::date < date '2026-09-30'""",
    "departed-with-permission": """
        select count(*) from permissions m join people p on p.person_id = m.holder_id
        where m.holder_kind = 'person' and p.end_date::date < date '2026-09-30'""",
    "visitor-without-end": """
        select count(*) from people where role in ('contractor', 'visitor') and end_date is null""",
    "exit-input-without-monitor": """
        select count(*) from doors where exit_input <> 'none' and status_monitor = 'none'""",
    "used-after-departure": """
        select count(*) from (
            select distinct p.person_id, c.card_id from events e
            join cards c on c.number = e.card_number join people p on p.person_id = c.person_id
            where e.event = 'granted' and p.end_date is not null
              and e.time::timestamptz >= (p.end_date::date + 1)::timestamptz)""",
    "refused-burst": """
        select count(distinct door_id) from (
            select door_id, time::timestamptz - lag(time::timestamptz, 9)
                over (partition by door_id order by time) as span
            from events where event = 'denied') where span <= interval 5 minutes""",
    "held-open-often": """
        select count(*) from (
            select door_id from events where event = 'held' group by door_id
            having count(*) * 7 > (
                select greatest(7, max(time)::timestamptz::date - min(time)::timestamptz::date + 1)
                from events))""",
}


def in_sql(site: Path) -> dict[str, int]:
    """Findings of each rule, in SQL in an embedded engine over tables of text."""
    import duckdb

    base = duckdb.connect()
    base.execute("set timezone = 'Europe/Dublin'; set enable_progress_bar = false")
    for name in TABLES:
        file = str(site / f"{name}.csv").replace("'", "''")
        read = f"read_csv('{file}', header = true, all_varchar = true)"
        base.execute(f"create table {name} as select * from {read}")
    found = {}
    for rule, query in SQL.items():
        row = base.execute(query).fetchone()
        found[rule] = int(row[0]) if row else 0
    return found


def in_rules(site: Path) -> dict[str, int]:
    """Findings of the auditor's own rules of these names, with all that it adds."""
    import datetime as dt

    from audit import ingest
    from audit.check import all_rules
    from audit.engine import run

    data = ingest.load_site(site, dt.date(2026, 9, 30))
    rules = [r for r in all_rules() if r.name in RULES]
    return {j.outcome.rule: j.outcome.found for j in run(rules, data)}


WAYS: dict[str, Callable[[Path], dict[str, int]]] = {
    "pandas": in_pandas,
    "sql": in_sql,
    "rules": in_rules,
}
