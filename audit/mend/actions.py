"""What is certain: for each finding that the register itself can close, the cells that close it.

An action is certain where it takes nothing from anyone who is entitled: a departed person's
card, a right of a card that lies in the drawer, the second of two permissions of which one
adds nothing. Everything else is for a person to decide. Doors, zones, schedules and whatever
else a way out hangs on are never touched.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Final

import numpy as np
import pandas as pd

from audit.arithmetic.cover import Need
from audit.arithmetic.guessing import series_length
from audit.contract import Dataset
from audit.facts.permissions import repeated
from audit.facts.standing import by_id, departed
from audit.ingest.tables import RawTable
from audit.record import Finding
from audit.schema import REFERENCE_SUBJECTS, TABLES

TOUCHED: Final = ("cards", "pins", "permissions")
"""The tables in which cells change."""
TWICE: Final = (*TOUCHED, "people", "dwellings", "stations")
"""The tables from which a row that says the same twice is taken."""
CREDENTIALS: Final = {"card": "cards", "pin": "pins"}
CHANGE_PIN: Final = (
    "pin-dated",
    "pin-duress-not-distinct",
    "pin-from-record",
    "pin-guessable",
    "pin-reused",
    "pin-series",
    "pin-shared-after-departure",
    "pin-shared-too-old",
    "pin-too-short",
)
"""Findings that other digits close."""
ROUGH: Final = frozenset({"pin-dated", "pin-duress-not-distinct", "pin-reused", "pin-series"})
"""Of several PINs fewer may do than the need asks for: that is found by trial."""


@dataclass(frozen=True)
class Way:
    """One way to do an action: in words, and as the cells that it sets (column -> text)."""

    words: str
    cells: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class Action:
    """Something done to one row, in one of several ways, the first that does no harm.

    `labels` are rows of the typed table; an action without cells takes them out.
    """

    key: str
    table: str
    ident: str
    labels: tuple[int, ...]
    ways: tuple[Way, ...]


@dataclass
class Plan:
    """Actions by key, and for each finding what it needs of them."""

    actions: dict[str, Action] = field(default_factory=dict)
    needs: dict[str, Need] = field(default_factory=dict)
    rules: dict[str, str] = field(default_factory=dict)  # finding -> its rule

    def add(self, action: Action | None) -> str | None:
        """Keeps the action unless one of its key is there; its key."""
        if action is None or not action.ways:
            return None
        self.actions.setdefault(action.key, action)
        return action.key

    def need(self, finding: Finding, members: Iterable[str | None], least: int | None) -> None:
        """The finding is closed by `least` of the members (None: all); none may be missing."""
        keys = list(members)
        found = frozenset(k for k in keys if k is not None)
        wanted = len(keys) if least is None else least
        if found and wanted <= len(found):
            self.needs[finding.id] = Need(found, wanted)
            self.rules[finding.id] = finding.rule


class Register:
    """The rows that findings speak of, looked up by id; and what a decision protects."""

    def __init__(
        self, data: Dataset, raws: Mapping[str, RawTable], findings: Sequence[Finding]
    ) -> None:
        self.data = data
        self.raws = raws
        self.eve = data.today - pd.Timedelta(days=1)
        wanted: dict[str, set[str]] = defaultdict(set)
        for f in findings:
            named = {**f.subjects, "table_id": f.subjects.get("id", [])}
            named |= {k: v for k, v in f.evidence.items() if k in _LISTED and isinstance(v, list)}
            for key, values in named.items():
                table = _LISTED.get(key, f.subjects.get("table", [""])[0])
                if table in TWICE:
                    wanted[table].update(values)
        self.rows: dict[tuple[str, str], list[int]] = defaultdict(list)
        for table, ids in wanted.items():
            column = data[table][TABLES[table].row_id or ""]
            hits = column[column.isin(sorted(ids)).to_numpy(bool)]
            for label, ident in hits.items():
                self.rows[(table, str(ident))].append(int(str(label)))
        self.kept = {
            (CREDENTIALS.get(key, "permissions"), value)
            for f in findings
            if f.silenced
            for key in ("card", "pin", "permission")
            for value in f.subjects.get(key, [])
        }
        self.gone = departed(data).fillna(False)

    def labels(self, table: str, ident: str) -> tuple[int, ...]:
        """The rows of this id; none where they differ, or where a decision protects them."""
        rows = tuple(self.rows.get((table, ident), ()))
        if (table, ident) in self.kept or (len(rows) > 1 and not self.alike(table, rows)):
            return ()
        return rows

    def alike(self, table: str, labels: Sequence[int]) -> bool:
        """Whether the rows are the same in every cell of the source."""
        raw = self.raws[table]
        numbers = self.data.tables[table].rows[list(labels)]
        at = np.searchsorted(raw.rows, numbers).tolist()
        columns = [*raw.cells.values(), *raw.others]
        return all(len({c[i].as_py() or "" for i in at}) == 1 for c in columns)

    def cell(self, table: str, label: int, column: str) -> Any:
        """A typed cell; None where nothing stands there or nothing that can be read."""
        value: Any = self.data[table].at[label, column]
        return None if pd.isna(value) else value

    def blank(self, table: str, label: int, column: str) -> bool:
        """Whether the cell is surely empty (an absent column is)."""
        return self.cell(table, label, column) is None and not bool(
            self.data.unread(table, column)[label]
        )

    def person(self, table: str, label: int) -> int | None:
        """The holder's row in the people table."""
        return self.person_row(self.cell(table, label, "person_id"))

    def person_row(self, ident: str | None) -> int | None:
        """The row of the people table that stands for this id."""
        people = by_id(self.data, "people")
        if ident is None or ident not in people.index:
            return None
        own: Any = people.at[ident, "_label"]
        return int(own)


