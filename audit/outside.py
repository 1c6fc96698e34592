"""The record for readers outside, built from the list of what may leave.

People, dwellings, cards, PINs and permissions go by pseudonyms, and so does whatever belongs to
one of them: a dwelling's zone, door or unit, a group or schedule of one household. A pseudonym is
keyed with the site's key, so it is the same in every pack of the site, and who has not the key
cannot try names until one fits. A field or a piece of evidence that is not listed here does not
leave.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Final

import pandas as pd

from audit.attest.key import keyed
from audit.cases import CAUSES, NOUNS, lowered, urgency
from audit.contract import Dataset, Rule
from audit.facts.reach import groups
from audit.facts.standing import bound_dwelling, by_id
from audit.record import (
    Case,
    Decision,
    Finding,
    InputRow,
    Past,
    Record,
    Scope,
    SourceRow,
    TableScope,
    Verdict,
    order,
)
from audit.schema import REFERENCE_SUBJECTS, TABLES
from audit.wording import NOT_SHOWN as WITHHELD
from audit.wording import sentence

PLAIN: Final = frozenset({"technology", "table", "column"})
"""Subjects that are words of this program."""
SAYS_ITSELF: Final = re.compile(r"pin, not shown|and [0-9]+ more")
"""Texts of this program that stand among ids."""
DIGITS: Final = 12


@dataclass(frozen=True)
class Veil:
    """What is shown for an id. `public` are the ids of each kind that may be shown."""

    key: bytes
    public: Mapping[str, frozenset[str]] = field(default_factory=dict)

    def shown(self, kind: str, name: str) -> str:
        """The id itself where it may be shown, else its pseudonym."""
        if kind in PLAIN or name in self.public.get(kind, ()) or SAYS_ITSELF.fullmatch(name):
            return name
        return f"{kind}-{keyed(self.key, kind, name)[:DIGITS]}"

    def all(self, kind: str, names: Iterable[str]) -> list[str]:
        """Each of several, in an order that tells nothing of theirs."""
        return sorted(self.shown(kind, name) for name in names)

    def finding(self, identity: str) -> str:
        """A finding's id for readers outside: sixteen hex digits as within."""
        return keyed(self.key, "finding", identity)[:16]


# --- whose is what -----------------------------------------------------------------------


def veil(data: Dataset, key: bytes) -> Veil:
    """The veil of a site: which doors, zones, units, groups and schedules are nobody's own."""
    private_zones = _ids(data, "zones", data["zones"]["kind"].eq("dwelling"))
    private_doors = _private_doors(data, private_zones)
    kinds = data["stations"]["kind"]
    units = kinds.isna() | kinds.isin(["answering-unit", "extension-unit"])
    own: dict[str, set[str]] = {
        "zone": private_zones,
        "door": private_doors,
        "station": _ids(data, "stations", units),
        **_of_one(data, private_doors),
    }
    given_away = _names_of_people(data)
    public = {}
    for kind, hidden in own.items():
        table = next(t for t, k in REFERENCE_SUBJECTS.items() if k == kind)
        known = map(str, data.known(table))
        public[kind] = frozenset(k for k in known if k not in hidden and not given_away(k))
    places = [data[t][c] for t in ("dwellings", "zones") for c in ("building", "core")
              if c in data[t]]  # fmt: skip
    named = pd.concat(places).dropna().unique() if places else []
    public["building"] = frozenset(str(b) for b in named if not given_away(str(b)))
    return Veil(key, public)


def _ids(data: Dataset, table: str, mask: pd.Series) -> set[str]:
    column = TABLES[table].row_id or TABLES[table].columns[0].name
    return set(data[table].loc[mask.fillna(False).to_numpy(bool), column].dropna().astype(str))


def _private_doors(data: Dataset, private_zones: set[str]) -> set[str]:
    """Doors of a dwelling; where no zone says what a door leads to, those named as a dwelling."""
    doors = data["doors"]
    sides = doors[["inside_zone", "outside_zone"]]
    private = sides.isin(private_zones).any(axis=1)
    kinds = by_id(data, "zones")["kind"].dropna()
    told = doors["inside_zone"].isin(kinds.index)
    dwellings = {str(d).casefold() for d in data.known("dwellings")}
    parts = [set(re.findall(r"\w+", str(d).casefold())) for d in doors["door_id"].fillna("")]
    named = pd.Series([bool(p & dwellings) for p in parts], index=doors.index, dtype=bool)
    return _ids(data, "doors", private | (~told & named))


