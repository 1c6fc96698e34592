"""report.html: one file that opens by double click, asks no network, and takes decisions.

The page is a template with its style and script in it, allowed by their digests alone; the record
stands in a JSON block and enters the page as text. The same record and plan give the same bytes.
"""

import base64
import hashlib
import json
import re
from collections.abc import Callable, Mapping, Sequence
from importlib.resources import files
from typing import Any, cast

from audit.record import PRIORITIES, Verdict
from audit.report import pictures, scope
from audit.report.ink import Picture, escape, visible
from audit.report.plan import Plan
from audit.screen import CAUTION

MOST_ROLL_LINES = 20_000
MOST_WEEKS = 60
MOST_MATRICES = 24
ROLL_COLUMNS = (
    "person", "name", "dwelling", "door_group", "hours", "through", "since", "change",
)  # fmt: skip

# `<`, `>` and `&` cannot end the block or begin a comment in it; the rest is unsafe in some
# parser or cannot be written as UTF-8 at all.
_UNSAFE = re.compile(
    "[<>&\x7f-\x9f\u2028\u2029\u202a-\u202e\u2066-\u2069\ufeff\ufff9-\uffff\ud800-\udfff]"
)
_SLOT = re.compile(r"@([A-Z_]+)@")


def render(record: Mapping[str, Any], plan: Mapping[str, Any] | None = None) -> str:
    """The whole report as one HTML text, from the record (findings.json) and the plan.

    `plan` is a `audit.report.plan.Plan`; without it the report has no pictures, names
    or roll, and says so.
    """
    drawn = cast(Plan, plan or {})
    style, script = _asset("report.css"), _asset("report.js")
    slots = {
        "TITLE": escape(f"Door audit: {record['site']['name']}, {record['as_of']}"),
        "STYLE": style,
        "SCRIPT": script,
        "STYLE_HASH": _digest(style),
        "SCRIPT_HASH": _digest(script),
        "CAUTION": escape(CAUTION),
        "PICTURES": _pictures(record, drawn),
        "DATA": _json(_packed(record, drawn)),
    }
    # One pass: a slot's text is never searched for slots again.
    return _SLOT.sub(lambda found: slots.get(found[1], found[0]), _asset("report.html"))


def _asset(name: str) -> str:
    text = files("audit.report").joinpath("assets", name).read_text("utf-8")
    return text.replace("\r\n", "\n")


def _digest(text: str) -> str:
    digest = base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()
    return f"'sha256-{digest}'"


def _json(value: object) -> str:
    text = json.dumps(value, ensure_ascii=False, separators=(",", ":"), allow_nan=False)
    return _UNSAFE.sub(lambda found: f"\\u{ord(found.group()):04x}", text)


def _packed(record: Mapping[str, Any], plan: Plan) -> dict[str, Any]:
    """The record with each repeated text written once: ten thousand findings share few remedies."""
    texts: dict[str, int] = {}

    def put(text: str) -> int:
        return texts.setdefault(text, len(texts))

    order = PRIORITIES
    findings = [
        [
            one["id"],
            put(one["rule"]),
            order.index(one["priority"]),
            int(one["life_safety"]),
            one["subjects"],
            [
                [put(at["file"]), None if at["sheet"] is None else put(at["sheet"]), at["row"]]
                for at in one["sources"]
            ],
            one["summary"],
            put(one["why"]),
            put(one["remedy"]),
            one["evidence"],
            [put(reference) for reference in one["references"]],
            one["change"],
            one["decision"],
        ]
        for one in record["findings"]
    ]
    counts = pictures.counts_by_place(record, plan) if plan.get("places") else []
    roll = plan.get("roll", [])
    # Where the roll is too long for a page, those whose access changed are the ones to keep.
    kept = (
        sorted(roll, key=lambda line: not line["change"]) if len(roll) > MOST_ROLL_LINES else roll
    )
    parent = {place["id"]: place.get("parent") for place in plan.get("places", [])}
    return {
        "site": record["site"],
        "as_of": record["as_of"],
        "stage": record["stage"],
        "audience": record["audience"],
        "totals": record["totals"],
        "verdict": _verdict(record),
        "cases": [
            {k: one[k] for k in ("title", "cause", "priority", "life_safety", "people", "place",
                                 "findings", "open", "do", "who")}
            for one in record.get("cases", [])
        ],
        "inputs": record["inputs"],
        "outcomes": record["outcomes"],
        "mended": record["mended"],
        "not_reassessed": record["not_reassessed"],
        "notices": record.get("notices", []),
        "scope": scope.sentences(record),
        "texts": list(texts),
        "findings": findings,
        "plan": {
            "rules": plan.get("rules", {}),
            "names": _names(record, plan),
            "where": _where(record, plan),
        },
        "places": [
            {"id": key, "name": name, "depth": depth, "parent": parent.get(key)}
            for key, name, depth, _ in counts
            if key is not None
        ],
        "counts": [
            [key, name, depth, [count[word] for word in order]]
            for key, name, depth, count in counts
        ],
        "weeks": [
            [one["name"] or one["id"], pictures.hours_in_words(one["days"]), one.get("note", "")]
            for one in plan.get("weeks", [])
        ],
        "zones": plan.get("zones", []),
        "doors": plan.get("doors", []),
        "reach": plan.get("reach", {"columns": [], "rows": []}),
        "roll": [
            [cast(Mapping[str, str], line)[column] for column in ROLL_COLUMNS]
            for line in kept[:MOST_ROLL_LINES]
        ],
        "roll_total": len(roll),
    }  # fmt: skip


