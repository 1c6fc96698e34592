"""What mend tells: the worklist as a file, and on the terminal what was done and what is left."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pandas as pd
from rich.console import Console
from rich.padding import Padding
from rich.rule import Rule as Line
from rich.table import Table
from rich.text import Text

from audit.mend.actions import Action, Way
from audit.mend.proposals import Proposal, proposed
from audit.record import MEANS, PRIORITIES, Finding
from audit.report.tables import csv_bytes, rows_text
from audit.screen import CAUTION, STYLE, plain

if TYPE_CHECKING:
    from audit.mend import Mended

COLUMNS = (
    "order",
    "state",
    "priority",
    "what",
    "where",
    "file_and_row",
    "change",
    "because",
    "closes",
    "finding_ids",
    "done_by",
    "done_on",
)
NEW_PINS = "new-pins.csv"
PIN_COLUMNS = (
    "pin_id",
    "new_pin",
    "kind",
    "person_id",
    "name",
    "dwelling_id",
    "door_id",
    "station_id",
)
NOTE = "new-pins-SECRET-read-me.txt"
NOTE_TEXT = """new-pins.csv HOLDS PINS THAT OPEN DOORS.

Keep it where only those can read it who set PINs at the panels. Hand each PIN to its holder
alone, never by an open message. When the PINs are set, delete new-pins.csv and this folder's
site/pins table, or keep them under lock as you keep the register itself.

