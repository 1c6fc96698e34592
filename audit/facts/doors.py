"""Doors with their locks: one row a door, one row a lock, in coded columns.

Two rows of one door_id: the columns in which they agree are used, one in which they differ is
not recorded, whatever the order of the rows; no rule on life safety judges such a door.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import pandas as pd

from audit.arithmetic.freedom import (
    STATES,
    Locks,
    Words,
    free_to_enter,
    free_to_leave,
    lock_free,
    lock_taken,
    locks,
)
from audit.arithmetic.plain import places
from audit.arithmetic.three import NO, UNCLEAR, Bools, Ints, Small, coded, nullable
from audit.contract import Dataset
from audit.facts.buildings import at_place
from audit.schema import LOCK_COLUMNS

MAY_BE_SHUT_WHEN_EMPTY: Final = ("office", "shop")


@dataclass(frozen=True)
class Doors:
    """The site's doors: `frame` one row each (index: the first row's label in the table), with
    `door` and all columns of the table; `twice` where an id is on two rows.

    `locks` and the arrays beside it have a row a lock: `at` the position of its door, `source`
    (table, index label), `name` the lock_id. `out` and `back` (doors, 3) are the freedom from
    inside to outside and the reverse. `lacking`: where a lock column is not recorded (a row a
    door: for one of its locks).
    """

    frame: pd.DataFrame
    twice: Bools
    locks: Locks
    at: Ints
    source: list[tuple[str, int]]
    name: list[str | None]
    out: Small
    back: Small
    lacking: dict[str, Bools]

    def per_door(self, verdict: Small) -> Small:
        """The doors' verdict: one lock at fault is enough (the greatest of its locks')."""
        made = np.full(len(self.frame), NO, np.int8)
        np.maximum.at(made, self.at, verdict)
        return made


def doors(data: Dataset) -> Doors:
    """The site's doors, once a Dataset."""
    return data.once(_doors)


def words(column: pd.Series) -> Words:
    """The words, "" where none is recorded."""
    return column.astype(object).where(column.notna(), "").to_numpy(object)


def agreed(frame: pd.DataFrame, key: str) -> tuple[pd.DataFrame, Bools]:
    """One row an id; cells in which its rows differ are not recorded. And which ids are twice."""
    twice = frame[key].duplicated(keep=False)
    first = frame[~frame[key].duplicated()].copy()
    if twice.any():
        several = frame[twice]
        differ = several.groupby(key, sort=False).nunique(dropna=False) > 1
        for column in (c for c in frame.columns if c != key and c in differ):
            ids = differ.index[differ[column]]
            at = first[key].isin(ids)
            if at.any():
                first[column] = first[column].mask(at)
    return first, twice[first.index].to_numpy(bool)


def _doors(data: Dataset) -> Doors:
    frame, twice = agreed(data["doors"], "door_id")
    more = data["locks"]
    at_more = places(frame["door_id"], more["door_id"])
    known = at_more >= 0
    unread = {c: _unread(data, frame, c) for c in LOCK_COLUMNS}
    has_rows = np.zeros(len(frame), bool)
    has_rows[at_more[known]] = True
    blank = frame["lock"].isna().to_numpy(bool) & ~unread["lock"]
    own = np.flatnonzero(~(has_rows & blank))
    at = np.concatenate([own, at_more[known]]).astype(np.int64)
    entry = words(frame["entry"])

    def column(name: str) -> Any:
        return pd.concat([frame[name].iloc[own], more[name][known]], ignore_index=True)

    taken = lock_taken(words(column("lock")), entry[at])
    made = locks(
        taken,
        words(column("mechanical_exit")),
        words(column("exit_input")),
        words(column("power_loss")),
        coded(column("alarm_release")),
        coded(column("emergency_release")),
        leaf_counts=not data.policy.leaf_switch_needs_alarm,
    )
    scheduled = frame["unlock_schedule"].notna().to_numpy(bool)
    use = words(at_place(data, "use"))[frame.index]
    empty = scheduled & ((use == "") | np.isin(use, MAY_BE_SHUT_WHEN_EMPTY))
    out = free_to_leave(lock_free(made, empty[at]), at, len(frame))
    back = free_to_enter(made, at, entry)
    loose = len(data.tables["locks"].set_aside) if "locks" in data.tables else 0
    if loose:  # a lock whose door is not said may be any door's
        out, back = np.minimum(out, UNCLEAR), np.minimum(back, UNCLEAR)
    out[twice], back[twice] = UNCLEAR, UNCLEAR
    labels = [("doors", int(i)) for i in frame.index[own]]
    labels += [("locks", int(i)) for i in more.index[known]]
    names = [None] * len(own) + [None if pd.isna(n) else str(n) for n in more["lock_id"][known]]
    lacking = {}
    for name in LOCK_COLUMNS:
        missing = taken == "" if name == "lock" else column(name).isna().to_numpy(bool)
        lacking[name] = np.zeros(len(frame), bool)
        lacking[name][at[missing]] = True
    own_rows = frame.assign(door=frame["door_id"])
    return Doors(own_rows, twice, made, at, labels, names, out, back, lacking)


