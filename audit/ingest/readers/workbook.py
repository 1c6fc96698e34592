"""XLSX: every visible cell as the text a person sees, without running or trusting anything.

The sheets are streamed through expat: the row is never wider than what stands in it, a
document type is refused, error cells and formulas that were never calculated keep their
mark, and the number format tells dates and leading zeros apart from plain numbers.
Which formats are dates is asked of openpyxl.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import re
from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Decimal, InvalidOperation
from functools import lru_cache
from pathlib import Path, PurePosixPath
from typing import Any, Final
from xml.parsers import expat

from audit.ingest.readers.raw import (
    HEADER_WITHIN,
    MAX_CELL,
    MAX_COLUMNS,
    Judge,
    Number,
    RawTable,
    build,
    check_header,
    choose_header,
    place,
)
from audit.ingest.readers.zips import open_zip
from audit.site import InputError

UNCALCULATED: Final = "#UNCALCULATED!"
"""What stands for a formula that was saved without its result."""
MAX_CELLS: Final = 60_000_000
MAX_SHEETS: Final = 500
_BLOCK: Final = 1 << 16
_WORKBOOK: Final = "xl/workbook.xml"


@dataclass(frozen=True)
class Sheet:
    """One sheet of a workbook."""

    name: str
    path: str
    hidden: bool


class Workbook:
    """An open workbook: its sheets, shared texts and cell formats. Use `with`."""

    def __init__(self, path: Path, file: str) -> None:
        self.file = file
        self._zip = open_zip(path, file, "workbook")
        try:
            self.sheets, self.from_1904 = self._contents()
            self._texts: list[str] | None = None
            self._formats: list[str] | None = None
        except InputError:
            self._zip.close()
            raise
        except Exception:
            self._zip.close()
            raise self._damaged() from None

    def __enter__(self) -> Workbook:
        return self

    def __exit__(self, *_: object) -> None:
        self._zip.close()

    def rows(self, sheet: Sheet) -> Iterator[tuple[int, list[str | None]]]:
        """Row number and cells of every row that holds something."""
        try:
            if self._texts is None:
                self._texts = self._shared_texts()
                self._formats = self._cell_formats()
            yield from self._stream(sheet)
        except InputError:
            raise
        except Exception:
            raise self._damaged(sheet) from None

    def _damaged(self, sheet: Sheet | None = None) -> InputError:
        where = place(self.file, sheet.name if sheet else None)
        return InputError(f"{where}: damaged, so it can't be read; open it and save it again")

    # --- parts ---

    def _tree(self, name: str) -> Any:
        from defusedxml import ElementTree

        with self._zip.open(name) as part:
            return ElementTree.fromstring(part.read(), forbid_dtd=True)

    def _contents(self) -> tuple[tuple[Sheet, ...], bool]:
        names = set(self._zip.namelist())
        if _WORKBOOK not in names:
            raise InputError(f"{self.file}: holds no workbook; save it as .xlsx or .csv")
        targets = {
            r.get("Id"): _target(r.get("Target", ""))
            for r in self._tree("xl/_rels/workbook.xml.rels")
        }
        tree = self._tree(_WORKBOOK)
        found = []
        from_1904 = False
        for node in tree.iter():
            tag = _local(node.tag)
            if tag == "workbookPr":
                from_1904 = node.get("date1904") in ("1", "true")
            if tag == "sheet":
                link = next((v for k, v in node.attrib.items() if _local(k) == "id"), None)
                target = targets.get(link)
                if target in names and "worksheets" in str(target):
                    hidden = node.get("state", "visible") != "visible"
                    found.append(Sheet(node.get("name", ""), str(target), hidden))
        if not found:
            raise InputError(f"{self.file}: holds no sheet; save the table as .xlsx or .csv")
        if len(found) > MAX_SHEETS:
            raise InputError(f"{self.file}: {len(found)} sheets; the most that are read is 500")
        return tuple(found), from_1904

    def _shared_texts(self) -> list[str]:
        name = next((n for n in self._zip.namelist() if n.lower() == "xl/sharedstrings.xml"), None)
        if name is None:
            return []
        texts: list[str] = []
        parts: list[str] = []
        state = {"t": False, "phonetic": False, "length": 0}

        def start(tag: str, _: dict[str, str]) -> None:
            tag = _local(tag)
            if tag == "si":
                parts.clear()
                state["length"] = 0
            elif tag == "rPh":
                state["phonetic"] = True
            elif tag == "t":
                state["t"] = not state["phonetic"]

        def end(tag: str) -> None:
            tag = _local(tag)
            if tag == "si":
                texts.append(_plain_text("".join(parts)))
            elif tag == "rPh":
                state["phonetic"] = False
            elif tag == "t":
                state["t"] = False

        def data(text: str) -> None:
            if state["t"]:
                state["length"] += len(text)
                if state["length"] > 4 * MAX_CELL:
                    raise InputError(
                        f"{self.file}: a cell longer than {MAX_CELL:,} characters; shorten it"
                    )
                parts.append(text)

        self._parse(name, start, end, data)
        return texts

    def _cell_formats(self) -> list[str]:
        from openpyxl.styles.numbers import BUILTIN_FORMATS

        if "xl/styles.xml" not in self._zip.namelist():
            return []
        tree = self._tree("xl/styles.xml")
        own: dict[int, str] = {}
        formats: list[str] = []
        for node in tree:
            if _local(node.tag) == "numFmts":
                for f in node:
                    own[int(f.get("numFmtId", "0"))] = f.get("formatCode", "General")
        for node in tree:
            if _local(node.tag) == "cellXfs":
                for xf in node:
                    number = int(xf.get("numFmtId", "0"))
                    formats.append(own.get(number) or BUILTIN_FORMATS.get(number, "General"))
        return formats

    def _parse(self, name: str, start: Any, end: Any, data: Any) -> None:
        for _ in self._parsing(name, start, end, data):
            pass

    def _parsing(self, name: str, start: Any, end: Any, data: Any) -> Iterator[None]:
        """Feeds a part to expat, a block at a time; yields after each."""

        def refuse(*_: object) -> None:
            raise InputError(f"{self.file}: holds a document type definition; save it again")

        parser = expat.ParserCreate()
        parser.buffer_text = True
        parser.StartDoctypeDeclHandler = refuse
        parser.EntityDeclHandler = refuse
        parser.StartElementHandler = start
        parser.EndElementHandler = end
        parser.CharacterDataHandler = data
        with self._zip.open(name) as part:
            while block := part.read(_BLOCK):
                parser.Parse(block, False)
                yield
        parser.Parse(b"", True)
        yield

    # --- cells ---

    def _stream(self, sheet: Sheet) -> Iterator[tuple[int, list[str | None]]]:
        ready: list[tuple[int, list[str | None]]] = []
        row: list[str | None] = []
        parts: list[str] = []
        where = place(self.file, sheet.name)
        number = 0
        column = -1
        kind = style = ""
        formula = value = text = False
        phonetic = 0
        length = 0
        cells = 0
        texts, formats = self._texts or [], self._formats or []

        def start(tag: str, given: dict[str, str]) -> None:
            nonlocal number, column, kind, style, formula, value, text, phonetic, length
            tag = _local(tag)
            if tag == "c":
                position = given.get("r")
                column = _column(position) if position else column + 1
                if column >= 16_384 or column < 0:
                    raise InputError(f"{where} row {number}: a cell outside the sheet")
                kind, style = given.get("t", "n"), given.get("s", "")
                formula = value = False
                length = 0
                parts.clear()
            elif tag == "v":
                value = text = True
            elif tag == "t":
                value = True
                text = not phonetic
            elif tag == "f":
                formula = True
            elif tag == "row":
                given_number = given.get("r")
                number = int(given_number) if given_number else number + 1
                if not 0 < number <= 1_048_576:
                    raise InputError(f"{where}: a row outside the sheet")
                column = -1
                row.clear()
            elif tag == "rPh":
                phonetic += 1

        def end(tag: str) -> None:
            nonlocal text, phonetic, cells
            tag = _local(tag)
            if tag in ("v", "t"):
                text = False
            elif tag == "rPh":
                phonetic -= 1
            elif tag == "c":
                shown = self._shown(kind, style, "".join(parts), texts, formats) if value else None
                if shown is None and formula and not value:
                    shown = UNCALCULATED
                if shown is not None:
                    if column >= len(row):
                        row.extend([None] * (column - len(row) + 1))
                    row[column] = shown
                    cells += 1
                    if cells > MAX_CELLS:
                        raise InputError(f"{where}: more than {MAX_CELLS:,} cells; split the sheet")
            elif tag == "row" and row:
                if len(row) > MAX_COLUMNS:
                    raise InputError(
                        f"{where} row {number}: a cell in column {len(row):,}; the most that are"
                        f" read is {MAX_COLUMNS:,}. Delete what stands out there"
                    )
                ready.append((number, row.copy()))

        def data(chunk: str) -> None:
            nonlocal length
            if text:
                length += len(chunk)
                if length > 4 * MAX_CELL:
                    raise InputError(
                        f"{where} row {number}: a cell longer than {MAX_CELL:,} characters"
                    )
                parts.append(chunk)

        for _ in self._parsing(sheet.path, start, end, data):
            yield from ready
            ready.clear()

    def _shown(
        self, kind: str, style: str, raw: str, texts: list[str], formats: list[str]
    ) -> str | None:
        if kind == "s":
            return texts[int(raw)]
        if kind in ("str", "inlineStr"):
            return _plain_text(raw)
        if kind == "b":
            return "true" if raw.strip() in ("1", "true") else "false"
        if kind == "e":
            return raw.strip() or "#ERROR!"
        if kind == "d":
            return raw.strip().removesuffix("T00:00:00")
        if not raw.strip():
            return None
        index = int(style) if style else 0
        code = formats[index] if index < len(formats) else "General"
        return number_text(raw.strip(), code, from_1904=self.from_1904)


def _local(tag: str) -> str:
    return tag.rpartition("}")[2].rpartition(":")[2]


def _target(target: str) -> str:
    """The name inside the archive of what a workbook's relation points at."""
    base = PurePosixPath("/") if target.startswith("/") else PurePosixPath("/xl")
    return str(base / target.lstrip("/")).lstrip("/")


