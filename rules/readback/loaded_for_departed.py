from typing import Any

import numpy as np
import pandas as pd

from audit.arithmetic.plain import taken
from audit.arithmetic.three import NO, UNCLEAR, Bools, Credential
from audit.contract import OUT, Dataset, Example, Reference, rule
from audit.facts.readback import ROW_ID, Explained, _any
from rules.readback._shared import _holders, _judged, _told


@rule(
    title="Departed person's credential still at a door",
    finds="A card or PIN that a door held when it was read back, although its holder had left"
    " by then.",
    priority="immediate",
    needs={"loaded": (), "people": ()},
    uses=("cards", "pins"),
    policy=("departure_grace_days",),
    subjects=("door", "card", "pin", "person"),
    summary="{read_on:When it was read back on %, door|Door} {door} still held"
    " {card:card %|cards %|}{pin:PIN %|PINs %|} of {person}, who had departed.",
    evidence=("read_on",),
    remedy="Delete it at the door's controller, and withdraw it in the register.",
    references=(
        Reference(
            "NIST SP 800-53 rev 5.1.1, PS-4",
            "on leaving: disable access in a set time, take back keys and cards",
            sure="read",
        ),
        Reference("ISO/IEC 27002:2022, 5.18", "leavers' rights are removed in time", sure="quoted"),
    ),
)
def loaded_for_departed(data: Dataset) -> pd.DataFrame:
    """The register may be in order: the door still opens for somebody who has left."""
    return held_by_departed(data)


def held_by_departed(data: Dataset) -> pd.DataFrame:
    """What was read back and a person holds: had they departed by then?

    A row a door, card or pin, and person. Columns: those, `fails` (nullable; False too where
    another row explains it whose holder had not departed), `read_on`, `sources`.
    """

    def judge(table: Credential, found: Explained) -> tuple[Bools, Any]:
        held, gone = _holders(data, table, found, undated=True)
        if not data.has(table, "person_id"):  # it may be anybody's
            held[:], gone[:] = True, UNCLEAR
        late = gone != NO
        gone[late & _any(found.loaded, gone == UNCLEAR)] = UNCLEAR
        gone[late & _any(found.loaded, gone == NO)] = NO
        return held, gone

    judged = _judged(data, judge)
    people = [data[table]["person_id"] for table in ROW_ID]
    ids = pd.concat(people, ignore_index=True)
    code = np.append(pd.factorize(ids)[0], -1).astype(np.int64)
    where = np.where(judged.row < 0, -1, judged.row + judged.table * len(people[0]))
    frame, at = _told(data, judged, code[where])
    return frame.assign(person=taken(ids, where[at]))


EXAMPLES = (
    Example(
        "departed by the day of the reading; a blank day is the as-of day",
        """
        people
        person_id | status   | end_date
        A1        |          | 2026-09-09
        A2        |          | 2026-09-10
        A3        | departed |
        A4        | current  |
        A5        | departed | 2026-09-29

        cards
        card_id | number | person_id | status
        C1      | 1001   | A1        | returned
        C2      | 1002   | A2        |
        C3      | 1003   | A3        |
        C4      | 1004   | A4        |
        C5      | 1005   | A5        |
        C6      | 1006   | A1        | returned
        C7      | 1006   | A4        | active
        C8      | 1008   | A9        |
        C9      | 1009   |           |
        CA      | 1010   | A1        |

        pins
        pin_id | pin    | person_id
        P1     | 482915 | A1

        loaded
        door_id | credential_kind | number | read_on
        D1      | card            | 1001   | 2026-09-10
        D2      | card            | 1001   | 2026-09-09
        D1      | card            | 1002   | 2026-09-10
        D1      | card            | 1003   | 2026-09-10
        D2      | card            | 1003   |
        D1      | card            | 1004   |
        D1      | card            | 1005   |
        D1      | card            | 1006   |
        D1      | card            | 1008   |
        D1      | card            | 1009   |
        D1      | card            | 7777   |
        D1      | card            | 1010   | soon
        D1      | pin             | 482915 |
        """,
        expect={
            "D1 C1 A1": True,
            "D2 C1 A1": False,
            "D1 C2 A2": False,
            "D1 C3 A3": None,
            "D2 C3 A3": True,
            "D1 C4 A4": False,
            "D1 C5 A5": True,
            "D1 C7 A4": False,
            "D1 C8 A9": None,
            "D1 C9": OUT,
            "D1 CA A1": None,
            "D1 P1 A1": True,
        },
    ),
    Example(
        "the site's grace counts",
        """
        people
        person_id | end_date
        A1        | 2026-09-20
        A2        | 2026-09-19

        cards
        card_id | number | person_id
        C1      | 1001   | A1
        C2      | 1002   | A2

        loaded
        door_id | credential_kind | number
        D1      | card            | 1001
        D1      | card            | 1002
        """,
        policy={"departure_grace_days": 10},
        expect={"D1 C1 A1": False, "D1 C2 A2": True},
    ),
)
