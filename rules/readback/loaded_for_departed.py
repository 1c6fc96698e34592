from typing import Any

import numpy as np
import pandas as pd

from audit.arithmetic.plain import taken
from audit.arithmetic.three import NO, UNCLEAR, Bools, Credential
from audit.contract import Cause, Dataset, Step, rule
from audit.facts.readback import ROW_ID, Explained, _any
from rules.readback._shared import _holders, _judged, _told


@rule(
    title="Card or PIN of someone who has left still loaded at a door",
    finds="A card or PIN still loaded at a door when it was read back, after its holder had left.",
    priority="immediate",
    needs={"loaded": (), "people": ()},
    uses=("cards", "pins"),
    policy=("departure_grace_days",),
    subjects=("door", "card", "pin", "person"),
    cause=Cause("leaver", ("person",)),
    summary="{read_on:When read back on %, door|Door} {door} still had {card:card %|cards"
    " %|}{pin:PIN %|PINs %|} of {person}, who had left.",
    evidence=("read_on",),
    do=(
        Step(
            "Delete it from the door's controller.",
            who="panel technician",
            does="cut",
        ),
        Step(
            "Withdraw it in the register.",
            who="office",
            does="record",
        ),
    ),
    cites=(
        "nist-sp-800-53-rev-5-1-1-ps-4-4",
        "iso-iec-27002-2022-5-18",
    ),
)
def loaded_for_departed(data: Dataset) -> pd.DataFrame:
    """Even if the register is right, the door still opens for someone who has left."""
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
