"""Raw text cells to the typed tables of a Dataset; nothing is dropped without being said.

Each column is typed over its distinct values, so a register of a million rows costs about
as much as its variety. A cell whose text can't be understood reads NA and is marked unread:
it counts neither as a value nor as blank.
"""

from __future__ import annotations

import datetime as dt
import re
import unicodedata
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import numpy.typing as npt
import pandas as pd

from audit.contract import DTYPES, TEXT, Dataset, InputFile, Table, empty_frame, row_digest
from audit.schema import BLANK_WORDS, NO, ONE_OF, SECRET_COLUMNS, TABLES, YES, Column, TableSpec
from audit.site import Site

NOT_SHOWN = "pin, not shown"
UNREAD: Any = object()
"""What a parser returns for a text it can't understand."""


@dataclass(frozen=True)
class RawTable:
    """A table as its file gave it: text cells (NA: no cell) under canonical column names.

    `rows` are spreadsheet row numbers; `numeric` marks columns whose cells arrived as
    numbers (a bool mask each, or True for all).
    """

    name: str
    frame: pd.DataFrame
    rows: npt.NDArray[np.int64]
    file: str = ""
    sheet: str | None = None
    sha256: str = ""
    date_order: str | None = None
    values: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    numeric: Mapping[str, npt.NDArray[np.bool_]] = field(default_factory=dict)


def from_text(
    tables: Mapping[str, tuple[Sequence[str], Sequence[Sequence[str]]]],
    site: Site,
    as_of: dt.date,
) -> Dataset:
    """A dataset from small literal tables (name -> header, rows); used by the examples."""
    raws = []
    for name, (header, rows) in tables.items():
        frame = pd.DataFrame([list(r) for r in rows], columns=list(header), dtype=TEXT)
        raws.append(
            RawTable(name, frame, np.arange(2, len(rows) + 2, dtype=np.int64), f"{name}.csv")
        )
    return build(raws, site, as_of)


def build(
    raws: Sequence[RawTable], site: Site, as_of: dt.date, notes: tuple[str, ...] = ()
) -> Dataset:
    """Types every raw table and hides what may be a PIN's digits."""
    tables = {raw.name: _typed(raw, site) for raw in raws}
    _hide_pins(tables)
    inputs = tuple(
        InputFile(
            raw.name,
            raw.file,
            raw.sha256,
            len(tables[raw.name].frame) + len(tables[raw.name].set_aside["row"].unique()),
            len(tables[raw.name].set_aside["row"].unique()),
        )
        for raw in sorted(raws, key=lambda r: r.name)
    )
    return Dataset(site, as_of, tables, inputs, notes)


def _typed(raw: RawTable, site: Site) -> Table:
    spec = TABLES[raw.name]
    cells = {c: _trimmed(raw.frame[c]) for c in raw.frame.columns}
    some = np.zeros(len(raw.frame), bool)
    for series in cells.values():
        some |= series.notna().to_numpy()
    rows = raw.rows
    if not some.all():
        cells = {c: s[some].reset_index(drop=True) for c, s in cells.items()}
        rows = rows[some]
    n = len(rows)
    columns: dict[str, pd.Series] = {}
    unread: dict[str, npt.NDArray[np.bool_]] = {}
    order = raw.date_order or site.date_order
    for column in spec.columns:
        name = "secret" if column.kind == "pin" else column.name
        if column.name not in cells:
            columns[name] = _absent(column, n)
            continue
        text = _blanked(cells[column.name], column)
        typed, bad = _type(text, column, order, raw.values.get(column.name, {}), site)
        if column.default is not None:
            typed = typed.mask(text.isna(), column.default)
        columns[name] = typed
        if bad.any():
            unread[column.name] = bad
    frame = pd.DataFrame(columns, index=pd.RangeIndex(n))
    if raw.name == "cards":
        frame["card_id"] = frame["card_id"].fillna(frame["number"])
    if raw.name in SECRET_COLUMNS and "secret" not in frame:
        frame["secret"] = pd.Series(pd.NA, index=frame.index, dtype=TEXT)
    return _set_aside(raw, spec, frame, unread, rows)


