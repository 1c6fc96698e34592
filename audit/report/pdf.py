"""report.pdf: for filing and for the insurer; tagged (PDF/UA-1) and archivable (PDF/A-3a).

findings.json travels inside as an attachment. Texts reach the typesetter as data, never as
markup; a character that the fonts lack, or that the archive format forbids, is written as
its code and counted. Long lists are cut here and nowhere else, and say so.
"""

from __future__ import annotations

import datetime as dt
import json
import re
import tempfile
import unicodedata
from collections import defaultdict
from collections.abc import Mapping, Sequence
from importlib.resources import files
from pathlib import Path
from typing import Any, Literal

from audit.record import MEANS, PRIORITIES, Finding, Record
from audit.report import pictures, scope
from audit.report.tables import rows_text, subjects_text
from audit.screen import CAUTION

MOST_FINDINGS = 2_000
MOST_ROLL = 1_500
MOST_WAYS = 12  # pictures: three states of the four gravest parts
MOST_WEEKS = 8
MOST_MATRICES = 3
STANDARDS: list[Literal["a-3a", "ua-1"]] = ["a-3a", "ua-1"]
CAUTIONS = (
    CAUTION,
    (
        "A door schedule says what was written down, not what is on the wall. Doors, releases"
        " and closers are to be tried on site by a competent person."
    ),
    (
        "Thresholds for leaving the building come from the local code named on the cover, or"
        " from the site's own policy. The edition that is in force where the building stands"
        " takes precedence."
    ),
    (
        "References marked 'from memory' are to be looked up before anyone relies on them;"
        " 'common practice, no source' is a habit of the trade and no requirement."
    ),
    "PIN digits are in none of these files. A finding about a PIN names its reference only.",
)


def render(record: Record, plan: Mapping[str, Any]) -> bytes:
    """The PDF's bytes; the same record gives the same bytes."""
    import typst

    content = _content(record, plan)
    fonts = Fonts(typst)
    shown = fonts.fit(content)
    shown["replaced"] = fonts.replaced
    day = dt.datetime.fromisoformat(record.as_of).replace(tzinfo=dt.UTC)
    template = (files("audit.report") / "assets" / "report.typ").read_text("utf-8")
    attach = (
        '#pdf.attach("findings.json", description: "The record that this report is drawn from",'
        ' relationship: "source", mime-type: "application/json")\n'
    )
    with tempfile.TemporaryDirectory() as place:
        root = Path(place)
        (root / "main.typ").write_text(attach + template, "utf-8")
        (root / "findings.json").write_text(record.to_json(), "utf-8")
        compiled: bytes = typst.compile(
            str(root / "main.typ"),
            root=str(root),
            sys_inputs={"data": json.dumps(shown)},
            pdf_standards=[*STANDARDS],
            timestamp=int(day.timestamp()),
            ignore_system_fonts=True,
        )
    return compiled