The new PINs work only after they are set at the panels and controllers, and the old ones stop
working only after they are deleted there.
"""
SHOWN = 12
LONG, ROWS = 600, 40  # letters of one reason, rows of one finding, in a cell of the worklist


def note(text: str) -> Text:
    """A notice of the reading, as one line."""
    return Text(plain(text), style="dim")


# --- files -------------------------------------------------------------------------------


def worklist(mended: Mended) -> bytes:
    """worklist.csv: what was applied to the copy, withdrawn, and left to a person."""
    by_id = {f.id: f for f in mended.before.findings}
    rows: list[tuple[object, ...]] = []
    for action, way, ids in _urgent_first(mended, by_id):
        rows.append(_row(mended, "applied to the copy", action, way, [by_id[i] for i in ids], ""))
    for action, why, ids in mended.withdrawn:
        told = [by_id[i] for i in ids]
        rows.append(_row(mended, "withdrawn", action, action.ways[0], told, f"it {why}"))
    for p in proposed(mended.remaining, mended.data):
        rows.append(
            (
                "to be confirmed by a person",
                p.priority,
                p.words,
                p.where,
                "; ".join(map(_rows, p.findings)),
                "",
                " ".join(map(_because, p.findings)),
                len(p.findings),
                " ".join(f.id for f in p.findings),
                "",
                "",
            )
        )
    return csv_bytes(COLUMNS, ((n, *row) for n, row in enumerate(rows, 1)))


def _because(finding: Finding) -> str:
    """Its summary; of a finding with hundreds of names the beginning, as every one of its many
    rows here tells it again."""
    text = finding.summary
    return (
        text if len(text) <= LONG else f"{text[:LONG].rsplit(' ', 1)[0]} … (finding {finding.id})"
    )


def _rows(finding: Finding) -> str:
    """Files and rows of a finding, of very many the first and how many more."""
    first = finding.model_copy(update={"sources": finding.sources[:ROWS]})
    more = len(finding.sources) - ROWS
    return rows_text(first) + (f" and {more:,} more rows" if more > 0 else "")


def _urgent_first(mended: Mended, by_id: dict[str, Finding]) -> list[tuple[Action, Way, list[str]]]:
    def urgency(item: tuple[Action, Way, list[str]]) -> tuple[int, str]:
        first = [PRIORITIES.index(by_id[i].priority) for i in item[2]]
        return (min(first, default=9), item[0].key)

    return sorted(mended.applied, key=urgency)


def _row(
    mended: Mended, state: str, action: Action, way: Way, findings: list[Finding], why: str
) -> tuple[object, ...]:
    where = [mended.data.where(action.table, n) for n in action.labels]
    places = "; ".join(f"{s.file}{f' ({s.sheet})' if s.sheet else ''} {s.row}" for s in where)
    first = min((f.priority for f in findings), key=PRIORITIES.index, default="")
    return (
        state,
        first,
        way.words,
        f"{action.table} {action.ident}",
        places,
        "; ".join(_changes(mended, action, way)),
        why or " ".join(map(_because, findings)),
        0 if why else len(findings),
        " ".join(f.id for f in findings),
        "",
        "",
    )


def _changes(mended: Mended, action: Action, way: Way) -> Iterable[str]:
    """Each cell as `status: active -> suspended`; of a PIN only that it is new."""
    if not way.cells:
        yield "the row is taken out"
    frame = mended.data[action.table]
    for column, text in way.cells.items():
        if column == "pin":
            yield f"pin: a new one, in {NEW_PINS}"
            continue
        old: Any = frame.at[action.labels[0], column]
        shown = "blank" if pd.isna(old) else str(old.date() if hasattr(old, "date") else old)
        yield f"{column}: {shown} -> {text}"


def secret_files(mended: Mended) -> dict[str, bytes]:
    """new-pins.csv and its warning, where PINs were drawn."""
    drawn = [(a, w) for a, w, _ in mended.applied if "pin" in w.cells]
    if not drawn:
        return {}
    pins, people = mended.data["pins"], mended.data["people"]
    names = dict(zip(people["person_id"], people["name"], strict=True))

    def line(action: Action, way: Way) -> tuple[object, ...]:
        row = pins.loc[action.labels[0]]
        told: dict[Any, Any] = dict(row.drop("secret").dropna())
        told |= {"pin_id": action.ident, "new_pin": way.cells["pin"]}
        name = names.get(told.get("person_id", ""), "")
        told["name"] = name if isinstance(name, str) else ""
        return tuple(told.get(c, "") for c in PIN_COLUMNS)

    rows = [line(a, w) for a, w in sorted(drawn, key=lambda item: item[0].key)]
    return {NEW_PINS: csv_bytes(PIN_COLUMNS, rows), NOTE: NOTE_TEXT.encode()}


# --- the terminal ------------------------------------------------------------------------


def tell(mended: Mended, out: Path, console: Console) -> None:
    """What was closed and by what, what was withdrawn, what a person must confirm, what is left."""
    by_id = {f.id: f for f in mended.before.findings}
    console.print(Text(plain(mended.before.site.name), style="bold"))
    console.print(
        Text(f"corrections as of {mended.before.as_of}; the site's own files were only read")
    )
    console.print()
    _sum(mended, console)
    if mended.applied:
        console.print()
        console.print(Line(Text("done in the corrected copy", style="bold"), align="left"))
        _applied(_urgent_first(mended, by_id), by_id, console)
    if mended.withdrawn:
        console.print()
        console.print(Line(Text("withdrawn", style="bold"), align="left"))
        for action, why, _ in mended.withdrawn[:SHOWN]:
            _item(f"{action.ways[0].words}: it {why}.", "", "yellow", console)
        _more(len(mended.withdrawn), console)
    proposals = proposed(mended.remaining, mended.data)
    if proposals:
        console.print()
        console.print(Line(Text("proposed, for a person to confirm", style="bold"), align="left"))
        _proposals(proposals, console)
    _left(mended.remaining, console)
    _secrets(mended, out, console)
    console.print()
    console.print(Text(f"The worklist and the corrected copy are in {out}"))
    console.print(Text(CAUTION, style="italic"))


def _sum(mended: Mended, console: Console) -> None:
    table = Table.grid(padding=(0, 2))
    done, was, left = len(mended.closed), len(mended.before.findings), len(mended.remaining)
    table.add_row(f"{was:>6,}", "findings before")
    actions = _count(len(mended.applied), "action")
    table.add_row(Text(f"{done:>6,}", style="bold green"), f"closed, by {actions}")
    table.add_row(Text(f"{left:>6,}", style="bold"), "would remain")
    console.print(table)
    if not mended.applied:
        console.print(Text("Nothing in the register can be mended with certainty."))


def _applied(
    applied: list[tuple[Action, Way, list[str]]], by_id: dict[str, Finding], console: Console
) -> None:
    for _, way, ids in applied[:SHOWN]:
        rules = Counter(by_id[i].rule for i in ids)
        first = min((by_id[i].priority for i in ids), key=PRIORITIES.index, default="advisory")
        closes = ", ".join(r if n == 1 else f"{n} {r}" for r, n in sorted(rules.items()))
        _item(way.words, f"closes {closes}", STYLE[first], console)
    _more(len(applied), console)


def _proposals(proposals: list[Proposal], console: Console) -> None:
    for p in proposals[:SHOWN]:
        rules = Counter(f.rule for f in p.findings)
        closes = ", ".join(r if n == 1 else f"{n} {r}" for r, n in sorted(rules.items()))
        words = p.words if p.where.split()[-1] in p.words else f"{p.where}: {p.words}"
        _item(words, closes, STYLE[p.priority], console)
    _more(len(proposals), console)


def _item(words: str, closes: str, style: str, console: Console) -> None:
    table = Table.grid(padding=(0, 1))
    table.add_row(Text("*", style=style), Text(plain(words)))
    if closes:
        table.add_row("", Text(plain(closes), style="dim"))
    console.print(Padding(table, (0, 0, 0, 2)))


def _more(total: int, console: Console) -> None:
    if total > SHOWN:
        text = Text(f"and {total - SHOWN:,} more, in worklist.csv", style="italic")
        console.print(Padding(text, (0, 0, 0, 4)))


def _left(remaining: list[Finding], console: Console) -> None:
    console.print()
    console.print(Line(Text("what would remain", style="bold"), align="left"))
    if not remaining:
        console.print(Text("Nothing that the rules could find.", style="bold"))
        return
    table = Table.grid(padding=(0, 2))
    by_priority: dict[str, list[Finding]] = defaultdict(list)
    for f in remaining:
        by_priority[f.priority].append(f)
    for priority in PRIORITIES:
        if by_priority[priority]:
            style = STYLE[priority]
            n = Text(f"{len(by_priority[priority]):>6,}", style=style)
            table.add_row(n, Text(priority, style=style), Text(MEANS[priority]))
    grave = sum(f.life_safety for f in remaining)
    if grave:
        text = "of these bear on life safety: no table mends them, and nothing here touches them"
        table.add_row(Text(f"{grave:>6,}", style="bold red"), "", Text(text, style="bold red"))
    kept = sum(f.silenced for f in remaining)
    if kept:
        table.add_row(f"{kept:>6,}", "", "of these stand under a decision in force; left alone")
    console.print(table)


def _secrets(mended: Mended, out: Path, console: Console) -> None:
    drawn = sum("pin" in way.cells for _, way, _ in mended.applied)
    if drawn:
        console.print()
        console.print(
            Text(
                f"WARNING: {NEW_PINS} in {out} holds {_count(drawn, 'new PIN')} in clear. Read"
                f" {NOTE} beside it, hand each PIN to its holder alone, and delete the file"
                " when they are set.",
                style="bold red",
            )
        )
        if mended.renamed:
            text = (
                f"In the copy {_count(mended.renamed, 'row')} of read-back and log that gave"
                " old digits name the PIN by its id."
            )
            console.print(Text(text))


def _count(n: int, noun: str) -> str:
    return f"{n:,} {noun}{'' if n == 1 else 's'}"
