import numpy as np
import pandas as pd

from audit.arithmetic.moments import FOREVER, overdue
from audit.arithmetic.plain import given, taken, word_codes
from audit.arithmetic.three import nullable
from audit.contract import Cause, Dataset, Step, rule
from audit.facts.log import WITHDRAWN, _gravest
from audit.facts.standing import unread
from rules.events._shared import _late_uses, day_after, granted, uses


@rule(
    title="Withdrawn card used",
    finds="A card marked lost, returned, destroyed or in stock that has opened a door since.",
    priority="immediate",
    needs={"events": ("card_number",), "cards": ()},
    subjects=("card",),
    cause=Cause("card", ("card",)),
    summary="Card {card} is marked {status} but opened {doors:door %|doors %}: {uses:once, on|%"
    " times, most recently on} {last}.",
    evidence=("status", "uses", "last", "times", "doors"),
    do=(
        Step(
            "Delete the card from every controller today.",
            who="panel technician",
            does="cut",
        ),
        Step(
            "Find out who has it.",
            who="office",
            does="record",
        ),
    ),
    cites=("nist-sp-800-53-rev-5-1-1-ia-5-d-2",),
)
def used_after_withdrawal(data: Dataset) -> pd.DataFrame:
    """A card that should not work is opening doors, and nobody knows who has it."""
    return after_withdrawal(data)


def after_withdrawal(data: Dataset) -> pd.DataFrame:
    """Withdrawn cards (lost, returned, destroyed, in stock): whether they were used since.

    A row a card. Columns: `card`, `status`, `fails`, `uses`, `last`, `times`, `doors`,
    `sources`.
    """
    found, cards = uses(data, "cards"), data["cards"]
    away = word_codes(cards["status"], WITHDRAWN) >= 0
    odd = ~given(cards["status"])
    ends, used = given(cards["valid_to"]), given(cards["last_used"])
    sure = ends | (used & ~unread(data, "cards", "valid_to"))
    asked = (away | odd) & sure
    limit = np.full(len(cards), FOREVER)
    day = cards["valid_to"].where(ends, cards["last_used"])
    limit[asked] = day_after(data, day.iloc[np.flatnonzero(asked)])
    _, last = granted(data, "cards")
    row = found.row
    verdict = overdue(
        found.of, limit[row], (~odd & (~away | sure))[row], np.ones(len(row), bool), last
    )
    kept = _gravest(verdict, row, (away | odd)[row], cards["card_id"])
    row = row[kept]
    return pd.DataFrame(
        {
            "card": taken(cards["card_id"], row),
            "status": taken(cards["status"], row),
            "fails": nullable(verdict[kept]),
            **_late_uses(data, "cards", verdict[kept], found.of[kept], limit[row]),
        }
    )
