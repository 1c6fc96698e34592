"""Raw text cells to the typed tables of a Dataset; nothing is dropped without being said.

A column with fixed words, dates or numbers is typed over its distinct values by
`values.cell_parser`, the one truth about a cell. Ids, names and times of long tables go a
quicker way through pyarrow, which hands every unusual cell to the same parser.
A cell whose text can't be understood reads NA and is marked unread: it counts neither as a
value nor as blank.
"""

from __future__ import annotations

import datetime as dt
import os
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from functools import lru_cache
from itertools import product
from typing import Any, Final
from zoneinfo import ZoneInfo

import numpy as np
import numpy.typing as npt
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc

from audit.arithmetic.recurrence import ICALENDAR
from audit.contract import DTYPES, TEXT, Dataset, InputFile, Table, empty_frame, row_digest
from audit.ingest import values as v
from audit.ingest.draft import (
    Draft,
    Mask,
    Texts,
    distinct_texts,
    draft_frame,
    one_piece,
    taken_texts,
    true_mask,
    with_texts,
)  # fmt: skip
from audit.ingest.moments import moments
from audit.ingest.secrets import NOT_SHOWN, hide_pins
from audit.ingest.values import UNREAD
from audit.schema import BLANK_WORDS, ONE_OF, ROLES, SECRET_COLUMNS, TABLES, Column
from audit.site import Site

QUICK_FROM: Final = 4096
"""Rows from which on ids, texts and times go the quick way."""
THREADS_FROM: Final = 100_000
"""Rows from which on the columns of a table are typed side by side."""
_FREE: Final = frozenset({"id", "ref", "text", "number"})
_NUMBERED: Final = " (numbers)"


@dataclass(frozen=True)
class RawTable:
    """A table as its file gave it: text cells (null: no cell) under canonical column names.

    `cells` are large_string columns of one length; `rows` spreadsheet row numbers; `numbers`
    marks the cells that arrived as numbers; `others` are the columns that are none of the
    table's; `long_rows` positions of rows with more cells than the header.
    """

    name: str
    cells: Mapping[str, Texts]
    rows: npt.NDArray[np.int64]
    file: str = ""
    sheet: str | None = None
    sha256: str = ""
    date_order: str | None = None
    values: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    numbers: Mapping[str, Mask] = field(default_factory=dict)
    others: tuple[Texts, ...] = ()
    long_rows: npt.NDArray[np.int64] = field(default_factory=lambda: np.empty(0, np.int64))


def from_text(
    tables: Mapping[str, tuple[Sequence[str], Sequence[Sequence[str]]]],
    site: Site,
    as_of: dt.date,
) -> Dataset:
    """A dataset from small literal tables (name -> header, rows); used by the examples.

    A header that ends in ` (numbers)` is of a column that arrived as numbers.
    """
    raws = []
    for name, (header, rows) in tables.items():
        columns = list(zip(*rows, strict=True)) if rows else [()] * len(header)
        cells, numbers = {}, {}
        for written, column in zip(header, columns, strict=True):
            canonical = written.removesuffix(_NUMBERED)
            cells[canonical] = pa.chunked_array([pa.array(column, pa.large_string())])
            if canonical != written:
                numbers[canonical] = np.ones(len(rows), bool)
        numbered = np.arange(2, len(rows) + 2, dtype=np.int64)
        raws.append(RawTable(name, cells, numbered, f"{name}.csv", numbers=numbers))
    return build(raws, site, as_of)


def build(
    raws: Sequence[RawTable], site: Site, as_of: dt.date, notes: tuple[str, ...] = ()
) -> Dataset:
    """Types every raw table and hides what may be a PIN's digits."""
    drafts = {raw.name: _typed(raw, site) for raw in raws}
    hide_pins(drafts)
    _note_lost_zeros(drafts)
    tables = {name: _finished(draft) for name, draft in drafts.items()}
    inputs = []
    for raw in sorted(raws, key=lambda r: r.name):
        table = tables[raw.name]
        aside = table.set_aside["row"].nunique()
        inputs.append(InputFile(raw.name, raw.file, raw.sha256, len(table.frame) + aside, aside))
    said = tuple(n for d in drafts.values() for _, n in sorted(d.notes, key=lambda n: n[0]))
    return Dataset(site, as_of, tables, tuple(inputs), notes + said)


