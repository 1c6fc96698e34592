"""CSV and its relatives: encoding, separator, header line, and rows as a spreadsheet counts them.

Two ways to the same table. A file in which nothing is odd goes through pyarrow, on all cores
and without being held twice; every other goes row by row through the csv module, which is
slower and says of each odd row what is odd. Both are held against each other in the tests.
"""

from __future__ import annotations

import codecs
import csv
import hashlib
import io
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from audit.ingest.readers.raw import (
    HEADER_WITHIN,
    MAX_CELL,
    MAX_LINE,
    SURELY,
    Judge,
    Mask,
    RawTable,
    build,
    check_header,
    choose_header,
)
from audit.site import InputError

SEPARATORS: Final = (",", ";", "\t", "|")
_NAMES: Final = {",": "comma", ";": "semicolon", "\t": "tab", "|": "pipe"}
MANY_LINES: Final = 4_000_000
LEAST_LINE: Final = 8
"""Bytes that lines must hold on average where they are so many: each is a row in memory."""
_BLOCK: Final = 1 << 22
_SAMPLE: Final = 1 << 16
_CODE_PAGES: Final = ("cp1252", "cp1250", "cp1251")
_END: Final = "\ue000end of the file\ue000"
_BOMS: Final = (
    (codecs.BOM_UTF8, "utf-8-sig"),
    (codecs.BOM_UTF32_LE, "utf-32"),
    (codecs.BOM_UTF32_BE, "utf-32"),
    (codecs.BOM_UTF16_LE, "utf-16"),
    (codecs.BOM_UTF16_BE, "utf-16"),
)


@dataclass(frozen=True)
class Scan:
    """What one pass over the bytes tells: the encoding, the digest, whether there are quotes."""

    encoding: str
    sha256: str
    quotes: bool
    assumed: bool = False


def read_csv(
    path: Path,
    file: str,
    judge: Judge,
    *,
    encoding: str | None = None,
    separator: str | None = None,
    header_row: int | None = None,
) -> tuple[RawTable, str]:
    """The table in a text file, and the file's sha256.

    `file` is the name in messages. `encoding`, `separator` and `header_row` are the site's
    own word; InputError where the file is no text, or can't be told apart into rows.
    """
    scan = scan_text(path, file, encoding)
    sample = _sample(path, scan.encoding)
    named, sample = _sep_line(sample)
    cut = separator or named or find_separator(sample, judge)
    head = _records(sample, cut)[: max(HEADER_WITHIN, header_row or 0)]
    at = choose_header(head, judge, None if header_row is None else header_row - 1)
    if at >= len(head):
        raise InputError(f"{file}: the file is empty; it needs a line of column names")
    header = check_header(head[at], file)
    notes = []
    if scan.assumed:
        notes.append(
            f"{file}: not UTF-8; read as {_windows(scan.encoding)}. If names look wrong, give"
            " `encoding` in site.toml or save the file as UTF-8"
        )
    table = None
    whole = path.stat().st_size <= _SAMPLE
    if not named and not whole and _title_lines_plain(sample, at):
        table = _fast(path, file, scan, cut, header, head[at], at, notes)
    return table or _careful(path, file, scan, cut, header, at, named, notes), scan.sha256


# --- bytes ---------------------------------------------------------------------------


def scan_text(path: Path, file: str, wish: str | None = None) -> Scan:
    """One pass over the file: how it is encoded, its sha256, whether it holds quotes."""
    try:
        with path.open("rb") as stream:
            start = stream.read(_SAMPLE)
    except OSError as e:
        raise InputError(f"{file}: can't be read ({e.strerror})") from None
    encoding = next((name for mark, name in _BOMS if start.startswith(mark)), None)
    encoding = encoding or _utf16_without_mark(start)
    if encoding is None or encoding == "utf-8-sig":
        scan = _scan_bytes(path, file, encoding or "utf-8")
        if scan is not None:
            return scan
    if encoding is None:
        encoding = _known_codec(wish, file) if wish else _code_page(start, path)
    return _scan_decoded(path, file, encoding, assumed=encoding.startswith("cp") and not wish)


