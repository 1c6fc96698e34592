"""What a person reads on the terminal: right at 80 columns, plain when piped.

Every text that comes from the input passes through `plain`: no control character, no
change of writing direction and no markup reaches the screen.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence

from rich.console import Console
from rich.padding import Padding
from rich.rule import Rule as Line
from rich.table import Table
from rich.text import Text

from audit.record import PRIORITIES, Finding, Outcome, Past, Record
from audit.screen import CAUTION, STYLE, plain

SAYS = {
    "immediate": "someone can be hurt, trapped, or get in today",
    "planned": "mend before the next review",
    "advisory": "worth a look",
}
SHOWN = 8  # findings of one rule before the screen says "and N more"


def summary(record: Record, out: Console) -> None:
    """The whole summary: verdict, what was looked at, findings, what was not looked at."""
    _head(record, out)
    _findings(record, out)
    _coverage(record, out)
    _past(record, out)
    for notice in record.notices:
        out.print(Padding(Text(plain(notice), style="yellow"), (0, 0, 0, 2)))
    _first(record, out)
    out.print()
    out.print(Text(CAUTION, style="italic"))


def _head(record: Record, out: Console) -> None:
    out.print(Text(plain(record.site.name), style="bold"))
    what = "check before upload" if record.stage == "upload" else "review"
    rows = sum(i.rows for i in record.inputs)
    aside = sum(i.set_aside for i in record.inputs)
    facts = f"{what} as of {record.as_of}, {_count(len(record.inputs), 'table')}, {rows:,} rows"
    out.print(Text(facts + (f", {aside:,} of them set aside" if aside else "")))
    out.print()
    t = record.totals
    counts = {p: getattr(t, p) for p in PRIORITIES}
    if not any(counts.values()):
        looked = sum(o.state in ("assessed", "partly") for o in record.outcomes)
        if looked:
            out.print(Text(f"Nothing found by the {looked} rules that could look.", style="bold"))
        else:
            out.print(Text("Nothing was looked at.", style="bold red"))
    table = Table.grid(padding=(0, 2))
    for priority, n in counts.items():
        if n:
            table.add_row(
                Text(f"{n:>6,}", style=STYLE[priority]),
                Text(priority, style=STYLE[priority]),
                Text(SAYS[priority]),
            )
    out.print(table)
    decided = sum(f.silenced for f in record.findings)
    if decided:
        out.print(Text(f"{decided:>6,}  of these stand under a decision in force"))


def _findings(record: Record, out: Console) -> None:
    by_rule: dict[tuple[str, str], list[Finding]] = defaultdict(list)
    for finding in record.findings:
        by_rule[(finding.priority, finding.rule)].append(finding)
    for priority in PRIORITIES:
        groups = [(r, f) for (p, r), f in by_rule.items() if p == priority]
        if not groups:
            continue
        out.print()
        out.print(Line(Text(priority, style=STYLE[priority]), align="left", style=STYLE[priority]))
        for rule, findings in groups:
            _rule(rule, findings, out)


def _rule(rule: str, findings: Sequence[Finding], out: Console) -> None:
    head = Text(rule, style="bold")
    head.append(f"  {len(findings):,}")
    if findings[0].life_safety:
        head.append("  life safety", style="bold red")
    out.print(head)
    for finding in findings[:SHOWN]:
        out.print(Padding(Text(_line(finding)), (0, 0, 0, 2)))
        out.print(Padding(Text(_where(finding), style="dim"), (0, 0, 0, 4)))
    if len(findings) > SHOWN:
        rest = f"and {len(findings) - SHOWN:,} more of this rule; --out writes them all"
        out.print(Padding(Text(rest, style="italic"), (0, 0, 0, 2)))
    out.print(Padding(Text("To mend: " + plain(findings[0].remedy)), (0, 0, 1, 2)))


def _line(finding: Finding) -> str:
    marks: list[str] = []
    if finding.change is not None:
        marks.append(finding.change)
    if finding.decision is not None:
        marks.append(f"{finding.decision.decision}, {finding.decision.state}")
    return plain(finding.summary) + (f"  [{'; '.join(marks)}]" if marks else "")


def _where(finding: Finding, most: int = 6) -> str:
    places: dict[str, list[int]] = defaultdict(list)
    for s in finding.sources:
        rows = places[s.file + (f" ({s.sheet})" if s.sheet else "")]
        if s.row is not None:
            rows.append(s.row)
    parts = []
    for file, rows in places.items():
        shown = ", ".join(map(str, rows[:most]))
        more = f" and {len(rows) - most:,} more" if len(rows) > most else ""
        at = f" row{'s' if len(rows) > 1 else ''} {shown}{more}" if rows else ""
        parts.append(plain(file) + at)
    return "; ".join(parts)


def _coverage(record: Record, out: Console) -> None:
    states = Counter(o.state for o in record.outcomes)
    out.print()
    out.print(Line(Text("what was looked at", style="bold"), align="left"))
    looked = states["assessed"] + states["partly"]
    some = f"; {states['partly']} of them could judge only a part" if states["partly"] else ""
    out.print(f"{looked} of {len(record.outcomes)} rules looked{some}.")
    if states["failed"]:
        failed = [o for o in record.outcomes if o.state == "failed"]
        for o in failed:
            out.print(
                Text(
                    f"{o.rule} FAILED inside: {o.reason}. This report is incomplete.",
                    style="bold red",
                )
            )
    reasons: dict[str, list[str]] = defaultdict(list)
    for o in record.outcomes:
        if o.state == "not-assessed":
            reasons[o.reason or ""].append(o.rule)
    for reason, names in sorted(reasons.items(), key=lambda item: (-len(item[1]), item[0])):
        out.print(Padding(Text(f"Not looked at, {plain(reason)}:", style="yellow"), (0, 0, 0, 2)))
        out.print(Padding(Text(", ".join(names)), (0, 0, 0, 4)))
    partly = [o for o in record.outcomes if o.state == "partly"]
    if partly:
        out.print(Padding(Text("Judged in part, the rest not given or unreadable:"), (0, 0, 0, 2)))
        table = Table.grid(padding=(0, 2))
        for o in partly:
            table.add_row("  ", o.rule, Text(_part(o), justify="right"))
        out.print(Padding(table, (0, 0, 0, 2)))


def _part(o: Outcome) -> str:
    return f"{o.unassessed:,} of {o.checked + o.unassessed:,} not judged"


def _past(record: Record, out: Console) -> None:
    if record.mended or record.not_reassessed:
        out.print()
        out.print(
            f"Since the previous review: {len(record.mended):,} mended, "
            f"{len(record.not_reassessed):,} not looked at again."
        )


def _first(record: Record, out: Console) -> None:
    todo = first_steps(record.findings)
    if not todo:
        return
    out.print()
    out.print(Line(Text("what to do first", style="bold"), align="left"))
    for number, (remedy, n) in enumerate(todo, 1):
        text = Text(f"{number}. {plain(remedy)} ({_count(n, 'finding')})")
        out.print(Padding(text, (0, 0, 0, 2)))


def first_steps(findings: Iterable[Finding], most: int = 3) -> list[tuple[str, int]]:
    """The remedies to begin with: life safety before the rest, then priority, then how many."""
    rank: dict[str, tuple[int, int, int]] = {}
    count: Counter[str] = Counter()
    for f in findings:
        if f.silenced or f.priority == "advisory":
            continue
        count[f.remedy] += 1
        key = (PRIORITIES.index(f.priority), 0 if f.life_safety else 1)
        rank[f.remedy] = min(rank.get(f.remedy, (9, 9, 0)), (*key, 0))
    ordered = sorted(count, key=lambda r: (rank[r], -count[r], r))
    return [(r, count[r]) for r in ordered[:most]]


def _count(n: int, noun: str) -> str:
    return f"{n:,} {noun}{'' if n == 1 else 's'}"


def comparison(
    old: Record, new: Record, parts: Mapping[str, Sequence[Finding | Past]], out: Console
) -> None:
    """What `compare` tells: how many of each kind, and each one."""
    out.print(Text(f"{plain(new.site.name)}: {old.as_of} against {new.as_of}", style="bold"))
    titles = {
        "new": "new",
        "standing": "standing",
        "returned": "come back",
        "mended": "mended",
        "not reassessed": "not looked at again",
    }
    for key, title in titles.items():
        items = parts[key]
        out.print()
        out.print(Line(Text(f"{title}: {len(items):,}", style="bold"), align="left"))
        for item in items:
            subjects = "; ".join(f"{k} {', '.join(v)}" for k, v in item.subjects.items())
            out.print(Padding(Text(f"{item.id}  {item.rule}  {plain(subjects)}"), (0, 0, 0, 2)))
