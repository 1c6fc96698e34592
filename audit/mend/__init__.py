"""The fewest changes to the register that close the most findings, tried out on a copy.

Only what is certain is changed; every change is audited before it is written. A change that
would bring up a new finding is done another way or withdrawn, and so is one that bears on a
way out. The originals are only read.
"""

from __future__ import annotations

import datetime as dt
import json
import tempfile
from collections import defaultdict
from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from zoneinfo import ZoneInfo

from rich.console import Console

from audit import check, ingest
from audit.arithmetic.cover import fewest, prune
from audit.attest import statement
from audit.attest.key import site_key
from audit.contract import Dataset, Source
from audit.decisions import DecisionRow
from audit.engine import run as judge
from audit.ingest.files import read_tables
from audit.ingest.rewrite import Changes, as_text, changed, corrected, own_csv
from audit.ingest.tables import RawTable, build
from audit.mend.actions import ROUGH, Action, Plan, Way, certain
from audit.mend.digits import Draw
from audit.mend.relabel import NAMES_IT, relabelled
from audit.record import Finding, Record
from audit.report import pack
from audit.schema import REFERENCE_SUBJECTS
from audit.site import InputError, Site, read_site

COPY = "site"
REDRAWS = 20
AUDITS, TRIALS = 100, 400
"""How often a copy is audited to find out who is to blame, and what can be left out: enough for
hundreds of actions; beyond it an action stays withdrawn, or done, as the first plan had it."""
Fault = tuple[str, str, dict[str, list[str]]]
TABLE_OF = {subject: table for table, subject in REFERENCE_SUBJECTS.items()}


@dataclass
class Mended:
    """What was done and what is left, for the worklist and the terminal.

    `applied` are (action, the way it was done, ids of the findings it closes or helps to);
    `withdrawn` (action, why not, ids that it would close). `renamed` counts the rows of
    read-back and log that name a PIN by its id where they gave its old digits.
    """

    before: Record
    after: Record
    data: Dataset
    applied: list[tuple[Action, Way, list[str]]] = field(default_factory=list)
    withdrawn: list[tuple[Action, str, list[str]]] = field(default_factory=list)
    closed: list[Finding] = field(default_factory=list)
    remaining: list[Finding] = field(default_factory=list)
    renamed: int = 0


def run(site: Path, out: Path, as_of: dt.date | None, new_pins: bool, console: Console) -> int:
    """Writes worklist, corrected copy and its findings into `out`, and tells what was done.

    0 where nothing at or above planned remains, 1 where something does, 3 where a rule
    failed inside. InputError where the input or the place can't be used.
    """
    from audit.mend import told

    _check_place(out, site)
    with ingest.site_folder(site) as folder:
        original = read_site(ingest.inside(folder, "site.toml", missing_ok=True))
        raws, notes = read_tables(folder, original)
        day = as_of or dt.datetime.now(ZoneInfo(original.timezone)).date()
        workshop = Workshop(
            original, raws, day, ingest.read_decisions(folder), own_csv(folder, original)
        )
        mended, changes = workshop.mend(new_pins=new_pins)
        files = corrected(folder, original, changes)
    after = _audited(files, day)
    if _about(after) != _about(mended.after):
        raise InputError(
            f"{site}: the corrected copy would not read as it was meant; nothing was written."
            " Save the tables as CSV (UTF-8) and run mend again"
        )
    mended.after = mended.after.model_copy(update={"inputs": after.inputs})
    pieces = {f"{COPY}/{name}": data for name, data in files.items()}
    pieces["worklist.csv"] = told.worklist(mended)
    pieces["findings.json"] = mended.after.to_json().encode()
    pieces |= told.secret_files(mended)
    key = site_key(site, make=True)
    manifest = statement.stated(
        json.loads(mended.after.to_json()),
        pieces,
        kind="corrected copy",
        formats=("json",),
        key=key,
        inputs=statement.inputs_of(
            key, [(i.table, i.file, i.sha256) for i in workshop.data.inputs], {}, None, told=True
        ),
    )
    pack.write(out, pieces, manifest.to_json())
    for note in notes:
        console.print(told.note(note))
    told.tell(mended, out, console)
    if any(o.state == "failed" for o in mended.after.outcomes):
        return 3
    return int(any(f.priority != "advisory" and not f.silenced for f in mended.remaining))


