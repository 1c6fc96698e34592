"""The insurer's report, on paper and in a browser: a few tables, from its findings.json alone."""

from __future__ import annotations

import datetime as dt
import json
import tempfile
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, Final

from audit.report.ink import escape, visible
from audit.report.scope import sentences

STATES: Final = {
    "assessed": "run", "partly": "partly run", "not-assessed": "not run",
    "failed": "failed (program error)",
}  # fmt: skip
Table = tuple[str, Sequence[str], Sequence[Sequence[str]], str]
"""Title, headers, rows, and what is said where there is no row."""


def content(raw: Mapping[str, Any]) -> dict[str, Any]:
    """What both reports say: title, lines, tables."""
    site = raw["site"]["name"]
    return {
        "title": f"Door-entry audit for the insurer: {site}",
        "site": site,
        "as_of": raw["as_of"],
        "lines": _lines(raw),
        "caution": raw["caution"],
        "tables": [_life_safety(raw), _families(raw), _course(raw), _decisions(raw), _states(raw)],
    }


def _lines(raw: Mapping[str, Any]) -> list[str]:
    lines = []
    verdict = raw["verdict"]
    if verdict is not None:
        lines.append(_sentence(verdict["words"]))
        lines += [_sentence(f"{p['name']}: {p['words']}") for p in verdict["parts"]]
        lines.append(
            f"Findings kept by a decision: {verdict['kept']:,}; promised: {verdict['promised']:,}."
        )
    stage = "check before upload" if raw["stage"] == "upload" else "review"
    lines.append(f"As of {raw['as_of']}, {stage}, regulations {raw['site']['local_code']}.")
    states = [o["state"] for o in raw["outcomes"]]
    counts = [f"{states.count(s)} {words}" for s, words in STATES.items() if s in states]
    lines.append(f"Of {len(states)} rules: {', '.join(counts)}.")
    if "failed" in states:
        lines.append("This audit is not complete.")
    return [*lines, *sentences(raw)]


def _sentence(words: str) -> str:
    return f"{words[:1].upper()}{words[1:]}."


def _life_safety(raw: Mapping[str, Any]) -> Table:
    rows = [
        [
            ", ".join(x["places"]), "; ".join(x["titles"]), x["priority"], str(x["open"]),
            str(x["people"]), x["change"] or "",
        ]
        for x in raw["life_safety"]
    ]  # fmt: skip
    heads = ("Where", "What", "Priority", "Open findings", "People", "Change")
    return "Life safety by door", heads, rows, "Nothing was found by the rules that were run."


def _families(raw: Mapping[str, Any]) -> Table:
    rows = [_family(f) for f in raw["families"]]
    return "Findings by family", ("Family", "Immediate", "Planned", "Advisory"), rows, "None."


def _family(f: Mapping[str, Any]) -> list[str]:
    return [f["family"], *(str(f[p]) for p in ("immediate", "planned", "advisory"))]


def _course(raw: Mapping[str, Any]) -> Table:
    rows = [[r["as_of"], *_family(f)] for r in raw["course"] for f in r["families"]]
    heads = ("Review", "Family", "Immediate", "Planned", "Advisory")
    return "Earlier reviews", heads, rows, "No earlier review is recorded."


def _decisions(raw: Mapping[str, Any]) -> Table:
    rows = [
        [
            d["decision"],
            "yes" if d["life_safety"] else "no",
            str(d["number"]),
            "" if d["oldest_days"] is None else f"{d['oldest_days']:,}",
            d["first_until"] or "",
            str(d["expired"]),
        ]
        for d in raw["decisions"]
    ]
    heads = ("Decision", "Life safety", "Number", "Oldest, days", "First end", "Expired")
    return "Decisions and promises", heads, rows, "Nothing was decided."


def _states(raw: Mapping[str, Any]) -> Table:
    rows = [
        [o["rule"], o["family"], STATES[o["state"]], str(o["checked"]), str(o["unassessed"])]
        for o in raw["outcomes"]
    ]
    return "Coverage", ("Rule", "Family", "State", "Checked", "Not checked"), rows, "No rule."


# --- in a browser ------------------------------------------------------------------------

STYLE: Final = (
    "body{font:16px/1.5 Georgia,serif;max-width:62rem;margin:2rem auto;padding:0 1rem;"
    "color:#1f2328}table{border-collapse:collapse;width:100%;margin:.5rem 0 2rem}"
    "th,td{text-align:left;padding:.25rem .5rem;border-bottom:1px solid #cfc9bd;"
    "overflow-wrap:anywhere}aside{border:1px solid #a02818;padding:.7rem;margin:1rem 0}"
)