@lru_cache(maxsize=65_536)
def _letters(letters: str) -> int:
    index = 0
    for letter in letters:
        index = index * 26 + ord(letter) - 64
    return index - 1


def _column(position: str) -> int:
    letters = position.rstrip("0123456789").replace("$", "").upper()
    return _letters(letters) if letters.isascii() and letters.isalpha() else -1


_ESCAPED = re.compile(r"_x([0-9A-Fa-f]{4})_")


def _plain_text(text: str) -> str:
    """Text with the workbook's own escapes for control characters resolved."""
    if "_x" not in text:
        return text
    return _ESCAPED.sub(lambda m: chr(int(m.group(1), 16)), text)


# --- numbers as a person sees them ---------------------------------------------------


@lru_cache(maxsize=4096)
def _nature(code: str) -> tuple[str, int]:
    """What a number format shows: date, moment, clock, hours, or number with so many digits."""
    from openpyxl.styles.numbers import is_date_format

    first = code.split(";")[0]
    bare = re.sub(r'"[^"]*"|\\.|_.|\*.', "", first)
    if is_date_format(first):
        shown = re.sub(r"\[(?!h+\]|m+\]|s+\])[^\]]*\]", "", bare, flags=re.I).lower()
        if re.search(r"\[h+\]|\[m+\]|\[s+\]", shown):
            return "hours", 0
        day = "d" in shown or "y" in shown
        clock = "h" in shown or "s" in shown
        day = day or ("m" in shown and not clock)
        return ("moment" if clock else "date", 0) if day else ("clock", 0)
    zeros = re.fullmatch(r"(?:\[[^\]]*\])*(0{2,})", bare.strip())
    return "number", len(zeros.group(1)) if zeros else 0