_LISTED: Final = {
    **{subject: table for table, subject in REFERENCE_SUBJECTS.items()},
    "cards": "cards",
    "pins": "pins",
    "permissions": "permissions",
}


def certain(
    findings: Sequence[Finding],
    data: Dataset,
    raws: Mapping[str, RawTable],
    draw: Callable[[], str] | None,
) -> Plan:
    """Every certain action, and what each open finding needs of them.

    `draw` gives new digits; None where no PIN is to be changed.
    """
    register = Register(data, raws, findings)
    plan = Plan()
    open_ = [f for f in findings if not f.silenced and not f.life_safety]
    for f in open_:
        handler = _STRICT.get(f.rule)
        if handler is not None:
            handler(f, register, plan)
    for f in open_:
        if f.rule == "visitor-card-open-ended":
            _visitor(f, register, plan)
        elif f.rule in CHANGE_PIN and draw is not None:
            _digits(f, register, plan, draw)
    return plan


# --- cards and PINs ----------------------------------------------------------------------


def _day(day: pd.Timestamp) -> str:
    return day.date().isoformat()


def _life(register: Register, table: str, ident: str) -> Action | None:
    """Takes a credential from someone who is not, or not yet, entitled to it."""
    labels = register.labels(table, ident)
    if not labels:
        return None
    label = labels[0]
    what = f"{'card' if table == 'cards' else 'PIN'} {ident}"
    person = register.person(table, label)
    suspend = Way(f"Suspend {what}", {"status": "suspended"})
    ways: tuple[Way, ...] = ()
    if person is None:
        kind = register.cell(table, label, "kind")
        unheld = register.blank(table, label, "person_id")
        if unheld and kind not in ("admin", "master", "rounds"):
            ways = (suspend,)
    elif bool(register.gone[person]):
        ways = (suspend, *_end(register, table, label, what, person))
    else:
        start = register.cell("people", person, "start_date")
        if start is not None and start > register.data.today:
            end = register.cell(table, label, "valid_to")
            never = end is not None and end < start
            later = Way(f"Let {what} begin on {_day(start)}", {"valid_from": _day(start)})
            ways = (suspend,) if never else (later,)
    return Action(f"{table}/{ident}/life", table, ident, labels, ways)


def _end(register: Register, table: str, label: int, what: str, person: int) -> tuple[Way, ...]:
    last = register.cell("people", person, "end_date")
    return _ending(register, table, label, what, [last])


def _ending(
    register: Register, table: str, label: int, what: str, days: Iterable[Any]
) -> tuple[Way, ...]:
    """Ends a row's validity on the first of these days that lies before as-of."""
    start = register.cell(table, label, "valid_from")
    found: dict[str, Way] = {}
    for day in days:
        if day is None or bool(register.data.unread(table, "valid_from")[label]):
            continue
        last = min(day, register.eve)
        if start is None or start <= last:
            found.setdefault(
                _day(last), Way(f"End {what} on {_day(last)}", {"valid_to": _day(last)})
            )
    return tuple(found.values())


def _departed_credential(f: Finding, register: Register, plan: Plan) -> None:
    members = [
        plan.add(_life(register, CREDENTIALS[key], ident))
        for key in CREDENTIALS
        for ident in f.subjects.get(key, [])
    ]
    plan.need(f, members, None)


def _vacant(f: Finding, register: Register, plan: Plan) -> None:
    """Only where no entitled person lives there: else the register contradicts itself."""
    if f.evidence.get("entitled") is not False:
        return
    named = [("cards", i) for i in f.evidence["cards"] or ()]
    named += [("pins", i) for i in f.evidence["pins"] or ()]
    found = [_life(register, table, ident) for table, ident in named]
    if all(a is not None and a.ways for a in found):
        plan.need(f, [plan.add(a) for a in found], None)


