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
WITHHELD: Final[dict[str, frozenset[str]]] = {"full": frozenset()}
"""Files of the full audience that another one does not get."""


def expected(kind: str, formats: Sequence[str], audience: str) -> frozenset[str]:
    """The names of the files that a pack must list."""
    if kind != "pack":
        return frozenset({"findings.json"})
    named = {name for f in formats for name in PARTS.get(f, ())}
    return frozenset(named) - WITHHELD.get(audience, frozenset())
