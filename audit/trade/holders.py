"""Who holds a card, a PIN or a permission, and what the register knows of that person.

Every answer is NA where the register does not know: an unknown reference, an unreadable cell,
or two rows of one person that contradict each other. NA is never a guess in either direction.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc

from audit.contract import TEXT, Dataset
from audit.trade.standing import departed, entitled, live


def people(data: Dataset) -> pd.DataFrame:
    """One row a person_id (the index), whatever the order of the rows.

    Columns: `role` (NA unclear), `dwelling` (NA none or unclear), `has_dwelling`, `departed`,
    `entitled` (nullable booleans), `start` (date, NaT none or unclear), `has_start`. A person
    on several rows has the values on which the rows agree; `departed` is NA too where the
    register has neither a status nor a last day to go by.
    """
    return data.once(_people)


def holder(data: Dataset, table: str) -> pd.DataFrame:
    """The holder of each row of cards or pins, aligned with the table.

    Columns: `person` (the reference, NA none), `named` (nullable: whether one is given), and
    those of `people`, all NA where no person is named or the person is unknown.
    """
    return data.once(_HOLDER[table])


def of_people(data: Dataset, ids: pd.Series) -> pd.DataFrame:
    """The columns of `people` for each id, aligned with `ids`; NA for unknown ids."""
    frame = people(data)
    at = places(frame.index, ids)
    columns = {
        name: pd.Series(frame[name].array.take(at, allow_fill=True), index=ids.index, copy=False)
        for name in frame
    }
    return pd.DataFrame(columns)


def in_household(data: Dataset, table: str) -> pd.DataFrame:
    """The dwelling that each card or PIN is bound to, itself or through its holder.

    Columns aligned with the table: `dwelling` (NA none or unclear) and `bound` (nullable
    boolean: NA where the register can't tell whether there is one).
    """
    return data.once(_BOUND[table])


def counted(data: Dataset, table: str) -> pd.DataFrame:
    """Live cards or PINs by dwelling (the index): columns `sure` and `possible` (int)."""
    return data.once(_COUNTED[table])


def places(index: pd.Index, ids: pd.Series) -> np.ndarray:
    """Where each id stands in a unique index; -1 = nowhere."""
    if not len(index):
        return np.full(len(ids), -1)
    known = pa.array(index.astype(TEXT).array)
    asked = pa.array(ids.astype(TEXT).array)
    found = pc.index_in(asked, value_set=known, skip_nulls=True)
    return np.asarray(pc.fill_null(found, -1).to_numpy(zero_copy_only=False), dtype=np.int64)


def _people(data: Dataset) -> pd.DataFrame:
    rows = data["people"]
    gone = departed(data)
    if not data.has("people", "end_date"):
        # Blank means "from the dates", and there are none.
        gone = gone.mask(rows["status"].isna())
    frame = pd.DataFrame(
        {
            "person_id": rows["person_id"],
            "role": rows["role"],
            "dwelling": rows["dwelling_id"],
            "has_dwelling": ~data.blank("people", "dwelling_id"),
            "departed": gone,
            "entitled": entitled(data),
            "start": rows["start_date"],
            "has_start": ~data.blank("people", "start_date"),
        }
    )
    ids = frame["person_id"]
    if ids.is_unique:
        return frame.set_index("person_id")
    several = frame[ids.duplicated(keep=False)]
    differing = several.groupby("person_id").nunique(dropna=False) > 1
    frame = frame.drop_duplicates("person_id").set_index("person_id")
    for column in frame:
        torn = differing.index[differing[column]]
        frame.loc[torn, column] = pd.NaT if column == "start" else pd.NA
    # Two dwellings or two dates: there is one, and nobody knows which.
    return frame


def _holder_of(table: str) -> Callable[[Dataset], pd.DataFrame]:
    def held(data: Dataset) -> pd.DataFrame:
        ids = data[table]["person_id"]
        found = of_people(data, ids)
        found.insert(0, "person", ids)
        found.insert(1, "named", ~data.blank(table, "person_id"))
        return found

    return held


_HOLDER = {"cards": _holder_of("cards"), "pins": _holder_of("pins")}


def _bound_of(table: str) -> Callable[[Dataset], pd.DataFrame]:
    def bound(data: Dataset) -> pd.DataFrame:
        held = holder(data, table)
        own = data[table]["dwelling_id"]
        through = held["has_dwelling"].where(held["named"].fillna(True), False)
        return pd.DataFrame(
            {
                "dwelling": own.fillna(held["dwelling"]),
                "bound": ~data.blank(table, "dwelling_id") | through,
            }
        )

    return bound


_BOUND = {"cards": _bound_of("cards"), "pins": _bound_of("pins")}


def _counted_of(table: str) -> Callable[[Dataset], pd.DataFrame]:
    def count(data: Dataset) -> pd.DataFrame:
        alive = live(data, table)
        dwelling = in_household(data, table)["dwelling"]
        frame = pd.DataFrame(
            {"sure": alive.fillna(False).astype(int), "possible": alive.fillna(True).astype(int)}
        )
        return frame.groupby(dwelling).sum()

    return count


_COUNTED = {"cards": _counted_of("cards"), "pins": _counted_of("pins")}


def among(words: pd.Series, *of: str) -> pd.Series:
    """Whether each word is one of `of` (nullable boolean: NA for NA)."""
    return words.isin(of).astype("boolean").mask(words.isna())
