"""`door-audit look`: how each file would be understood, before anything is audited.

Nothing is taken silently: what `check` takes by itself, what is only proposed, what is left
over and what words are unknown are told apart. What may be a PIN is shown as its length.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from audit.faults import InputError
from audit.ingest import guess
from audit.ingest.guess import SURE, Claim, Guess
from audit.ingest.headers import match
from audit.ingest.readers.raw import RawTable, place
from audit.ingest.values import (
    UNREAD,
    blank_words,
    clean,
    could_be_pin,
    damage,
    digits_with_letters,
)
from audit.schema import TABLES, Column
from audit.site import Site, Source

if TYPE_CHECKING:
    from rich.console import Console

SAMPLED: Final = 300  # distinct values of a column that are looked at
SHOWN: Final = 3  # samples of a column
WORDS_SHOWN: Final = 24  # unknown words of one column
MOST_FILES: Final = 500
MARGIN: Final = 1.0
"""By how much the likeliest table must lead to be called sure, where no name speaks for it."""
UNTOLD: Final = "(a text with digits, not shown)"


@dataclass(frozen=True)
class Word:
    """A text that `check` would not understand, and what it could stand for."""

    said: str
    meant: str | None
    sure: bool
    rows: int


@dataclass(frozen=True)
class Seen:
    """One column of a file: what it becomes, why, and whether `check` takes it unasked."""

    position: int
    header: str
    column: str | None
    why: str
    sure: bool
    by_itself: bool  # check takes it without a line in site.toml
    maybe: str | None = None  # what a column that is left over could be
    samples: tuple[str, ...] = ()
    words: tuple[Word, ...] = ()
    unread: int = 0  # rows of a typed column that would not be understood
    hidden: bool = False


@dataclass(frozen=True)
class Look:
    """One file, or one sheet of it, as it would be understood."""

    path: Path
    file: str
    sheet: str | None
    sheets: int
    table: str | None
    sure: bool
    runner_up: str | None
    raw: RawTable | None
    columns: tuple[Seen, ...] = ()
    lacking: tuple[str, ...] = ()
    order: str | None = None  # the date order that the data proves
    order_open: bool = False  # dates that read differently under two orders, and no proof
    notes: tuple[str, ...] = ()
    model: str | None = None  # a building model in place of a table: what it is called
    source: Source = field(default_factory=Source)

    @property
    def rows(self) -> int:
        return 0 if self.raw is None else len(self.raw)

    @property
    def usable(self) -> bool:
        """Whether the mapping can be written for `check` to use."""
        return self.table is not None and self.sure and not self.lacking

    @property
    def writable(self) -> bool:
        """Whether its section is live: at most a line in it waits for a person's word."""
        offered = {c.column for c in self.columns}
        return self.table is not None and self.sure and set(self.lacking) <= offered


def tell(files: list[Path], console: Console, write: Path | None = None) -> int:
    """Prints how each file would be understood; with `write`, puts the mappings into SITE.

    `files` may name folders and patterns. Returns 0; 1 where something is not sure; 2 where
    a file can't be read at all. InputError where none can be read.
    """
    from audit.ingest import mapping, telling

    site_folder = write if write is None else write.resolve()
    home = site_folder if site_folder is not None else _site_near(files)
    site = mapping.known_site(home)
    found: list[Look] = []
    broken: list[str] = []
    for path in _listed(files, site_folder):
        try:
            found += look(path, site, home)
        except InputError as e:
            broken.append(str(e))
    if broken and not found:
        raise InputError("; ".join(broken))
    _settle(found)
    for each in found:
        telling.print_look(each, console)
    for line in broken:
        telling.print_line(line, console, "red")
    if write is not None:
        for line in mapping.write(found, write):
            telling.print_line(line, console)
    elif found:
        telling.print_advice(found, console)
    if broken:
        return 2
    return 0 if found and all(f.usable for f in found) else 1


def _site_near(files: Sequence[Path]) -> Path | None:
    """The site folder in which the first file lies, where it lies in one."""
    for path in files[:1]:
        for folder in [path, *path.resolve().parents][:4]:
            if (folder / "site.toml").is_file():
                return folder
    return None