def _utf16_without_mark(start: bytes) -> str | None:
    head = start[:4096]
    if len(head) < 4 or b"\0" not in head:
        return None
    even, odd = head[0::2].count(0), head[1::2].count(0)
    half = len(head) // 2
    if odd > half * 0.4 and even < half * 0.1:
        return "utf-16-le"
    return "utf-16-be" if even > half * 0.4 and odd < half * 0.1 else None


def _known_codec(wish: str, file: str) -> str:
    try:
        name = codecs.lookup(wish).name
        b"".decode(name)
    except (LookupError, ValueError, TypeError):
        raise InputError(
            f"{file}: site.toml names the encoding {wish!r}, which is not known; use a name such"
            " as utf-8, utf-16 or cp1252"
        ) from None
    return name


def _code_page(start: bytes, path: Path) -> str:
    """The Windows code page in which the letters make words; cp1252 unless one is better."""
    high = b""
    with path.open("rb") as stream:
        while len(high) < _SAMPLE and (block := stream.readline(_SAMPLE)):
            if not block.isascii():
                high += block
    return min(_CODE_PAGES, key=lambda page: (_oddity(high, page), _CODE_PAGES.index(page)))


def _oddity(sample: bytes, page: str) -> int:
    """How many signs stand inside words where letters belong, were it this code page."""
    text = sample.decode(page, "replace")
    odd = text.count("\ufffd") * 10
    for before, sign, after in zip(" " + text, text, text[1:] + " ", strict=False):
        if sign < "\x80":
            continue
        if not sign.isalpha():
            odd += 2 * (before.isalpha() and after.isalpha() and sign not in "’‘´·")
            odd += before.isalpha() and sign in "¹³¿¾¼½º¸"
        elif before >= "\x80" and before.isalpha() and page in ("cp1252", "cp1250"):
            odd += 1  # accented letters stand alone in these languages
        elif page == "cp1251" and ("a" <= before.lower() <= "z" or "a" <= after.lower() <= "z"):
            odd += 2  # two alphabets in one word
        elif page in ("cp1252", "cp1250") and sign.isupper() and before.islower():
            odd += 1
    return odd


def _windows(encoding: str) -> str:
    return f"Windows code page {encoding.removeprefix('cp')}" if encoding[:2] == "cp" else encoding


def _scan_bytes(path: Path, file: str, encoding: str) -> Scan | None:
    """The scan of a file in UTF-8; None where it isn't."""
    digest = hashlib.sha256()
    decoder = codecs.getincrementaldecoder("utf-8")()
    watch = _Watch(file)
    with path.open("rb") as stream:
        while block := stream.read(_BLOCK):
            digest.update(block)
            if not block.isascii() or decoder.getstate()[0]:
                try:
                    decoder.decode(block)
                except UnicodeDecodeError:
                    return None
            watch.see(block)
    try:
        decoder.decode(b"", final=True)
    except UnicodeDecodeError:
        return None
    return Scan(encoding, digest.hexdigest(), watch.quotes)


def _scan_decoded(path: Path, file: str, encoding: str, *, assumed: bool) -> Scan:
    digest = hashlib.sha256()
    decoder = codecs.getincrementaldecoder(encoding)()
    watch = _Watch(file)
    try:
        with path.open("rb") as stream:
            while block := stream.read(_BLOCK):
                digest.update(block)
                watch.see(decoder.decode(block).encode("utf-8"))
        watch.see(decoder.decode(b"", final=True).encode("utf-8"))
    except UnicodeError:
        raise InputError(
            f"{file}: not readable as {_windows(encoding)} text near line {watch.line()}; save it"
            " as CSV in UTF-8"
        ) from None
    return Scan(encoding, digest.hexdigest(), watch.quotes, assumed)


