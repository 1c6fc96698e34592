"""JSON and JSON Lines: a list of records, their keys the column names."""

from __future__ import annotations

import codecs
import json
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Any, Final

from audit.ingest.readers.raw import (
    MAX_CELL,
    Judge,
    Number,
    RawTable,
    build,
    check_header,
    choose_header,
    text_of,
)
from audit.site import InputError

NESTED: Final = "#NESTED!"
"""What stands for a record or list inside a cell."""
MAX_JSON: Final = 1 << 30  # bytes: a JSON file is parsed whole
MAX_LINE: Final = 1 << 22  # bytes of one record of JSON Lines
MANY_EMPTY: Final = 2_000_000


def read_json(path: Path, file: str, judge: Judge, table: str) -> RawTable:
    """The records of a JSON file: a list of objects, alone or as a value of one object.

    The first record is row 2, as if the keys were a header. InputError where the file is no
    JSON or holds no such list.
    """
    try:
        if path.stat().st_size > MAX_JSON:
            raise InputError(f"{file}: larger than 1 GiB; save it as CSV or JSON Lines")
        data = path.read_bytes()
    except OSError as e:
        raise InputError(f"{file}: can't be read ({e.strerror})") from None
    try:
        value = _parse(data.decode(_encoding(data)))
    except UnicodeDecodeError:
        raise InputError(f"{file}: not UTF-8 text; save it as UTF-8") from None
    except json.JSONDecodeError as e:
        raise InputError(f"{file} line {e.lineno}: not valid JSON ({e.msg})") from None
    except RecursionError:
        raise InputError(f"{file}: nested too deep to be a table") from None
    except _TwiceError as e:
        raise InputError(f"{file}: a record gives {str(e)[:60]!r} twice") from None
    records = _records(value, table)
    if records is None:
        raise InputError(f"{file}: holds no list of records; it should read [{{…}}, {{…}}]")
    if any(isinstance(r, list) for r in records):
        return _rows_of_lists(records, file, judge)
    return _table(lambda: enumerate(records, 2), file)


def read_json_lines(path: Path, file: str) -> RawTable:
    """One record a line; an empty line counts as a row without any value."""

    def lines() -> Iterator[tuple[int, Any]]:
        try:
            with path.open("rb") as stream:
                encoding = _encoding(stream.read(4))
                if encoding not in ("utf-8", "utf-8-sig"):
                    raise InputError(f"{file}: JSON Lines must be UTF-8; save it so")
                stream.seek(0)
                number = empty = 0
                while line := stream.readline(MAX_LINE + 1):
                    number += 1
                    if len(line) > MAX_LINE:
                        raise InputError(f"{file} line {number}: a line longer than 4 MiB")
                    if line.removeprefix(codecs.BOM_UTF8).strip():
                        yield number + 1, _line(line, file, number)
                    elif (empty := empty + 1) > MANY_EMPTY:
                        raise InputError(f"{file}: holds millions of empty lines; remove them")
        except OSError as e:
            raise InputError(f"{file}: can't be read ({e.strerror})") from None

    return _table(lines, file)


def _line(line: bytes, file: str, number: int) -> Any:
    try:
        return _parse(line.decode("utf-8-sig"))
    except UnicodeDecodeError:
        raise InputError(f"{file} line {number}: not UTF-8 text; save it as UTF-8") from None
    except json.JSONDecodeError as e:
        raise InputError(f"{file} line {number}: not valid JSON ({e.msg})") from None
    except RecursionError:
        raise InputError(f"{file} line {number}: nested too deep to be a record") from None
    except _TwiceError as e:
        raise InputError(f"{file} line {number}: gives {str(e)[:60]!r} twice") from None


def _table(records: Any, file: str) -> RawTable:
    """A table from a function that gives (row, record) anew at each call."""
    names: dict[str, int] = {}
    for number, record in records():
        if not isinstance(record, dict):
            raise InputError(f"{file} row {number}: not a record; it should read {{…}}")
        for name in record:
            names.setdefault(name, len(names))
    header = check_header(list(names), file)
    keys = list(names)[: len(header)]
    rows = ((number, [_cell(record.get(k)) for k in keys]) for number, record in records())
    return build(rows, header, file=file, sheet=None, header_row=1, ragged=False)


def _rows_of_lists(records: list[Any], file: str, judge: Judge) -> RawTable:
    rows = [[_cell(v) for v in r] for r in records if isinstance(r, list)]
    if len(rows) != len(records):
        raise InputError(f"{file}: mixes records and lists; it should read [{{…}}, {{…}}]")
    top = [[c or "" for c in r] for r in rows[:40]]
    at = choose_header(top, judge)
    header = check_header(top[at], file)
    numbered: Iterable[tuple[int, list[str | None]]] = enumerate(rows[at + 1 :], at + 2)
    return build(numbered, header, file=file, sheet=None, header_row=at + 1)


def _cell(value: Any) -> str | None:
    try:
        text = text_of(value)
    except TypeError:
        return NESTED
    # a number of any length is kept as written; what is too long is refused with its row
    return text if text is None or len(text) <= MAX_CELL + 1 else text[: MAX_CELL + 1]


def _records(value: Any, table: str) -> list[Any] | None:
    if isinstance(value, list):
        return value
    if isinstance(value, dict):
        lists = {k: v for k, v in value.items() if isinstance(v, list)}
        if table in lists:
            return lists[table]
        if len(lists) == 1:
            return next(iter(lists.values()))
    return None


class _TwiceError(ValueError):
    pass


def _object(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) != len(pairs):
        seen: set[str] = set()
        raise _TwiceError(next(k for k, _ in pairs if k in seen or seen.add(k)))  # type: ignore[func-returns-value]
    return found


def _parse(text: str) -> Any:
    return json.loads(
        text, parse_int=Number, parse_float=Number, parse_constant=lambda _: None,
        object_pairs_hook=_object,
    )  # fmt: skip


def _encoding(data: bytes) -> str:
    return json.detect_encoding(data)