def _listed(files: Iterable[Path], site: Path | None) -> list[Path]:
    """The files that are meant: folders and patterns are followed, nothing twice."""
    from audit.ingest.files import READ

    found: dict[Path, None] = {}
    readable = READ | {".ics", ".ifc"}
    for path in files:
        if path.is_dir():
            inside: Iterator[Path] = (p for p in sorted(path.rglob("*")) if p.is_file())
            for p in inside:
                parts = p.relative_to(path).parts
                if (
                    p.suffix.lower() in readable
                    and not any(x.startswith((".", "~")) for x in parts)
                    and p.name not in ("site.toml", "decisions.csv")
                    and not any((a / "findings.json").exists() for a in (p.parent,))
                ):
                    found.setdefault(p)
        elif any(c in path.name for c in "*?[") and not path.exists():
            matching = sorted(p for p in path.parent.glob(path.name) if p.is_file())
            if not matching:
                raise InputError(f"{path}: no file has a name like this")
            found |= dict.fromkeys(p for p in matching if p.name != "site.toml")
        else:
            found.setdefault(path)
    if not found:
        raise InputError("no file to look at; name a CSV, a workbook, or a folder with some")
    if len(found) > MOST_FILES:
        raise InputError(f"{len(found)} files; look at no more than {MOST_FILES} at once")
    return list(found)


# --- one file ------------------------------------------------------------------------------


def look(path: Path, site: Site | None = None, home: Path | None = None) -> list[Look]:
    """How one file would be understood: a Look for each sheet; InputError where it can't be.

    `site` is what the site.toml of the folder `home` says already.
    """
    from audit.ingest import files

    name = path.name
    files._regular(path, name)
    suffix = path.suffix.lower()
    known = _named_in(site, home, path)
    if suffix == ".ics":
        return [_calendar(path, name)]
    if suffix == ".ifc":
        return _model(path, name, "an IFC model")
    kind = files._nature(path, name)
    if kind == "book":
        return _book(path, name, known, site)
    found = list(known.values()) or [(None, Source())]
    return [_one(path, name, kind, table, source, site) for table, source in found]


def _named_in(
    site: Site | None, home: Path | None, path: Path
) -> dict[str, tuple[str | None, Source]]:
    """The tables for which site.toml names this file already."""
    if site is None or home is None:
        return {}
    return {
        table: (table, source)
        for table, source in site.sources.items()
        if source.file is not None
        and (home / source.file.replace("\\", "/")).resolve() == path.resolve()
    }


def _one(
    path: Path, name: str, kind: str, table: str | None, source: Source, site: Site | None
) -> Look:
    from audit.ingest.readers.csv_text import read_csv
    from audit.ingest.readers.json_records import read_json, read_json_lines
    from audit.ingest.readers.parquet import read_parquet

    if kind == "json":
        raw = read_json(path, name, guess.any_header, table or "")
    elif kind == "lines":
        raw = read_json_lines(path, name)
    elif kind == "parquet":
        raw = read_parquet(path, name)
    else:
        raw, _ = read_csv(
            path, name, guess.any_header,
            encoding=source.encoding, separator=source.separator, header_row=source.header_row,
        )  # fmt: skip
    return understand(path, raw, 1, table, source, site)


def _book(
    path: Path, name: str, known: Mapping[str, tuple[str | None, Source]], site: Site | None
) -> list[Look]:
    from audit.ingest import cobie
    from audit.ingest.readers.workbook import Workbook, read_workbook

    with Workbook(path, name) as book:
        sheets = book.sheets
        visible = [s for s in sheets if not s.hidden]
        if cobie.is_cobie(s.name for s in sheets):
            return _model(path, name, "a COBie workbook")
        filled = [s for s in visible if next(iter(book.rows(s)), None) is not None]
    hidden = [s.name for s in sheets if s.hidden]
    found: list[Look] = []
    for sheet in filled:
        tables = [
            pair for pair in known.values()
            if pair[1].sheet == sheet.name or (pair[1].sheet is None and len(filled) == 1)
        ] or [(None, Source())]  # fmt: skip
        for table, source in tables:
            try:
                raw = read_workbook(
                    path, name, guess.any_header, sheet=sheet.name, header_row=source.header_row
                )
            except InputError as e:
                found.append(_nothing(path, name, sheet.name, len(visible), str(e)))
                continue
            found.append(understand(path, raw, len(visible), table, source, site))
    if not found:
        raise InputError(f"{name}: no visible sheet holds anything")
    if hidden:
        said = ", ".join(repr(h) for h in hidden[:8])
        found[0] = _with_note(found[0], f"hidden sheets were not looked at: {said}")
    if len(found) > 1:
        # how to fill, cover, notes: a sheet of a book that is no table is not worth a page
        found = [f for f in found if f.table or f.rows > 1] or found[:1]
    return found


