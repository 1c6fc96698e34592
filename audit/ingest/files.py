"""Which file holds which table of a site, and what its columns are."""

from __future__ import annotations

import stat
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from pathlib import Path
from typing import Final

import numpy as np
import pyarrow as pa

from audit.ingest import inside
from audit.ingest.headers import Match, lacking, match, plain, recognise
from audit.ingest.readers.csv_text import read_csv
from audit.ingest.readers.json_records import read_json, read_json_lines
from audit.ingest.readers.parquet import read_parquet
from audit.ingest.readers.raw import SURELY, Judge, place
from audit.ingest.readers.raw import RawTable as FileTable
from audit.ingest.readers.workbook import digest, read_workbook, sheet_names
from audit.ingest.synonyms import TABLE_WORDS
from audit.ingest.tables import RawTable
from audit.schema import NO, RETIRED_COLUMNS, TABLES, YES
from audit.site import InputError, Site, Source

TEXTS: Final = frozenset((".csv", ".tsv", ".tab", ".txt"))
BOOKS: Final = frozenset((".xlsx", ".xlsm"))
LINES: Final = frozenset((".jsonl", ".ndjson"))
READ: Final = TEXTS | BOOKS | LINES | {".json", ".parquet"}
OF_TABLE: Final = {
    "schedules": frozenset((".ics",)),
    "calendars": frozenset((".ics",)),
    "doors": frozenset((".ifc",)),
    "zones": frozenset((".ifc",)),
}
"""Kinds of file that only some tables are read from."""
MODELLED: Final = ("doors", "zones")
"""The tables that a building model (COBie, IFC) can stand for."""
FOREIGN: Final = frozenset(
    (".xls", ".xlsb", ".ods", ".numbers", ".xml", ".html", ".htm", ".pdf", ".doc", ".docx", ".mdb",
     ".accdb", ".db", ".sqlite")
)  # fmt: skip
_HOW_TO_SAVE: Final = "save it as .xlsx or as CSV (UTF-8)"
MAX_CALENDAR: Final = 1 << 24


@dataclass(frozen=True)
class Reading:
    """One file as it is understood: its raw table, and what each of its columns is."""

    table: str
    raw: FileTable
    sha256: str
    matches: tuple[Match, ...]
    notes: tuple[str, ...] = ()


def read_tables(folder: Path, site: Site) -> tuple[list[RawTable], list[str]]:
    """The raw table of every table that the site gives, and what is to be said of them."""
    found, notes = find_files(folder, site)
    raws: list[RawTable] = []
    digests: dict[str, str] = {}
    for table, name in found.items():
        path = inside(folder, name)
        source = site.sources.get(table, Source())
        _check_values(table, source)
        if path.suffix.lower() == ".ics" and table == "calendars":
            from audit.ingest import holidays

            _regular(path, name)
            raw, said = holidays.read(path, name, source.schedule_property, digest(path, name))
            raws.append(raw)
            notes += said
            continue
        if path.suffix.lower() == ".ics":
            raws.append(_read_calendar(path, name, source))
            continue
        if table in MODELLED and source.sheet is None and _is_model(path, name):
            from audit.ingest import building

            raw, said = building.read(path, name, table, digest(path, name))
            raws.append(raw)
            notes += said
            continue
        reading = read_file(
            path, name, table, source, site.synonyms.get(table, {}), digests.get(name)
        )
        digests[name] = reading.sha256
        if source.sheet is not None and not len(reading.raw):
            continue  # a sheet of the register's workbook that nobody filled in: not given
        notes += reading.notes
        raws.append(canonical(reading, source))
    return raws, notes


def find_files(folder: Path, site: Site) -> tuple[dict[str, str], list[str]]:
    """Table -> file name relative to the folder; InputError where two files claim a table."""
    try:
        entries = sorted(p.name for p in folder.iterdir())
    except OSError as e:
        raise InputError(f"{folder.name}: can't be read ({e.strerror})") from None
    by_stem: dict[str, list[str]] = {}
    for name in entries:
        by_stem.setdefault(plain(Path(name).stem), []).append(name)
    found: dict[str, str] = {}
    notes: list[str] = []
    for table in TABLES:
        readable = READ | OF_TABLE.get(table, frozenset())
        same = [n for n in by_stem.get(plain(table), []) if not n.startswith(("~", "."))]
        here = [n for n in same if Path(n).suffix.lower() in readable]
        source = site.sources.get(table)
        if source is not None and source.file is not None:
            found[table] = _named(folder, table, source.file, entries)
            passed = [n for n in here if n != found[table] and not _blank_sheet(folder / n)]
            if passed:
                notes.append(
                    f"{', '.join(passed)}: not read; site.toml names {found[table]} for {table}"
                )
            continue
        if len(here) > 1:
            raise InputError(
                f"{here[0]} and {here[1]}: two files for the table {table}; remove one, or name"
                f" the right one under [sources.{table}] in site.toml"
            )
        foreign = [n for n in same if Path(n).suffix.lower() in FOREIGN]
        if not here and foreign:
            raise InputError(f"{foreign[0]}: this kind of file is not read; {_HOW_TO_SAVE}")
        if here:
            found[table] = here[0]
        elif source is not None and source.sheet is not None:
            raise InputError(
                f"site.toml: [sources.{table}] gives a sheet and no file, and there is no"
                f' {table}.xlsx; add file = "…"'
            )
    return found, notes