def html(raw: Mapping[str, Any]) -> str:
    """report.html: plain tables, no script, opens offline."""
    shown = content(raw)
    lines = "".join(f"<p>{_text(line)}</p>\n" for line in shown["lines"])
    tables = "".join(map(_html_table, shown["tables"]))
    policy = "default-src 'none'; style-src 'unsafe-inline'"
    return (
        f'<!doctype html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        f'<meta http-equiv="Content-Security-Policy" content="{policy}">\n'
        f'<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>{_text(shown['title'])}</title>\n<style>{STYLE}</style>\n</head>\n<body>\n<main>\n"
        f"<h1>{_text(shown['title'])}</h1>\n{lines}<aside>{_text(shown['caution'])}</aside>\n"
        f"{tables}</main>\n</body>\n</html>\n"
    )


def _html_table(table: Table) -> str:
    title, heads, rows, none = table
    if not rows:
        return f"<h2>{_text(title)}</h2>\n<p>{_text(none)}</p>\n"
    head = "".join(f'<th scope="col">{_text(h)}</th>' for h in heads)
    body = "".join(
        f"<tr>{''.join(f'<td>{_text(cell)}</td>' for cell in row)}</tr>\n" for row in rows
    )
    return (
        f"<h2>{_text(title)}</h2>\n<table>\n<caption hidden>{_text(title)}</caption>\n"
        f"<thead><tr>{head}</tr></thead>\n<tbody>\n{body}</tbody>\n</table>\n"
    )


def _text(text: object) -> str:
    return escape(visible(str(text)))


# --- on paper ----------------------------------------------------------------------------

TEMPLATE: Final = """
#let data = json(bytes(sys.inputs.data))
#set document(title: data.title, author: "door-audit", date: datetime(
  year: data.day.at(0), month: data.day.at(1), day: data.day.at(2)))
#set text(font: "Libertinus Serif", size: 10pt, lang: "en", hyphenate: true)
#set page(paper: "a4", margin: 22mm, footer: context [
  #set text(size: 8pt)
  #data.title #h(1fr) page #counter(page).display() of #counter(page).final().first()])
#set table(stroke: none, inset: (x: 4pt, y: 3pt))
#let ruled = (x, y) => (bottom: if y == 0 { 0.7pt } else { 0.3pt + luma(200) })
#let soft(s) = s.replace(regex("\\\\S{24}"), m => m.text + "\\u{200b}")
= #soft(data.title)
#for line in data.lines [#par[#soft(line)]]
#block(width: 100%, inset: 8pt, stroke: 0.7pt)[#data.caution]
#for t in data.tables [
  == #t.title
  #if t.rows.len() == 0 [#t.none] else [
    #table(columns: (3fr, 4fr) + (auto,) * (t.heads.len() - 2), stroke: ruled,
      table.header(..t.heads.map(h => strong(h))), ..t.rows.flatten().map(soft))
  ]
]
"""


def pdf(raw: Mapping[str, Any], text: str) -> bytes:
    """report.pdf, with findings.json (`text`) in it."""
    import typst

    from audit.report.pdf import STANDARDS, Fonts

    shown = content(raw)
    day = dt.datetime.fromisoformat(raw["as_of"]).replace(tzinfo=dt.UTC)
    shown["day"] = [day.year, day.month, day.day]
    shown["tables"] = [
        {"title": t, "heads": list(h), "rows": [list(r) for r in rows], "none": none}
        for t, h, rows, none in shown["tables"]
    ]
    attach = (
        '#pdf.attach("findings.json", description: "The record that this report is drawn from",'
        ' relationship: "source", mime-type: "application/json")\n'
    )
    with tempfile.TemporaryDirectory() as place:
        root = Path(place)
        (root / "main.typ").write_text(attach + TEMPLATE, "utf-8")
        (root / "findings.json").write_text(text, "utf-8")
        compiled: bytes = typst.compile(
            str(root / "main.typ"),
            root=str(root),
            sys_inputs={"data": json.dumps(Fonts(typst).fit(shown))},
            pdf_standards=[*STANDARDS],
            timestamp=int(day.timestamp()),
            ignore_system_fonts=True,
        )
    return compiled
