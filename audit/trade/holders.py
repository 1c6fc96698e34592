"""Who holds a card, a PIN or a permission, and what the register knows of that person.

Every answer is NA where the register does not know: an unknown reference, an unreadable cell,
or two rows of one person that contradict each other. NA is never a guess in either direction.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import numpy.typing as npt
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc

from audit.contract import TEXT, Dataset
from audit.trade.standing import departed, entitled, live, one_row_each, stands
from audit.trade.subjects import is_in, lists


def people(data: Dataset) -> pd.DataFrame:
    """One row a person_id (the index), whatever the order of the rows.

    Columns: `role` (NA unclear), `dwelling`, `status`, `start`, `end` (NA none or unclear), and
    nullable booleans `has_dwelling`, `has_start`, `departed`, `entitled`. A person on several
    rows has the values on which the rows agree; `departed` is NA too where the register has
    neither a status nor a last day to go by.
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
    return _at(data, places(people(data).index, ids), ids.index)


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


def counted(data: Dataset, table: str) -> pd.DataFrame:
    """Live cards or PINs by dwelling (the index): columns `sure` and `possible` (int)."""
    return data.once(_COUNTED[table])


def telling(data: Dataset, *columns: str) -> list[str]:
    """Which of the tables cards and pins are there with one of these columns at least."""
    return [t for t in ("cards", "pins") if any(data.has(t, c) for c in columns)]


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


def credentials(data: Dataset) -> pd.DataFrame:
    """Cards and PINs of named people that are live, or may be: a row each.

    Columns: `person`, `card` or `pin` (the other NA), `live`, `start` and `has_start` of the
    person, and `table` and `label` of the row. Where neither table is there and names people, a
    row a person with `live` NA: nobody knows what they hold.
    """
    parts = [_credentials(data, table) for table in telling(data, "person_id")]
    if not parts:
        known = people(data)
        nothing = pd.Series(pd.NA, index=known.index, dtype=TEXT)
        parts = [
            {
                "person": pd.Series(known.index, dtype=TEXT),
                "card": nothing,
                "pin": nothing,
                "live": nothing.astype("boolean"),
                "start": known["start"],
                "has_start": known["has_start"],
                "table": pd.Series("people", index=known.index, dtype=TEXT),
                "label": pd.Series(np.arange(len(known))),
            }
        ]
    return pd.DataFrame(
        {
            name: parts[0][name].array._concat_same_type([part[name].array for part in parts])
            if len(parts) > 1
            else parts[0][name].array
            for name in parts[0]
        }
    )


def _credentials(data: Dataset, table: str) -> dict[str, pd.Series]:
    alive, held = live(data, table), holder(data, table)
    at = np.flatnonzero((alive.fillna(True) & held["person"].notna()).to_numpy(dtype=bool))
    own = data[table]["card_id" if table == "cards" else "pin_id"].take(at)
    other = pd.Series(pd.NA, index=own.index, dtype=TEXT)
    return {
        "person": held["person"].take(at),
        "card": own if table == "cards" else other,
        "pin": other if table == "cards" else own,
        "live": alive.take(at),
        "start": held["start"].take(at),
        "has_start": held["has_start"].take(at),
        "table": pd.Series(table, index=own.index, dtype=TEXT),
        "label": pd.Series(at, index=own.index),
    }


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


def _counted_of(table: str) -> Callable[[Dataset], pd.DataFrame]:
    return lambda data: _counted(data, table)


_COUNTED = {"cards": _counted_of("cards"), "pins": _counted_of("pins")}


def among(words: pd.Series, *of: str) -> pd.Series:
    """Whether each word is one of `of` (nullable boolean: NA for NA)."""
    held = pa.array(words.array)
    if pa.types.is_null(held.type):  # not a single word
        held = held.cast(pa.large_string())
    found = pc.is_in(held, value_set=pa.array(of, held.type)).to_numpy(zero_copy_only=False)
    return pd.Series(pd.arrays.BooleanArray(found, words.isna().to_numpy()), index=words.index)


