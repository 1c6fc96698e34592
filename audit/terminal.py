"""What a person reads on the terminal: right at 80 columns, plain when piped.

Every text that comes from the input passes through `plain`: no control character, no
change of writing direction and no markup reaches the screen.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence

from rich.console import Console
from rich.padding import Padding
from rich.rule import Rule as Line
from rich.text import Text

from audit.record import MEANS, Finding, Past, Record
from audit.screen import CAUTION, STYLE, plain

SHOWN = 10
"""Cases that the summary tells; --all tells the rest."""
TONE = {
    **dict.fromkeys(("incomplete", "trapped", "act-now"), "bold red"),
    **dict.fromkeys(("work-due", "not-enough-run"), "bold yellow"),
    "in-order": "bold green",
}


def summary(record: Record, out: Console, everything: bool = False) -> None:
    """The summary: verdict, scope, the most urgent cases; `everything` tells all of them."""
    _head(record, out)
    _cases(record, out, everything)
    _coverage(record, out, everything)
    _past(record, out)
    for notice in record.notices:
        out.print(Padding(Text(plain(notice), style="yellow"), (0, 0, 0, 2)))
    out.print(Text(CAUTION, style="italic"))


def _head(record: Record, out: Console) -> None:
    what = "check before upload" if record.stage == "upload" else "review"
    rows = sum(i.rows for i in record.inputs)
    aside = sum(i.set_aside for i in record.inputs)
    title = Text(plain(record.site.name), style="bold")
    facts = f"{what} as of {record.as_of}, {_count(len(record.inputs), 'table')}, {rows:,} rows"
    title.append(f"  {facts}" + (f", {aside:,} of them skipped" if aside else ""), style="not bold")
    out.print(title)
    verdict = record.verdict
    if verdict is not None:
        first, *rest = verdict.lines()
        out.print(Text(plain(first), style=TONE[verdict.state]))
        for line in rest:
            out.print(Padding(Text(plain(line)), (0, 0, 0, 2)))
        for step in verdict.next[:3]:
            out.print(Padding(Text(f"Record next: {plain(step.words)}"), (0, 0, 0, 2)))
    _scope(record, out)


def _scope(record: Record, out: Console) -> None:
    scope = record.scope
    if scope is None:
        return
    told = []
    if scope.policy:
        told.append(f"{_count(len(scope.policy), 'policy value')} of the site's own")
    if scope.missing_tables:
        told.append(f"missing tables: {', '.join(scope.missing_tables)}")
    if told:
        out.print(Padding(Text("Scope: " + "; ".join(told), style="dim"), (0, 0, 0, 2)))


def _cases(record: Record, out: Console, everything: bool) -> None:
    open_ = [c for c in record.cases if c.open]
    if not open_:
        return
    by_id = {f.id: f for f in record.findings}
    told = open_ if everything else open_[:SHOWN]
    out.print(Line(Text(_count(len(open_), "open case"), style="bold"), align="left"))
    for number, case in enumerate(told, 1):
        style = STYLE[case.priority]
        line = Text(f"{number}. ", style=style)
        line.append(plain(case.title), style="bold")
        line.append(f"  {MEANS[case.priority].split(':')[0].lower()}", style=style)
        if case.place:
            line.append(f"  {plain(case.place)}", style="dim")
        out.print(line, no_wrap=not everything, overflow="ellipsis")
        first = by_id[case.findings[0]]
        do = plain(case.do[0]) if case.do else ""
        out.print(
            Padding(Text(f"{_where(first)}  What to do: {do}"), (0, 0, 0, 3)),
            no_wrap=not everything,
            overflow="ellipsis",
        )
        if everything:
            for step in case.do[1:]:
                out.print(Padding(Text(plain(step)), (0, 0, 0, 3)))
            for identity in case.findings:
                finding = by_id[identity]
                out.print(Padding(Text(_line(finding)), (0, 0, 0, 5)))
                out.print(Padding(Text(_where(finding), style="dim"), (0, 0, 0, 7)))
    if len(open_) > len(told):
        more = f"and {_count(len(open_) - len(told), 'more case')}: --all prints them, --out writes"
        out.print(Padding(Text(f"{more} them", style="italic"), (0, 0, 0, 3)))


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


def _coverage(record: Record, out: Console, everything: bool) -> None:
    states = Counter(o.state for o in record.outcomes)
    for o in record.outcomes:
        if o.state == "failed":
            text = f"{o.rule} failed (program error): {o.reason}. This report is incomplete."
            out.print(Text(text, style="bold red"))
    told = [f"{states['assessed']} rules run", f"{states['partly']} partly run"]
    told.append(f"{states['not-assessed']} not run")
    reasons = "" if everything else "; --all says why"
    out.print(Padding(Text(f"Coverage: {', '.join(told)}{reasons}"), (0, 0, 0, 2)))
    if not everything:
        return
    why: dict[str, list[str]] = defaultdict(list)
    for o in record.outcomes:
        if o.state in ("not-assessed", "partly"):
            why[o.reason or ""].append(o.rule)
    for reason, names in sorted(why.items(), key=lambda item: (-len(item[1]), item[0])):
        out.print(Padding(Text(f"{plain(reason)}:", style="yellow"), (0, 0, 0, 2)))
        out.print(Padding(Text(", ".join(names)), (0, 0, 0, 4)))


def _past(record: Record, out: Console) -> None:
    if record.mended or record.not_reassessed:
        gone = f"{len(record.mended):,} resolved, {len(record.not_reassessed):,} could not be"
        out.print(Padding(Text(f"Since the previous review: {gone} checked again."), (0, 0, 0, 2)))


def _count(n: int, noun: str) -> str:
    return f"{n:,} {noun}{'' if n == 1 else 's'}"


def comparison(
    old: Record, new: Record, parts: Mapping[str, Sequence[Finding | Past]], out: Console
) -> None:
    """What `compare` tells: how many of each kind, and each one."""
    out.print(Text(f"{plain(new.site.name)}: {old.as_of} against {new.as_of}", style="bold"))
    titles = {
        "new": "new",
        "standing": "unchanged",
        "returned": "recurred",
        "mended": "resolved",
        "not reassessed": "could not be checked again",
    }
    for key, title in titles.items():
        items = parts[key]
        out.print()
        out.print(Line(Text(f"{title}: {len(items):,}", style="bold"), align="left"))
        for item in items:
            subjects = "; ".join(f"{k} {', '.join(v)}" for k, v in item.subjects.items())
            out.print(Padding(Text(f"{item.id}  {item.rule}  {plain(subjects)}"), (0, 0, 0, 2)))