# --- typing ------------------------------------------------------------------------------


def _typed(raw: RawTable, site: Site) -> Draft:
    draft = Draft(raw, TABLES[raw.name])
    zone = ZoneInfo(site.timezone)
    order = raw.date_order or site.date_order
    cells = dict(raw.cells)
    if len(raw.long_rows) and cells:
        last = list(cells)[-1]
        cells[last] = with_texts(cells[last], raw.long_rows, v.MORE_CELLS)

    def column_typed(column: Column) -> None:
        mapped = raw.values.get(column.name)
        parser = v.cell_parser(column, order, zone, mapped)
        _type(draft, column, cells[column.name], parser, order, zone, bool(mapped), site)

    given = [c for c in draft.spec.columns if c.name in cells]
    for column in draft.spec.columns:
        if column.name not in cells:
            _absent(draft, column)
    if len(draft) < THREADS_FROM:
        for column in given:
            column_typed(column)
    else:
        with ThreadPoolExecutor(os.cpu_count()) as pool:
            list(pool.map(column_typed, given))
    if raw.name == "cards":
        # a number that can't be used still names its card
        spoken = draft.texts["number"]
        if "number" in draft.damage:
            spoken = pc.coalesce(spoken, cells["number"])
        if draft.texts["card_id"].null_count:
            draft.filled["card_id"] = true_mask(pc.is_null(draft.texts["card_id"]))
            draft.texts["card_id"] = pc.coalesce(draft.texts["card_id"], spoken)
    if raw.name == "permissions":
        _read_roles(draft)
    return draft


def _read_roles(draft: Draft) -> None:
    """A right given to a role names one of the roles; any other word is not understood."""
    at = np.flatnonzero(true_mask(pc.equal(draft.texts["holder_kind"], "role")))
    if not len(at):
        return
    codes, distinct = distinct_texts(draft.texts["holder_id"].take(pa.array(at)))
    roles = {v.fold(r): r for r in ROLES.split()}
    read = [roles.get(v.fold(t)) for t in distinct]
    bad = np.zeros(len(draft), bool)
    bad[at] = np.array([*(r is None for r in read), False])[codes]
    draft.texts["holder_id"] = with_texts(
        draft.texts["holder_id"], at, taken_texts([*read, None], codes)
    )
    draft.mark("holder_id", bad)


def _absent(draft: Draft, column: Column) -> None:
    n = len(draft)
    if column.kind in DTYPES:
        dtype = DTYPES[column.kind]
        draft.typed[column.name] = _lookup([_default(column)], np.full(n, -1), dtype)
        return
    value = pa.scalar(column.default, pa.large_string())
    name = "secret" if column.kind == "pin" else column.name
    draft.texts[name] = pa.chunked_array([pa.repeat(value, n)])


def _default(column: Column) -> Any:
    """What a blank cell of a column with its own dtype says; None: nothing."""
    return v.read_yesno(column.default) if column.kind == "yesno" and column.default else None


def _type(
    draft: Draft,
    column: Column,
    cells: Texts,
    parser: v.Parser,
    order: str,
    zone: ZoneInfo,
    mapped: bool,
    site: Site,
) -> None:
    name = "secret" if column.kind == "pin" else column.name
    quick = len(draft) >= QUICK_FROM and not mapped
    if column.kind == "moment" and quick:
        draft.typed[name], bad = moments(cells, parser, zone)
        draft.mark(column.name, bad)
        return
    if quick and column.kind in (*_FREE, "pin"):
        text, bad = _free_text(draft, column, cells, parser)
    else:
        codes, distinct = distinct_texts(cells)
        parsed = [parser(value) for value in distinct]
        _note_repairs(draft, column, codes, distinct)
        bad = np.array([p is UNREAD for p in parsed] + [False])[codes]
        if column.kind in DTYPES:
            default = _default(column)
            kept = [default if p is None else None if p is UNREAD else p for p in parsed]
            draft.typed[name] = _lookup([*kept, default], codes, DTYPES[column.kind])
            draft.mark(column.name, bad)
            return
        default = column.default
        kept = [default if p is None else None if p is UNREAD else p for p in parsed]
        same = kept == distinct and (default is None or not cells.null_count)
        text = cells if same else taken_texts([*kept, default], codes)
    if column.kind == "pin" or SECRET_COLUMNS.get(draft.raw.name) == column.name:
        text, bad = _watch_damage(draft, column, cells, text, bad, site, pin=True)
    elif column.kind == "number":
        text, bad = _watch_damage(draft, column, cells, text, bad, site, pin=False)
    draft.texts[name] = text
    draft.mark(column.name, bad)