def _about(record: Record) -> list[str]:
    """What each finding is about: its id may be an earlier review's, read anew it is not."""
    return sorted(f"{f.rule} {sorted(f.subjects.items())}" for f in record.findings)


def _check_place(out: Path, site: Path) -> None:
    """InputError where `out` is, holds or lies in the site's folder, or isn't ours to fill."""
    home = site.parent if site.is_file() and site.name == "site.toml" else site
    pack.check_place(out, home)
    if home.is_dir() and home.resolve() in out.resolve().parents:
        raise InputError(
            f"--out {out}: lies in the site's own folder; name a folder outside it, so that the"
            " originals and the copy can't be taken for each other"
        )


def _audited(files: Mapping[str, bytes], day: dt.date) -> Record:
    """The record of the corrected copy as its files read."""
    with tempfile.TemporaryDirectory(prefix="copy-") as place:
        for name, data in files.items():
            path = Path(place) / name
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(data)
        return check.audited(Path(place), as_of=day).record


FOLLOWS = {"loaded-without-permission"}
"""What a correction of the register may bring up: the doors still hold what it ended, until it is
sent to them and read back. That is work to do, no fault of the correction."""


class Workshop:
    """The site's raw tables, and what an audit says of them after some changes."""

    def __init__(
        self,
        site: Site,
        raws: Sequence[RawTable],
        as_of: dt.date,
        decisions: Sequence[DecisionRow],
        in_place: Collection[str],
    ) -> None:
        self.site = site
        self.as_of = as_of
        self.decisions = decisions
        self.raws = {r.name: r for r in raws}
        self.in_place = in_place
        self.data = build(raws, site, as_of)
        self.before = check.of_dataset(self.data, decisions).record
        self.known = {f.id for f in self.before.findings}
        self.grave = {f.id for f in self.before.findings if f.life_safety}

    def mend(self, *, new_pins: bool) -> tuple[Mended, dict[str, Changes]]:
        """The actions that hold, what they leave, and the cells that they change."""
        draw = Draw(self.data) if new_pins else None
        plan = certain(self.before.findings, self.data, self.raws, draw)
        self._only_where_columns_fit(plan)
        wanted = dict(plan.actions)
        withdrawn = self._lost_in_form(plan)
        redrawn: dict[str, int] = {}
        reasons: dict[str, str] = {}
        while True:
            chosen = self._chosen(plan, withdrawn)
            record = self.audit(plan, chosen)
            faults = self._faults(record)
            if not faults:
                useless = self._useless(plan, chosen, record)
                if not useless:
                    break
                withdrawn |= dict.fromkeys(useless, "the audit of the copy still finds it")
                continue
            pinned = any(rule.startswith("pin-") for _, rule, _ in faults)
            for key, own in self._blamed(plan, chosen, faults).items():
                action = plan.actions[key]
                tired = redrawn.get(key, 0) >= REDRAWS or not pinned
                if draw is not None and key.endswith("/digits") and not tired:
                    redrawn[key] = redrawn.get(key, 0) + 1
                    fresh = draw()
                    ways = tuple(replace(w, cells={**w.cells, "pin": fresh}) for w in action.ways)
                else:
                    reasons.setdefault(key, _told_fault(own[0], len(own) - 1))
                    ways = action.ways[1:]
                    if not ways:
                        withdrawn[key] = reasons[key]
                        plan.actions[key] = wanted[key]
                        continue
                plan.actions[key] = replace(action, ways=ways)
        chosen, record = self._pruned(plan, chosen, record)
        return self._told(plan, chosen, record, withdrawn), self.changes(plan, chosen)

    def _only_where_columns_fit(self, plan: Plan) -> None:
        """Drops ways that need a new column in a file whose rows are longer than its header."""
        for key, action in plan.actions.items():
            raw = self.raws[action.table]
            if len(raw.long_rows) and action.table in self.in_place:
                ways = tuple(w for w in action.ways if all(c in raw.cells for c in w.cells))
                plan.actions[key] = replace(action, ways=ways)

    def _lost_in_form(self, plan: Plan) -> dict[str, str]:
        """Actions on tables that would be read otherwise once they stand in a CSV, and why not.

        A spreadsheet tells which cells arrived as numbers, a CSV doesn't: what was found by
        that would vanish from the copy without being mended.
        """
        lost: dict[str, str] = {}
        for name in sorted({a.table for a in plan.actions.values()} - set(self.in_place)):
            raw = self.raws[name]
            if not any(m.any() for m in raw.numbers.values()) and not len(raw.long_rows):
                continue
            raws = [as_text(r) if n == name else r for n, r in self.raws.items()]
            record = check.of_dataset(build(raws, self.site, self.as_of), self.decisions).record
            if {f.id for f in record.findings} != self.known:
                why = f"would hide how {raw.file} arrived: export its {name} again as text first"
                lost |= {k: why for k, a in plan.actions.items() if a.table == name}
        return lost

    def _chosen(self, plan: Plan, withdrawn: Collection[str]) -> frozenset[str]:
        usable = {k for k, a in plan.actions.items() if a.ways} - set(withdrawn)
        needs = [n._replace(members=n.members & usable) for n in plan.needs.values()]
        return fewest([n for n in needs if n.least <= len(n.members)])

    def changes(self, plan: Plan, chosen: Collection[str]) -> dict[str, Changes]:
        """The cells and rows that these actions change, by table."""
        found: dict[str, Changes] = {}
        for action in (plan.actions[k] for k in sorted(chosen)):
            part = found.setdefault(action.table, Changes())
            rows = self.data.tables[action.table].rows
            for label in action.labels:
                if not action.ways[0].cells:
                    part.removed.add(int(rows[label]))
                for column, text in action.ways[0].cells.items():
                    part.cells[(int(rows[label]), column)] = text
        pins = {
            n
            for k in chosen
            for n in plan.actions[k].labels
            if "pin" in plan.actions[k].ways[0].cells
        }
        return found | relabelled(self.data, pins)

    def copy(
        self, plan: Plan, chosen: Collection[str], only: Collection[str] | None = None
    ) -> Dataset:
        """The dataset of the corrected copy, or some of its tables."""
        changes = self.changes(plan, chosen)
        raws = [
            changed(raw if name in self.in_place else as_text(raw), changes[name])
            if name in changes
            else raw
            for name, raw in self.raws.items()
            if only is None or name in only
        ]
        return build(raws, self.site, self.as_of)

    def audit(self, plan: Plan, chosen: Collection[str]) -> Record:
        """The record of the copy, compared with that of the original."""
        return check.of_dataset(self.copy(plan, chosen), self.decisions, earlier=self.before).record

    def _faults(self, record: Record) -> list[Fault]:
        """What an action must not do: (what, rule, subjects) for each time that it was done."""
        return [
            *(("would bring up", f.rule, f.subjects) for f in record.findings
              if f.id not in self.known and f.rule not in FOLLOWS),
            *(("would hide", p.rule, p.subjects) for p in record.not_reassessed),
            *(("would bear on", p.rule, p.subjects) for p in record.mended if p.id in self.grave),
        ]  # fmt: skip

    def _useless(self, plan: Plan, chosen: Iterable[str], record: Record) -> list[str]:
        """Actions none of whose findings the audit takes for closed."""
        standing = {f.id for f in record.findings}
        closes = {m for i, n in plan.needs.items() if i not in standing for m in n.members}
        return sorted(set(chosen) - closes)

    def _blamed(
        self,
        plan: Plan,
        chosen: frozenset[str],
        faults: Sequence[Fault],
    ) -> dict[str, list[Fault]]:
        """The actions behind these faults, each with its own: those on a row that a fault names,
        else, by trial, those without which there is none."""
        named: dict[tuple[str, str], list[Fault]] = defaultdict(list)
        for fault in faults:
            subjects = fault[2]
            for key, values in subjects.items():
                for table in [TABLE_OF[key]] if key in TABLE_OF else []:
                    for value in values:
                        named[(table, value)].append(fault)
            for table in subjects.get("table", []):
                for value in subjects.get("id", []):
                    named[(table, value)].append(fault)
        rows = {k: (plan.actions[k].table, plan.actions[k].ident) for k in sorted(chosen)}
        blamed = {k: named[row] for k, row in rows.items() if row in named}
        if blamed:
            return blamed
        harmless = prune(
            sorted(chosen),
            _at_most(AUDITS, lambda kept: not self._faults(self.audit(plan, kept))),
        )
        return {key: list(faults) for key in sorted(chosen - harmless) or sorted(chosen)}

    def _pruned(
        self, plan: Plan, chosen: frozenset[str], record: Record
    ) -> tuple[frozenset[str], Record]:
        """Without the actions that other actions make needless: what is closed stays closed."""
        standing = {f.id for f in record.findings}
        met = {i: n.members & chosen for i, n in plan.needs.items() if i not in standing}
        sharp = {m for i, members in met.items() if plan.rules[i] not in ROUGH for m in members}
        rough = {m for members in met.values() for m in members} - sharp
        if not rough:
            return chosen, record
        names = {plan.rules[i] for i, n in plan.needs.items() if n.members & rough}
        some = [r for r in check.all_rules() if r.name in names]
        tables = {t for r in some for t in (*r.needs, *r.uses)}

        def spared(out: frozenset[str]) -> bool:
            judged = judge(some, self.copy(plan, chosen - out, tables))
            return {f.id for j in judged for f in j.findings} <= standing

        fewer = chosen - prune(sorted(rough), _at_most(TRIALS, spared))
        again = self.audit(plan, fewer)
        if self._faults(again) or not {f.id for f in again.findings} <= standing:
            return chosen, record
        return fewer, again

    def _told(
        self, plan: Plan, chosen: frozenset[str], record: Record, withdrawn: Mapping[str, str]
    ) -> Mended:
        standing = {f.id for f in record.findings}
        closed = [f for f in self.before.findings if f.id not in standing]
        parts = self._parts(plan, chosen, closed)
        wanted: dict[str, list[str]] = defaultdict(list)
        for i, need in plan.needs.items():
            for key in need.members & withdrawn.keys():
                wanted[key].append(i)
        return Mended(
            self.before,
            record,
            self.data,
            [(plan.actions[k], plan.actions[k].ways[0], parts[k]) for k in sorted(chosen)],
            [(plan.actions[k], why, wanted[k]) for k, why in sorted(withdrawn.items())],
            closed,
            record.findings,
            sum(len(c.cells) for t, c in self.changes(plan, chosen).items() if t in NAMES_IT),
        )

    def _parts(
        self, plan: Plan, chosen: frozenset[str], closed: Sequence[Finding]
    ) -> dict[str, list[str]]:
        """For each action the findings that it closes or helps to: by its need, or on its row."""
        on: dict[Source, list[str]] = defaultdict(list)
        for key in sorted(chosen):
            for label in plan.actions[key].labels:
                on[self.data.where(plan.actions[key].table, label)].append(key)
        parts: dict[str, list[str]] = {key: [] for key in chosen}
        for f in closed:
            need = plan.needs.get(f.id)
            if need is not None:
                keys = need.members & chosen
            else:
                rows = (Source(s.file, s.sheet, s.row) for s in f.sources if s.row is not None)
                keys = frozenset(k for row in rows for k in on.get(row, ()))
            for key in keys:
                parts[key].append(f.id)
        return parts


def _at_most(
    times: int, spared: Callable[[frozenset[str]], bool]
) -> Callable[[frozenset[str]], bool]:
    """Asks so many times; then nothing more is taken for spared, and stays as it is."""
    left = iter(range(times))
    return lambda out: next(left, None) is not None and spared(out)


def _told_fault(fault: Fault, more: int) -> str:
    """A fault in words: `would bring up loaded-unknown (door D1; number 7) and 3 more`."""
    what, rule, subjects = fault
    named = "; ".join(f"{k} {', '.join(v)}" for k, v in subjects.items())
    return " ".join(f"{what} {rule} ({named}){f' and {more} more' if more else ''}".split())
