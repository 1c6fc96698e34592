from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from audit.arithmetic.columns import spans
from audit.arithmetic.plain import given
from audit.arithmetic.three import NO, UNCLEAR, YES, Bools, Credential, Ints
from audit.contract import Cause, Dataset, Step, rule
from audit.facts.readback import (
    _TIES,
    Explained,
    _any,
    _bound_door,
    _levels,
    keys,
    read_back,
    rights,
    valid_levels,
)
from rules.readback._shared import _holders, _judged, _told


@rule(
    title="Card or PIN loaded at a door without permission",
    finds="A card or PIN loaded at a door when it was read back, whose holder has no permission"
    " there or which is not live.",
    priority="planned",
    needs={"loaded": (), "permissions": ()},
    uses=("doors", "cards", "pins", "people", "door_groups", "stations"),
    policy=("departure_grace_days",),
    subjects=("door", "card", "pin"),
    cause=Cause("card", ("card", "pin")),
    summary="Door {door} has {card:card %|cards %|}{pin:PIN %|PINs %|} loaded:"
    " {fault}{read_on: (read back %)|}.",
    evidence=("fault", "read_on"),
    do=(
        Step(
            "Delete it from the door's controller, or add the missing permission.",
            who="panel technician",
            does="cut",
        ),
    ),
    cites=(
        "nist-sp-800-53-rev-5-1-1-pe-2-d-2",
        "iso-iec-27002-2022-5-18-5",
    ),
)
def loaded_without_permission(data: Dataset) -> pd.DataFrame:
    """The door opens for a card or PIN that was never given access to it, or is no longer
    live.
    """
    return without_right(data)


def permission_at(data: Dataset, table: Credential, row: Ints, door: Ints, day: Ints) -> Ints:
    """Whether each credential has a permission at the door on the day: NO, UNCLEAR, YES.

    `row` is a position in the table, `door` one in `doors_named(data)`, `day` counts from
    1970. A PIN bound to the door, or to a station of it, needs no permission there.
    """
    right = rights(data)
    at, code, sure = keys(data, table)
    order = np.argsort(at, kind="stable")
    at, code, sure = at[order], code[order], sure[order]
    first = np.searchsorted(at, row)
    count = np.searchsorted(at, row, "right") - first
    ask = np.repeat(np.arange(len(row)), count)
    entry = spans(first, count)
    level = _levels(right, code[entry], np.maximum(door, 0)[ask], day[ask])
    level = np.where(sure[entry], level, np.minimum(level, UNCLEAR))
    best = np.zeros(len(row), np.int64)
    np.maximum.at(best, ask, level)
    best[door < 0] = UNCLEAR  # of a door that is not in its table nobody knows the groups
    if table == "pins":
        best[((_bound_door(data)[row] == door[:, None]) & (door >= 0)[:, None]).any(axis=1)] = YES
    return best


def without_right(data: Dataset) -> pd.DataFrame:
    """What was read back of holders who had not departed: is it live, with a permission there?

    A row a door and card or pin. Columns: those, `fault` (in words), `fails` (nullable; False
    too where another row explains it that is), `read_on`, `sources`.
    """
    back = read_back(data)
    to_people = data["permissions"]["holder_kind"].eq("person").any()
    faults = np.array(["not live", "no permission", "not live", ""], object)
    said: list[npt.NDArray[np.object_]] = []

    def judge(table: Credential, found: Explained) -> tuple[Bools, Any]:
        _, gone = _holders(data, table, found, undated=False)
        day = back.day[found.loaded]
        live = valid_levels(data, table, found.row, day)
        may = permission_at(data, table, found.row, back.place[back.door[found.loaded]], day)
        if to_people and not data.has(table, "person_id"):
            register, others = data[table], _TIES[table]
            tied = np.any([given(register[column]) for column in others], axis=0)
            may = np.where(tied[found.row], may, np.maximum(may, UNCLEAR))
        level = np.where(back.dated[found.loaded], np.minimum(live, may), UNCLEAR)
        verdict = np.where(level == NO, YES, NO).astype(np.int8)
        verdict[(gone == UNCLEAR) | _any(found.loaded, (level > NO) & (gone != YES))] = UNCLEAR
        verdict[_any(found.loaded, (level == YES) & (gone == NO))] = NO
        told = faults[(live > NO) + 2 * (may > NO).astype(np.int64)]
        scope = gone != YES
        said.extend([told[scope], np.full(len(found.crowded), "", object)])
        return scope, verdict

    frame, at = _told(data, _judged(data, judge))
    return frame.assign(fault=np.concatenate(said)[at])