def _with_note(each: Look, note: str) -> Look:
    from dataclasses import replace

    return replace(each, notes=(*each.notes, note))


def _nothing(path: Path, file: str, sheet: str, sheets: int, note: str) -> Look:
    return Look(path, file, sheet, sheets, None, False, None, None, notes=(note,))


def _calendar(path: Path, name: str) -> Look:
    """An iCalendar file: holidays where every event is of whole days, else schedules."""
    from audit.ingest import holidays
    from audit.ingest.files import _read_calendar

    events = _read_calendar(path, name, Source())
    dates, notes = holidays.read(path, name, None, "")
    ids = sorted(set(events.cells["schedule_id"].to_pylist()))
    named = guess.meanings(path.stem)[0] & {"schedule", "calendar", "holiday"}
    if len(dates.rows) and not notes:
        own = sorted(set(dates.cells["calendar"].to_pylist()))
        said = f"{len(dates.rows)} dates of the calendar {', '.join(own)}"
        sure = "schedule" not in named
        return Look(path, name, None, 1, "calendars", sure, "schedules", None, notes=(said,),
                    model="iCalendar")  # fmt: skip
    said = f"{len(events.rows)} events of {len(ids)} schedules, by UID"
    return Look(path, name, None, 1, "schedules", True, None, None, notes=(said,),
                model="iCalendar")  # fmt: skip


def _model(path: Path, name: str, what: str) -> list[Look]:
    from audit.ingest import building

    found = []
    for table in ("doors", "zones"):
        raw, notes = building.read(path, name, table)
        said = (f"{len(raw.rows)} {table}: {', '.join(raw.cells)}", *notes)
        found.append(Look(path, name, None, 1, table, True, None, None, notes=said, model=what))
    return found


def understand(
    path: Path, raw: RawTable, sheets: int, table: str | None, source: Source, site: Site | None
) -> Look:
    """One raw table: which of ours it is, and what each of its columns becomes."""
    order: str = source.date_order or (site.date_order if site is not None else "dmy")
    distinct = [_distinct(cells) for cells in raw.cells]
    names = [n for n in (raw.sheet, path.stem) if n]
    ranked = guess.guesses(raw.header, [list(d) for d in distinct], names, source, order)
    fixed = table is not None
    best = next(g for g in ranked if g.table == table) if fixed else ranked[0]
    second = next(g for g in ranked if g.table != best.table)
    known = best.score > 0.8 and bool(best.columns)
    sure = (
        fixed
        or (known and best.score - second.score >= MARGIN and not best.lacking)
        or (
            known
            and best.named
            and best.score > second.score
            and (not best.lacking or len(best.columns) > 1)
        )
    )
    notes = list(raw.notes)
    if not known and not fixed:
        columns = _left_over(raw, distinct)
        said = (*notes, _no_header(raw)) if _headless(raw) else tuple(notes)
        return Look(path, raw.file, raw.sheet, sheets, None, False, None, raw, columns, notes=said)
    proved, doubtful, mixed = _orders(best, raw)
    order = source.date_order or proved or order
    columns, more = _columns(best, raw, distinct, source, site, order, sure=sure)
    notes += more
    if mixed:
        notes.append(
            "dates: no one order reads them all; some are month first, some day first. Correct"
            " the export"
        )
    return Look(
        path, raw.file, raw.sheet, sheets, best.table, sure,
        None if fixed else second.table if second.score > 0.8 else None,
        raw, columns, _lacking(best.table, columns), proved, doubtful, tuple(notes), None, source,
    )  # fmt: skip


def _lacking(table: str, columns: Iterable[Seen]) -> tuple[str, ...]:
    from audit.ingest.headers import lacking

    return lacking(table, [c.column for c in columns if c.column and c.sure])


def _headless(raw: RawTable) -> bool:
    return any(re.fullmatch(r"[0-9.,/: \-]+", h) for h in raw.header if h)


def _no_header(raw: RawTable) -> str:
    return f"row {raw.header_row} looks like data: the file has no line of column names; add one"


def _distinct(cells: Any) -> dict[str, int]:
    """Distinct texts of a column and their rows, the most frequent first; blanks left out."""
    import pyarrow.compute as pc

    counts = pc.value_counts(cells)
    texts = counts.field(0).to_pylist() if len(counts) <= 4 * SAMPLED else None
    if texts is None:
        top = counts.take(pc.sort_indices(counts.field(1), sort_keys=[("", "descending")]))
        counts = top.slice(0, SAMPLED)
        texts = counts.field(0).to_pylist()
    pairs = zip(texts, counts.field(1).to_pylist(), strict=True)
    given = [(t, n) for t, n in pairs if t is not None and t.strip()]
    return dict(sorted(given, key=lambda p: -p[1])[:SAMPLED])