def _set_aside(
    raw: RawTable,
    spec: TableSpec,
    frame: pd.DataFrame,
    unread: dict[str, npt.NDArray[np.bool_]],
    rows: npt.NDArray[np.int64],
) -> Table:
    needed = [frame["secret" if spec.column(c).kind == "pin" else c].isna() for c in spec.starred]
    names = list(spec.starred)
    if raw.name in ONE_OF:
        either = ONE_OF[raw.name]
        needed.append(frame[list(either)].isna().all(axis=1))
        names.append(either[0])
    out = np.zeros(len(frame), bool)
    aside = []
    for name, lacking in zip(names, needed, strict=True):
        mask = lacking.to_numpy(bool)
        out |= mask
        if mask.any():
            part = frame[mask]
            ids = part[spec.row_id] if spec.row_id else row_digest(raw.name, part)
            ids = ids.fillna(row_digest(raw.name, part)) if ids.isna().any() else ids
            gone = unread.get(name)
            aside.append(
                pd.DataFrame(
                    {
                        "id": ids.to_numpy(),
                        "column": name,
                        "row": rows[mask],
                        "unread": gone[mask] if gone is not None else False,
                    }
                )
            )
    set_aside = (
        pd.concat(aside, ignore_index=True)
        if aside
        else pd.DataFrame({"id": [], "column": [], "row": [], "unread": []})
    )
    if out.any():
        keep = ~out
        frame = frame[keep].reset_index(drop=True)
        rows = rows[keep]
        unread = {c: m[keep] for c, m in unread.items() if m[keep].any()}
    return Table(
        raw.name,
        frame,
        raw.file,
        raw.sheet,
        rows,
        frozenset(raw.frame.columns),
        unread,
        set_aside,
        {},
        frozenset(c for c, m in raw.numeric.items() if m.any()),
    )


def _absent(column: Column, n: int) -> pd.Series:
    return pd.Series(
        column.default if column.default is not None else None,
        index=pd.RangeIndex(n),
        dtype=DTYPES.get(column.kind, TEXT),
    )


_SPACES = re.compile(r"[\s\u00a0\u2007\u202f\ufeff]+")


def _trimmed(cells: pd.Series) -> pd.Series:
    text = cells.astype(TEXT).str.strip()
    return text.mask(text.eq("").fillna(False))


def _blanked(text: pd.Series, column: Column) -> pd.Series:
    blank = BLANK_WORDS - set(column.words)
    return text.mask(text.str.lower().isin(blank))


def _type(
    text: pd.Series, column: Column, order: str, values: Mapping[str, str], site: Site
) -> tuple[pd.Series, npt.NDArray[np.bool_]]:
    parse = _parser(column, order, values, site)
    if parse is None:
        return text.reset_index(drop=True), np.zeros(len(text), bool)
    codes, distinct = pd.factorize(text)
    parsed = [parse(value) for value in distinct]
    bad = np.array([p is UNREAD for p in parsed] + [False], bool)
    dtype = DTYPES.get(column.kind, TEXT)
    lookup = pd.Series([None if p is UNREAD else p for p in parsed] + [None], dtype=dtype)
    typed = lookup.take(codes if len(parsed) else np.full(len(text), -1)).reset_index(drop=True)
    return typed, bad[codes]


def _parser(
    column: Column, order: str, values: Mapping[str, str], site: Site
) -> Callable[[str], Any] | None:
    kind = column.kind
    if kind == "word":
        folded = {_fold(k): v for k, v in values.items()}
        words = {_fold(w): w for w in column.words} | folded
        return lambda t: words.get(_fold(t), UNREAD)
    if kind == "yesno":
        wanted = {_fold(k): v.casefold() for k, v in values.items()}

        def yesno(t: str) -> Any:
            word = wanted.get(_fold(t), t.casefold())
            return True if word in YES else False if word in NO else UNREAD

        return yesno
    if kind == "date":
        return lambda t: read_date(t, order)
    if kind == "moment":
        zone = ZoneInfo(site.timezone)
        return lambda t: read_moment(t, zone)
    if kind == "whole":
        return read_whole
    if kind == "decimal":
        return read_decimal
    if kind == "clock":
        return read_clock
    if kind == "pin":
        return read_pin
    return None


def _fold(text: str) -> str:
    plain = unicodedata.normalize("NFKD", text.casefold())
    return re.sub(r"[\s_\-]+", "-", "".join(c for c in plain if not unicodedata.combining(c)))


_ISO = re.compile(r"(\d{4})-(\d{2})-(\d{2})(?:[T ]00:00(?::00(?:\.0+)?)?)?$")
_PARTS = re.compile(r"(\d{1,4})[./\- ](\d{1,2})[./\- ](\d{1,4})$")


