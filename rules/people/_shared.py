"""What several rules on people ask of the credentials that they hold."""

from __future__ import annotations

from audit.contract import Dataset


def telling(data: Dataset, *columns: str) -> list[str]:
    """Which of the tables cards and pins are there with one of these columns at least."""
    return [t for t in ("cards", "pins") if any(data.has(t, c) for c in columns)]