def _is_model(path: Path, file: str) -> bool:
    """Whether a file is a building model, and not a table of its own."""
    if path.suffix.lower() == ".ifc":
        return True
    if path.suffix.lower() not in BOOKS:
        return False
    from audit.ingest.cobie import is_cobie

    _regular(path, file)
    return is_cobie(s.name for s in sheet_names(path, file))


def _blank_sheet(path: Path) -> bool:
    """Whether a text file holds a line of column names and nothing below it."""
    if path.suffix.lower() not in TEXTS:
        return False
    try:
        with path.open("rb") as stream:
            start = stream.read(1 << 14)
    except OSError:
        return False
    return len(start) < 1 << 14 and len(start.splitlines()) <= 1


def _named(folder: Path, table: str, file: str, entries: Sequence[str]) -> str:
    try:
        inside(folder, file)
    except InputError as e:
        near = get_close_matches(file, entries, n=1)
        hint = f"; the nearest is {near[0]!r}" if near and "not found" in str(e) else ""
        raise InputError(f"{e} ([sources.{table}] file in site.toml){hint}") from None
    plain_name = file if (folder / file).exists() else file.replace("\\", "/")
    suffix = Path(plain_name).suffix.lower()
    if suffix not in READ | OF_TABLE.get(table, frozenset()):
        raise InputError(f"{file}: this kind of file is not read; {_HOW_TO_SAVE}")
    return plain_name


# --- one file ----------------------------------------------------------------------------


def judge_of(
    table: str, source: Source | None = None, synonyms: Mapping[str, list[str]] | None = None
) -> Judge:
    """How much a row of cells looks like the header of this table."""
    mapped = {plain(h): c for c, h in (source.columns if source else {}).items()}
    own = {plain(w): c for c, words in (synonyms or {}).items() for w in words}

    def judge(cells: Sequence[str]) -> int:
        named: set[str] = set()
        for cell in cells:
            key = plain(cell) if len(cell) < 80 else ""
            if key:
                column = mapped.get(key) or own.get(key) or recognise(table, cell)
                if column:
                    named.add(column)
        return len(named) + (0 if lacking(table, frozenset(named)) else SURELY)

    return judge


def read_file(
    path: Path,
    file: str,
    table: str,
    source: Source,
    synonyms: Mapping[str, list[str]] | None = None,
    known_digest: str | None = None,
) -> Reading:
    """One file as this table; InputError where it can't be."""
    _regular(path, file)
    judge = judge_of(table, source, synonyms)
    kind = _nature(path, file)
    sha256 = known_digest
    if kind == "book":
        raw = read_workbook(
            path, file, judge,
            sheet=source.sheet,
            prefer=frozenset((plain(table), *map(plain, TABLE_WORDS.get(table, ())))),
            enough=SURELY, header_row=source.header_row,
        )  # fmt: skip
    elif kind == "json":
        raw = read_json(path, file, judge, table)
    elif kind == "lines":
        raw = read_json_lines(path, file)
    elif kind == "parquet":
        raw = read_parquet(path, file)
    else:
        raw, sha256 = read_csv(
            path, file, judge,
            encoding=source.encoding, separator=source.separator, header_row=source.header_row,
        )  # fmt: skip
    where = place(file, raw.sheet)
    matches, notes = match(table, raw.header, where, source, synonyms)
    missing = lacking(table, [m.column for m in matches if m.column])
    if missing:
        raise InputError(_lacks(where, table, missing, raw.header_row))
    left = [m for m in matches if m.column is None]
    said = [*raw.notes, *notes]
    retired = {plain(c) for c in RETIRED_COLUMNS.get(table, ())}
    named = [repr(m.header) for m in left if m.header.strip() and plain(m.header) not in retired]
    if named:
        said.append(f"{where}: not used: {', '.join(named)}")
    bare = [m.position + 1 for m in left if not m.header.strip()]
    unnamed = [i for i in bare if _any_text(raw.cells[i - 1])]
    if unnamed:
        said.append(f"{where}: not used: column {', '.join(map(str, unnamed))}, which has no name")
    return Reading(table, raw, sha256 or digest(path, file), matches, tuple(said))