class _Watch:
    """Looks over blocks of UTF-8: what is no text stops it, quotes are remembered."""

    def __init__(self, file: str) -> None:
        self.file = file
        self.quotes = False
        self._lines = self._bytes = self._ends = 0
        self._since = 0  # bytes since the last end of line

    def see(self, block: bytes) -> None:
        nul = block.find(b"\0")
        if nul >= 0:
            raise InputError(
                f"{self.file} row {self.line(block[:nul])}: holds NUL bytes, so it is no text;"
                " export the table again as CSV"
            )
        start = 0
        while start < len(block):
            stop = min(start + MAX_LINE, len(block))
            end = max(block.rfind(b"\n", start, stop), block.rfind(b"\r", start, stop))
            if end < 0:
                longest = self._since = self._since + stop - start
            else:
                first = block.find(b"\n", start, stop)
                longest = self._since + (first if first >= 0 else end) - start
                self._since = stop - end
            if longest > MAX_LINE:
                raise InputError(
                    f"{self.file} row {self.line(block[:start])}: a line longer than"
                    f" {MAX_LINE:,} bytes; this is no table of a register"
                )
            start = stop
        self.quotes = self.quotes or b'"' in block
        self._lines += block.count(b"\n")
        self._bytes += len(block)
        self._ends += max(block.count(b"\n"), block.count(b"\r"))
        if self._ends > MANY_LINES and self._bytes < self._ends * LEAST_LINE:
            raise InputError(
                f"{self.file}: holds millions of lines with next to nothing in them; remove the"
                " empty lines, or export the table again"
            )

    def line(self, part: bytes = b"") -> int:
        """The line that follows all that was seen and this part of the block in hand."""
        return 1 + self._lines + part.count(b"\n")


# --- separator and header ------------------------------------------------------------


def _sample(path: Path, encoding: str) -> str:
    with path.open("rb") as stream:
        block = stream.read(_SAMPLE)
        whole = len(block) < _SAMPLE
    text = codecs.getincrementaldecoder(encoding)("replace").decode(block)
    text = text.lstrip("\ufeff")
    if whole or "\n" not in text:
        return text
    return text[: text.rindex("\n") + 1]


def _sep_line(sample: str) -> tuple[str | None, str]:
    """The separator that a first line `sep=;` names, and the text without that line."""
    first, _, rest = sample.partition("\n")
    first = first.strip().strip('"')
    if first[:4].lower() == "sep=" and len(first) == 5:
        return first[4], rest
    if first.lower() == "sep=":
        return "\t", rest
    return None, sample


def find_separator(sample: str, judge: Judge) -> str:
    """The separator under which the most columns are recognised and the widths agree."""

    for cut in SEPARATORS:
        first = _records(sample.partition("\n")[0], cut)
        if first and judge(first[0]) > SURELY + 1:
            return cut

    def score(cut: str) -> tuple[int, float, int]:
        records = [r for r in _records(sample, cut) if r][:200]
        if not records:
            return (0, 0.0, 0)
        at = choose_header(records, judge)
        width = len(records[at])
        body = records[at + 1 :]
        agreeing = sum(len(r) == width for r in body) / len(body) if body else 1.0
        return (judge(records[at]), agreeing if width > 1 else 0.0, width)

    return max(SEPARATORS, key=score)


def _records(sample: str, cut: str) -> list[list[str]]:
    try:
        return list(csv.reader(io.StringIO(sample, newline=""), delimiter=cut))
    except csv.Error:
        return [line.split(cut) for line in sample.splitlines()]


def _title_lines_plain(sample: str, at: int) -> bool:
    """Whether the lines above the header are one record each."""
    lines = sample.splitlines()[:at]
    return not any('"' in line for line in lines)


# --- the fast way --------------------------------------------------------------------


def _fast(
    path: Path,
    file: str,
    scan: Scan,
    cut: str,
    header: tuple[str, ...],
    as_written: list[str],
    at: int,
    notes: list[str],
) -> RawTable | None:
    """The table by pyarrow; None as soon as anything in the file is odd."""
    import pyarrow.csv as arrow

    if scan.quotes and not _quotes_regular(path, scan.encoding, cut):
        return None
    names = [str(i) for i in range(len(as_written))]

    try:
        found = arrow.read_csv(
            str(path),
            arrow.ReadOptions(
                column_names=names,
                skip_rows=at + 1,
                encoding="utf8" if scan.encoding.startswith("utf-8") else scan.encoding,
                block_size=_BLOCK,
            ),
            arrow.ParseOptions(
                delimiter=cut,
                quote_char='"' if scan.quotes else False,
                ignore_empty_lines=False,  # an empty line is an empty row of the sheet
            ),
            arrow.ConvertOptions(
                column_types=dict.fromkeys(names, pa.large_string()),
                strings_can_be_null=False,
            ),
        )
    except (pa.ArrowInvalid, UnicodeError):
        return None
    columns = [found.column(i) for i in range(len(header))]
    extra = [found.column(i) for i in range(len(header), len(names))]
    if any(_longest(c) > 0 for c in extra) or any(_longest(c) > MAX_CELL for c in columns):
        return None
    rows = np.arange(at + 2, at + 2 + found.num_rows, dtype=np.int64)
    return RawTable(
        file, None, header, at + 1, tuple(columns), rows,
        notes=tuple(notes), encoding=scan.encoding, separator=cut,
    )  # fmt: skip