def _content(record: Record, plan: Mapping[str, Any]) -> dict[str, Any]:
    site = record.site
    stage = "check before upload" if record.stage == "upload" else "review"
    shown = record.findings[:MOST_FINDINGS]
    roll = plan.get("roll", [])
    titles = {rule: words["title"] for rule, words in plan.get("rules", {}).items()}
    drawn, left = _pictures(record, plan)
    return {
        "title": f"Door-entry audit of {site.name}, {record.as_of}",
        "site": site.name,
        "stage": stage,
        "as_of": record.as_of,
        "day": [int(part) for part in record.as_of.split("-")],
        "footer": f"{site.name}, {stage} as of {record.as_of}",
        "verdict": verdict(record),
        "counts": [
            {"priority": p, "n": f"{getattr(record.totals, p):,}", "says": MEANS[p]}
            for p in PRIORITIES
            if any(o.state in ("assessed", "partly") for o in record.outcomes)
        ],
        "scope": _scope(record),
        "caution": CAUTION,
        "cautions": list(CAUTIONS),
        "failed": [o.rule for o in record.outcomes if o.state == "failed"],
        "unassessed": _unassessed(record),
        "partly": [_counted(o) for o in record.outcomes if o.state == "partly"],
        "assessed": [_counted(o) for o in record.outcomes if o.state in ("assessed", "partly")],
        "not_reassessed": [
            {"id": p.id, "rule": p.rule, "subjects": subjects_text(p.subjects)}
            for p in record.not_reassessed
        ],
        "set_aside": (
            [
                f"{i.file}: {i.set_aside:,} of {i.rows:,} rows lack a value without which they"
                " can't be used; the findings name them."
                for i in record.inputs
                if i.set_aside
            ]
            + list(record.notices)
        ),
        "inputs": [
            {
                "table": i.table,
                "file": i.file,
                "rows": f"{i.rows:,}",
                "commitment": i.commitment or "",
            }
            for i in record.inputs
        ],
        "groups": _groups(shown, titles),
        "omitted": len(record.findings) - len(shown),
        "pictures": drawn,
        "pictures_omitted": left,
        "roll_changes": _roll_changes(roll),
        "roll": [
            [
                f"{r['person']} {r['name']}".strip(),
                *(str(r[k]) for k in ("dwelling", "door_group", "hours", "through", "change")),
            ]
            for r in sorted(roll, key=lambda line: not line["change"])[:MOST_ROLL]
        ],
        "roll_omitted": max(len(roll) - MOST_ROLL, 0),
        "references": _references(record, titles),
    }


def verdict(record: Record) -> str:
    """The verdict's words, its parts', and what to record next: the same as everywhere."""
    if record.verdict is None:
        return "No verdict."
    told = [*record.verdict.lines(), *(f"Record next: {n.words}" for n in record.verdict.next)]
    return "\n".join(told)


def _scope(record: Record) -> list[str]:
    looked = sum(o.state in ("assessed", "partly") for o in record.outcomes)
    partly = sum(o.state == "partly" for o in record.outcomes)
    decided = sum(f.silenced for f in record.findings)
    sentences = [
        (
            f"{looked} of {len(record.outcomes)} rules could look at the {len(record.inputs)}"
            f" tables that were given; {partly} of them could judge only a part. Section 1"
            " names the rest."
        ),
        (
            f"Thresholds for leaving the building: {record.site.local_code}. Time zone:"
            f" {record.site.timezone}."
        ),
    ]
    if decided:
        sentences.append(f"{decided:,} findings stand under a decision that is in force.")
    if record.mended or record.not_reassessed:
        sentences.append(
            f"Since the previous review {len(record.mended):,} findings were mended;"
            f" {len(record.not_reassessed):,} could not be looked at again."
        )
    if record.audience == "outside":
        sentences.append(
            "Made for readers outside: people, dwellings, cards and PINs go by pseudonyms."
        )
    return [*sentences, *scope.sentences(record.model_dump(include={"scope", "previous"}))]


def _unassessed(record: Record) -> list[dict[str, Any]]:
    reasons: dict[str, list[str]] = defaultdict(list)
    for o in record.outcomes:
        if o.state == "not-assessed":
            reasons[o.reason or ""].append(o.rule)
    ordered = sorted(reasons.items(), key=lambda i: (-len(i[1]), i[0]))
    return [{"reason": reason, "rules": rules} for reason, rules in ordered]


def _counted(o: Any) -> dict[str, str]:
    return {
        "rule": o.rule,
        "checked": f"{o.checked:,}",
        "unassessed": f"{o.unassessed:,}",
        "found": f"{o.found:,}",
    }


def _groups(findings: list[Finding], titles: Mapping[str, str]) -> list[dict[str, Any]]:
    groups: dict[tuple[str, str], list[Finding]] = defaultdict(list)
    for f in findings:
        groups[(f.priority, f.rule)].append(f)
    return [
        {
            "rule": rule,
            "title": titles.get(rule, rule),
            "priority": priority,
            "life_safety": members[0].life_safety,
            "why": members[0].why,
            "remedy": members[0].remedy,
            "findings": [
                {
                    "id": f.id,
                    "summary": f.summary,
                    "rows": _short(rows_text(f)),
                    "note": _note(f),
                }
                for f in members
            ],
        }
        for (priority, rule), members in groups.items()
    ]


