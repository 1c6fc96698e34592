"""How `look` says what it saw: right at 80 columns, nothing from a file acting on the screen."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING, Final

from audit.ingest.guess import may_hold_pins
from audit.ingest.look import WORDS_SHOWN, Look, Seen, Word
from audit.schema import TABLES, Column
from audit.screen import plain

if TYPE_CHECKING:
    from rich.console import Console

_SEPARATORS: Final = {",": "comma", ";": "semicolon", "\t": "tab", "|": "pipe"}
_ORDERS: Final = {
    "dmy": "dates are day, month, year",
    "mdy": "dates are month, day, year",
    "ymd": "dates are year, month, day",
}


def print_line(text: str, console: Console, style: str = "") -> None:
    from rich.text import Text

    console.print(Text(plain(text), style=style))


def print_look(each: Look, console: Console) -> None:
    """One file: what it is, its columns and why, what is left over, unknown words, notes."""
    from rich.padding import Padding
    from rich.text import Text

    def say(text: str, style: str = "") -> None:
        console.print(Padding(Text(plain(text), style=style), (0, 0, 0, 2)))

    console.print()
    where = each.file + (f", sheet {each.sheet!r}" if each.sheet and each.sheets > 1 else "")
    console.print(Text(plain(where), style="bold"))
    say(verdict(each), "" if each.usable else "yellow")
    facts = facts_of(each)
    if facts:
        say(facts)
    if each.raw is not None:
        _columns(each, console)
    for column in each.columns:
        for line in word_lines(each.table, column):
            say(line, "yellow" if not all(w.sure for w in column.words) else "")
    for note in each.notes:
        say(f"Note: {note.removeprefix(f'{each.file}: ')}")


def verdict(each: Look) -> str:
    """Which table the file is, and how surely."""
    if each.table is None:
        return "No table is recognised; say which it is in site.toml, or give it a name of ours."
    what = f"the table {each.table}" + (f", from {each.model}" if each.model else "")
    runner = f"; it may also be {each.runner_up}" if each.runner_up else ""
    if each.lacking:
        names = ", ".join(each.lacking)
        return f"Looks like {what}, but no column is surely {names}{runner}."
    if not each.sure:
        return f"Not sure: perhaps {what}{runner}."
    next_one = f" (sure; the next likeliest is {each.runner_up})" if each.runner_up else ""
    return f"Is {what}{next_one}."


def facts_of(each: Look) -> str:
    """Encoding, separator, header line, rows, date order."""
    raw = each.raw
    if raw is None:
        return ""
    parts = []
    if raw.encoding:
        parts.append("UTF-8" if raw.encoding.startswith("utf-8") else raw.encoding)
    if raw.separator:
        parts.append(_SEPARATORS.get(raw.separator, repr(raw.separator)))
    parts.append(f"header in row {raw.header_row}")
    parts.append(f"{len(raw):,} row{'' if len(raw) == 1 else 's'}")
    if each.order:
        parts.append(f"{_ORDERS[each.order]} (the data proves it)")
    elif each.order_open:
        parts.append("dates could be day or month first; nothing in the file proves which")
    return "; ".join(parts)


def _columns(each: Look, console: Console) -> None:
    from rich.table import Table
    from rich.text import Text

    table = Table(box=None, padding=(0, 1), pad_edge=False, show_edge=False)
    table.add_column("  column", overflow="fold", ratio=3)
    table.add_column("becomes", overflow="fold", ratio=3)
    table.add_column("because", overflow="fold", ratio=4)
    table.add_column("such as", overflow="fold", ratio=4)
    for c in sorted(each.columns, key=lambda c: (c.column is None, c.position)):
        becomes, why, style = _becomes(each, c)
        if c.column is None and not c.header and not c.samples:
            continue
        table.add_row(
            Text("  " + (header_shown(each.table, c) or f"(column {c.position + 1})")),
            Text(becomes, style=style),
            Text(plain(why)),
            Text(plain(", ".join(c.samples))),
        )
    console.print(table)


def _becomes(each: Look, c: Seen) -> tuple[str, str, str]:
    if c.column is None:
        return "left over", c.maybe or "", "yellow" if c.maybe else "dim"
    if not c.sure:
        return f"{c.column}?", f"not sure: {c.why}", "yellow"
    return c.column + ("" if c.by_itself else " +"), c.why, ""


def header_shown(table: str | None, c: Seen) -> str:
    """A header as it may be shown: where a file has no line of names, digits may be a PIN's."""
    text = plain(c.header)
    if c.column is not None and not may_hold_pins(table, c.column, c.header):
        return text
    return re.sub(r"[0-9]{3,}", lambda m: "•" * len(m[0]), text)


def word_lines(table: str | None, c: Seen) -> list[str]:
    """What is said of texts that would not be understood."""
    if not c.words or c.column is None or table is None:
        return []
    known = [w for w in c.words if w.meant]
    unknown = [w for w in c.words if not w.meant]
    lines = []
    if known:
        pairs = ", ".join(
            f"{w.said!r} {'is' if w.sure else 'could be'} {w.meant}" for w in known[:WORDS_SHOWN]
        )
        lines.append(f"{c.column}: {pairs}{_more(known)}")
    if unknown:
        said = ", ".join(repr(w.said) for w in unknown[:WORDS_SHOWN])
        rows = sum(w.rows for w in unknown)
        lines.append(
            f"{c.column}: not understood in {rows:,} row{'' if rows == 1 else 's'}: {said}"
            f"{_more(unknown)}; {expects(TABLES[table].column(c.column))}"
        )
    return lines


def _more(words: Sequence[Word]) -> str:
    left = len(words) - WORDS_SHOWN
    return f" and {left} more" if left > 0 else ""


def expects(column: Column) -> str:
    """What may stand in a column, in words."""
    if column.words:
        return f"it takes {', '.join(column.words)}"
    return {
        "yesno": "it takes yes and no",
        "whole": "it takes a whole number",
        "decimal": "it takes a number",
        "date": "it takes a date",
        "moment": "it takes a date and time",
        "clock": "it takes a time such as 08:30",
        "days": "it takes days such as mon-fri, sat sun, daily, holiday",
    }.get(column.kind, "it takes a text")


def print_advice(found: Iterable[Look], console: Console) -> None:
    """What to do next."""
    looks = list(found)
    if any(f.table for f in looks):
        console.print()
        if any(c.column and not c.by_itself and c.sure for f in looks for c in f.columns):
            print_line("+ is taken only once site.toml says so.", console)
        print_line(
            "Nothing was written. With --write SITE this goes into SITE/site.toml, to be"
            " corrected by hand.",
            console,
        )