def _lookup(parsed: Sequence[Any], codes: npt.NDArray[np.int64], dtype: str) -> Any:
    """The value of each code, the last one of −1 (no cell)."""
    if "64[" in dtype:
        return np.array([p if p is not None else "NaT" for p in parsed], dtype)[codes]
    return pd.array(parsed, dtype=dtype).take(codes)  # type: ignore[call-overload]


# --- free text, the quick way ------------------------------------------------------------


@lru_cache(maxsize=4)
def _special(blank: frozenset[str]) -> tuple[pa.Array, int]:
    """Every text that means "not given", in every case of its letters, then every error text;
    and how many the former are."""
    cased = {"".join(letters) for word in blank for letters in product(
        *({c.lower(), c.upper()} for c in word))}  # fmt: skip
    return pa.array([*sorted(cased), *sorted(v.ERRORS)], pa.large_string()), len(cased)


def _free_text(draft: Draft, column: Column, cells: Texts, parser: v.Parser) -> tuple[Texts, Mask]:
    """The column's values and the mask of those not understood.

    Only cells that are unusual in any way meet the parser.
    """
    special, blanks = _special(v.blank_words(column))
    found = pc.index_in(cells, special)
    if not found.null_count and pc.max(found).as_py() == 0:  # the first of them is the empty text
        nothing = pa.nulls(len(cells), pa.large_string())
        return pa.chunked_array([nothing]), np.zeros(len(cells), bool)
    edged = pc.or_(pc.starts_with(cells, " "), pc.ends_with(cells, " "))
    unusual = true_mask(pc.or_(pc.invert(pc.ascii_is_printable(cells)), edged))
    if found.null_count < len(cells):
        blank = pc.fill_null(pc.less(found, blanks), False)
        unusual |= true_mask(pc.greater_equal(found, blanks))
        cells = pc.if_else(blank, pa.scalar(None, pa.large_string()), cells)
    if column.kind == "pin":
        plain = pc.and_(pc.ascii_is_decimal(cells), pc.less_equal(pc.binary_length(cells), 12))
        unusual |= ~true_mask(plain) & true_mask(pc.is_valid(cells))
    bad = np.zeros(len(cells), bool)
    at = np.flatnonzero(unusual)
    if _numbered(draft, column) and draft.spec.name != "events":
        _note_long(draft, column, cells)
    if not len(at):
        return cells, bad
    codes, distinct = distinct_texts(cells.take(pa.array(at)))
    parsed = [parser(value) for value in distinct]
    repaired = np.full(len(cells), -1)
    repaired[at] = codes
    _note_repairs(draft, column, repaired, distinct)
    bad[at] = np.array([p is UNREAD for p in parsed] + [False])[codes]
    return with_texts(
        cells, at, taken_texts([None if p is UNREAD else p for p in parsed] + [None], codes)
    ), bad


def _note_long(draft: Draft, column: Column, cells: Texts) -> None:
    """The notes that plain-looking cells of a long column deserve."""
    looks = (
        r"^[0-9OolI|]*[OolI|][0-9OolI|]*$"
        r"|^[0-9]{4}-[0-9]{2}-[0-9]{2}|^[0-9]{1,2}[-. ]+[A-Za-z]{3}"
    )
    at = np.flatnonzero(true_mask(pc.match_substring_regex(cells, looks)))
    if len(at):
        codes, distinct = distinct_texts(cells.take(pa.array(at)))
        spread = np.full(len(cells), -1)
        spread[at] = codes
        _note_repairs(draft, column, spread, distinct)