def _of_one(data: Dataset, private_doors: set[str]) -> dict[str, set[str]]:
    """Groups and schedules that hold or serve one dwelling or person."""
    rights = data["permissions"]
    whose = _whose(data)
    common = rights["holder_kind"].eq("role").fillna(False).to_numpy(bool)
    served: dict[str, set[str]] = {}
    for column in ("door_group", "schedule_id"):
        several = set(rights.loc[common, column].dropna().astype(str))
        pairs = pd.DataFrame({"name": rights[column].astype(str), "whose": whose})
        pairs = pairs[rights[column].notna().to_numpy(bool)]
        counts = pairs.groupby("name")["whose"].nunique()
        served[column] = {str(n) for n in counts.index[counts <= 1]} - several
    flat = groups(data)
    private = sum(1 << flat.places[d] for d in private_doors if d in flat.places)
    own_doors = {g for g, bits in flat.possible.items() if bits and not bits & ~private}
    doors = data["doors"]
    open_doors = ~doors["door_id"].isin(private_doors)
    unlocking = set(doors.loc[open_doors.to_numpy(bool), "unlock_schedule"].dropna().astype(str))
    return {
        "door_group": served["door_group"] | own_doors,
        "schedule": served["schedule_id"] - unlocking,
    }


def _whose(data: Dataset) -> pd.Series:
    """The household, or the person without one, that each permission serves, as a text."""
    homes = by_id(data, "people")["dwelling_id"]

    def of_person(ids: pd.Series) -> pd.Series:
        home = ids.map(homes)
        return ("dwelling " + home.astype("string")).fillna("person " + ids.astype("string"))

    rights = data["permissions"]
    whose = rights["holder_id"].astype("string")
    kind = rights["holder_kind"].astype("string")
    found = whose.where(kind.ne("person"), of_person(whose))
    found = found.where(kind.ne("dwelling"), "dwelling " + whose)
    for name, table in (("card", "cards"), ("pin", "pins")):
        rows = data[table]
        bound = ("dwelling " + bound_dwelling(data, table).astype("string")).fillna(
            of_person(rows["person_id"])
        )
        column = TABLES[table].row_id
        by_credential = pd.Series(bound.to_numpy(), index=rows[column]).groupby(level=0).first()
        found = found.where(kind.ne(name), whose.map(by_credential))
    return found


def _names_of_people(data: Dataset) -> Callable[[str], bool]:
    """Whether a text holds a part of a name, or a telephone number, of anyone in the register."""
    people = data["people"]
    words = {w for n in people["name"].dropna() for w in _words(str(n)) if len(w) >= 3}
    numbers = {re.sub(r"\D", "", str(p))[-7:] for p in people["phone"].dropna()}
    numbers = {n for n in numbers if len(n) == 7}

    def holds(text: str) -> bool:
        digits = re.sub(r"\D", "", text)
        return (
            "@" in text
            or not words.isdisjoint(_words(text))
            or any(digits[i : i + 7] in numbers for i in range(len(digits) - 6))
        )

    return holds


def _words(text: str) -> list[str]:
    decomposed = unicodedata.normalize("NFKD", text.casefold())
    return re.findall(r"[^\W\d_]+", "".join(c for c in decomposed if not unicodedata.combining(c)))


# --- what may leave ----------------------------------------------------------------------

Show = Callable[[Any, Veil], Any]


def _ref(kind: str) -> Show:
    """An id, or several; a plain number of them is no id."""

    def show(value: Any, hidden: Veil) -> Any:
        if isinstance(value, list):
            return hidden.all(kind, map(str, value))
        return value if isinstance(value, (int, float)) else hidden.shown(kind, str(value))

    return show


def _by_state(value: Any, hidden: Veil) -> Any:
    """A door for each state."""
    if not isinstance(value, Mapping):
        return WITHHELD
    return {state: d and hidden.shown("door", str(d)) for state, d in value.items()}


def _kind_and_id(value: Any, hidden: Veil) -> Any:
    """`zone Z1`, `schedule OPEN`."""
    kind, _, name = str(value).partition(" ")
    known = kind in ("zone", "building", "door", "schedule") and name
    return f"{kind} {hidden.shown(kind, name)}" if known else WITHHELD


def _number(value: Any, _: Veil) -> Any:
    return value if isinstance(value, (bool, int, float)) else WITHHELD


def _month(value: Any, _: Veil) -> Any:
    text = str(value)
    return text[:7] if re.match(r"[0-9]{4}-[0-9]{2}-[0-9]{2}", text) else WITHHELD


def _thirty(value: Any, _: Veil) -> Any:
    """Days to the nearest thirty: a number of days is a date."""
    return 30 * round(value / 30) if isinstance(value, (int, float)) else WITHHELD


