"""The dataset: a site's tables, policy and day, everything that an audit is a function of."""

from __future__ import annotations

import datetime as dt
import hashlib
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any, Final, NamedTuple, TypeVar
from zoneinfo import ZoneInfo

import numpy as np
import numpy.typing as npt
import pandas as pd

from audit.arithmetic.plain import TEXT as TEXT
from audit.schema import SECRET_COLUMNS, TABLES
from audit.site import Equipment, Policy, Site

T = TypeVar("T")


class Source(NamedTuple):
    """Where a row stands, as a person sees it: the header of a sheet is row 1."""

    file: str
    sheet: str | None
    row: int


@dataclass(frozen=True)
class InputFile:
    """One table's file: its sha256, the rows read and the rows set aside."""

    table: str
    file: str
    sha256: str
    rows: int
    set_aside: int


@dataclass(frozen=True)
class Table:
    """One table, typed.

    `frame` holds every canonical column, index 0..n-1; `columns` those that the source
    had; `unread` marks cells with a text that could not be understood; `set_aside` lists
    the rows that could not be used (columns id, as references know it; name, as findings
    call the row; column; row; unread); `damage` names what a spreadsheet did to a cell
    (string series, NA where nothing); `as_numbers` the columns that arrived as numbers;
    `filled` marks blank cells in which a default of the row's own stands (cards.card_id).
    """

    name: str
    frame: pd.DataFrame
    file: str = ""
    sheet: str | None = None
    rows: npt.NDArray[np.int64] = field(default_factory=lambda: np.empty(0, np.int64))
    columns: frozenset[str] = frozenset()
    unread: Mapping[str, npt.NDArray[np.bool_]] = field(default_factory=dict)
    set_aside: pd.DataFrame = field(
        default_factory=lambda: pd.DataFrame(
            {"id": [], "name": [], "column": [], "row": [], "unread": []}
        )
    )
    damage: Mapping[str, pd.Series] = field(default_factory=dict)
    as_numbers: frozenset[str] = frozenset()
    filled: Mapping[str, npt.NDArray[np.bool_]] = field(default_factory=dict)


class Dataset:
    """A site's tables, policy and day: everything that an audit is a function of."""

    def __init__(
        self,
        site: Site,
        as_of: dt.date,
        tables: Mapping[str, Table],
        inputs: tuple[InputFile, ...] = (),
        notes: tuple[str, ...] = (),
        other_inputs: Mapping[str, str] | None = None,
    ) -> None:
        self.site = site
        self.as_of = as_of
        self.tables = dict(tables)
        self.inputs = inputs
        self.notes = notes
        self.reviewed: dt.date | None = None  # as-of of the previous recorded review
        self.other_inputs = dict(other_inputs or {})  # site.toml, decisions.csv: file -> sha256
        self.zone = ZoneInfo(site.timezone)
        self.today = pd.Timestamp(as_of)
        self._once: dict[Callable[[Dataset], Any], Any] = {}

    @property
    def policy(self) -> Policy:
        """The site's policy, resolved: the site's own values, else its pack's."""
        return self.site.policy

    @property
    def equipment(self) -> Equipment:
        """The installer's own limits; None where a limit is not given."""
        return self.site.equipment

    def __getitem__(self, table: str) -> pd.DataFrame:
        """The typed frame; empty, with all its columns, where the table is absent."""
        found = self.tables.get(table)
        return found.frame if found is not None else empty_frame(table)

    def has(self, table: str, *columns: str) -> bool:
        """Whether the source has the table, and in it all of the columns."""
        found = self.tables.get(table)
        return found is not None and found.columns.issuperset(columns)

    def unread(self, table: str, column: str) -> pd.Series:
        """Cells that held a text nobody could understand (bool, aligned with the frame)."""
        frame = self[table]
        mask = self.tables[table].unread.get(column) if table in self.tables else None
        return pd.Series(
            np.zeros(len(frame), bool) if mask is None else mask, index=frame.index, dtype=bool
        )

    def blank(self, table: str, column: str) -> pd.Series:
        """True: nothing stands there; False: a value; NA: unreadable, or no such column."""
        frame = self[table]
        if not self.has(table, column):
            return pd.Series(pd.NA, index=frame.index, dtype="boolean")
        name = "secret" if SECRET_COLUMNS.get(table) == column == "pin" else column
        blank = frame[name].isna().astype("boolean")
        if column in self.tables[table].filled:
            blank |= self.tables[table].filled[column]
        unread = self.unread(table, column)
        return blank.mask(unread) if unread.any() else blank

    def known(self, table: str) -> pd.Index:
        """Every id the table knows, those of rows set aside too."""
        known: pd.Index = self.once(_KNOWN[table])
        return known

    def once(self, compute: Callable[[Dataset], T]) -> T:
        """compute(self), kept for the life of the dataset."""
        if compute not in self._once:
            self._once[compute] = compute(self)
        result: T = self._once[compute]
        return result

    def where(self, table: str, label: int) -> Source:
        """File, sheet and row of one row of a table; -1-n is line n of the rows set aside."""
        found = self.tables[table]
        row = found.rows[label] if label >= 0 else found.set_aside["row"].iloc[-1 - label]
        return Source(found.file, found.sheet, int(row))

    def row_id(self, table: str, labels: Iterable[int] | None = None) -> pd.Series:
        """What a finding calls these rows: their own id, else `row-` and a digest.

        The digest is made of the typed cells, PINs aside, so that the same row has the
        same name in every file format; two rows alike in every cell share it.
        """
        frame = self[table] if labels is None else self[table].loc[list(labels)]
        own = TABLES[table].row_id
        if own is None:
            return row_digest(table, frame)
        ids = frame[own].astype(TEXT)
        lacking = ids.isna()
        return ids.where(~lacking, row_digest(table, frame[lacking])) if lacking.any() else ids