def _note_repairs(
    draft: Draft, column: Column, codes: npt.NDArray[np.int64], distinct: Sequence[str]
) -> None:
    """Says where odd blanks, invisible marks or full-width signs were read as plain ones."""
    if not distinct:
        return
    if column.kind != "days":
        _note(draft, column, codes, distinct, v.was_repaired,
              "holds invisible or full-width signs; read as plain ones")  # fmt: skip
    if column.kind in ("pin", "number"):
        _note(draft, column, codes, distinct, v.digits_with_letters,
              "holds a letter O, l or I among digits; write the digit 0 or 1")  # fmt: skip
    if _numbered(draft, column) and len(distinct) <= 100_000:
        _note(draft, column, codes, distinct, _is_dated,
              "holds a date, as a spreadsheet makes of a text such as 3/4; type it again as text"
              )  # fmt: skip


_NUMBER_TEXTS: Final = frozenset(
    (("dwellings", "number"), ("dwellings", "floor"), ("dwellings", "core"),
     ("dwellings", "building"), ("stations", "number"), ("stations", "port"))
)  # fmt: skip
"""Texts that are numbers of things, such as flat 3/4; in other texts a day may well stand."""


def _numbered(draft: Draft, column: Column) -> bool:
    return column.kind in ("id", "ref", "number") or (draft.spec.name, column.name) in _NUMBER_TEXTS


def _is_dated(text: str) -> bool:
    text = text.strip()
    return (
        5 <= len(text) <= 20
        and (text[0].isdigit() or text[-1].isdigit())
        and any(c in text for c in "- ")
        and _made_of_numbers(text)
    )


def _made_of_numbers(text: str) -> bool:
    import re

    if re.fullmatch(r"[0-9]{4}-[0-9]{2}-[0-9]{2}([T ].*)?", text):
        return v._day(text[:10], "ymd") is not None
    m = re.fullmatch(r"(?:([0-9]{1,2})[-. ]+)?([A-Za-z]{3,4})\.?(?:[- ]([0-9]{2}))?", text)
    return bool(m and (m[1] or m[3]) and m[2].casefold() in v._MONTHS)


def _note(
    draft: Draft,
    column: Column,
    codes: npt.NDArray[np.int64],
    distinct: Sequence[str],
    test: Callable[[str], bool],
    what: str,
) -> None:
    if any(map(test, distinct)):
        hit = [test(text) for text in distinct]
        draft.note(column.name, np.array([*hit, False])[codes], what)


# --- what a spreadsheet did --------------------------------------------------------------


def _watch_damage(
    draft: Draft,
    column: Column,
    cells: Texts,
    text: Texts,
    bad: Mask,
    site: Site,
    *,
    pin: bool,
) -> tuple[Texts, Mask]:
    """Finds numbers that a spreadsheet changed; what can't be mended for certain is unread."""
    seen = cells if column.kind == "pin" else text
    kinds = np.full(len(draft), None, object)
    gone = np.zeros(len(draft), bool)
    at = np.empty(0, np.int64)
    plain = pc.and_(pc.ascii_is_decimal(seen), pc.less_equal(pc.binary_length(seen), 15))
    odd = np.flatnonzero(~true_mask(plain) & true_mask(pc.is_valid(seen)))
    if len(odd):
        at = odd[true_mask(pc.match_substring_regex(seen.take(pa.array(odd)), v.DAMAGED))]
    if len(at):
        found = [v.damage(v.clean(t), pin=pin) for t in seen.take(pa.array(at)).to_pylist()]
        if v.FIFTEEN in found and _beyond_fifteen(seen):
            # sixteen digits with a last 0 are no sign where they are as many as chance makes
            lengths = pc.binary_length(seen.take(pa.array(at))).to_pylist()
            found = [
                None if kind == v.FIFTEEN and n == 16 else kind
                for kind, n in zip(found, lengths, strict=True)
            ]
        kinds[at] = found
        mended = np.array([k == v.POINT_ZERO for k in found])
        shorter = [t[:-2] for t in seen.take(pa.array(at[mended])).to_pylist()]
        if pin:
            long = np.array([len(t) >= site.policy.pin_minimum_digits for t in shorter], bool)
            shorter = [t for t in shorter if len(t) >= site.policy.pin_minimum_digits]
            mended[np.flatnonzero(mended)[~long]] = False
        gone[at] = np.array([k is not None for k in found]) & ~mended
        if mended.any():
            bad[at[mended]] = False
            text = with_texts(
                text, at[mended], pa.chunked_array([pa.array(shorter, pa.large_string())])
            )
    if pin and column.name in draft.raw.numbers:
        short = true_mask(pc.less(pc.binary_length(text), site.policy.pin_minimum_digits))
        short &= draft.raw.numbers[column.name] & true_mask(pc.ascii_is_decimal(text))
        kinds[short] = v.ZEROS_GONE
        gone |= short
    found_any = np.array([k is not None for k in kinds]) if len(at) or gone.any() else gone
    if not found_any.any():
        return text, bad
    draft.damage[column.name] = kinds
    if gone.any() and (column.kind == "pin" or not pin):
        text = one_piece(pc.if_else(pa.array(gone), pa.scalar(None, pa.large_string()), text))
    return text, bad | gone


