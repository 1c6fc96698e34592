"""Invented sites with an answer key, written without any knowledge of the auditor."""

from datetime import date
from pathlib import Path

from . import writing
from .faults import plant
from .in_order import build
from .names import site_name
from .portfolio import write_portfolio
from .quarters import quarters

__all__ = ["quarters", "write", "write_portfolio"]


def write(
    folder: Path,
    dwellings: int = 48,
    seed: int = 1,
    *,
    as_of: date,
    clean: bool = False,
    style: str = "utf-8",
    name: str | None = None,
) -> None:
    """Write an invented site; the same arguments give the same bytes.

    `answer-key.json` beside the tables lists every planted fault; of a clean site it is empty.
    `style` is how the tables are saved: utf-8, utf-8-bom, utf-16 or cp1252-semicolon.
    Raises ValueError for less than one dwelling or an unknown style.
    """
    if dwellings < 1:
        raise ValueError("a site has at least one dwelling")
    if style not in writing.STYLES:
        raise ValueError(f"unknown style {style!r}: one of {', '.join(writing.STYLES)}")
    site = build(dwellings, seed, as_of, name or site_name(seed))
    key = [] if clean else plant(site)
    writing.save(site, folder, style, key)