def _names(record: Mapping[str, Any], plan: Plan) -> dict[str, dict[str, str]]:
    """Of all names only those that a finding speaks of."""
    spoken = {
        key
        for one in [*record["findings"], *record["mended"], *record["not_reassessed"]]
        for keys in one["subjects"].values()
        for key in keys
    }
    return {
        kind: {key: names[key] for key in sorted(spoken & names.keys())}
        for kind, names in sorted(plan.get("names", {}).items())
    }


def _where(record: Mapping[str, Any], plan: Plan) -> dict[str, list[str]]:
    where = plan.get("where", {})
    return {one["id"]: where[one["id"]] for one in record["findings"] if one["id"] in where}


def _figure(one: Picture, note: str = "") -> str:
    told = f'<span class="quiet">{escape(note)}</span>' if note else ""
    return (
        f"<figure><figcaption>{escape(one.title)}{told}</figcaption>"
        f'<div class="scroll" tabindex="0" role="group" aria-label="{escape(one.title)}">'
        f"{one.svg}</div></figure>"
    )


def _part(heading: str, told: str, figures: Sequence[str], same: str, around: str = "") -> str:
    if not figures:
        return ""
    drawn = "\n".join(figures)
    inner = f'<div class="{around}">{drawn}</div>' if around else drawn
    return (
        f'<h3>{heading}</h3>\n<p class="prose">{told}</p>\n{inner}\n<div id="same-{same}"></div>\n'
    )


def _pictures(record: Mapping[str, Any], plan: Plan) -> str:
    by_place = pictures.places(record, plan)
    weeks = pictures.weeks(plan)
    notes = [one.get("note", "") for one in plan.get("weeks", [])]
    matrices = pictures.reach(plan)
    left_out: Callable[[int, int, str], str] = lambda most, count, kind: (  # noqa: E731
        f" The first {most} of {count} {kind} are drawn; all of them stand in the table."
        if count > most
        else ""
    )
    large, more = pictures.undrawn(plan)
    too_large = (f" {large} of the parts are too large to draw." if large else "") + (
        f" The gravest {pictures.MOST_PARTS} parts are drawn, {more} more are not." if more else ""
    )
    too_large += " All of them stand in the table." if too_large else ""
    return "".join(
        [
            _part(
                "Where the findings are",
                "Findings counted at each place and at the places in it.",
                [_figure(by_place)] if by_place else [],
                "places",
            ),
            _part(
                "Ways out",
                "People leave from left to right. A line without an arrow in that direction"
                " does not let them pass; a value that was not given is drawn as a broken line"
                f" and makes nobody safe.{too_large}",
                [_figure(one) for one in pictures.ways_out(plan)],
                "ways",
            ),
            _part(
                "Weekly hours",
                "When schedules are open, and when doors stand unlocked. Shaded: the hours in"
                " which an entrance should be"
                f" locked.{left_out(MOST_WEEKS, len(weeks), 'weeks')}",
                [_figure(one, note) for one, note in zip(weeks[:MOST_WEEKS], notes, strict=False)],
                "weeks",
                "weeks",
            ),
            _part(
                "Who reaches what",
                "People with the same access stand in one line, with their number."
                + left_out(MOST_MATRICES, len(matrices), "parts"),
                [_figure(one) for one in matrices[:MOST_MATRICES]],
                "reach",
            ),
        ]
    )


def _verdict(record: Mapping[str, Any]) -> dict[str, Any] | None:
    """State, words and what to record next, as every output says them."""
    told = record.get("verdict")
    if told is None:
        return None
    verdict = Verdict.model_validate(told)
    return {
        "state": verdict.state,
        "lines": verdict.lines(),
        "next": [n.words for n in verdict.next],
    }


__all__ = ["render", "visible"]