def _phrase(value: Any, hidden: Veil) -> Any:
    """Words of this program, of the contract or of site.toml; never the register's own."""
    if isinstance(value, list):
        return [_phrase(v, hidden) for v in value]
    return value if isinstance(value, str) else _number(value, hidden)


_NUMBERS: Final = (
    "alarm_s backwards clear_width_mm codes count delay_s delivered entitled fire_minutes grade"
    " in_line later latest_s limit longest_s minimum missing months most most_allowed most_days"
    " neighbours occupants occupied passages passes people people_passed recorded_doors registered"
    " rows secondary soonest_s sure unheld units uses width_needed_mm"
)
_PHRASES: Final = (
    "alike conditions contradictions damage entry exit_input fault faults form kind missing_hours"
    " only_by opened_by read_on recorded role secure_hours site_timezone states status"
    " status_monitor takes what"
)
_MONTHS: Final = (
    "at_door end first in_register issued_on last last_day last_use oldest set_on since start"
    " start_date valid_to"
)
_REFERENCES: Final = {
    "building": "building", "cards": "card", "controller_id": "station", "doors": "door",
    "dwelling": "dwelling", "dwellings": "dwelling", "exits": "door", "holder": "person",
    "home": "dwelling", "live_as": "card", "named": "reference", "only_door": "door",
    "permissions": "permission", "pins": "pin", "schedule": "schedule",
    "shared": "station", "stopped_at": "door", "zone": "zone", "zones": "zone",
}  # fmt: skip
EVIDENCE: Final[Mapping[str, Show]] = {
    **dict.fromkeys(_NUMBERS.split(), _number),
    **dict.fromkeys(_PHRASES.split(), _phrase),
    **dict.fromkeys(_MONTHS.split(), _month),
    **dict.fromkeys(("days", "age_days"), _thirty),
    **dict.fromkeys(("place", "shown"), _kind_and_id),
    "door_at_fault": _by_state,
    **{name: _ref(kind) for name, kind in _REFERENCES.items()},
}
"""The evidence that may leave, and as what. All other evidence stays: patterns of PINs, tries,
digits, moments, numbers, addresses, and whatever a rule begins to tell before it is listed."""


def evidence_outside(evidence: Mapping[str, Any], hidden: Veil) -> dict[str, Any]:
    """A finding's evidence for readers outside; what is not listed is withheld by name."""
    return {
        name: None if value is None
        else EVIDENCE[name](value, hidden) if name in EVIDENCE else WITHHELD
        for name, value in evidence.items()
    }  # fmt: skip


def subjects_outside(subjects: Mapping[str, Sequence[str]], hidden: Veil) -> dict[str, list[str]]:
    """A finding's subjects for readers outside; an `id` is one of its table's."""
    tables = list(subjects.get("table", ()))
    row = REFERENCE_SUBJECTS.get(tables[0], "row") if tables else "row"
    return {
        kind: hidden.all(row if kind == "id" else kind, names) for kind, names in subjects.items()
    }


# --- the record --------------------------------------------------------------------------


def outside(record: Record, data: Dataset, rules: Mapping[str, Rule], hidden: Veil) -> Record:
    """The record for readers outside. Its notices, which quote files, stay within."""
    table_of = {(t.file, t.sheet): name for name, t in data.tables.items()}
    findings = order(finding_outside(f, rules[f.rule], table_of, hidden) for f in record.findings)
    by_id = {f.id: f for f in findings}
    titles = {name: rule.title for name, rule in rules.items()}
    return Record(
        program=record.program,
        site=record.site,
        as_of=record.as_of,
        stage=record.stage,
        audience="outside",
        inputs=[
            InputRow(
                table=i.table, file=i.table, commitment=i.commitment, rows=i.rows,
                set_aside=i.set_aside,
            )
            for i in record.inputs
        ],
        outcomes=record.outcomes,
        findings=findings,
        cases=sorted((_case(c, by_id, titles, hidden) for c in record.cases), key=urgency),
        mended=_pasts(record.mended, hidden),
        not_reassessed=_pasts(record.not_reassessed, hidden),
        totals=record.totals,
        case_totals=record.case_totals,
        verdict=None if record.verdict is None else verdict_outside(record.verdict),
        scope=None if record.scope is None else scope_outside(record.scope),
        previous=record.previous,
    )  # fmt: skip


NAMED_BY: Final = {
    "leaver": "person", "watch": "door", "unknown": "number",
    **{k: k for k in ("person", "card", "pin", "dwelling", "schedule", "building", "zone", "door",
                      "station")},
}  # fmt: skip
"""The subject that names a case of each kind; cases of other kinds have no name."""