def _note_lost_zeros(drafts: Mapping[str, Draft]) -> None:
    """Says where references miss their row by the zeros at the start alone; mends nothing.

    101 and 0101 may be two flats: what is unknown stays unknown.
    """
    for draft in drafts.values():
        if draft.spec.name == "events":
            continue  # a log comes from the controllers, not from a spreadsheet
        for column in draft.spec.columns:
            target = drafts.get(column.refers or "")
            if target is None or column.refers == "pins" or column.name not in draft.raw.cells:
                continue
            ids = draft.texts[column.name]
            own = target.spec.row_id or target.spec.columns[0].name
            known = one_piece(target.texts[own]).chunk(0)
            missed = true_mask(pc.is_in(ids, _without_zeros(known)))
            zeros = true_mask(pc.starts_with(ids, "0"))
            if zeros.any():
                missed |= zeros & true_mask(pc.is_in(pc.utf8_ltrim(ids, "0"), known))
            if missed.any():
                missed &= ~true_mask(pc.is_in(ids, known))
                draft.note(
                    column.name, missed,
                    f"is in {target.spec.name} only with other zeros at the start: a spreadsheet"
                    " takes leading zeros away; export again with the column as text",
                )  # fmt: skip


def _without_zeros(known: pa.Array) -> pa.Array:
    """The ids that start with a zero, without it."""
    bare = pc.utf8_ltrim(known.filter(pc.starts_with(known, "0")), "0")
    return bare.filter(pc.greater(pc.binary_length(bare), 0))


def _beyond_fifteen(texts: Texts) -> bool:
    """Whether the last digits of a column's long numbers (over fifteen) are spread as by chance.

    One in ten ends in 0 then; a column of fewer than twenty is too short to tell.
    """
    long = pc.match_substring_regex(texts, r"^[0-9]{16,}$")
    zero = pc.match_substring_regex(texts, r"^[0-9]{15}0+$")
    some, none = pc.sum(long).as_py() or 0, pc.sum(zero).as_py() or 0
    return bool(some >= 20 and none * 4 <= some)


# --- the finished table --------------------------------------------------------------------


def _finished(draft: Draft) -> Table:
    raw, spec, n = draft.raw, draft.spec, len(draft)
    if raw.name in SECRET_COLUMNS and "secret" not in draft.texts:
        draft.texts["secret"] = pa.chunked_array([pa.nulls(n, pa.large_string())])
    lacking = _lacking(draft)
    out = np.zeros(n, bool)
    for mask in lacking.values():
        out |= mask
    keep: Mask | None = None
    empty = _valueless(draft, out) if out.any() else out
    if out.any():
        keep = ~out
        lacking = {c: m & ~empty for c, m in lacking.items()}
    set_aside = _set_aside(draft, lacking)
    frame = draft_frame(draft, None if keep is None else np.flatnonzero(keep))
    rows = raw.rows if keep is None else raw.rows[keep]
    cut = slice(None) if keep is None else keep
    given = [c.name for c in spec.columns if c.name in draft.unread]
    unread = {c: draft.unread[c][cut] for c in given if draft.unread[c][cut].any()}
    damage = {
        c: pd.Series(pd.array(list(kinds[cut]), dtype=TEXT), index=frame.index)
        for c, kinds in sorted(draft.damage.items())
        if any(k is not None for k in kinds[cut])
    }
    return Table(
        raw.name, frame, raw.file, raw.sheet, rows, frozenset(raw.cells), unread, set_aside,
        damage, frozenset(c for c, m in raw.numbers.items() if m.any()),
        {c: m[cut] for c, m in draft.filled.items()},
    )  # fmt: skip