def _visitor(f: Finding, register: Register, plan: Plan) -> None:
    """A card need not outlive its holder's last day, where that day is near enough."""
    (ident,) = f.subjects["card"]
    labels = register.labels("cards", ident)
    members = [k for k in (f"cards/{ident}/life",) if k in plan.actions]
    person = register.person("cards", labels[0]) if labels else None
    if person is not None:
        last = register.cell("people", person, "end_date")
        start = register.cell("cards", labels[0], "valid_from")
        begun = start or register.cell("cards", labels[0], "issued_on")
        limit = pd.Timedelta(days=register.data.policy.visitor_credential_days)
        if last is not None and begun is not None and register.data.today <= last:
            end = register.cell("cards", labels[0], "valid_to")
            if begun <= last <= begun + limit and (end is None or end > last):
                way = Way(f"End card {ident} on {_day(last)}", {"valid_to": _day(last)})
                action = Action(f"cards/{ident}/end", "cards", ident, labels, (way,))
                members.append(str(plan.add(action)))
    plan.need(f, members, 1)


# --- permissions -------------------------------------------------------------------------


def _end_permission(register: Register, ident: str, days: Sequence[Any]) -> Action | None:
    labels = register.labels("permissions", ident)
    if not labels:
        return None
    ways = _ending(register, "permissions", labels[0], f"permission {ident}", days)
    return Action(f"permissions/{ident}/end", "permissions", ident, labels, ways)


def _departed_permission(f: Finding, register: Register, plan: Plan) -> None:
    (ident,) = f.subjects["person"]
    row = register.person_row(ident)
    days = [None if row is None else register.cell("people", row, "end_date"), register.eve]
    ends = [_end_permission(register, i, days) for i in f.subjects["permission"]]
    plan.need(f, [plan.add(a) for a in ends], None)


def _withdrawn_card(f: Finding, register: Register, plan: Plan) -> None:
    ends = [_end_permission(register, i, [register.eve]) for i in f.evidence["permissions"]]
    plan.need(f, [plan.add(a) for a in ends], None)


def _repeated(f: Finding, register: Register, plan: Plan) -> None:
    """The row that the rule judged is the one that adds nothing; the other stays."""
    found = repeated(register.data)
    pair = set(f.subjects["permission"])
    for ident in sorted(pair):
        for label in set(register.rows[("permissions", ident)]) & set(found.index):
            named: Any = found.at[label, "permission"]
            if set(named) == pair and named[-1] == ident:
                own = plan.add(_end_permission(register, ident, [register.eve]))
                other = [f"permissions/{i}/end" for i in pair - {ident}]
                plan.need(f, [k for k in (own, *other) if k in plan.actions], 1)


# --- PINs and rows -----------------------------------------------------------------------


def _new_digits(register: Register, ident: str, digits: str) -> tuple[Way, ...]:
    """New digits, set as of the day; or said too to work from that day only.

    The latter where a read-back of an earlier day would else be held to lack them.
    """
    today = register.data.as_of.isoformat()
    cells = {"pin": digits}
    if register.data.has("pins", "set_on"):
        cells["set_on"] = today
    words = f"Change PIN {ident}"
    later = (Way(words, {**cells, "valid_from": today}),)
    return (Way(words, cells), *(later if register.data.has("pins", "valid_from") else ()))


def _digits(f: Finding, register: Register, plan: Plan, draw: Callable[[], str]) -> None:
    pins = f.subjects["pin"]
    if f.rule == "pin-duress-not-distinct":
        kinds = {
            i: [register.cell("pins", n, "kind") for n in register.rows[("pins", i)]] for i in pins
        }
        pins = [i for i in pins if "duress" in kinds[i]]
    keep = {"pin-reused": 1, "pin-series": series_length(f.evidence.get("digits") or 4) - 1}
    members: list[str] = []
    for ident in pins:
        life = f"pins/{ident}/life"
        if life in plan.actions:
            members.append(life)  # out of use, it needs no new digits
            continue
        labels = register.labels("pins", ident)
        key = f"pins/{ident}/digits"
        if labels and key not in plan.actions:
            plan.add(Action(key, "pins", ident, labels, _new_digits(register, ident, draw())))
        if labels:
            members.append(key)
    plan.need(f, members, len(pins) - keep.get(f.rule, 0))


def _same_row_twice(f: Finding, register: Register, plan: Plan) -> None:
    (table,), (ident,) = f.subjects["table"], f.subjects["id"]
    if table not in TWICE:
        return
    labels = register.labels(table, ident)
    if len(labels) > 1:
        way = Way(f"Take out the row that repeats {REFERENCE_SUBJECTS[table]} {ident}")
        plan.need(
            f, [plan.add(Action(f"{table}/{ident}/row", table, ident, labels[1:], (way,)))], 1
        )


_STRICT: Final[dict[str, Callable[[Finding, Register, Plan], None]]] = {
    "departed-with-card": _departed_credential,
    "departed-with-pin": _departed_credential,
    "early-access": _departed_credential,
    "vacant-with-credentials": _vacant,
    "departed-with-permission": _departed_permission,
    "card-withdrawn-with-permission": _withdrawn_card,
    "permission-repeated": _repeated,
    "identifier-repeated": _same_row_twice,
}