def _case(
    case: Case, by_id: Mapping[str, Finding], titles: Mapping[str, str], hidden: Veil
) -> Case:
    """A case in the words of its findings for readers outside."""
    ids = {hidden.finding(f) for f in case.findings}
    members = order(by_id[i] for i in ids)
    title = case.title
    if case.kind in NAMED_BY:
        rules = {f.rule for f in members}
        tail = lowered(titles[members[0].rule]) if len(rules) == 1 else f"{len(members)} findings"
        named = sorted({n for f in members for n in f.subjects.get(NAMED_BY[case.kind], ())[:1]})
        title = f"{NOUNS[case.kind][0]} {', '.join(named[:3]) or 'not recorded'}: {tail}"
    return Case(
        id=keyed(hidden.key, "case", case.id)[:16],
        kind=case.kind,
        title=title,
        cause=CAUSES.get(case.kind) or members[0].summary,
        priority=case.priority,
        life_safety=case.life_safety,
        rank=case.rank,
        people=case.people,
        place=min(filter(None, map(_placed, members)), default=""),
        findings=[f.id for f in members],
        open=case.open,
        do=case.do,
        who=case.who,
        change=case.change,
    )


def _placed(f: Finding) -> str:
    """The id where a finding is, or whose it is."""
    kinds = ("building", "door", "zone", "dwelling", "person", "card", "pin", "station", "table")
    return next((f.subjects[k][0] for k in kinds if f.subjects.get(k)), "")


def finding_outside(
    f: Finding, rule: Rule, table_of: Mapping[tuple[str, str | None], str], hidden: Veil
) -> Finding:
    """A finding by pseudonyms; `table_of` gives the table of each file and sheet."""
    subjects = subjects_outside(f.subjects, hidden)
    evidence = evidence_outside(f.evidence, hidden)
    tables = sorted({table_of.get((s.file, s.sheet), "another table") for s in f.sources})
    table = {"table": f.subjects["table"]} if "table" in f.subjects else {}
    anchor = subjects_outside({**table, **f.anchor}, hidden)
    return Finding(
        id=hidden.finding(f.id),
        rule=f.rule,
        priority=f.priority,
        life_safety=f.life_safety,
        subjects=subjects,
        sources=[SourceRow(file=table, sheet=None, row=None) for table in tables],
        summary=sentence(rule.summary, subjects, evidence),
        why=f.why,
        remedy=f.remedy,
        evidence=evidence,
        references=f.references,
        change=f.change,
        decision=_decision(f.decision),
        anchor={kind: anchor[kind] for kind in f.anchor},
        first_seen=f.first_seen,
        reviews=f.reviews,
        case=f.case and keyed(hidden.key, "case", f.case)[:16],
    )


def _decision(decision: Decision | None) -> Decision | None:
    """What was decided and until when; not in whose words."""
    if decision is None:
        return None
    return Decision(
        decision=decision.decision, reason="", decided_by="", decided_on=decision.decided_on,
        until=decision.until, document=None, state=decision.state,
    )  # fmt: skip


def _pasts(pasts: Iterable[Past], hidden: Veil) -> list[Past]:
    told = [
        Past(
            id=hidden.finding(p.id), rule=p.rule, subjects=subjects_outside(p.subjects, hidden)
        )
        for p in pasts
    ]  # fmt: skip
    return sorted(told, key=lambda p: (p.rule, p.id))


# --- the plan ----------------------------------------------------------------------------


def plan_outside(plan: Mapping[str, Any], hidden: Veil) -> dict[str, Any]:
    """The plan for readers outside: ids alone, no name, no day in anybody's life."""
    told: dict[str, Any] = {"names": {}}
    for name in ("secure_hours", "rules"):
        if name in plan:
            told[name] = plan[name]
    if "places" in plan:
        told["places"] = sorted(
            (_place(p, hidden) for p in plan["places"]), key=lambda p: str(p["id"])
        )
        told["where"] = {
            hidden.finding(f): sorted(_place_id(p, hidden) for p in places)
            for f, places in sorted(plan.get("where", {}).items())
        }
    if "weeks" in plan:
        told["weeks"] = _sorted(_week(w, hidden) for w in plan["weeks"])
    if "zones" in plan:
        told["zones"] = _sorted(_named("zone", z, ZONE, hidden) for z in plan["zones"])
        told["doors"] = _sorted(
            _named("door", d, DOOR, hidden)
            | {side: hidden.shown("zone", d[side]) for side in ("inside", "outside")}
            for d in plan.get("doors", ())
        )
    if "reach" in plan:
        told["reach"] = _reach(plan["reach"], hidden)
    if "roll" in plan:
        told["roll"] = roll_outside(plan["roll"], hidden)
    return told