def _lacking(draft: Draft) -> dict[str, Mask]:
    """Rows without a usable value, by the starred column that lacks it.

    A number that a spreadsheet damaged is still there: its row stays, and says so.
    """
    spec, n = draft.spec, len(draft)
    found: dict[str, Mask] = {}
    for column in spec.starred:
        missing = _missing(draft, column)
        if column in draft.damage:
            missing = missing & np.array([k is None for k in draft.damage[column]])
        found[column] = missing
    if spec.name == "schedules" and n:
        events = true_mask(pc.starts_with(draft.texts["days"], ICALENDAR))
        found["start"] &= ~events
        found["end"] &= ~events
    if spec.name in ONE_OF:
        either = [_missing(draft, c) for c in ONE_OF[spec.name]]
        found[ONE_OF[spec.name][-1]] = np.logical_and.reduce(either)
    return {c: m for c, m in found.items() if m.any()}


def _missing(draft: Draft, column: str) -> Mask:
    if column in draft.texts:
        cells = draft.texts[column]
        if not cells.null_count:
            return np.zeros(len(draft), bool)
        return true_mask(pc.is_null(cells))
    return np.asarray(pd.isna(draft.typed[column]), bool)


def _valueless(draft: Draft, candidates: Mask) -> Mask:
    """Rows in which nothing at all is given: no rows, in the words of the contract."""
    at = np.flatnonzero(candidates)
    some = np.zeros(len(at), bool)
    taken = pa.array(at)
    for column in draft.spec.columns:
        if column.name in draft.raw.cells:
            cells = draft.raw.cells[column.name].take(taken)
            some |= _any_value(cells, v.blank_words(column))
    for cells in draft.raw.others:
        some |= _any_value(cells.take(taken), BLANK_WORDS)
    empty = np.zeros(len(draft), bool)
    empty[at[~some]] = True
    return empty


def _any_value(cells: Texts, blank: frozenset[str]) -> Mask:
    codes, distinct = distinct_texts(cells)
    given = [v.clean(t).casefold() not in blank for t in distinct]
    return np.array([*given, False])[codes]


def _set_aside(draft: Draft, lacking: Mapping[str, Mask]) -> pd.DataFrame:
    """One line a missing starred value: id (as references know it), name (as findings call
    the row), column, row, and whether a text stood there that could not be understood."""
    parts = []
    for column, mask in lacking.items():
        at = np.flatnonzero(mask)
        if not len(at):
            continue
        part = draft_frame(draft, at)
        ids = part[draft.spec.row_id or draft.spec.columns[0].name]
        names = row_digest(draft.spec.name, part)
        if draft.spec.row_id:
            names = ids.fillna(names)
        known = ids if ids.dtype == TEXT else pd.Series(pd.NA, index=part.index, dtype=TEXT)
        gone = draft.unread.get(column, np.zeros(len(draft), bool))[at]
        parts.append(
            pd.DataFrame(
                {
                    "id": known.array,
                    "name": names.array,
                    "column": column,
                    "row": draft.raw.rows[at],
                    "unread": gone,
                }
            )
        )
    if parts:
        return pd.concat(parts, ignore_index=True)
    return pd.DataFrame({"id": [], "name": [], "column": [], "row": [], "unread": []})


def join_columns(data: Dataset) -> None:
    """Each text column as one piece: taking rows of one in pieces would join them every time."""
    for table in data.tables.values():
        for name, column in table.frame.items():
            pieces = column.array.__arrow_array__() if column.dtype == TEXT else None
            if isinstance(pieces, pa.ChunkedArray) and pieces.num_chunks > 1:
                table.frame[name] = TEXT.__from_arrow__(pieces.combine_chunks())  # type: ignore[attr-defined]


__all__ = ["NOT_SHOWN", "RawTable", "build", "empty_frame", "from_text", "join_columns"]
