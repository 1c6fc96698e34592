from typing import Any

import numpy as np
import pandas as pd

from audit.arithmetic.columns import FAR_AHEAD, day_numbers
from audit.arithmetic.three import NO, UNCLEAR, YES, Bools, Credential, Ints
from audit.contract import OUT, Dataset, Example, Reference, rule
from audit.facts.readback import Explained, _any, _dates
from audit.facts.standing import unread
from rules.readback._shared import _judged, _told


@rule(
    title="End of validity differs at the door",
    finds="A card or PIN whose end of validity at a door is not the one in the register.",
    priority="advisory",
    upload=True,
    needs={"loaded": ("valid_to",)},
    uses=("cards", "pins"),
    subjects=("door", "card", "pin"),
    summary="Door {door} lets {card:card %|cards %|}{pin:PIN %|PINs %|} in {at_door:until"
    " %|without end}; the register says {in_register:until %|without end}.",
    evidence=("at_door", "in_register"),
    remedy="Send the register's end of validity to the door's controller.",
    references=(
        Reference(
            "ISO/IEC 27002:2022, 5.18",
            "temporary rights have an end date and are withdrawn then",
            sure="quoted",
        ),
    ),
)
def loaded_validity_differs(data: Dataset) -> pd.DataFrame:
    """The door goes by its own date: it opens longer than it should, or refuses too early."""
    return validity_differs(data)


def validity_differs(data: Dataset) -> pd.DataFrame:
    """What was read back: is the end of validity the register's? A blank end is an open one.

    A row a door and card or pin. Columns: those, `fails`, `at_door`, `in_register` (dates),
    `sources`.
    """
    loaded = data["loaded"]
    there = day_numbers(loaded["valid_to"], FAR_AHEAD)
    odd = np.broadcast_to(unread(data, "loaded", "valid_to"), len(loaded))
    ends: list[Ints] = []

    def judge(table: Credential, found: Explained) -> tuple[Bools, Any]:
        register = data[table]
        here = day_numbers(register["valid_to"], FAR_AHEAD)
        vague = np.broadcast_to(unread(data, table, "valid_to"), len(register))
        unclear = odd[found.loaded] | vague[found.row]
        if not data.has(table, "valid_to"):
            unclear[:] = True
        same = there[found.loaded] == here[found.row]
        verdict = np.where(same, NO, YES).astype(np.int8)
        verdict[_any(found.loaded, unclear)] = UNCLEAR
        verdict[_any(found.loaded, same & ~unclear)] = NO
        ends.extend([here[found.row], np.full(len(found.crowded), FAR_AHEAD)])
        return np.ones(len(found.row), bool), verdict

    judged = _judged(data, judge)
    frame, at = _told(data, judged)
    return frame.assign(
        at_door=_dates(there[judged.loaded[at]]), in_register=_dates(np.concatenate(ends)[at])
    )


EXAMPLES = (
    Example(
        "a blank end is an open one on both sides",
        """
        cards
        card_id | number | valid_to   | status
        C1      | 1001   | 2026-12-31 |
        C2      | 1002   | 2026-12-31 |
        C3      | 1003   |            |
        C4      | 1004   |            |
        C5      | 1005   | 2026-12-31 |
        C6      | 1006   | never      |
        C7      | 1007   | 2026-12-31 | returned
        C8      | 1007   | 2027-12-31 | active

        pins
        pin_id | pin    | valid_to
        P1     | 482915 | 2026-12-31

        loaded
        door_id | credential_kind | number | valid_to
        D1      | card            | 1001   | 2026-12-31
        D1      | card            | 1002   | 2027-01-01
        D1      | card            | 1003   |
        D1      | card            | 1004   | 2026-12-31
        D1      | card            | 1005   |
        D1      | card            | 1006   | 2026-12-31
        D1      | card            | 1007   | 2027-12-31
        D1      | card            | 7777   | 2027-12-31
        D1      | pin             | 482915 | 2027-12-31
        """,
        expect={
            "D1 C1": False,
            "D1 C2": True,
            "D1 C3": False,
            "D1 C4": True,
            "D1 C5": True,
            "D1 C6": None,
            "D1 C7": OUT,
            "D1 C8": False,
            "D1 P1": True,
        },
    ),
)
