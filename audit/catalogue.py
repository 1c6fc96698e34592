"""The catalogue as the terminal tells it, drawn from rules/catalogue.json: no rule is run."""

from __future__ import annotations

import json
import tomllib
from difflib import get_close_matches
from importlib.resources import files
from typing import Any

from rich.console import Console
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from audit.faults import InputError
from audit.screen import CAUTION, STYLE

FAMILIES = {
    "register": "The data itself",
    "pins": "PINs",
    "cards": "Cards",
    "people": "People",
    "permissions": "Permissions and reach",
    "schedules": "Schedules and clocks",
    "doors": "Doors and monitoring",
    "escape": "Leaving the building",
    "stations": "Stations",
    "readback": "Read-back from the controllers",
    "events": "Events",
}
SURE = {
    "read": "the document's own text was read",
    "quoted": "read as quoted or summed up elsewhere",
    "from memory": "not looked up yet; confirm it in the document",
    "common practice, no source": "a habit of the trade, no requirement",
}

CHECK_SURE = {
    "read": SURE["read"],
    "quoted": SURE["quoted"],
    "from memory": SURE["from memory"],
    "computed": "worked out anew from what is defined there, and equal by two ways",
}


def entries() -> list[dict[str, Any]]:
    """Every rule of the catalogue, by family and name."""
    text = (files("rules") / "catalogue.json").read_text("utf-8")
    loaded: list[dict[str, Any]] = json.loads(text)
    return loaded


def checks() -> list[dict[str, Any]]:
    """The published numbers that the computations are held against, as the tests hold them."""
    raw = tomllib.loads((files("rules") / "outside_checks.toml").read_text("utf-8"))
    found: list[dict[str, Any]] = raw["check"]
    return found


def tell(name: str | None, out: Console) -> int:
    """Prints the catalogue, or one rule; InputError names the nearest rule."""
    known = {e["rule"]: e for e in entries()}
    if name is None:
        _all(list(known.values()), out)
        return 0
    if name not in known:
        near = get_close_matches(name, known, n=1, cutoff=0.3)
        hint = f"; the nearest is {near[0]}" if near else ""
        raise InputError(f"no rule is called {name!r}{hint}; door-audit rules lists them all")
    _one(known[name], out)
    return 0


def _all(rules: list[dict[str, Any]], out: Console) -> None:
    for family, heading in FAMILIES.items():
        rows = [r for r in rules if r["family"] == family]
        if not rows:
            continue
        out.print(Text(heading, style="bold"))
        table = Table.grid(padding=(0, 2))
        table.add_column(no_wrap=True)
        table.add_column(no_wrap=True)
        table.add_column()
        for r in rows:
            marks = " U" if r["upload"] else "  "
            table.add_row(
                Text(r["rule"]),
                Text(r["priority"] + marks, style=STYLE[r["priority"]]),
                Text(r["title"]),
            )
        out.print(Padding(table, (0, 0, 1, 2)))
    out.print(Text(f"{len(rules)} rules. U: also part of the check before upload."))
    out.print(Text("door-audit rules RULE tells one of them whole."))
    out.print(Text(CAUTION, style="italic"))


def _one(r: dict[str, Any], out: Console) -> None:
    out.print(Text(r["rule"], style="bold"))
    out.print(Text(r["title"]))
    when = "at the review and before upload" if r["upload"] else "at the review only"
    line = Text(r["priority"], style=STYLE[r["priority"]])
    line.append(f", asked {when}", style="default")
    if r["life_safety"]:
        line.append("; life safety: kept only with a competent person's name and document")
    out.print(line)
    told = (("What makes a finding", r["finds"]), ("Why", r["why"]), ("To mend", r["remedy"]))
    for heading, text in told:
        out.print()
        out.print(Text(heading, style="bold"))
        out.print(Padding(Text(text), (0, 0, 0, 2)))
    out.print()
    out.print(Text("Looks at", style="bold"))
    for looked in _looks_at(r):
        out.print(Padding(Text(looked), (0, 0, 0, 2)))
    out.print()
    out.print(Text("References, and how sure we are", style="bold"))
    for x in r["references"]:
        out.print(Padding(Text(f"{x['document']}: {x['says']}"), (0, 0, 0, 2)))
        sure = f"{x['sure']}: {SURE[x['sure']]}"
        out.print(Padding(Text(sure, style="dim"), (0, 0, 0, 4)))
    held = [c for c in checks() if r["rule"] in c["supports"]]
    if held:
        out.print()
        out.print(Text("Held against", style="bold"))
    for c in held:
        out.print(Padding(Text(c["says"]), (0, 0, 0, 2)))
        out.print(Padding(Text(c["source"], style="dim"), (0, 0, 0, 4)))
        sure = f"{c['sure']}: {CHECK_SURE[c['sure']]}"
        out.print(Padding(Text(sure, style="dim"), (0, 0, 0, 4)))
    if r["life_safety"] or r["family"] in ("escape", "doors"):
        out.print()
        out.print(Text(CAUTION, style="italic"))


def _looks_at(r: dict[str, Any]) -> list[str]:
    """The tables and settings of a rule, a line each."""
    lines = [
        f"{table}: {', '.join(columns).replace('|', ' or ') or 'every row'}"
        for table, columns in r["needs"].items()
    ]
    if r["uses"]:
        lines.append(("and, where given: " if lines else "any of: ") + ", ".join(r["uses"]))
    if r["policy"]:
        lines.append("by [policy] of site.toml or its default: " + ", ".join(r["policy"]))
    if r["equipment"]:
        lines.append("by [equipment] of site.toml: " + ", ".join(r["equipment"]))
    return [*lines, "Without them it is not assessed, which is no pass."]