ZONE: Final = ("kind", "occupants", "safe", "results")
DOOR: Final = ("free", "back", "weak")


def _named(kind: str, one: Mapping[str, Any], keys: Iterable[str], hidden: Veil) -> dict[str, Any]:
    name = hidden.shown(kind, one["id"])
    return {"id": name, "name": name, **{k: one[k] for k in keys if k in one}}


def _sorted(rows: Iterable[dict[str, Any]]) -> list[dict[str, Any]]:
    return sorted(rows, key=lambda r: (str(r.get("kind", "")), str(r["id"])))


def _place_id(place: str, hidden: Veil) -> str:
    kind, _, name = place.partition(" ")
    if kind == "zone":
        return f"zone {hidden.shown('zone', name)}"
    return f"building {_places(place, hidden)}"


def _places(place: str, hidden: Veil) -> str:
    """`building A core 2` as its two names."""
    found = re.fullmatch(r"(?:building (.*?))??(?: ?core (.*))?", place, re.DOTALL)
    parts = [p for p in (found.groups() if found else (place,)) if p]
    return " ".join(hidden.shown("building", p) for p in parts)


def _place(place: Mapping[str, Any], hidden: Veil) -> dict[str, Any]:
    parent = place.get("parent")
    name = _place_id(place["id"], hidden)
    return {
        "id": name,
        "name": name.partition(" ")[2],
        "parent": None if parent is None else _place_id(parent, hidden),
    }


def _week(week: Mapping[str, Any], hidden: Veil) -> dict[str, Any]:
    told = _named(week["kind"], week, ("kind", "days"), hidden)
    note = "stands unlocked by "
    if str(week.get("note", "")).startswith(note):
        told["note"] = note + hidden.shown("schedule", week["note"].removeprefix(note))
    return told


def _reach(reach: Mapping[str, Any], hidden: Veil) -> dict[str, Any]:
    columns = [_named("door", c, (), hidden) for c in reach["columns"]]
    in_order = sorted(range(len(columns)), key=lambda i: columns[i]["id"])
    rows = [
        {
            "name": "1 person" if r["people"] == 1 else f"{r['people']} people",
            "people": r["people"],
            "cells": [r["cells"][i] for i in in_order],
        }
        for r in reach["rows"]
    ]
    return {
        "columns": [columns[i] for i in in_order],
        "rows": sorted(rows, key=lambda r: (-r["people"], r["cells"])),
    }


THROUGH: Final = frozenset({"person", "card", "pin", "PIN", "dwelling", "role"})


def roll_outside(rows: Iterable[Mapping[str, str]], hidden: Veil) -> list[dict[str, str]]:
    """The access roll by pseudonyms, in their order."""
    told = []
    for row in rows:
        kind, _, door = row["door_group"].partition(" ")
        through = {part.partition(" ")[0] for part in row["through"].split(", ")}
        told.append(
            {
                "person": hidden.shown("person", row["person"]),
                "name": "",
                "dwelling": row["dwelling"] and hidden.shown("dwelling", row["dwelling"]),
                "door_group": f"door {hidden.shown('door', door)}" if kind == "door" and door
                else hidden.shown("door_group", row["door_group"]),
                "hours": row["hours"],
                "through": ", ".join(sorted(through & THROUGH)),
                "since": row["since"][:7],
                "change": "hours changed" if row["change"].startswith("hours") else row["change"],
            }
        )  # fmt: skip
    return sorted(told, key=lambda r: (r["person"], r["door_group"]))


# --- scope and verdict -------------------------------------------------------------------


def scope_outside(scope: Scope) -> Scope:
    """The scope for readers outside: how many words and columns site.toml maps, months of days."""
    return Scope(
        policy=scope.policy,
        mapped_columns=scope.mapped_columns,
        mapped_words=scope.mapped_words,
        missing_tables=scope.missing_tables,
        tables=[
            TableScope(
                table=t.table, rows=t.rows, previous_rows=t.previous_rows,
                newest=t.newest and t.newest[:7],
            )
            for t in scope.tables
        ],
    )  # fmt: skip


def verdict_outside(verdict: Verdict) -> Verdict:
    """The verdict for readers outside: without what the office is to record next."""
    return Verdict(
        state=verdict.state,
        words=verdict.words,
        coverage=verdict.coverage,
        important_not_run=verdict.important_not_run,
        pack_silent=verdict.pack_silent,
        parts=verdict.parts,
        next=[],
        kept=verdict.kept,
        promised=verdict.promised,
    )
