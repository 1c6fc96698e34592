"""A corrected copy of a site's files: some cells other, every other cell as its source has it.

A CSV keeps its encoding, separator, quotes, line ends and header, byte for byte but for the
cells that change. A table from any other kind of file, or from a file that several tables
share, is written as a CSV of its own, and the copy's site.toml names it.
"""

from __future__ import annotations

import csv
import io
import json
import re
import tomllib
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from audit.ingest import inside
from audit.ingest.files import Reading, find_files, read_file
from audit.ingest.readers.csv_text import _sep_line
from audit.ingest.tables import RawTable
from audit.site import Site, Source


@dataclass
class Changes:
    """What changes in one table, by the row numbers that a person sees.

    `cells` maps (row, column) to the new text; `removed` are rows that go.
    """

    cells: dict[tuple[int, str], str] = field(default_factory=dict)
    removed: set[int] = field(default_factory=set)

    def __bool__(self) -> bool:
        return bool(self.cells or self.removed)


def changed(raw: RawTable, changes: Changes) -> RawTable:
    """The raw table as it will be read from the corrected copy."""
    cells = dict(raw.cells)
    n = len(raw.rows)
    by_column: dict[str, dict[int, str]] = {}
    for (row, column), text in changes.cells.items():
        by_column.setdefault(column, {})[int(np.searchsorted(raw.rows, row))] = text
    for column, texts in by_column.items():
        old = cells.get(column, pa.chunked_array([pa.nulls(n, pa.large_string())]))
        mask = np.zeros(n, bool)
        at = sorted(texts)
        mask[at] = True
        new = pa.array([texts[i] for i in at], pa.large_string())
        whole = old.combine_chunks()
        whole = whole.chunk(0) if isinstance(whole, pa.ChunkedArray) else whole
        cells[column] = pa.chunked_array([pc.replace_with_mask(whole, pa.array(mask), new)])
    numbers = {c: _without(mask, by_column.get(c, {})) for c, mask in raw.numbers.items()}
    raw = replace(raw, cells=cells, numbers=numbers)
    if not changes.removed:
        return raw
    keep = ~np.isin(raw.rows, sorted(changes.removed))
    kept = pa.array(keep)
    place = np.cumsum(keep) - 1
    return replace(
        raw,
        cells={c: v.filter(kept) for c, v in raw.cells.items()},
        others=tuple(v.filter(kept) for v in raw.others),
        rows=raw.rows[keep],
        numbers={c: m[keep] for c, m in raw.numbers.items()},
        long_rows=place[raw.long_rows[keep[raw.long_rows]]],
    )


def _without(mask: Any, at: Mapping[int, str]) -> Any:
    out = mask.copy()
    out[list(at)] = False
    return out


def as_text(raw: RawTable) -> RawTable:
    """The raw table as it reads once it stands in a CSV: no cell is a number any more."""
    return replace(raw, numbers={}, long_rows=np.empty(0, np.int64), sheet=None)


# --- the whole copy ----------------------------------------------------------------------


def own_csv(folder: Path, site: Site) -> frozenset[str]:
    """The tables that stand in a text file of their own, and so are corrected in place."""
    found, _ = find_files(folder, site)
    shared = Counter(found.values())
    return frozenset(
        t for t, name in found.items() if shared[name] == 1 and _is_text(folder / name)
    )


def _is_text(path: Path) -> bool:
    from audit.ingest.files import _nature

    return path.suffix.lower() != ".ics" and _nature(path, path.name) == "text"


def corrected(folder: Path, site: Site, changes: Mapping[str, Changes]) -> dict[str, bytes]:
    """The files of the corrected copy by name: site.toml, decisions.csv and every table's."""
    found, _ = find_files(folder, site)
    in_place = own_csv(folder, site)
    files: dict[str, bytes] = {}
    moved: dict[str, str] = {}
    used = {name for t, name in found.items() if t in in_place or not changes.get(t)}
    for table, name in found.items():
        wanted = changes.get(table)
        path = inside(folder, name)
        if not wanted:
            files[_plain(name)] = path.read_bytes()
            continue
        source = site.sources.get(table, Source())
        reading = read_file(path, name, table, source, site.synonyms.get(table, {}))
        if table in in_place:
            files[_plain(name)] = edited(path.read_bytes(), reading, wanted)
        else:
            own = f"{table}.csv" if f"{table}.csv" not in used else f"{table}-corrected.csv"
            moved[table] = own
            files[own] = as_csv(reading, wanted)
    text = inside(folder, "site.toml").read_bytes()
    files["site.toml"] = _pointed(text, moved) if moved else text
    if (folder / "decisions.csv").exists():
        files["decisions.csv"] = inside(folder, "decisions.csv").read_bytes()
    return files


def _plain(name: str) -> str:
    return name.replace("\\", "/")


# --- one CSV, in place -------------------------------------------------------------------