def _any_text(cells: pa.ChunkedArray) -> bool:
    import pyarrow.compute as pc

    return (pc.max(pc.binary_length(cells)).as_py() or 0) > 0


def _lacks(where: str, table: str, missing: Iterable[str], header_row: int) -> str:
    names = list(missing)
    first = names[0].split(" or ")[0]
    return (
        f"{where}: the header in row {header_row} has no column {' and no column '.join(names)};"
        f" add it, or say which column it is in site.toml: [sources.{table}] columns ="
        f' {{ {first} = "…" }}'
    )


def _regular(path: Path, file: str) -> None:
    try:
        mode = path.stat().st_mode
    except OSError as e:
        raise InputError(f"{file}: can't be read ({e.strerror})") from None
    if not stat.S_ISREG(mode):
        raise InputError(f"{file}: is no file that can be read; put the table itself there")


def _nature(path: Path, file: str) -> str:
    """What a file is: by its first bytes where they tell, else by its name."""
    try:
        with path.open("rb") as stream:
            start = stream.read(8)
    except OSError as e:
        raise InputError(f"{file}: can't be read ({e.strerror})") from None
    if not start:
        raise InputError(f"{file}: the file is empty; it needs a line of column names")
    if start.startswith(b"PK\x03\x04") or path.suffix.lower() in BOOKS:
        if start.startswith(b"\xd0\xcf\x11\xe0"):
            raise InputError(
                f"{file}: an old or password-protected workbook; save it as .xlsx without one"
            )
        return "book"
    if start.startswith((b"\xd0\xcf\x11\xe0", b"%PDF")):
        raise InputError(f"{file}: this kind of file is not read; {_HOW_TO_SAVE}")
    suffix = path.suffix.lower()
    if start.startswith(b"PAR1") or suffix == ".parquet":
        return "parquet"
    return "json" if suffix == ".json" else "lines" if suffix in LINES else "text"


def canonical(reading: Reading, source: Source) -> RawTable:
    """The columns of a reading under their canonical names."""
    raw = reading.raw
    return RawTable(
        reading.table,
        {m.column: raw.cells[m.position] for m in reading.matches if m.column},
        raw.rows,
        raw.file,
        raw.sheet,
        reading.sha256,
        source.date_order,
        source.values,
        {
            m.column: raw.numbers[m.position]
            for m in reading.matches
            if m.column and m.position in raw.numbers
        },
        tuple(raw.cells[m.position] for m in reading.matches if not m.column),
        raw.long_rows,
    )


def _check_values(table: str, source: Source) -> None:
    for name, mapping in source.values.items():
        column = TABLES[table].column(name)
        allowed = (*YES, *NO) if column.kind == "yesno" else column.words
        for said, meant in mapping.items():
            if allowed and meant.casefold() not in {"", *allowed}:
                near = get_close_matches(meant, allowed, n=1, cutoff=0.4)
                words = ", ".join(allowed)
                hint = f"did you mean {near[0]!r}?" if near else f"it is one of {words}"
                raise InputError(
                    f"site.toml: [sources.{table}] values.{name}: {said!r} is given as {meant!r},"
                    f" which is no word of {name}; {hint}"
                )


def _read_calendar(path: Path, file: str, source: Source) -> RawTable:
    """An iCalendar file in place of the schedules table: a row an event."""
    from audit.arithmetic.recurrence import ScheduleError, read_icalendar

    _regular(path, file)
    if path.stat().st_size > MAX_CALENDAR:
        raise InputError(f"{file}: larger than 16 MiB; this is no calendar of door schedules")
    try:
        events = read_icalendar(path.read_bytes(), source.schedule_property or "UID")
    except ScheduleError as e:
        raise InputError(f"{file}: {e}; export the calendar again") from None
    except OSError as e:
        raise InputError(f"{file}: can't be read ({e.strerror})") from None
    except (RecursionError, Exception):
        raise InputError(f"{file}: this is no iCalendar file; export it again") from None
    names, texts = [n for n, _ in events], [t for _, t in events]
    nothing = pa.chunked_array([pa.nulls(len(events), pa.large_string())])
    return RawTable(
        "schedules",
        {
            "schedule_id": pa.chunked_array([pa.array(names, pa.large_string())]),
            "days": pa.chunked_array([pa.array(texts, pa.large_string())]),
            "start": nothing,
            "end": nothing,
        },
        np.arange(1, len(events) + 1, dtype=np.int64),
        file,
        None,
        digest(path, file),
    )