def _short(text: str, most: int = 120) -> str:
    return text if len(text) <= most else f"{text[:most].rsplit(',', 1)[0]} and more"


def _note(f: Finding) -> str:
    parts: list[str] = [f.change] if f.change else []
    if f.decision is not None:
        d = f.decision
        until = f" until {d.until}" if d.until else ""
        document = f", {d.document}" if d.document else ""
        parts.append(f"{d.decision}{until} ({d.state}), {d.decided_by}: {d.reason}{document}")
    return "; ".join(parts)


def _pictures(record: Record, plan: Mapping[str, Any]) -> tuple[list[dict[str, Any]], int]:
    """The pictures that are shown, and how many more there are."""
    kinds = (
        (pictures.ways_out(plan), MOST_WAYS),  # type: ignore[arg-type]
        (pictures.weeks(plan), MOST_WEEKS),  # type: ignore[arg-type]
        (pictures.reach(plan), MOST_MATRICES),  # type: ignore[arg-type]
    )
    made = [
        pictures.places(record.model_dump(), plan),  # type: ignore[arg-type]
        *(one for all_of_it, most in kinds for one in all_of_it[:most]),
    ]
    left = sum(max(len(all_of_it) - most, 0) for all_of_it, most in kinds)
    shown = [
        {"title": p.title, "alternative": p.alternative, "width": p.width, "svg": p.svg}
        for p in made
        if p is not None
    ]
    return shown, left


def _roll_changes(roll: Sequence[Mapping[str, str]]) -> str:
    """Who came and who went since the previous review, told before the list."""
    came = sum(r["change"] == "new" for r in roll)
    went = sum(r["change"] == "gone" for r in roll)
    other = sum(bool(r["change"]) for r in roll) - came - went
    if not came + went + other:
        return ""
    return (
        f"Since the previous review: lines that are new {came:,}, gone {went:,},"
        f" with other hours {other:,}; they stand first."
    )


def _references(record: Record, titles: Mapping[str, str]) -> list[dict[str, Any]]:
    by_rule: dict[str, list[str]] = {}
    for f in record.findings:
        by_rule.setdefault(f.rule, f.references)
    return [
        {"rule": rule, "title": titles.get(rule, rule), "references": refs}
        for rule, refs in sorted(by_rule.items())
    ]


class Fonts:
    """Which characters the embedded fonts can show under the archive standards."""

    SURE = re.compile(r"[\n -~\u00a0-\u00ac\u00ae-\u017f\u2013\u2014\u2018-\u201e\u2026\u20ac]*\Z")

    def __init__(self, typst: Any) -> None:
        self.typst = typst
        self.known: dict[str, str] = {}
        self.replaced = 0

    def fit(self, value: Any) -> Any:
        """The content with every character that can't be shown written as its code."""
        if isinstance(value, str):
            return value if self.SURE.match(value) else "".join(map(self._one, value))
        if isinstance(value, list):
            return [self.fit(v) for v in value]
        if isinstance(value, dict):
            return {k: self.fit(v) for k, v in value.items()}
        return value

    def _one(self, c: str) -> str:
        if self.SURE.match(c):
            return c
        if c not in self.known:
            self.known[c] = c if self._can_show(c) else f"[U+{ord(c):04X}]"
        shown = self.known[c]
        self.replaced += shown != c
        return shown

    def _can_show(self, c: str) -> bool:
        if unicodedata.category(c) in ("Cc", "Cf", "Cs", "Co", "Cn"):
            return False
        source = '#set document(title: "t")\n#set text(font: "Libertinus Serif")\n#sys.inputs.c'
        try:
            self.typst.compile(
                source.encode(),
                sys_inputs={"c": c},
                pdf_standards=["a-3a"],
                ignore_system_fonts=True,
            )
        except Exception:
            return False
        return True
