"""What several rules on people ask of the cards and PINs that they hold."""

from __future__ import annotations

from typing import Final

import pandas as pd

from audit.contract import Dataset, Step
from audit.facts.holders import left_without
from audit.facts.subjects import is_in


def telling(data: Dataset, *columns: str) -> list[str]:
    """Which of the tables cards and pins are there with one of these columns at least."""
    return [t for t in ("cards", "pins") if any(data.has(t, c) for c in columns)]


ASK_HOUSEHOLD: Final = Step(
    "Ask the household who carries it. If someone who lives there does, register it to them, or"
    " give them another, before it is withdrawn.",
    who="office",
    does="record",
)


def household_first(data: Dataset, dwelling: pd.Series, *steps: Step) -> pd.Series:
    """The steps for each row, asking the household first where somebody may be left outside."""
    asked = is_in(dwelling, left_without(data))
    return asked.map({True: (ASK_HOUSEHOLD, *steps), False: steps})