def number_text(raw: str, code: str, *, from_1904: bool = False) -> str:
    """The text of a numeric cell under its number format.

    Dates and times as ISO 8601; whole numbers without exponent, with the zeros that the
    format pads; digits past the fifteenth as a spreadsheet shows them, which is zero.
    """
    try:
        value = Decimal(raw)
    except InvalidOperation:
        return raw
    if not value.is_finite():
        return raw
    nature, digits = _nature(code)
    if nature != "number":
        shown = _calendar(value, nature, from_1904=from_1904)
        if shown is not None:
            return shown
    if abs(value.adjusted()) > 40:
        return Number(raw)
    if len(value.as_tuple().digits) > 15:
        value = Decimal(f"{value:.14E}")
    text = format(value, "f")
    if "." in text:
        text = text.rstrip("0").rstrip(".")
    if text in ("-0", ""):
        text = "0"
    return Number(text.zfill(digits) if digits and text.isdigit() else text)


def _calendar(value: Decimal, nature: str, *, from_1904: bool) -> str | None:
    """A serial as ISO text; None where it is outside the calendar."""
    seconds = int((value * 86_400).to_integral_value())
    days, rest = divmod(seconds, 86_400)
    minutes, second = divmod(rest, 60)
    if nature == "hours" or (nature == "clock" and value == 1):
        total = seconds // 60
        return f"{total // 60:02d}:{total % 60:02d}" if 0 <= seconds < 8_640_000 else None
    clock = f"{minutes // 60:02d}:{minutes % 60:02d}" + (f":{second:02d}" if second else "")
    if nature == "clock" and 0 <= value < 1:
        return clock
    day = serial_day(days, from_1904=from_1904)
    if day is None:
        return None
    return day.isoformat() if nature == "date" or not rest else f"{day.isoformat()}T{clock}"