def dwellings_with_credentials(data: Dataset) -> pd.DataFrame:
    """Dwellings to which live cards or PINs are bound, or may be: a row each.

    Columns: `dwelling`, nullable booleans `live` (a credential surely is), `entitled` (somebody
    there is), `empty` (said not to be occupied), `known` (True, or NA where the table of
    dwellings does not have it), and for the rows where nobody is entitled or which are said to
    be empty `cards`, `pins` and `sources`. Where neither cards nor PINs are there and bound to
    anybody, a row a dwelling with `live` NA.
    """
    tables = telling(data, "dwelling_id", "person_id")
    count = _counted(data, *tables) if tables else _nothing(data)
    count = count[(count["possible"] > 0).to_numpy()]
    sure = (count["sure"] > 0).to_numpy()
    frame = pd.DataFrame(
        {
            "dwelling": pd.Series(count.index, dtype=TEXT),
            "live": pd.arrays.BooleanArray(sure, ~sure),
        }
    )
    homes = pd.Index(frame["dwelling"])
    here = entitled(data)
    somebody = _each(homes, data["people"]["dwelling_id"], here.fillna(False))
    perhaps = _each(homes, data["people"]["dwelling_id"], here.isna())
    empty, known = _said_empty(data, homes)
    unsaid = perhaps if data.has("people", "dwelling_id") else np.ones(len(homes), dtype=bool)
    frame["entitled"] = pd.arrays.BooleanArray(somebody, unsaid & ~somebody)
    return _told(data, frame.assign(empty=empty, known=known, occupied=~empty))


def _nothing(data: Dataset) -> pd.DataFrame:
    ids = pd.concat([data["dwellings"]["dwelling_id"], data["people"]["dwelling_id"]]).dropna()
    return pd.DataFrame({"sure": 0, "possible": 1}, index=pd.Index(ids.unique()))


def _each(homes: pd.Index, ids: pd.Series, wanted: pd.Series) -> npt.NDArray[np.bool_]:
    """For each of `homes` whether it stands in a row (`ids`) that is `wanted`."""
    found = np.zeros(len(homes) + 1, dtype=bool)
    mask = wanted.to_numpy(dtype=bool)
    if mask.any():
        found[places(homes, ids)[mask]] = True
    return found[:-1]


def _said_empty(data: Dataset, homes: pd.Index) -> tuple[pd.Series, pd.Series]:
    """Whether each is said not to be occupied (blank says nothing), and whether it is known."""
    if not data.has("dwellings"):
        unsaid = pd.Series(False, index=range(len(homes)), dtype="boolean")
        return unsaid, ~unsaid
    rows = data["dwellings"]
    unread = data.unread("dwellings", "occupied")
    no = (~rows["occupied"]).fillna(False) & ~unread
    yes, others = (_each(homes, rows["dwelling_id"], said) for said in (no, ~no))
    unclear = _each(homes, rows["dwelling_id"], unread)
    # Two rows that contradict each other, one that can't be read, or an unknown dwelling.
    unknown = ~yes & ~others
    empty = pd.arrays.BooleanArray(yes, unclear | (yes & others) | unknown)
    known = pd.arrays.BooleanArray(~unknown, unknown)
    return pd.Series(empty), pd.Series(known)


def _told(data: Dataset, frame: pd.DataFrame) -> pd.DataFrame:
    frame = frame.assign(cards=None, pins=None, sources=None)
    vacant = frame["live"] & (~frame["entitled"] | frame["empty"])
    suspect = frame["dwelling"][vacant.fillna(False)]
    if suspect.empty:
        return frame
    sources: dict[str, list[tuple[str, int]]] = {}
    for table, column in (("cards", "card_id"), ("pins", "pin_id")):
        alive = live(data, table).fillna(False).to_numpy(dtype=bool)
        bound = in_household(data, table)["dwelling"]
        hits = bound[is_in(bound, suspect) & alive]
        for label, dwelling in zip(hits.index.tolist(), hits, strict=True):
            sources.setdefault(dwelling, []).append((table, label))
        named = lists(hits, data[table][column], suspect)
        frame[table] = pd.Series(named, index=suspect.index, dtype=object).reindex(frame.index)
    found = [sources.get(dwelling, []) for dwelling in suspect]
    frame["sources"] = pd.Series(found, index=suspect.index, dtype=object).reindex(frame.index)
    return frame


def can_hold(data: Dataset) -> pd.Series:
    """Whether each person has a live card or PIN, their own or their dwelling's.

    Aligned with data["people"]. NA where it hangs on a credential that may be live, or where
    neither cards nor PINs are there and bound to anybody. A site with one of the two tables has
    no other credentials: many have no keypad, and so no table of PINs.
    """
    rows = data["people"]
    tables = telling(data, "dwelling_id", "person_id")
    sure, may = np.zeros(len(rows), dtype=bool), np.full(len(rows), not tables)
    for table in tables:
        alive, bound = live(data, table), in_household(data, table)["dwelling"]
        for own, theirs in (
            (rows["person_id"], data[table]["person_id"]),
            (rows["dwelling_id"], bound),
        ):
            sure |= is_in(own, theirs[alive.fillna(False)]).to_numpy()
            may |= is_in(own, theirs[alive.isna()]).to_numpy()
    if not rows["person_id"].is_unique:  # what one row of a person shows, holds for the person
        sure |= is_in(rows["person_id"], rows["person_id"][sure]).to_numpy()
    return pd.Series(sure, index=rows.index, dtype="boolean").mask(may & ~sure)
