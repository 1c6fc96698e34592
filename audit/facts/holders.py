"""Who holds a card, a PIN or a permission, and what the register knows of that person.

Every answer is NA where the register does not know: an unknown reference, an unreadable cell,
or two rows of one person that contradict each other. NA is never a guess in either direction.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import numpy.typing as npt
import pandas as pd

from audit.arithmetic.plain import places
from audit.contract import Dataset
from audit.facts.standing import departed, entitled, live, one_row_each, stands


def people(data: Dataset) -> pd.DataFrame:
    """One row a person_id (the index), whatever the order of the rows.

    Columns: `role` (NA unclear), `dwelling`, `status`, `start`, `end` (NA none or unclear), and
    nullable booleans `has_dwelling`, `has_start`, `departed`, `entitled`, `call_out`. A person on
    several rows has the values on which they agree; `departed` is NA too where the register has
    neither a status nor a last day to go by.
    """
    return data.once(_people)


def holder(data: Dataset, table: str) -> pd.DataFrame:
    """The holder of each row of cards or pins, aligned with the table.

    Columns: `person` (the reference, NA none), `named` (nullable: whether one is given), and
    those of `people`, all NA where no person is named or the person is unknown.
    """
    return data.once(_HOLDER[table])


def _at(data: Dataset, at: np.ndarray, index: pd.Index) -> pd.DataFrame:
    frame = people(data)
    columns = {
        name: pd.Series(frame[name].array.take(at, allow_fill=True), index=index, copy=False)
        for name in frame
    }
    return pd.DataFrame(columns)


def in_household(data: Dataset, table: str) -> pd.DataFrame:
    """The dwelling that each card or PIN is bound to, itself or through its holder.

    Columns aligned with the table: `dwelling` (NA none or unclear) and `bound` (nullable
    boolean: NA where the register can't tell whether there is one).
    """
    return data.once(_BOUND[table])


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
            "call_out": called_out(data),
            "status": rows["status"],
            "end": rows["end_date"],
            "start": rows["start_date"],
            "has_start": ~data.blank("people", "start_date"),
        }
    )
    ids = frame["person_id"]
    if one_row_each(data, "people"):
        return frame.set_index("person_id")
    several = frame[ids.duplicated(keep=False)]
    differing = several.groupby("person_id").nunique(dropna=False) > 1
    frame = frame.drop_duplicates("person_id").set_index("person_id")
    for column in frame:
        torn = differing.index[differing[column]]
        frame.loc[torn, column] = pd.NaT if column in ("start", "end") else pd.NA
    # Two dwellings or two dates: there is one, and nobody knows which.
    return frame


def called_out(data: Dataset) -> pd.Series:
    """Whether each person must get in when called: a column that is there names those who do."""
    blank = data.blank("people", "call_out").fillna(False)
    return data["people"]["call_out"].mask(blank, False)


def _holder_of(table: str) -> Callable[[Dataset], pd.DataFrame]:
    def held(data: Dataset) -> pd.DataFrame:
        ids = data[table]["person_id"]
        # `people` has its rows in the order of `by_id(data, "people")`
        found = _at(data, stands(data, table, "person_id", "people"), ids.index)
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


def _counted(data: Dataset, *tables: str) -> pd.DataFrame:
    ids = pd.concat([in_household(data, table)["dwelling"] for table in tables])
    alive = pd.concat([live(data, table) for table in tables])
    code, homes = pd.factorize(ids)
    count = {
        name: np.bincount(
            code[(code >= 0) & alive.fillna(unsure).to_numpy(bool)], minlength=len(homes)
        )
        for name, unsure in (("sure", False), ("possible", True))
    }
    return pd.DataFrame(count, index=pd.Index(homes))


def left_without(data: Dataset) -> pd.Series:
    """Dwellings in which somebody entitled lives who surely or perhaps holds no live card or PIN.

    Distinct names; those whom a withdrawn card of somebody else may leave outside.
    """
    return data.once(_left_without)


def _left_without(data: Dataset) -> pd.Series:
    rows = data["people"]
    holds = np.zeros(len(rows), dtype=bool)
    for table in ("cards", "pins"):
        own = data[table]["person_id"][live(data, table).fillna(False)]
        holds |= places(pd.Index(own.dropna()), rows["person_id"]) >= 0
    here = entitled(data).fillna(True).to_numpy(dtype=bool)
    found: pd.Series = rows["dwelling_id"][here & ~holds].dropna().drop_duplicates()
    return found


def _each(homes: pd.Index, ids: pd.Series, wanted: pd.Series) -> npt.NDArray[np.bool_]:
    """For each of `homes` whether it stands in a row (`ids`) that is `wanted`."""
    found = np.zeros(len(homes) + 1, dtype=bool)
    mask = wanted.to_numpy(dtype=bool)
    if mask.any():
        found[places(homes, ids)[mask]] = True
    return found[:-1]
