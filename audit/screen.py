"""The terminal itself: its console, its colours, and texts that can do it no harm.

Apart from `terminal` so that the catalogue is told without loading the record's models.
"""

from __future__ import annotations

import unicodedata
from typing import IO

from rich.console import Console

STYLE = {"immediate": "bold red", "planned": "yellow", "advisory": "cyan"}
CAUTION = (
    "Made from the data supplied. It is not a fire risk assessment and does not replace a"
    " competent person or the regulations and guidance that apply to this building. What is not"
    " recorded was not checked."
)


def console(file: IO[str], *, color: bool = True, width: int | None = None) -> Console:
    """A console on `file`; without colour where NO_COLOR or `color` says so, 80 wide if piped."""
    return Console(
        file=file,
        no_color=not color or None,
        width=width if width is not None else (None if file.isatty() else 80),
        highlight=False,
        soft_wrap=False,
        legacy_windows=False,
    )


def plain(text: str) -> str:
    """The text without anything that moves a cursor, a line or the writing direction."""
    return "".join(
        c if unicodedata.category(c) not in ("Cc", "Cf", "Cs", "Co", "Zl", "Zp") else "\ufffd"
        for c in text
    )