def read_date(text: str, order: str) -> Any:
    """A date: ISO 8601, else by `order`, else a spreadsheet's serial number."""
    try:
        if m := _ISO.match(text):
            return pd.Timestamp(dt.date(int(m[1]), int(m[2]), int(m[3])))
        if m := _PARTS.match(text):
            a, b, c = m.groups()
            if len(a) == 4:
                y, mo, d = a, b, c
            elif order == "mdy":
                mo, d, y = a, b, c
            elif order == "ymd":
                y, mo, d = a, b, c
            else:
                d, mo, y = a, b, c
            if len(y) not in (2, 4):
                return UNREAD
            year = int(y) if len(y) == 4 else int(y) + (2000 if int(y) < 70 else 1900)
            return pd.Timestamp(dt.date(year, int(mo), int(d)))
        if re.fullmatch(r"\d{5}(\.0+)?", text) and 20_000 <= int(text[:5]) <= 80_000:
            return pd.Timestamp(dt.date(1899, 12, 30) + dt.timedelta(days=int(text[:5])))
    except ValueError:
        return UNREAD
    return UNREAD


def read_moment(text: str, zone: ZoneInfo) -> Any:
    """An ISO 8601 time as UTC; without offset it is the site's, the first of a repeated hour."""
    try:
        moment = dt.datetime.fromisoformat(text)
    except ValueError:
        return UNREAD
    if moment.tzinfo is None:
        moment = moment.replace(tzinfo=zone)
    return moment.astimezone(dt.UTC).replace(tzinfo=None)


def read_whole(text: str) -> Any:
    """A whole number that is not negative."""
    return (
        int(text)
        if re.fullmatch(r"\d{1,9}(\.0+)?", text) and "." not in text
        else (int(text.split(".")[0]) if re.fullmatch(r"\d{1,9}\.0+", text) else UNREAD)
    )


def read_decimal(text: str) -> Any:
    """A number that is not negative; a comma may stand for the point."""
    plain = text.replace(",", ".")
    return float(plain) if re.fullmatch(r"\d{1,9}(\.\d{1,6})?", plain) else UNREAD


def read_clock(text: str) -> Any:
    """HH:MM as minutes from midnight, 24:00 allowed."""
    m = re.fullmatch(r"(\d{1,2}):(\d{2})(?::00)?", text)
    if not m or int(m[2]) > 59 or int(m[1]) * 60 + int(m[2]) > 1440:
        return UNREAD
    return int(m[1]) * 60 + int(m[2])


def read_pin(text: str) -> Any:
    """The digits; None where a PIN is held but not readable."""
    if re.fullmatch(r"\d{1,12}", text):
        return text
    if re.fullmatch(r"[*•●xX]+", text) or re.fullmatch(
        r"(?=.*[a-f])[0-9a-f]{16,}|[$:{].*|\w+:\S{8,}", text, re.I
    ):
        return None
    return UNREAD


def _hide_pins(tables: dict[str, Table]) -> None:
    """Leaves PIN digits in `secret` only: every other column holds an id or a label."""
    pins = tables.get("pins")
    known = set(pins.frame["pin_id"].dropna()) if pins is not None else set()
    if pins is not None:
        frame = pins.frame
        own = (frame["pin_id"] == frame["secret"]).fillna(False)
        if own.any():
            labels = row_digest("pins", frame[own].drop(columns="pin_id"))
            frame["pin_id"] = frame["pin_id"].mask(own, labels.reindex(frame.index))
            unread = dict(pins.unread)
            unread["pin_id"] = unread.get("pin_id", np.zeros(len(frame), bool)) | own.to_numpy()
            object.__setattr__(pins, "unread", unread)
            known = set(frame["pin_id"].dropna())
    for name, column in (("loaded", "number"), ("events", "pin_id")):
        table = tables.get(name)
        if table is None:
            continue
        frame = table.frame
        digits = frame[column].str.fullmatch(r"\d+").fillna(False) & ~frame[column].isin(known)
        if name == "loaded":
            digits &= frame["credential_kind"].ne("card").fillna(True)
        frame["secret"] = frame[column].where(digits)
        frame[column] = frame[column].mask(digits, NOT_SHOWN)


__all__ = ["NOT_SHOWN", "RawTable", "build", "empty_frame", "from_text"]