def _columns(
    best: Guess,
    raw: RawTable,
    distinct: Sequence[Mapping[str, int]],
    source: Source,
    site: Site | None,
    order: str,
    *,
    sure: bool,
) -> tuple[tuple[Seen, ...], list[str]]:
    """What every column becomes: first as `check` takes it, then what is proposed."""
    table, where = best.table, place(raw.file, raw.sheet)
    synonyms = site.synonyms.get(table, {}) if site is not None else {}
    notes: list[str] = []
    try:
        taken, notes_of = match(table, raw.header, where, source, synonyms)
        notes += [n.removeprefix(f"{where}: ") for n in notes_of]
    except InputError as e:
        if source.columns:
            raise
        notes.append(_hushed(str(e)).removeprefix(f"{where}: "))
        taken = ()
    by_check = {m.position: m for m in taken if m.column is not None}
    # a proposal gives way to what check takes anyway
    given = {m.column for m in by_check.values()}
    proposed = {
        at: c for at, c in best.columns.items() if at not in by_check and c.column not in given
    }
    secrets = _secrets(best, raw, by_check, proposed, distinct)
    seen: list[Seen] = []
    for at, header in enumerate(raw.header):
        mine = by_check.get(at)
        offer = proposed.get(at)
        column = mine.column if mine is not None else offer.column if offer is not None else None
        is_sure = mine is not None or (offer is not None and _surely(offer, at, best))
        why = _why(table, mine.reason if mine is not None else None, offer, header)
        spec = TABLES[table].column(column) if column else None
        words: tuple[Word, ...] = ()
        unread = 0
        hidden = guess.may_hold_pins(table, column, header)
        if spec is not None:
            mapped = source.values.get(spec.name)
            words, unread = _words(table, spec, distinct[at], order, mapped, secrets, hidden=hidden)
            share = guess.fitting(table, spec, list(distinct[at]), order)
            if share is not None and share < 0.5 and mine is not None:
                notes.append(
                    f"{_shown_header(header)} is taken for {column}, but most of its values do"
                    " not look like it"
                )
            if spec.kind in ("number", "pin"):
                notes += _damaged(header, spec, distinct[at])
            if spec.kind == "moment" and _days_alone(distinct[at]):
                is_sure = mine is not None
                notes.append(
                    f"{_shown_header(header)} holds days without a time of day; join it with the"
                    " column of the time in the export"
                )
        maybe = None
        if column is None:
            maybe = _maybe(best, at, table, header, distinct[at], given, order)
        seen.append(
            Seen(
                at, header, column, why, is_sure, mine is not None, maybe,
                _samples(table if sure else None, spec, header, distinct[at], secrets, hidden),
                words, unread, hidden,
            )
        )  # fmt: skip
    return tuple(_named_rows(table, raw, seen, distinct)), notes


def _named_rows(
    table: str, raw: RawTable, seen: Sequence[Seen], distinct: Sequence[Mapping[str, int]]
) -> list[Seen]:
    """Where no column names the rows, one that differs in every row might: never surely."""
    from dataclasses import replace

    found = list(seen)
    row_id = TABLES[table].row_id
    if row_id not in TABLES[table].starred or any(c.column == row_id for c in seen):
        return found
    for i, c in enumerate(seen):
        texts = distinct[c.position]
        every = len(texts) == min(len(raw), SAMPLED) > 1 and set(texts.values()) == {1}
        if c.column is None and c.header and every and not c.hidden and c.maybe is None:
            why = "its values differ in every row"
            found[i] = replace(c, column=row_id, why=why, sure=False)
            break
    return found


def _days_alone(texts: Iterable[str]) -> bool:
    """Whether times are days without a time of day."""
    given = [clean(t) for t in texts]
    return bool(given) and not any(re.search(r"[0-9]:[0-9]|T[0-9]{2}|[0-9][.,][0-9]+$", t)
                                   for t in given if not _DAY.fullmatch(t))  # fmt: skip


_DAY: Final = re.compile(r"[0-9]{1,4}([./-])[0-9]{1,2}\1[0-9]{1,4}")
_CLOCK: Final = re.compile(r"[0-9]{1,2}:[0-9]{2}(:[0-9]{2})?")


