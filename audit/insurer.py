"""The record for the insurer: verdict, coverage, counts and life safety; nobody's data at all.

Built from the list of what may leave. A group of one to four is told as "fewer than five", the
life-safety counts of doors and zones aside, and no sum is told from which such a group follows.
"""

from __future__ import annotations

import datetime as dt
import json
from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Mapping
from pathlib import Path
from typing import Any, Final

from audit.insurer_record import (
    Count,
    Coverage,
    Decided,
    Family,
    InsurerRecord,
    InsurerScope,
    InsurerTable,
    LifeSafety,
    Review,
)
from audit.outside import scope_outside, verdict_outside
from audit.record import (
    PRIORITIES,
    Finding,
    Record,
    Scope,
)

FEWER: Final = "fewer than five"
LEAST: Final = 5
DWELLING_DOOR: Final = "a dwelling door"
DWELLING: Final = "a dwelling"


def count(number: int) -> Count:
    """A number as it may leave."""
    return FEWER if 0 < number < LEAST else number


def insurer(
    record: Record,
    rules: Mapping[str, tuple[str, str]],
    public: Callable[[str, str], bool],
    reviews: Iterable[Mapping[str, Any]] = (),
) -> InsurerRecord:
    """The insurer's record of a full one.

    `rules` gives family and title of each rule, `public` whether a door or zone is nobody's own,
    `reviews` the earlier records of the site as their files have them.
    """
    family = {name: of for name, (of, _) in rules.items()}
    raw = json.loads(record.to_json())
    return InsurerRecord(
        site=record.site,
        as_of=record.as_of,
        stage=record.stage,
        program=record.program,
        scope=None if record.scope is None else _scope(record.scope),
        verdict=None if record.verdict is None else verdict_outside(record.verdict),
        case_totals=record.case_totals,
        previous=record.previous,
        outcomes=[
            Coverage(
                rule=o.rule,
                family=family[o.rule],
                state=o.state,
                checked=count(o.checked),
                unassessed=count(o.unassessed),
            )
            for o in record.outcomes
        ],
        families=families(raw["findings"], family),
        course=[
            Review(as_of=r["as_of"], families=families(r["findings"], family))
            for r in sorted(reviews, key=lambda r: str(r["as_of"]))
        ],
        life_safety=_life_safety(record, rules, public),
        decisions=_decisions(record.findings, dt.date.fromisoformat(record.as_of)),
    )


def families(
    findings: Iterable[Mapping[str, Any]], family: Mapping[str, str]
) -> list[Family]:  # fmt: skip
    """Counts by family and priority; a rule that is no more is of the family `withdrawn`."""
    counts: dict[str, Counter[str]] = {name: Counter() for name in sorted(set(family.values()))}
    for f in findings:
        counts.setdefault(family.get(f["rule"], "withdrawn"), Counter())[f["priority"]] += 1
    return [
        Family(family=name, **{p: count(c[p]) for p in PRIORITIES}) for name, c in counts.items()
    ]


def _life_safety(
    record: Record,
    rules: Mapping[str, tuple[str, str]],
    public: Callable[[str, str], bool],
) -> list[LifeSafety]:
    by_id = {f.id: f for f in record.findings}
    told = []
    for case in (c for c in record.cases if c.life_safety):
        findings = [by_id[f] for f in case.findings]
        places = {p for f in findings for p in _places(f, public)}
        told.append(
            LifeSafety(
                places=sorted(places) or ["the site as a whole"],
                titles=sorted({rules[f.rule][1] for f in findings if f.life_safety}),
                priority=case.priority,
                rank=case.rank,
                open=case.open,
                people=count(case.people),
                change=case.change,
                do=case.do,
            )
        )
    return sorted(told, key=lambda c: (c.rank, c.places, c.titles))


def _places(f: Finding, public: Callable[[str, str], bool]) -> Iterable[str]:
    for kind, hidden in (("door", DWELLING_DOOR), ("zone", DWELLING)):
        for name in f.subjects.get(kind, ()):
            yield f"{kind} {name}" if public(kind, name) else hidden


def _decisions(findings: Iterable[Finding], as_of: dt.date) -> list[Decided]:
    groups: dict[tuple[str, bool], list[Any]] = defaultdict(list)
    for f in findings:
        if f.decision is not None:
            groups[f.decision.decision, f.life_safety].append(f.decision)
    return [
        Decided(
            decision=kind,
            life_safety=life,
            number=count(len(all_)),
            oldest_days=max(
                ((as_of - dt.date.fromisoformat(d.decided_on)).days for d in all_ if d.decided_on),
                default=None,
            ),
            first_until=min((d.until for d in all_ if d.until), default=None),
            expired=count(sum(d.state == "lapsed" for d in all_)),
        )
        for (kind, life), all_ in sorted(groups.items())
    ]


def _scope(scope: Scope) -> InsurerScope:
    """The scope as readers outside get it, its rows in groups."""
    told = scope_outside(scope)
    return InsurerScope(
        policy=told.policy,
        mapped_columns=told.mapped_columns,
        mapped_words=told.mapped_words,
        missing_tables=told.missing_tables,
        tables=[
            InsurerTable(
                table=t.table,
                rows=count(t.rows),
                previous_rows=None if t.previous_rows is None else count(t.previous_rows),
                newest=t.newest,
            )
            for t in told.tables
        ],
    )


MOST_RECORD: Final = 1 << 28


def recorded(site: Path, before: dt.date, known: Callable[[Mapping[str, Any]], bool]) -> list[Any]:
    """The site's recorded reviews before a day, as their files have them.

    `known` says whether a record is of this site; what is damaged or is another's is left out.
    """
    found = []
    home = site / "reviews"
    for place in sorted(home.iterdir()) if home.is_dir() else ():
        path = place / "findings.json"
        try:
            if not path.is_file() or path.stat().st_size > MOST_RECORD:
                continue
            raw = json.loads(path.read_text("utf-8"))
            if raw["audience"] == "full" and raw["as_of"] < before.isoformat() and known(raw):
                found.append({"as_of": raw["as_of"], "findings": raw["findings"]})
        except (OSError, ValueError, KeyError, TypeError):
            continue
    return found
