import numpy as np
import pandas as pd

from audit.arithmetic.moments import FOREVER, overdue
from audit.arithmetic.plain import given, taken, word_codes
from audit.arithmetic.three import nullable
from audit.contract import OUT, Dataset, Example, Reference, rule
from audit.facts.log import WITHDRAWN, _gravest
from audit.facts.standing import unread
from rules.events._shared import _late_uses, day_after, granted, uses


@rule(
    title="Withdrawn card used",
    finds="A card that is lost, returned, destroyed or in stock and opened a door since.",
    priority="immediate",
    needs={"events": ("card_number",), "cards": ()},
    subjects=("card",),
    summary="Card {card} has the status {status}, and opened {doors:door %|doors %} all the"
    " same, {uses:once, on|% times, the last time on} {last}.",
    evidence=("status", "uses", "last", "times", "doors"),
    remedy="Delete the card at every controller today, and find out who has it.",
    references=(
        Reference(
            "NIST SP 800-53 rev 5.1.1, IA-5 (d)",
            "lost and compromised credentials are revoked",
            sure="read",
        ),
    ),
)
def used_after_withdrawal(data: Dataset) -> pd.DataFrame:
    """A card that should be out of use opens doors, and nobody knows in whose hand."""
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


EXAMPLES = (
    Example(
        "after the end of validity; where none is given, after the last use that is on record",
        """
        cards
        card_id | number | status    | valid_to   | last_used
        C1      | 1001   | lost      | 2026-08-31 |
        C2      | 1002   | returned  | 2026-08-31 | 2026-08-01
        C3      | 1003   | destroyed |            | 2026-08-31
        C4      | 1004   | stock     |            | 2026-08-31
        C5      | 1005   | lost      |            |
        C6      | 1006   | active    | 2026-08-31 |
        C7      | 1007   | lost      | 2026-08-31 |
        C8      | 1007   | active    |            |
        C9      | 1009   | stock     |            |
        CA      | 1010   | mislaid   | 2026-08-31 |

        events
        time                 | door_id | event   | card_number
        2026-09-01T10:00:00Z | D1      | granted | 1001
        2026-08-31T10:00:00Z | D1      | granted | 1002
        2026-09-01T10:00:00Z | D1      | granted | 1003
        2026-08-31T10:00:00Z | D1      | granted | 1004
        2026-09-01T10:00:00Z | D1      | granted | 1005
        2026-09-01T10:00:00Z | D1      | granted | 1006
        2026-09-01T10:00:00Z | D1      | granted | 1007
        2026-09-01T10:00:00Z | D1      | denied  | 1009
        2026-09-01T10:00:00Z | D1      | granted | 1010
        """,
        expect={
            "C1": True,
            "C2": False,
            "C3": True,
            "C4": False,
            "C5": None,
            "C6": OUT,
            "C7": False,
            "C9": False,
            "CA": None,
        },
    ),
)