def edited(original: bytes, reading: Reading, changes: Changes) -> bytes:
    """The file with these cells changed and rows taken out, and nothing else touched."""
    encoding, start = _lossless(original, reading.raw.encoding or "utf-8")
    text = original[start:].decode(encoding)
    cut = reading.raw.separator or ","
    places = {m.column: m.position for m in reading.matches if m.column}
    added = sorted({c for _, c in changes.cells if c not in places})
    rows: dict[int, dict[str, str]] = {}
    for (row, column), value in changes.cells.items():
        rows.setdefault(row, {})[column] = value
    named, _ = _sep_line(text[:256])
    out, at = [], text.find("\n") + 1 if named else 0
    out.append(text[:at])
    fields = re.compile(rf'"(?:[^"]|"")*+"?[^{re.escape(cut)}\r\n]*+|[^{re.escape(cut)}\r\n]*+')
    width = 0
    for number, (begin, end, after) in enumerate(_records(text, at, cut), 1):
        if number in changes.removed:
            continue
        new = rows.get(number, {})
        heading = number == reading.raw.header_row
        data = bool(added) and number > reading.raw.header_row and end > begin
        if not (new or (added and heading) or data):
            out.append(text[begin:after])
            continue
        cells = _cells(text, begin, end, cut, fields)
        if heading:
            width = len(cells)
            places |= {c: width + i for i, c in enumerate(added)}
            new = {c: c for c in added}
        quoted = bool(cells) and cells[-1].startswith('"')
        if data:
            cells += [""] * (width + len(added) - len(cells))
        for column, value in new.items():
            place = places[column]
            cells += [""] * (place + 1 - len(cells))
            plain = not (cells[place].startswith('"') or cut in value)
            bare = plain and not (quoted and place >= width > 0)
            cells[place] = value if bare else f'"{value}"'
        out.append(cut.join(cells) + text[end:after])
    return original[:start] + "".join(out).encode(encoding)


def _lossless(data: bytes, encoding: str) -> tuple[str, int]:
    """A codec under which the file is the same after decoding and encoding; where text starts.

    Separators, quotes and line ends are single bytes in every other encoding that is read,
    and so is what is written: there the bytes themselves are taken as letters.
    """
    for mark, codec in (
        (b"\xff\xfe\x00\x00", "utf-32-le"),
        (b"\x00\x00\xfe\xff", "utf-32-be"),
        (b"\xff\xfe", "utf-16-le"),
        (b"\xfe\xff", "utf-16-be"),
        (b"\xef\xbb\xbf", "latin-1"),
    ):
        if data.startswith(mark):
            return codec, len(mark)
    return (encoding if encoding.startswith(("utf-16", "utf-32")) else "latin-1"), 0


def _records(text: str, at: int, cut: str) -> Iterator[tuple[int, int, int]]:
    """Start, end and end with the line end of every record, as the csv module counts them."""
    sep = re.escape(cut)
    if '"' in text:
        cell = rf'(?:"(?:[^"]|"")*+"?[^{sep}\r\n]*+|[^{sep}\r\n]*+)'
        record = rf"({cell}(?:{sep}{cell})*+)(?:\r\n|\r|\n|\Z)"
    else:
        record = r"([^\r\n]*+)(?:\r\n|\r|\n|\Z)"
    for found in re.compile(record).finditer(text, at):
        if found.start() == len(text):
            return
        yield found.start(), found.end(1), found.end()


def _cells(text: str, at: int, end: int, cut: str, one: re.Pattern[str]) -> list[str]:
    cells = []
    while True:
        found = one.match(text, at, end)
        cells.append(found[0] if found else "")
        at = found.end() if found else end
        if at >= end or text[at] != cut:
            return cells
        at += 1


# --- a table of another kind, as a CSV of its own ----------------------------------------


def as_csv(reading: Reading, changes: Changes) -> bytes:
    """The table as a CSV: UTF-8 with a mark, commas, the source's own header."""
    raw = reading.raw
    places = {m.column: m.position for m in reading.matches if m.column}
    added = sorted({c for _, c in changes.cells if c not in places})
    places |= {c: len(raw.header) + i for i, c in enumerate(added)}
    rows: dict[int, dict[str, str]] = {}
    for (row, column), value in changes.cells.items():
        rows.setdefault(row, {})[column] = value
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow([*raw.header, *added])
    columns: Sequence[Sequence[str | None]] = [c.to_pylist() for c in raw.cells]
    for number, *cells in zip(raw.rows.tolist(), *columns, strict=True):
        if number in changes.removed:
            continue
        line = [*cells, *[None] * len(added)]
        for column, value in rows.get(number, {}).items():
            line[places[column]] = value
        writer.writerow(["" if c is None else c for c in line])
    return out.getvalue().encode("utf-8-sig")


def _pointed(text: bytes, moved: Mapping[str, str]) -> bytes:
    """site.toml with these tables' sources pointing to the copy's own CSV files."""
    raw = tomllib.loads(text.decode("utf-8-sig"))
    sources = raw.setdefault("sources", {})
    for table, file in moved.items():
        kept = {
            k: v for k, v in sources.get(table, {}).items()
            if k in ("date_order", "columns", "values")
        }  # fmt: skip
        sources[table] = {"file": file, **kept}
    return "".join(_toml(raw)).encode()


def _toml(table: Mapping[str, Any], path: tuple[str, ...] = ()) -> Iterator[str]:
    plain = {k: v for k, v in table.items() if not isinstance(v, Mapping)}
    if path and (plain or not table):
        yield f"\n[{'.'.join(map(_text, path))}]\n"
    for key, value in plain.items():
        yield f"{_text(key)} = {_value(value)}\n"
    for key, value in table.items():
        if isinstance(value, Mapping):
            yield from _toml(value, (*path, key))


def _text(text: str) -> str:
    bare = re.fullmatch(r"[A-Za-z0-9_-]+", text)
    return text if bare else json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def _value(value: Any) -> str:
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, list):
        return "[" + ", ".join(map(_value, value)) + "]"
    return str(value)


__all__ = ["Changes", "as_csv", "as_text", "changed", "corrected", "edited", "own_csv"]
