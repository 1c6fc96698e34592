"""Examples: small sites as plain tables beside a rule, whose rows carry their own verdict.

A file `card_dormant.examples` holds several, each headed by `## title`. Below it come settings
(`as_of = 2026-09-30`, `policy.pin_minimum_digits = 6`, `site.local_code = "nfpa"`), then
tables: a name, a line of headers, a line a row, cells parted by `|`. Behind a cell `=>` stands
the verdict on the row's own id: `finding`, `fine`, `unclear`, `out` (or nothing: out), and
behind it evidence under its own header. Where a subject is no single row, a table `answers`
has a column a subject key, `=>`, and evidence. `says` gives whole summaries: subject | text.
In lists, members are sorted and joined by `+`; ` # ` begins a remark.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from importlib.resources import files
from typing import Any, Final

VERDICTS: Final[Mapping[str, bool | None]] = {"finding": True, "fine": False, "unclear": None}
Cells = list[list[str]]


@dataclass(frozen=True)
class Answer:
    """What a rule is to say of one subject: the verdict, and evidence by key as text."""

    verdict: bool | None
    evidence: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class Example:
    """A small site that a tradesman can check, and what the rule says of it."""

    title: str
    tables: Mapping[str, tuple[list[str], Cells]]
    answers: Mapping[str, Answer] = field(default_factory=dict)
    out: frozenset[str] = frozenset()
    says: Mapping[str, str] = field(default_factory=dict)
    as_of: str = "2026-09-30"
    settings: Mapping[str, Mapping[str, Any]] = field(default_factory=dict)


def examples_of(module: str) -> tuple[Example, ...]:
    """The examples in the file beside a rule's module (its dotted name)."""
    package, name = module.rsplit(".", 1)
    path = files(package) / f"{name}.examples"
    return tuple(map(_example, path.read_text("utf-8").split("\n## ")[1:]))


def example(text: str, **settings: Mapping[str, Any]) -> Example:
    """One example from the text of its tables, without a title."""
    made = _example("\n\n" + "\n".join(line.strip() for line in text.strip().splitlines()))
    return Example(
        "",
        made.tables,
        made.answers,
        made.out,
        made.says,
        made.as_of,
        {**made.settings, **settings},
    )


def _example(text: str) -> Example:
    title, _, rest = text.partition("\n")
    blocks = [
        [line.split(" # ")[0].strip() for line in block.splitlines()]
        for block in rest.strip().split("\n\n")
    ]
    settings: dict[str, dict[str, Any]] = {}
    as_of = "2026-09-30"
    tables: dict[str, tuple[list[str], Cells]] = {}
    answers: dict[str, Answer] = {}
    out: set[str] = set()
    says: dict[str, str] = {}
    for block in (b for b in blocks if b and b[0]):
        if "=" in block[0] and "|" not in block[0]:
            given = tomllib.loads("\n".join(block))
            as_of = str(given.pop("as_of", as_of))
            settings |= given
            continue
        name, *lines = block
        if name == "says":
            says = dict([c.strip() for c in line.split("|", 1)] for line in lines)
            continue
        cells = [[cell.strip() for cell in line.split("|")] for line in lines]
        header = cells[0]
        rows = [row + [""] * (len(header) - len(row)) for row in cells[1:]]
        if "=>" in header:
            at = header.index("=>")
            for row in rows:
                key = " ".join(filter(None, row[:at])) if name == "answers" else row[0]
                _answer(header, row, at, key, answers, out)
            header, rows = header[:at], [row[:at] for row in rows]
        if name != "answers":
            tables[name] = (header, rows)
    return Example(title.strip(), tables, answers, frozenset(out), says, as_of, settings)


def _answer(
    header: list[str],
    row: list[str],
    at: int,
    key: str,
    answers: dict[str, Answer],
    out: set[str],
) -> None:
    verdict = row[at] if len(row) > at else ""
    if verdict in ("", "out"):
        out.add(key)
    else:
        evidence = {k: v for k, v in zip(header[at + 1 :], row[at + 1 :], strict=False) if v}
        answers[key] = Answer(VERDICTS[verdict], evidence)
