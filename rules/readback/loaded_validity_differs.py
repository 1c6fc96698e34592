from typing import Any

import numpy as np
import pandas as pd

from audit.arithmetic.columns import FAR_AHEAD, day_numbers
from audit.arithmetic.three import NO, UNCLEAR, YES, Bools, Credential, Ints
from audit.contract import Cause, Dataset, Step, rule
from audit.facts.readback import Explained, _any, _dates
from audit.facts.standing import unread
from rules.readback._shared import _judged, _told


@rule(
    title="End date at the door differs from the register",
    finds="A card or PIN whose end date at a door is not the one in the register.",
    priority="advisory",
    needs={"loaded": ("valid_to",)},
    uses=("cards", "pins"),
    subjects=("door", "card", "pin"),
    cause=Cause("card", ("card", "pin")),
    summary="At door {door}, {card:card %|cards %|}{pin:PIN %|PINs %|} {at_door:ends on %|has no"
    " end date}; the register says {in_register:%|no end date}.",
    evidence=("at_door", "in_register"),
    do=(
        Step(
            "Send the register's end date to the door's controller.",
            who="panel technician",
            does="record",
        ),
    ),
    cites=("iso-iec-27002-2022-5-18-4",),
)
def loaded_validity_differs(data: Dataset) -> pd.DataFrame:
    """The door uses its own date, so access ends too late or too early."""
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