def _damaged(header: str, column: Column, texts: Iterable[str]) -> list[str]:
    """What a spreadsheet did to the numbers of a column, as `check` will report it."""
    kinds = {damage(clean(t), pin=column.kind == "pin") for t in texts} - {None}
    said = []
    if kinds:
        what = ", ".join(sorted(map(str, kinds)))
        said.append(
            f"{_shown_header(header)}: a spreadsheet changed some of these numbers ({what}); export"
            " again with the column as text"
        )
    if any(digits_with_letters(clean(t)) for t in texts):
        said.append(
            f"{_shown_header(header)}: holds a letter O, l or I among digits; write the digit 0"
            " or 1"
        )
    return said


def _surely(offer: Claim, at: int, best: Guess) -> bool:
    rival = best.rivals.get(at)
    return offer.score >= SURE and (rival is None or offer.score - rival.score > 0.1)


def _why(table: str, reason: str | None, offer: Claim | None, header: str) -> str:
    if reason == "synonym":
        return next((c.why for c in guess.claims(table, header) if c.score == 1.0), "trade word")
    return reason or (offer.why if offer is not None else "")


def _maybe(
    best: Guess,
    at: int,
    table: str,
    header: str,
    distinct: Mapping[str, int],
    given: set[str | None],
    order: str,
) -> str | None:
    """What a column that is left over could be: by its header, else by its values."""
    rival = best.rivals.get(at) or best.columns.get(at)
    if rival is not None:
        return f"could be {rival.column} too, which is read from another column"
    near = [c for c in guess.claims(table, header) if c.score >= guess.WORTH_SAYING]
    if near:
        return f"could be {near[0].column}, but the values do not look like it"
    texts = list(distinct)
    if len(texts) < 2:
        return None
    taken = given | {c.column for c in best.columns.values()}
    for spec in TABLES[table].columns:
        if spec.name in taken or spec.kind not in ("word", "days", "text"):
            continue
        share = guess.fitting(table, spec, texts, order)
        if share is not None and share >= 0.9:
            return f"its values look like {spec.name}"
    return None


def _left_over(raw: RawTable, distinct: Sequence[Mapping[str, int]]) -> tuple[Seen, ...]:
    secrets = frozenset[str]()
    return tuple(
        Seen(at, h, None, "", False, False, None,
             _samples(None, None, h, distinct[at], secrets, guess.may_hold_pins(None, None, h)))
        for at, h in enumerate(raw.header)
    )  # fmt: skip


# --- words and dates -----------------------------------------------------------------------


def _words(
    table: str,
    column: Column,
    distinct: Mapping[str, int],
    order: str,
    values: Mapping[str, str] | None,
    secrets: frozenset[str],
    *,
    hidden: bool,
) -> tuple[tuple[Word, ...], int]:
    """Texts of a typed column that `check` would not understand; PIN columns tell nothing."""
    if column.kind in ("id", "ref", "text", "number", "pin") or hidden:
        return (), 0
    read, blank = guess.reader_of(column, order, values), blank_words(column)
    open_ = {
        t: n for t, n in distinct.items()
        if clean(t).casefold() not in blank and read(t) is UNREAD
    }  # fmt: skip
    if column.kind == "days":
        meant = guess.days_words(distinct)
        found = [_word(t, meant.get(t), n) for t, n in open_.items()]
    elif column.kind in ("word", "yesno", "whole", "decimal"):
        found = [_word(t, guess.translated(table, column, t), n) for t, n in open_.items()]
    else:
        found = [Word(t, None, False, n) for t, n in open_.items()]
    found = [w if _tellable(w.said, table, column, secrets) else Word(UNTOLD, None, False, w.rows)
             for w in found]  # fmt: skip
    return tuple(found), sum(open_.values())


def _word(said: str, meant: tuple[str, bool] | None, rows: int) -> Word:
    return Word(said, meant[0], meant[1], rows) if meant else Word(said, None, False, rows)


def _tellable(text: str, table: str, column: Column, secrets: frozenset[str]) -> bool:
    """Whether a text that is not understood may be shown: one that may tell a PIN may not."""
    runs = re.findall(r"[0-9]{3,}", text)
    if any(run in secrets for run in runs):
        return False
    if column.kind not in ("whole", "decimal") and could_be_pin(text):
        return False  # no word: perhaps a cell that slipped out of its column
    return table in _OPEN or not runs


