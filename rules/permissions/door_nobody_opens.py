import numpy as np
import pandas as pd

from audit.arithmetic.columns import distinct
from audit.arithmetic.plain import places
from audit.arithmetic.three import NO, UNCLEAR, YES, Ints, Small
from audit.contract import TEXT, Cause, Dataset, Step, rule
from audit.facts.reach import ASKED, Access, reach
from audit.facts.standing import by_id, live, lookup


@rule(
    title="Door that no card or PIN opens",
    finds="A door that needs a card or PIN which no live card or PIN can open at any time.",
    priority="planned",
    upload=True,
    needs={"doors": ("entry",), "permissions": ()},
    uses=("people", "cards", "pins", "door_groups", "schedules", "calendars", "stations"),
    subjects=("door",),
    cause=Cause("door", ("door",)),
    summary="Door {door} needs a card or PIN ({entry}), but no live one opens it at any time.",
    evidence=("entry",),
    do=(
        Step(
            "Give access to those who need it. If nobody does, record that the door is"
            " closed from outside.",
            who="office",
            does="record",
        ),
    ),
    cites=("en-60839-11-1-2013-8-tests-of-table-4-lines-14-t",),
)
def door_nobody_opens(data: Dataset) -> pd.DataFrame:
    """The reader refuses everyone, staff and emergency services included."""
    doors = opened_by_someone(data)
    return doors.assign(fails=~doors["opened"] & doors["asks"])


def opened_by_someone(data: Dataset) -> pd.DataFrame:
    """Doors that ask for a credential, and whether a live one opens them at any minute.

    Index: labels of the doors table. Columns `door`, `entry`, `asks` and `opened` (nullable
    boolean); doors whose entry asks for none are left out, those whose entry is not given
    are there with NA.
    """
    doors = by_id(data, "doors")
    levels = np.maximum(opened(data), _by_station(data))
    if _holders_unsaid(data):
        levels = np.maximum(levels, UNCLEAR)
    asks = doors["entry"].isin(ASKED).astype("boolean").mask(doors["entry"].isna())
    frame = pd.DataFrame(
        {
            "door": doors.index.astype(TEXT),
            "entry": doors["entry"].array,
            "asks": asks.array,
            "opened": pd.arrays.BooleanArray(levels == YES, levels == UNCLEAR),
        },
        index=pd.Index(doors["_label"].to_numpy(dtype=np.int64)),
    )
    return frame[frame["asks"].fillna(True).to_numpy(dtype=bool)]


def _holders_unsaid(data: Dataset) -> bool:
    """Whether permissions are given to persons, and a register has no column for a holder."""
    ties = {
        "cards": ("person_id", "dwelling_id"),
        "pins": ("person_id", "dwelling_id", "door_id", "station_id"),
    }
    kinds = data["permissions"]["holder_kind"]
    if not data.has("people") and kinds.isin(["person", "role", "dwelling"]).any():
        return True
    return bool(kinds.eq("person").any()) and any(
        data.has(table) and not any(data.has(table, c) for c in columns)
        for table, columns in ties.items()
    )


def _by_station(data: Dataset) -> Ints:
    """For each door NO, UNCLEAR or YES: whether a live PIN of one of its stations opens it.

    An administrator's code opens nothing; a PIN whose kind is not given may be one.
    """
    doors, pins = by_id(data, "doors"), data["pins"]
    level = np.zeros(len(doors) + 1, np.int64)  # the last: a door that is in no table
    works = live(data, "pins")
    own = (works.fillna(True) & pins["station_id"].notna()).to_numpy(bool)
    own &= pins["kind"].ne("admin").fillna(True).to_numpy(bool)
    if own.any():
        station = lookup(data, "stations", pins["station_id"][own], "door_id")
        at = places(doors.index, station)
        sure = (works[own].notna() & pins["kind"][own].notna()).to_numpy(bool)
        np.maximum.at(level, at, np.where(sure, YES, UNCLEAR))
    return np.where(doors["entry"].isin(["pin", "card-or-pin"]), level[:-1], NO)


def opened(data: Dataset) -> Small:
    """For each door of `by_id(data, "doors")`: NO, UNCLEAR or YES, whether any live

    card or PIN opens it at any minute.
    """
    return data.once(_opened)


def _opened(data: Dataset) -> Small:
    r = reach(data)
    best = np.zeros(len(r.door_ids), np.int8)
    for access in (r.cards, r.pins):
        # a grant held with one mix of credentials opens the same doors whoever holds it
        size = np.diff(access.start)
        mix = np.repeat(access.card.astype(np.int64) * 3 + access.pin, size)
        kept = distinct(access.items * 9 + mix)
        grants = Access(
            np.arange(len(kept)),
            (kept % 9 // 3).astype(np.int8),
            (kept % 3).astype(np.int8),
            np.arange(len(kept) + 1),
            kept // 9,
            access.fits,
        )
        pairs = r.pairs(grants, np.ones(len(r.door_ids), bool))
        np.maximum.at(best, pairs.door, np.where(pairs.certain, YES, UNCLEAR).astype(np.int8))
    bound = r.bound
    np.maximum.at(best, bound["door"], np.where(bound["sure"], YES, UNCLEAR).astype(np.int8))
    # a table of credentials that is not there: perhaps one of them opens it
    for table, words in (("cards", (1, 3, 4, 7)), ("pins", (2, 3, 4, 7))):
        if not data.has(table):
            best[np.isin(r.entry, words) & (best == NO)] = UNCLEAR
    return best