def row_digest(table: str, frame: pd.DataFrame) -> pd.Series:
    """`row-` and twelve hex digits of the row's cells, secret cells and blanks aside."""
    hidden = {SECRET_COLUMNS.get(table), "secret"}
    if table == "loaded" and len(frame):
        hidden = {"secret"}  # a card's number is no secret; a PIN's is masked already
    columns = sorted(c for c in frame.columns if c not in hidden)
    texts = [
        "\x1f".join(f"{c}={_plain(v)}" for c, v in zip(columns, row, strict=True) if not pd.isna(v))
        for row in frame[columns].itertuples(index=False, name=None)
    ]
    digests = [
        "row-" + hashlib.sha256(t.encode("utf-8", "replace")).hexdigest()[:12] for t in texts
    ]
    return pd.Series(digests, index=frame.index, dtype=TEXT)


def _plain(value: object) -> str:
    return value.isoformat() if isinstance(value, dt.date) else str(value)


def _known_of(table: str) -> Callable[[Dataset], pd.Index]:
    def known(data: Dataset) -> pd.Index:
        found = data.tables.get(table)
        column = TABLES[table].row_id or TABLES[table].columns[0].name
        if found is None:
            return pd.Index([], dtype=TEXT)
        aside = found.set_aside["id"].dropna().astype(TEXT)
        ids = found.frame[column].dropna()
        every: pd.Index = pd.Index(pd.concat([ids, aside]).unique() if len(aside) else ids.unique())
        return every

    return known


_KNOWN = {name: _known_of(name) for name in TABLES}

DTYPES: Final[dict[str, Any]] = {
    "yesno": "boolean",
    "whole": "Int64",
    "clock": "Int64",
    "decimal": "Float64",
    "date": "datetime64[s]",
    "moment": "datetime64[us]",
}
_EMPTY: dict[str, pd.DataFrame] = {}


def empty_frame(table: str) -> pd.DataFrame:
    """The typed frame of a table without rows."""
    if table not in _EMPTY:
        columns = {
            "secret" if c.kind == "pin" else c.name: pd.Series(
                [], dtype=DTYPES.get(c.kind, TEXT), index=pd.RangeIndex(0)
            )
            for c in TABLES[table].columns
        }
        if table in SECRET_COLUMNS:
            columns["secret"] = pd.Series([], dtype=TEXT, index=pd.RangeIndex(0))
        _EMPTY[table] = pd.DataFrame(columns)
    return _EMPTY[table]
