from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from audit.arithmetic.columns import spans
from audit.arithmetic.plain import given
from audit.arithmetic.three import NO, UNCLEAR, YES, Bools, Credential, Ints
from audit.contract import OUT, Dataset, Example, Reference, rule
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
    title="Credential at a door without permission",
    finds="A card or PIN at a door, on the day the door was read back, whose holder has no"
    " permission there, or that is not live.",
    priority="planned",
    needs={"loaded": (), "permissions": ()},
    uses=("doors", "cards", "pins", "people", "door_groups", "stations"),
    policy=("departure_grace_days",),
    subjects=("door", "card", "pin"),
    summary="Door {door} holds {card:card %|cards %|}{pin:PIN %|PINs %|}: {fault}{read_on:"
    " (read back on %)|}.",
    evidence=("fault", "read_on"),
    remedy="Delete it at the door's controller, or give the permission that is meant.",
    references=(
        Reference(
            "NIST SP 800-53 rev 5.1.1, PE-2 (d)",
            "people are removed when access is no longer required",
            sure="read",
        ),
        Reference(
            "ISO/IEC 27002:2022, 5.18",
            "rights are granted, changed and removed by policy",
            sure="quoted",
        ),
    ),
)
def loaded_without_permission(data: Dataset) -> pd.DataFrame:
    """The door opens for a card or PIN that was never given this door, or is out of use."""
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
    faults = np.array(
        [
            "it is not live, and its holder has no permission there",
            "it is not live",
            "its holder has no permission there",
            "",
        ],
        object,
    )
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


EXAMPLES = (
    Example(
        "by card, person, role, dwelling or group, on the day of the reading",
        """
        people
        person_id | role     | dwelling_id | end_date
        A1        | resident | F1          |
        A2        | staff    | F1          |
        A3        | resident | F3          | 2026-09-09
        A4        | manager  |             |

        doors
        door_id
        D1
        D2
        D3
        D4

        door_groups
        door_group | member_kind | member_id
        G1         | door_group  | G2
        G2         | door        | D2

        cards
        card_id | number | person_id | dwelling_id | status    | valid_to
        C1      | 1001   | A1        |             |           |
        C2      | 1002   | A2        |             |           |
        C3      | 1003   | A3        |             |           |
        C4      | 1004   | A4        |             |           |
        C5      | 1005   | A1        |             | suspended |
        C6      | 1006   |           | F1          |           | 2026-09-10
        C7      | 1007   | A1        |             | misplaced |

        pins
        pin_id | pin    | dwelling_id | door_id | station_id
        P1     | 482915 |             | D4      |
        P2     | 594827 |             |         | S1

        stations
        station_id | door_id
        S1         | D4

        permissions
        permission_id | holder_kind | holder_id | door_group | door_id | valid_from | valid_to
        M1            | card        | C1        | G1         |         |            |
        M2            | person      | A1        |            | D1      |            | 2026-09-10
        M3            | role        | staff     |            | D1      | 2026-09-11 |
        M4            | dwelling    | F1        |            | D3      |            |

        loaded
        door_id | credential_kind | number | read_on
        D1      | card            | 1001   | 2026-09-10
        D2      | card            | 1001   | 2026-09-10
        D3      | card            | 1001   | 2026-09-10
        D4      | card            | 1001   | 2026-09-10
        D1      | card            | 1002   | 2026-09-10
        D1      | card            | 1002   | 2026-09-11
        D3      | card            | 1002   | 2026-09-11
        D1      | card            | 1003   | 2026-09-10
        D1      | card            | 1004   | 2026-09-11
        D2      | card            | 1004   | 2026-09-11
        D3      | card            | 1005   | 2026-09-10
        D3      | card            | 1006   | 2026-09-10
        D3      | card            | 1007   | 2026-09-10
        D9      | card            | 1001   | 2026-09-10
        D4      | pin             | P1     | 2026-09-10
        D3      | pin             | P1     | 2026-09-10
        D4      | pin             | 594827 | 2026-09-10
        """,
        expect={
            "D1 C1": False,
            "D2 C1": False,
            "D3 C1": False,
            "D4 C1": True,
            "D1 C2": True,
            "D3 C2": True,
            "D1 C3": OUT,
            "D1 C4": None,
            "D2 C4": True,
            "D3 C5": True,
            "D3 C6": False,
            "D3 C7": None,
            "D9 C1": None,
            "D4 P1": False,
            "D3 P1": True,
            "D4 P2": False,
        },
    ),
    Example(
        "a number issued anew is judged by the row in use, and by the day of the reading",
        """
        doors
        door_id
        D1
        D2

        cards
        card_id | number | status   | valid_to
        C1      | 1001   | returned |
        C2      | 1001   | active   |
        C3      | 1003   | active   | 2026-09-09

        permissions
        permission_id | holder_kind | holder_id | door_id
        M1            | card        | C1        | D2
        M2            | card        | C2        | D1
        M3            | card        | C3        | D1

        loaded
        door_id | credential_kind | number | read_on
        D1      | card            | 1001   | 2026-09-10
        D2      | card            | 1001   | 2026-09-10
        D1      | card            | 1003   | 2026-09-10
        D1      | card            | 1009   | 2026-09-10
        """,
        expect={"D1 C2": False, "D2 C2": True, "D1 C3": True},
    ),
)