def _longest(column: pa.ChunkedArray) -> int:
    return pc.max(pc.binary_length(column)).as_py() or 0


def _quotes_regular(path: Path, encoding: str, cut: str) -> bool:
    """Whether every quote opens a cell, closes one, or is doubled inside one, on one line."""
    sep = ord(cut)
    decoder = codecs.getincrementaldecoder(encoding)()
    opened = False
    held = b"\n"
    last_quote = -2  # position of the last quote, in the coordinates of `held`
    with path.open("rb") as stream:
        while True:
            block = stream.read(_BLOCK)
            text = decoder.decode(block, final=not block).encode("utf-8")
            if not block:
                text += b"\n"
            data = np.frombuffer(held + text, np.uint8)
            if len(data) >= 3:
                inner = data[1:-1]
                ends_line = (inner == 10) | (inner == 13)
                quotes = np.flatnonzero(inner == 34) + 1
                if len(quotes):
                    turn = np.arange(len(quotes)) % 2 == (1 if opened else 0)
                    before, after = data[quotes - 1], data[quotes + 1]
                    previous = np.concatenate([[last_quote], quotes[:-1]])
                    start = (before == sep) | (before == 10) | (before == 13)
                    start |= previous == quotes - 1
                    end = (after == sep) | (after == 10) | (after == 13) | (after == 34)
                    if not np.where(turn, start, end).all():
                        return False
                    last_quote = int(quotes[-1])
                    if _line_ends_inside(ends_line, quotes, opened=opened):
                        return False
                    opened ^= bool(len(quotes) % 2)
                elif opened and ends_line.any():
                    return False
                last_quote -= len(data) - 2
                held = data[-2:].tobytes()
            else:
                held = data.tobytes()
            if not block:
                return not opened


def _line_ends_inside(ends_line: Mask, quotes: np.ndarray, *, opened: bool) -> bool:
    """Whether a line ends between an opening quote and its closing one."""
    ends = np.flatnonzero(ends_line) + 1
    inside = (np.searchsorted(quotes, ends) + opened) % 2 == 1
    return bool(inside.any())


# --- the careful way -----------------------------------------------------------------


def _careful(
    path: Path,
    file: str,
    scan: Scan,
    cut: str,
    header: tuple[str, ...],
    at: int,
    named: str | None,
    notes: list[str],
) -> RawTable:
    csv.field_size_limit(MAX_LINE)
    with path.open("r", encoding=scan.encoding, newline="") as stream:
        if named:
            stream.readline()

        def numbered() -> Iterator[tuple[int, list[str]]]:
            reader = csv.reader(_ended(stream), delimiter=cut)
            number = 0
            try:
                for number, cells in enumerate(reader, 1):
                    if cells == [_END]:
                        return
                    if any(_END in c for c in cells):
                        raise InputError(
                            f"{file} row {number}: a double quote is opened and never closed;"
                            " close or remove it"
                        )
                    if any("\n" in c and _swallows(c, cut, len(header)) for c in cells):
                        raise InputError(
                            f"{file} row {number}: a double quote swallows the rows below it;"
                            " close or remove it"
                        )
                    if number > at + 1:
                        yield number, cells
            except csv.Error:
                raise InputError(
                    f"{file} row {number + 1}: can't be told apart into cells; look for a stray"
                    " double quote"
                ) from None

        return build(
            numbered(), header, file=file, sheet=None, header_row=at + 1,
            notes=notes, encoding=scan.encoding, separator=cut,
        )  # fmt: skip


def _ended(stream: io.TextIOBase) -> Iterator[str]:
    """The lines, and a last row of our own: an open quote swallows it, and so shows itself."""
    yield from stream
    yield _END + "\n"


def _swallows(cell: str, cut: str, width: int) -> bool:
    """Whether a cell of several lines holds a whole row of the table."""
    lines = cell.splitlines()[1:-1]
    return width > 1 and any(line.count(cut) == width - 1 for line in lines)
