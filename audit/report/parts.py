"""Which files a pack has, by format and audience: asked by those who write and who verify it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

PARTS: Final[dict[str, tuple[str, ...]]] = {
    "json": ("findings.json",),
    "csv": ("findings.csv", "worklist.csv", "access-roll.csv"),
    "xlsx": ("findings.xlsx",),
    "html": ("report.html",),
    "pdf": ("report.pdf",),
}
INSURER: Final = frozenset({"findings.json", "report.html", "report.pdf"})
LETTERS: Final = frozenset({"letters.csv", "letters.pdf"})


def expected(kind: str, formats: Sequence[str], audience: str) -> frozenset[str]:
    """The names of the files that a pack must list."""
    if kind != "pack":
        return frozenset({"findings.json"})
    named = {name for f in formats for name in PARTS.get(f, ())}
    if audience == "insurer":
        return frozenset(named) & INSURER
    return frozenset(named) - (LETTERS if audience == "outside" else frozenset())