def serial_day(days: int, *, from_1904: bool = False) -> dt.date | None:
    """The day of a spreadsheet's serial number; None outside 1900 to 9999.

    The 1900 calendar counts a 29 February 1900, its day 60, that never was.
    """
    if not 0 <= days <= 2_958_465 or (days == 60 and not from_1904):
        return None
    start = dt.date(1904, 1, 1) if from_1904 else dt.date(1899, 12, 31 if days < 60 else 30)
    try:
        return start + dt.timedelta(days=days)
    except OverflowError:
        return None


# --- a table -------------------------------------------------------------------------


def read_workbook(
    path: Path,
    file: str,
    judge: Judge,
    *,
    sheet: str | None = None,
    prefer: frozenset[str] = frozenset(),
    enough: int = 1,
    header_row: int | None = None,
) -> RawTable:
    """One table of a workbook.

    `sheet` is the sheet's name; without it: a sheet whose name (letters and digits only,
    lower case) is in `prefer`, else the one visible sheet with a header naming at least
    `enough` columns. InputError where that is none or more than one.
    """
    with Workbook(path, file) as book:
        chosen = _choose_sheet(book, judge, sheet, prefer, enough)
        return _sheet_table(book, chosen, judge, header_row)


def _choose_sheet(
    book: Workbook, judge: Judge, sheet: str | None, prefer: frozenset[str], enough: int
) -> Sheet:
    if sheet is not None:
        named = [s for s in book.sheets if s.name == sheet]
        named = named or [s for s in book.sheets if bare(s.name) == bare(sheet)]
        if not named:
            there = ", ".join(repr(s.name) for s in book.sheets[:8])
            raise InputError(f"{book.file}: has no sheet {sheet!r}; it has {there}")
        return named[0]
    visible = [s for s in book.sheets if not s.hidden] or list(book.sheets)
    if len(visible) == 1:
        return visible[0]
    named = [s for s in visible if bare(s.name) in prefer]
    if len(named) == 1:
        return named[0]
    scores = {s: max((judge(c) for _, c in head(book, s)), default=0) for s in visible}
    best = max(scores.values())
    fitting = [s for s in visible if scores[s] >= enough and scores[s] == best]
    if len(fitting) == 1:
        return fitting[0]
    several = fitting or visible
    raise InputError(
        f"{book.file}: {'several sheets' if fitting else 'none of the sheets'}"
        f" {'may be' if fitting else 'is surely'} the table"
        f" ({', '.join(repr(s.name) for s in several[:8])}); name one with `sheet =` in site.toml"
    )


def bare(name: str) -> str:
    """Lower case, letters and digits only."""
    return "".join(c for c in name.casefold() if c.isalnum())


def head(book: Workbook, sheet: Sheet) -> list[tuple[int, list[str]]]:
    """The first rows of a sheet that hold something."""
    found = []
    for number, cells in book.rows(sheet):
        found.append((number, [c or "" for c in cells]))
        if len(found) >= HEADER_WITHIN:
            break
    return found


def _sheet_table(book: Workbook, sheet: Sheet, judge: Judge, header_row: int | None) -> RawTable:
    where = place(book.file, sheet.name)
    top = head(book, sheet)
    wish = None
    if header_row is not None:
        wish = next((i for i, (n, _) in enumerate(top) if n == header_row), None)
        if wish is None:
            raise InputError(f"{where}: row {header_row} is empty; correct `header_row`")
    if not top:
        raise InputError(f"{where}: the sheet is empty; it needs a line of column names")
    number, cells = top[choose_header([c for _, c in top], judge, wish)]
    header = check_header(cells, where)
    below = ((n, c) for n, c in book.rows(sheet) if n > number)
    return build(below, header, file=book.file, sheet=sheet.name, header_row=number, ragged=False)


def sheet_names(path: Path, file: str) -> tuple[Sheet, ...]:
    """The sheets of a workbook, in order."""
    with Workbook(path, file) as book:
        return book.sheets


def digest(path: Path, file: str) -> str:
    """The file's sha256; InputError where it can't be read."""
    try:
        with path.open("rb") as stream:
            return hashlib.file_digest(stream, "sha256").hexdigest()
    except OSError as e:
        raise InputError(f"{file}: can't be read ({e.strerror})") from None
