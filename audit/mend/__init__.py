"""The fewest changes to the register that close the most findings, tried out on a copy.

Only what is certain is changed; every change is audited before it is written. A change that
would bring up a new finding is done another way or withdrawn, and so is one that bears on a
way out. The originals are only read.
"""

from __future__ import annotations

import datetime as dt
import re
import tempfile
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from zoneinfo import ZoneInfo

from rich.console import Console

from audit import check, ingest
from audit.contract import Dataset, Source
from audit.engine import run as judge
from audit.ingest.files import read_tables
from audit.ingest.rewrite import Changes, as_text, changed, corrected, own_csv
from audit.ingest.tables import RawTable, build
from audit.ledger import DecisionRow
from audit.mend.actions import ROUGH, Action, Plan, Way, certain
from audit.mend.digits import Draw
from audit.mend.relabel import NAMES_IT, relabelled
from audit.record import Finding, Record
from audit.report import pack
from audit.schema import REFERENCE_SUBJECTS
from audit.site import InputError, Site, read_site
from audit.trade.cover import fewest, prune

COPY = "site"
REDRAWS = 20
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
    if {f.id for f in after.findings} != {f.id for f in mended.after.findings}:
        raise InputError(
            f"{site}: the corrected copy would not read as it was meant; nothing was written."
            " Save the tables as CSV (UTF-8) and run mend again"
        )
    mended.after = mended.after.model_copy(update={"inputs": after.inputs})
    pieces = {f"{COPY}/{name}": data for name, data in files.items()}
    pieces["worklist.csv"] = told.worklist(mended)
    pieces["findings.json"] = mended.after.to_json().encode()
    pieces |= told.secret_files(mended)
    facts: dict[str, object] = {
        "site": mended.before.site.name,
        "as_of": mended.before.as_of,
        "what": "corrected copy",
    }
    inputs = {i.file: i.sha256 for i in mended.before.inputs if i.sha256}
    pack.write(out, pieces, pack.manifest_text(pieces, inputs, facts))
    for note in notes:
        console.print(told.note(note))
    told.tell(mended, out, console)
    if any(o.state == "failed" for o in mended.after.outcomes):
        return 3
    return int(any(f.priority != "advisory" and not f.silenced for f in mended.remaining))


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
            for key in self._blamed(plan, chosen, faults):
                action = plan.actions[key]
                tired = redrawn.get(key, 0) >= REDRAWS or not any(
                    rule.startswith("pin-") for _, rule, _ in faults
                )
                if draw is not None and key.endswith("/digits") and not tired:
                    redrawn[key] = redrawn.get(key, 0) + 1
                    fresh = draw()
                    ways = tuple(replace(w, cells={**w.cells, "pin": fresh}) for w in action.ways)
                else:
                    reasons.setdefault(key, _reason(faults, action))
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

    def copy(self, plan: Plan, chosen: Collection[str]) -> Dataset:
        """The dataset of the corrected copy."""
        changes = self.changes(plan, chosen)
        raws = [
            changed(raw if name in self.in_place else as_text(raw), changes[name])
            if name in changes
            else raw
            for name, raw in self.raws.items()
        ]
        return build(raws, self.site, self.as_of)

    def audit(self, plan: Plan, chosen: Collection[str]) -> Record:
        """The record of the copy, compared with that of the original."""
        return check.of_dataset(self.copy(plan, chosen), self.decisions, earlier=self.before).record

    def _faults(self, record: Record) -> list[tuple[str, str, dict[str, list[str]]]]:
        """What an action must not do: (what, rule, subjects) for each time that it was done."""
        return [
            *(("would bring up", f.rule, f.subjects) for f in record.findings
              if f.id not in self.known),
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
        faults: Sequence[tuple[str, str, dict[str, list[str]]]],
    ) -> list[str]:
        """The actions behind these faults: those on a row that a fault names, else by trial."""
        named = {
            (TABLE_OF[key], value)
            for _, _, subjects in faults
            for key, values in subjects.items()
            if key in TABLE_OF
            for value in values
        }
        named |= {
            (table, value)
            for _, _, subjects in faults
            for table in subjects.get("table", [])
            for value in subjects.get("id", [])
        }
        blamed = sorted(
            k for k in chosen if (plan.actions[k].table, plan.actions[k].ident) in named
        )
        if blamed:
            return blamed
        harmless = prune(sorted(chosen), lambda kept: not self._faults(self.audit(plan, kept)))
        return sorted(chosen - harmless) or sorted(chosen)

    def _pruned(
        self, plan: Plan, chosen: frozenset[str], record: Record
    ) -> tuple[frozenset[str], Record]:
        """Without the actions that other actions make needless: what is closed stays closed."""
        gone = {i for i in plan.needs if i not in {f.id for f in record.findings}}
        met = {i: n for i, n in plan.needs.items() if i in gone and n.members & chosen}
        sharp = {m for i, n in met.items() if plan.rules[i] not in ROUGH for m in n.members}
        rough = sorted((chosen - sharp) & {m for n in met.values() for m in n.members})
        if not rough:
            return chosen, record
        names = {plan.rules[i] for i, n in plan.needs.items() if n.members & set(rough)}
        some = [r for r in check.all_rules() if r.name in names]
        standing = {f.id for f in record.findings}

        def spared(out: frozenset[str]) -> bool:
            judged = judge(some, self.copy(plan, chosen - out))
            return {f.id for j in judged for f in j.findings} <= standing

        fewer = chosen - prune(rough, spared)
        again = self.audit(plan, fewer)
        if self._faults(again) or not {f.id for f in again.findings} <= standing:
            return chosen, record
        return fewer, again

    def _told(
        self, plan: Plan, chosen: frozenset[str], record: Record, withdrawn: Mapping[str, str]
    ) -> Mended:
        standing = {f.id for f in record.findings}
        closed = [f for f in self.before.findings if f.id not in standing]
        applied = []
        for key in sorted(chosen):
            action = plan.actions[key]
            rows = {self.data.where(action.table, n) for n in action.labels}
            ids = [f.id for f in closed if _by(plan, action, rows, f)]
            applied.append((action, action.ways[0], ids))
        return Mended(
            self.before,
            record,
            self.data,
            applied,
            [
                (plan.actions[k], why, [i for i, n in plan.needs.items() if k in n.members])
                for k, why in sorted(withdrawn.items())
            ],
            closed,
            record.findings,
            sum(len(c.cells) for t, c in self.changes(plan, chosen).items() if t in NAMES_IT),
        )


def _by(plan: Plan, action: Action, rows: Collection[Source], finding: Finding) -> bool:
    """Whether the action has a part in closing the finding: by its need, or on one of its rows."""
    need = plan.needs.get(finding.id)
    if need is not None:
        return action.key in need.members
    return any(Source(s.file, s.sheet, s.row) in rows for s in finding.sources)


def _reason(faults: Sequence[tuple[str, str, dict[str, list[str]]]], action: Action) -> str:
    """Why an action was withdrawn: the fault that names its row, else the first."""
    subject = REFERENCE_SUBJECTS[action.table]
    own = [f for f in faults if action.ident in f[2].get(subject, ())] or list(faults)
    what, rule, subjects = own[0]
    named = "; ".join(f"{k} {', '.join(v)}" for k, v in subjects.items())
    more = f" and {len(own) - 1} more" if len(own) > 1 else ""
    return re.sub(r"\s+", " ", f"{what} {rule} ({named}){more}")
