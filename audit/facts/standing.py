"""Who is here today and what works today: live, entitled, departed, in force.

The words are data.md's. Every answer is a nullable boolean aligned with the table's index:
NA where a cell that decides is unreadable, never a guess.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from audit.arithmetic.plain import places, taken, word_codes
from audit.arithmetic.three import Bools, Ints
from audit.contract import Dataset
from audit.schema import TABLES


def unread(data: Dataset, table: str, column: str) -> Bools | np.bool_:
    """`data.unread` as a mask; one False where no cell is unread."""
    found = data.tables.get(table)
    mask = found.unread.get(column) if found is not None else None
    return np.bool_(False) if mask is None else np.asarray(mask, bool)


EVENTS: Final = TABLES["events"].column("event").words
"""The event words; an event's code is its place here."""


def by_id(data: Dataset, table: str) -> pd.DataFrame:
    """The table indexed by its own id, the first row of a repeated id only."""
    return data.once(_BY_ID[table])


def lookup(data: Dataset, table: str, ids: pd.Series, column: str) -> pd.Series:
    """The value of `column` for each id, aligned with `ids`; NA where the id is unknown."""
    frame = by_id(data, table)
    return pd.Series(taken(frame[column], places(frame.index, ids)), index=ids.index)


def stands(data: Dataset, table: str, column: str, into: str) -> Ints:
    """Where each reference of a column stands in `by_id(data, into)`; -1: nowhere, or none."""
    return data.once(_stands_of(table, column, into))


@cache
def _stands_of(table: str, column: str, into: str) -> Callable[[Dataset], Ints]:
    return lambda data: places(by_id(data, into).index, data[table][column])


def spread(data: Dataset, table: str, ids: pd.Series, values: pd.Series) -> pd.Series:
    """`values` (aligned with the table's rows) for each id, NA where the id is unknown."""
    frame = by_id(data, table)
    own = values.reindex(frame["_label"])
    return pd.Series(taken(own, places(frame.index, ids)), index=ids.index)


def one_row_each(data: Dataset, table: str) -> bool:
    """Whether every id of the table stands on one row."""
    return data.once(_one_row_each_of(table))


@cache
def _one_row_each_of(table: str) -> Callable[[Dataset], bool]:
    column = TABLES[table].row_id
    return lambda data: bool(data[table][column].is_unique)


def event_codes(data: Dataset) -> npt.NDArray[np.int8]:
    """The place of each event's word in EVENTS."""
    return data.once(_event_codes)


def _event_codes(data: Dataset) -> npt.NDArray[np.int8]:
    return word_codes(data["events"]["event"], EVENTS).astype(np.int8)


def live(data: Dataset, table: str) -> pd.Series:
    """Whether each card or PIN works as of the day (`table` is cards or pins)."""
    return data.once(_LIVE[table])


def in_force(data: Dataset) -> pd.Series:
    """Whether each permission is in force as of the day."""
    return data.once(_in_force)


def departed(data: Dataset) -> pd.Series:
    """Whether each person is departed: by status, or by end date and grace."""
    return data.once(_departed)


def entitled(data: Dataset) -> pd.Series:
    """Whether each person is entitled: not departed, and started."""
    return data.once(_entitled)


def valid_on(data: Dataset, table: str, days: pd.Series | pd.Timestamp) -> pd.Series:
    """Whether `days` lies within valid_from … valid_to, both included, a blank end open."""
    frame = data[table]
    from_ok = (frame["valid_from"] <= days).astype("boolean") | frame["valid_from"].isna()
    to_ok = (frame["valid_to"] >= days).astype("boolean") | frame["valid_to"].isna()
    return from_ok.mask(data.unread(table, "valid_from")) & to_ok.mask(
        data.unread(table, "valid_to")
    )


def bound_dwelling(data: Dataset, table: str) -> pd.Series:
    """The dwelling a card or PIN is bound to: its own, else its holder's.

    NA where there is none, and also where a cell or the holder can't be read; ask
    `data.unread` and `lookup` where the difference matters.
    """
    return data.once(_BOUND[table])


def _by_id_of(table: str) -> Callable[[Dataset], pd.DataFrame]:
    column = TABLES[table].row_id

    def frame(data: Dataset) -> pd.DataFrame:
        own = data[table].assign(_label=data[table].index)
        first = own if one_row_each(data, table) else own.drop_duplicates(column)
        return first.set_index(column)

    return frame


_BY_ID = {
    name: _by_id_of(name)
    for name in (
        "buildings",
        "dwellings",
        "people",
        "cards",
        "pins",
        "doors",
        "zones",
        "permissions",
        "stations",
    )
}


def _live_of(table: str) -> Callable[[Dataset], pd.Series]:
    def alive(data: Dataset) -> pd.Series:
        return (data[table]["status"] == "active").astype("boolean") & valid_on(
            data, table, data.today
        )

    return alive


_LIVE = {"cards": _live_of("cards"), "pins": _live_of("pins")}


def _in_force(data: Dataset) -> pd.Series:
    return valid_on(data, "permissions", data.today)


def _departed(data: Dataset) -> pd.Series:
    people = data["people"]
    grace = pd.Timedelta(days=data.policy.departure_grace_days)
    over = (people["end_date"] + grace < data.today).astype("boolean")
    over = over.mask(data.unread("people", "end_date"))
    said = (people["status"] == "departed").astype("boolean")
    blank = people["status"].isna() & ~data.unread("people", "status")
    return said.mask(blank, False) | over


def _entitled(data: Dataset) -> pd.Series:
    people = data["people"]
    begun = (people["start_date"] <= data.today).astype("boolean")
    blank = people["start_date"].isna()
    # Without a first day somebody is here, unless still expected.
    begun = begun.mask(blank, ~_expected(data)).mask(data.unread("people", "start_date"))
    return ~departed(data) & begun


def _expected(data: Dataset) -> pd.Series:
    """Whether each person's status is `expected`; NA where it can't be read."""
    status = data["people"]["status"]
    return (
        (status == "expected")
        .astype("boolean")
        .mask(data.unread("people", "status"))
        .where(status.notna() | data.unread("people", "status"), False)
    )


def still_to_come(data: Dataset) -> pd.Series:
    """Whether each person is not yet entitled: starts later, or is expected without a day."""
    return data.once(_still_to_come)


def _still_to_come(data: Dataset) -> pd.Series:
    people = data["people"]
    later = (people["start_date"] > data.today).astype("boolean")
    later = later.mask(people["start_date"].isna(), _expected(data))
    return ~departed(data) & later.mask(data.unread("people", "start_date"))


def _bound_of(table: str) -> Callable[[Dataset], pd.Series]:
    def bound(data: Dataset) -> pd.Series:
        own = data[table]["dwelling_id"]
        at = stands(data, table, "person_id", "people")
        through = pd.Series(taken(by_id(data, "people")["dwelling_id"], at), index=own.index)
        return own.fillna(through.mask(data.unread(table, "dwelling_id")))

    return bound


_BOUND = {"cards": _bound_of("cards"), "pins": _bound_of("pins")}