def _orders(best: Guess, raw: RawTable) -> tuple[str | None, bool, bool]:
    """(the date order that the data proves, dates open to doubt without proof, no order fits)."""
    texts: set[str] = set()
    for at, c in best.columns.items():
        if TABLES[best.table].column(c.column).kind in ("date", "moment"):
            texts.update(t for t in _all_distinct(raw.cells[at]) if t)
    orders, doubtful = guess.date_order(texts)
    if not doubtful:
        return None, False, False
    if len(orders) == 1:
        return next(iter(orders)), False, False
    return None, bool(orders), not orders


def _all_distinct(cells: Any) -> list[str | None]:
    import pyarrow.compute as pc

    found: list[str | None] = pc.unique(cells).to_pylist()
    return found


# --- samples, PINs hidden --------------------------------------------------------------------


def _secrets(
    best: Guess,
    raw: RawTable,
    by_check: Mapping[int, Any],
    proposed: Mapping[int, Claim],
    distinct: Sequence[Mapping[str, int]],
) -> frozenset[str]:
    """Digits that stand in a column that may hold PINs: they are shown nowhere."""
    found: set[str] = set()
    for at, header in enumerate(raw.header):
        taken = by_check.get(at) or proposed.get(at)
        if guess.may_hold_pins(best.table, taken.column if taken else None, header):
            for text in _all_distinct(raw.cells[at]):
                found.update(re.findall(r"[0-9]{3,}", text or ""))
    return frozenset(found)


_OPEN: Final = frozenset(("cards", "dwellings", "zones", "doors", "door_groups", "stations"))
"""Tables in which a number of a recognised column is no PIN."""


def _samples(
    table: str | None,
    column: Column | None,
    header: str,
    distinct: Mapping[str, int],
    secrets: frozenset[str],
    hidden: bool,
) -> tuple[str, ...]:
    return tuple(
        _sample(text, table, column, secrets, hidden=hidden) for text in list(distinct)[:SHOWN]
    )


def _sample(
    text: str, table: str | None, column: Column | None, secrets: frozenset[str], *, hidden: bool
) -> str:
    """A cell as it may be shown; what may be a PIN as its length alone."""
    text = clean(text)
    if hidden:
        return _length(text)
    if column is not None and column.kind in ("date", "moment", "clock"):
        dated = any(guess.reader_of(column, o)(text) is not UNREAD for o in ("dmy", "mdy", "ymd"))
        return text if dated and not re.fullmatch(r"[0-9]+", text) else _length(text)
    safe = (
        column is not None
        and table in _OPEN
        and (column.kind not in ("word", "yesno", "days") or not could_be_pin(text))
    )
    if secrets and any(run in secrets for run in re.findall(r"[0-9]{3,}", text)):
        return _length(text)
    if safe:
        return text[:60]
    if column is None and (_DAY.fullmatch(text) or _CLOCK.fullmatch(text)):
        return text
    if could_be_pin(text):
        return _length(text)
    if column is not None and column.kind in ("id", "ref") and not re.search(r"[0-9]{4}", text):
        return text[:60]
    return _masked(text)


def _length(text: str) -> str:
    what = "digit" if text.isdigit() else "character"
    return f"[{len(text)} {what}{'' if len(text) == 1 else 's'}]"


def _masked(text: str) -> str:
    """A text with every run of three digits and more hidden."""
    return re.sub(r"[0-9]{3,}", lambda m: "•" * len(m[0]), text[:60])


def _hushed(message: str) -> str:
    return re.sub(r"[0-9]{3,}", lambda m: "•" * len(m[0]), message)


def _shown_header(header: str) -> str:
    return repr(_masked(header)) if header else "a column without a name"


# --- several files -----------------------------------------------------------------------------


def _settle(found: list[Look]) -> None:
    """Where several files would be one table, the first that is usable is; the others say so."""
    from dataclasses import replace

    first: dict[str, Look] = {}
    for each in sorted(found, key=lambda f: (not f.usable, -f.rows)):
        if each.table is not None and each.usable:
            first.setdefault(each.table, each)
    for i, each in enumerate(found):
        if each.table is None or not each.usable or first[each.table] is each:
            continue
        other = place(first[each.table].file, first[each.table].sheet)
        found[i] = replace(
            each, sure=False, model=None,
            notes=(*each.notes, f"{each.table} is read from {other}; a table has one file. Join"
                   " the two, or choose one in site.toml"),
        )  # fmt: skip