def _unread(data: Dataset, frame: pd.DataFrame, column: str) -> Bools:
    return data.unread("doors", column).to_numpy(bool)[frame.index]


def words_of_locks(data: Dataset, name: str = "mechanical_exit") -> Words:
    """A lock column, a row a lock as in `doors(data).locks`."""
    own = doors(data)
    tables = {"doors": data["doors"], "locks": data["locks"]}
    agreed_ = own.frame[name]
    return np.array(
        [
            _word(agreed_.loc[label] if table == "doors" else tables[table][name].loc[label])
            for table, label in own.source
        ],
        object,
    )


def _word(value: Any) -> str:
    return "" if pd.isna(value) else str(value)


def column(data: Dataset, name: str) -> pd.Series:
    """A column of the doors, one row a door, labels as in the table."""
    return doors(data).frame[name]


def judged(
    data: Dataset,
    scope: Small,
    fails: Small,
    needs: Sequence[str],
    life_safety: bool = True,
    **columns: Any,
) -> pd.DataFrame:
    """The doors in scope as a rule gives them: `door`, `fails`, `reason`, `lacks`, and `columns`.

    `scope` and `fails` have a verdict a door; out of scope is left out, perhaps in scope can't
    be a finding. The reason names the first of `needs` that is not recorded at the door;
    `columns` may bring `reason` and `lacks` of the rule's own, which then stand first.
    """
    own = doors(data)
    code = np.minimum(fails, scope)
    reason, lacks = reasons(data, needs)
    for name, made in (("reason", reason), ("lacks", lacks)):
        given = columns.pop(name, None)
        if given is not None:
            made[given != ""] = given[given != ""]
    if life_safety:
        code = np.where(own.twice, UNCLEAR, code)
        reason[own.twice], lacks[own.twice] = "the door is on two rows", "doors.door_id"
    frame = own.frame.assign(**columns)
    frame["fails"] = nullable(code.astype(np.int8))
    frame["reason"] = pd.Series(reason, frame.index, object).where(reason != "")
    frame["lacks"] = pd.Series(lacks, frame.index, object).where(lacks != "")
    rows = [
        [("doors", int(label)), *[s for s in sources if s[0] == "locks"]]
        for label, sources in zip(frame.index, _sources(own), strict=True)
    ]
    frame["sources"] = pd.Series(rows, frame.index, object)
    return frame[scope > NO]


def reasons(data: Dataset, needs: Sequence[str]) -> tuple[Words, Words]:
    """For each door the first of these columns that is not recorded, in words and as a name."""
    own = doors(data)
    reason, lacks = np.full(len(own.frame), "", object), np.full(len(own.frame), "", object)
    for name in reversed(needs):
        held = own.lacking.get(name)
        missing = own.frame[name].isna().to_numpy(bool) if held is None else held
        reason[missing], lacks[missing] = f"{name} is not recorded", f"doors.{name}"
    return reason, lacks


def _sources(own: Doors) -> list[list[tuple[str, int]]]:
    found: list[list[tuple[str, int]]] = [[] for _ in range(len(own.frame))]
    for door, source in zip(own.at.tolist(), own.source, strict=True):
        found[door].append(source)
    return found


def on_route(data: Dataset) -> Small:
    """Whether each door is on an escape route."""
    return coded(doors(data).frame["escape_route"])


def controlled(data: Dataset) -> Small:
    """Whether each door is controlled: a lock of it is a magnet, strike, bolt or motor."""
    own = doors(data)
    return own.per_door(own.locks.powered)


def alarm_at(data: Dataset) -> tuple[Small, Words, Words]:
    """Whether the building of each door's place has a communal alarm, and why that is unclear."""
    own = doors(data)
    known = coded(at_place(data, "communal_alarm"))[own.frame.index]
    building = words(at_place(data, "building"))[own.frame.index]
    reason = np.array(
        [f"communal_alarm{f' of building {b}' if b else ''} is not recorded" for b in building],
        object,
    )
    vague = known == UNCLEAR
    none = np.full(len(known), "", object)
    return (
        known,
        np.where(vague, reason, none),
        np.where(vague, "building.communal_alarm", none),
    )


__all__ = [
    "STATES",
    "Doors",
    "agreed",
    "alarm_at",
    "column",
    "controlled",
    "doors",
    "judged",
    "on_route",
    "reasons",
    "words",
    "words_of_locks",
]
