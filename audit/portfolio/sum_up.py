"""What is said of all sites together: which come first, which rules, what repeats."""

from __future__ import annotations

import json
import sqlite3
from collections import Counter
from collections.abc import Iterable, Sequence
from contextlib import closing
from itertools import groupby
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from audit.portfolio.one_site import FORMAT, Result
from audit.portfolio.places import SUM
from audit.record import PRIORITIES

if TYPE_CHECKING:
    from rich.console import Console

Total = dict[str, Any]
SHOWN: Final = 20
COLUMNS: Final = ("site", "title", "as_of", "state", *PRIORITIES, "not_assessed", "why")
KINDS: Final = ("card number", "PIN pattern", "contractor")


def summed_up(results: Iterable[Result]) -> Total:
    """Sites ranked by what is open, rules by how many sites they touch, and what repeats.

    Sites that were not audited in full come first. The order of `results` has no part in it.
    """
    sites: list[Total] = []
    touched: Counter[str] = Counter()
    found: Counter[str] = Counter()
    # A million card numbers stay out of memory: a private database that spills to disk.
    with closing(sqlite3.connect("")) as shared:
        shared.execute("CREATE TABLE held (kind TEXT, value TEXT, shown TEXT, site INTEGER)")
        for nth, r in enumerate(results):
            sites.append(r.model_dump(include={*COLUMNS, "open"}))
            touched.update(r.rules.keys())
            found.update(r.rules)
            held = (
                {c: c for c in r.cards},
                {p: p for p in r.pin_patterns},
                r.contractors,
            )
            shared.executemany(
                "INSERT INTO held VALUES (?, ?, ?, ?)",
                [
                    (kind, value, shown, nth)
                    for kind, values in zip(KINDS, held, strict=True)
                    for value, shown in values.items()
                ],
            )
        names = [s["site"] for s in sites]
        repeats = {kind: _repeats(shared, kind, names) for kind in KINDS}
    sites.sort(
        key=lambda s: (s["state"] == "audited", *(-s["open"][p] for p in PRIORITIES), s["site"])
    )
    rules = sorted(touched, key=lambda rule: (-touched[rule], -found[rule], rule))
    return {
        "format": FORMAT,
        "sites": sites,
        "totals": {p: sum(s["open"][p] for s in sites) for p in PRIORITIES},
        "unusable": sum(s["state"] == "unusable" for s in sites),
        "failed": sum(s["state"] == "failed inside" for s in sites),
        "rules": {rule: {"sites": touched[rule], "findings": found[rule]} for rule in rules},
        "repeats": repeats,
    }


def _repeats(shared: sqlite3.Connection, kind: str, names: Sequence[str]) -> list[Total]:
    """What several sites have, most sites first; of several spellings, the first in order."""
    rows = shared.execute(
        "SELECT value, shown, site FROM held WHERE kind = ?1 AND value IN"
        " (SELECT value FROM held WHERE kind = ?1 GROUP BY value HAVING COUNT(*) > 1)"
        " ORDER BY value",
        (kind,),
    )
    repeats = []
    for _, group in groupby(rows, key=lambda row: row[0]):
        _, spelt, where = zip(*group, strict=True)
        repeats.append({"value": min(spelt), "sites": sorted(names[n] for n in where)})
    return sorted(repeats, key=lambda r: (-len(r["sites"]), r["value"]))


def written(out: Path, total: Total) -> None:
    """portfolio.json and portfolio.csv, each moved into its place whole."""
    from audit.report.tables import csv_bytes

    rows = [
        (rank, *(s["open"][c] if c in PRIORITIES else s[c] for c in COLUMNS))
        for rank, s in enumerate(total["sites"], 1)
    ]
    texts = {
        "portfolio.csv": csv_bytes(("rank", *COLUMNS), rows),
        SUM: (json.dumps(total, ensure_ascii=False, indent=2) + "\n").encode(),
    }
    for name, data in texts.items():
        part = out / f".{name}.part"
        part.write_bytes(data)
        part.replace(out / name)


def tell(total: Total, out: Console) -> None:
    """The sum-up as the terminal shows it."""
    from rich.table import Table
    from rich.text import Text

    from audit.screen import CAUTION, plain

    def head(text: str) -> None:
        out.print(Text(text, style="bold"))

    def line(text: str, style: str = "") -> None:
        for part in Text(plain(text), style=style).wrap(out, max(out.width - 2, 20)):
            out.print(Text("  ") + part)

    sites = total["sites"]
    head(f"{len(sites):,} site{'s' * (len(sites) != 1)}")
    table = Table(box=None, pad_edge=False)
    table.add_column("site", overflow="fold")
    for priority in PRIORITIES:
        table.add_column(priority, justify="right", no_wrap=True)
    table.add_column("rules not assessed", justify="right")
    for s in sites[:SHOWN]:
        name = Text(plain(s["site"]))
        if s["as_of"] is None:
            table.add_row(name, Text("not audited", style="bold red"))
        else:
            table.add_row(name, *(f"{s['open'][p]:,}" for p in PRIORITIES), str(s["not_assessed"]))
    out.print(table)
    if len(sites) > SHOWN:
        out.print(f"and {len(sites) - SHOWN:,} more; --out writes them all")
    trouble = [s for s in sites if s["why"] is not None]
    if trouble:
        out.print()
        head(f"not audited, or not in full: {len(trouble):,}")
        for s in trouble[:SHOWN]:
            line(f"{s['site']}: {s['why']}", "red")
        if len(trouble) > SHOWN:
            line(f"and {len(trouble) - SHOWN:,} more")
    if total["rules"]:
        out.print()
        head("rules that touch the most sites")
    for rule, n in list(total["rules"].items())[:10]:
        line(f"{n['sites']:>5,} sites, {n['findings']:>7,} findings  {rule}")
    for what, repeats in total["repeats"].items():
        if not repeats:
            continue
        out.print()
        head(f"the same {what} in several sites: {len(repeats):,}")
        for r in repeats[:5]:
            more = f" and {len(r['sites']) - 4:,} more" if len(r["sites"]) > 4 else ""
            line(f"{r['value']}: {', '.join(r['sites'][:4])}{more}")
        if len(repeats) > 5:
            line(f"and {len(repeats) - 5:,} more")
    out.print()
    out.print(Text(CAUTION, style="italic"))
