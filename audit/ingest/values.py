"""One cell's text to one value: the slow, obvious truth that the fast ways are held against.

A parser returns the value, None where nothing is given, or UNREAD where a text stands there
that can't be understood. It never guesses.
"""

from __future__ import annotations

import datetime as dt
import re
import unicodedata
from collections.abc import Callable, Mapping
from functools import lru_cache
from typing import Any, Final
from zoneinfo import ZoneInfo

from audit.arithmetic.recurrence import ICALENDAR
from audit.arithmetic.weeks import parse_days
from audit.dates import read_date as _plain_date
from audit.schema import BLANK_WORDS, NO, YES, Column

UNREAD: Final[Any] = type("Unread", (), {"__repr__": lambda _: "UNREAD"})()
"""What a parser returns for a text it can't understand."""

Parser = Callable[[str], Any]

MORE_CELLS: Final = "#MORE CELLS THAN THE HEADER!"
"""Stands in the last column of a row that is longer than its header."""
_ERRORS_KNOWN: Final = (
    "#N/A", "#REF!", "#VALUE!", "#DIV/0!", "#NAME?", "#NULL!", "#NUM!", "#SPILL!", "#CALC!",
    "#GETTING_DATA", "#FIELD!", "#ERROR!", "#NV", "#BEZUG!", "#WERT!", "#ZAHL!", "#VALEUR!",
    "#NOM?", "#NOMBRE!", "#NUL!", "#N/D", "#N/B", "#VERW!", "#WAARDE!", "#NAAM?", "#GETAL!",
    "#DEEL/0!", "#LEEG!", "#¡REF!", "#¡VALOR!", "#¿NOMBRE?", "#¡NUM!", "#¡DIV/0!", "#¡NULO!",
    "#NESTED!", "#UNCALCULATED!",
)  # fmt: skip
ERRORS: Final = frozenset(
    [
        *_ERRORS_KNOWN,
        MORE_CELLS,
        *("#" * n for n in range(2, 41)),  # a column too narrow for its date
        *(f"Err:{n}" for n in range(500, 541)),
    ]
)
"""What a spreadsheet writes into a cell that it could not work out: never a value, never blank."""

_SIGNS: Final[dict[int, str | None]] = {
    **dict.fromkeys((9, 10, 11, 12, 13, 160, 5760, 8239, 8287, 12288), " "),
    **dict.fromkeys(range(8192, 8203), " "),
    **dict.fromkeys((173, 8203, 8204, 8205, 8206, 8207, 8288, 65279)),
    **dict.fromkeys((*range(8234, 8239), *range(8294, 8298))),
    **dict.fromkeys((*range(9), *range(14, 32), 127)),
    **{code: chr(code - 0xFEE0) for code in range(0xFF01, 0xFF5F)},
}


def clean(text: str) -> str:
    """Text without outer blanks; odd blanks as blanks, full-width signs as plain ones.

    Invisible marks (zero width, direction, control) go: no person typed them as part of a
    value.
    """
    if not text.isascii() or not text.isprintable():
        text = text.translate(_SIGNS)
    return text.strip()


def was_repaired(raw: str) -> bool:
    """Whether cleaning changes more than plain outer blanks."""
    if raw.isascii() and raw.isprintable():
        return False
    return raw.strip(" \t\r\n") != clean(raw)


def fold(text: str) -> str:
    """A word without case and accents; blanks, underscores and hyphens are all one hyphen."""
    text = unicodedata.normalize("NFKD", text.casefold())
    return re.sub(r"[\s_\-]+", "-", "".join(c for c in text if not unicodedata.combining(c)))


def blank_words(column: Column) -> frozenset[str]:
    """The texts that mean "not given" in this column."""
    return BLANK_WORDS - set(column.words)


def cell_parser(
    column: Column, order: str, zone: ZoneInfo, values: Mapping[str, str] | None = None
) -> Parser:
    """A function from a raw cell to its value, None (not given), or UNREAD.

    `order` is the date order; `values` the site's own words for this column's words.
    """
    blank = blank_words(column)
    mapped = {fold(k): v for k, v in (values or {}).items()}
    parse = _PARSERS.get(column.kind)
    words = {fold(w): w for w in column.words}

    def read(raw: str) -> Any:
        text = clean(raw)
        if mapped:
            text = mapped.get(fold(text), text)
        if text.casefold() in blank:
            return None
        if text in ERRORS:
            return UNREAD
        if column.kind == "word":
            return words.get(fold(text), UNREAD)
        if column.kind == "date":
            return read_date(text, order, zone)
        if column.kind == "moment":
            return read_moment(text, order, zone)
        if column.name == "security_grade":
            return (text[0] in "1234" and len(text) == 1 and int(text)) or UNREAD
        return text if parse is None else parse(text)

    def read_event(raw: str) -> Any:
        return raw if raw.startswith(ICALENDAR) else read(raw)

    return read_event if column.kind == "days" else read


# --- yes and no, numbers ---------------------------------------------------------------


def read_yesno(text: str) -> Any:
    """yes/no, y/n, true/false, 1/0."""
    word = text.casefold()
    return True if word in YES else False if word in NO else UNREAD


def read_whole(text: str) -> Any:
    """A whole number that is not negative; `.0` behind it does no harm."""
    m = re.fullmatch(r"([0-9]{1,15})(?:\.0+)?", text)
    return int(m[1]) if m else UNREAD


def read_decimal(text: str) -> Any:
    """A number that is not negative; a comma may stand for the point.

    `1,050` may be a thousand and fifty or a little more than one: it is not understood.
    """
    if re.fullmatch(r"[0-9]{1,3},[0-9]{3}", text):
        return UNREAD
    plain = text.replace(",", ".")
    return float(plain) if re.fullmatch(r"[0-9]{1,15}(\.[0-9]{1,15})?", plain) else UNREAD


def read_clock(text: str) -> Any:
    """A time of day as minutes from midnight, 0 to 1440 (24:00).

    HH:MM, with seconds of zero; `8:30 pm`; a spreadsheet's fraction of a day.
    """
    if m := re.fullmatch(r"([0-9]{1,2})[:.hH]([0-9]{2})(?::00(?:\.0+)?)?(?: ?([AaPp])\.?[Mm]\.?)?",
                         text):  # fmt: skip
        hour, minute = int(m[1]), int(m[2])
        if m[3]:
            if not 1 <= hour <= 12:
                return UNREAD
            hour = hour % 12 + 12 * (m[3] in "Pp")
        total = hour * 60 + minute
        return total if minute < 60 and total <= 1440 else UNREAD
    if re.fullmatch(r"0\.[0-9]+|0,[0-9]+", text):
        minutes = float(text.replace(",", ".")) * 1440
        return round(minutes) if abs(minutes - round(minutes)) < 0.01 else UNREAD
    return UNREAD


def read_days(text: str) -> Any:
    """The day words of a schedule, kept as text once they are understood."""
    return text if parse_days(text) is not None else UNREAD


# --- dates and times -------------------------------------------------------------------

_MONTHS: Final[dict[str, int]] = {
    word: number
    for number, words in enumerate(
        (
            "january jan januar janner janvier janv enero ene januari",
            "february feb februar fevrier fevr febrero februari",
            "march mar marz mrz mars marzo maart mrt",
            "april apr avril avr abril abr",
            "may mai mayo mei",
            "june jun juni juin junio",
            "july jul juli juillet juil julio",
            "august aug aout agosto ago augustus",
            "september sep sept septembre septiembre",
            "october oct oktober okt octobre octubre",
            "november nov novembre noviembre",
            "december dec dezember dez decembre diciembre dic",
        ),
        1,
    )
    for word in words.split()
}
_NAMED: Final = re.compile(
    r"(?:([0-9]{1,2})(?:st|nd|rd|th|er)?\.?[ \-/]*(?:de )?)?([A-Za-z]{3,12})\.?[ \-/,]*(?:de )?"
    r"(?:([0-9]{1,2})(?:st|nd|rd|th)?,[ ]*)?([0-9]{4}|[0-9]{2})$"
)
_CLOCK: Final = r"([0-9]{1,2}):([0-9]{2})(?::([0-9]{2})(?:[.,]([0-9]{1,9}))?)?(?: ?([AaPp])[Mm])?"
_WITH_CLOCK: Final = re.compile(r"(.{6,20}?),?[ T]" + _CLOCK + r"$")
_MIDNIGHT: Final = re.compile(r"(.{6,20}?[ T])24:00(?::00(?:[.,]0+)?)?([Zz]|[+\-][0-9:]{2,6})?")
"""The end of a day, as ISO 8601 may write it."""
_SERIAL_MOMENT: Final = re.compile(r"([0-9]{5})[.,]([0-9]{1,12})$")


def read_date(text: str, order: str, zone: ZoneInfo) -> Any:
    """The day that a text writes, a time behind it aside; UNREAD where it writes none.

    ISO 8601 in every form; else by `order`, never row by row; months by name; serial days.
    """
    day = _day(text, order)
    if day is not None:
        return day
    moment = _moment(text, order, zone)
    if moment is None:
        return UNREAD
    return (moment if moment.tzinfo is None else moment.astimezone(zone)).date()


@lru_cache(maxsize=65_536)
def _day(text: str, order: str) -> dt.date | None:
    day = _plain_date(text, order)
    if day is not None:
        return day
    if re.fullmatch(r"[0-9]{8}|[0-9]{4}-?W[0-9]{2}-?[0-9]", text):
        return _or_none(lambda: dt.date.fromisoformat(text))
    if m := re.fullmatch(r"([0-9]{4})-([0-9]{3})", text):
        days = int(m[2])
        day = _or_none(lambda: dt.date(int(m[1]), 1, 1) + dt.timedelta(days - 1))
        return day if day is not None and days and day.year == int(m[1]) else None
    return _named_day(text, order)


def _named_day(text: str, order: str) -> dt.date | None:
    plain = unicodedata.normalize("NFKD", text)
    m = _NAMED.fullmatch("".join(c for c in plain if not unicodedata.combining(c)))
    if not m or (m[1] is None) == (m[3] is None):
        return None
    month = _MONTHS.get(m[2].casefold())
    number, year = int(m[1] or m[3]), m[4]
    if month is None:
        return None
    if len(year) == 2 and order == "ymd":
        number, year = int(year), f"{number:02d}"
    full = int(year) + (0 if len(year) == 4 else 2000 if int(year) < 70 else 1900)
    return _or_none(lambda: dt.date(full, month, number))


def _or_none(make: Callable[[], dt.date]) -> dt.date | None:
    try:
        return make()
    except (ValueError, OverflowError):
        return None


def read_moment(text: str, order: str, zone: ZoneInfo) -> Any:
    """A time as UTC without zone; UNREAD where the text writes none.

    Without an offset it is the site's local time, the first of a repeated hour; a time that
    the clock skips is taken with the offset before the change.
    """
    moment = _moment(text, order, zone)
    if moment is None:
        return UNREAD
    if moment.tzinfo is None:
        moment = moment.replace(tzinfo=zone)
    try:
        return moment.astimezone(dt.UTC).replace(tzinfo=None)
    except (OverflowError, ValueError):
        return UNREAD


def _moment(text: str, order: str, zone: ZoneInfo) -> dt.datetime | None:
    try:
        return dt.datetime.fromisoformat(text[:-1] + "Z" if text.endswith("z") else text)
    except ValueError:
        pass
    if m := _MIDNIGHT.fullmatch(text):
        midnight = _moment(f"{m[1]}00:00{m[2] or ''}", order, zone)
        try:
            return midnight and midnight + dt.timedelta(days=1)
        except OverflowError:
            return None
    if m := _WITH_CLOCK.fullmatch(text):
        day = _day(m[1], order)
        hour, minute, second = int(m[2]), int(m[3]), int(m[4] or 0)
        if day is None or (m[6] and not 1 <= hour <= 12):
            return None
        if m[6]:
            hour = hour % 12 + 12 * (m[6] in "Pp")
        fraction = int((m[5] or "0").ljust(6, "0")[:6])
        try:
            return dt.datetime.combine(day, dt.time(hour, minute, second, fraction))
        except ValueError:
            return None
    if (m := _SERIAL_MOMENT.fullmatch(text)) and 20_000 <= int(m[1]) <= 80_000:
        seconds = round(float("0." + m[2]) * 86_400)
        start = dt.datetime(1899, 12, 30)  # noqa: DTZ001 - wall-clock time of the site
        return start + dt.timedelta(int(m[1]), seconds)
    day = _day(text, order)
    return None if day is None else dt.datetime.combine(day, dt.time())


# --- PINs and card numbers -------------------------------------------------------------

_MASKED: Final = re.compile(r"[*•●xX]+")
_DIGEST: Final = re.compile(
    r"(?=.*[a-f])[0-9a-f]{16,}|[$:{].{8,}|[A-Za-z]\w+:\S{8,}"
    r"|(?=.*[A-Za-z])(?=.*[0-9])[A-Za-z0-9+/_\-]{20,}={0,2}",
    re.I,
)
PIN_DIGITS: Final = re.compile(r"[0-9]{1,12}")


def read_pin(text: str) -> Any:
    """The digits; None where a PIN is held but not readable (a mask, a digest)."""
    if PIN_DIGITS.fullmatch(text):
        return text
    return None if _MASKED.fullmatch(text) or _DIGEST.fullmatch(text) else UNREAD


_ALIKE: Final = str.maketrans("OoQlIi|", "0001111")


def digits_with_letters(text: str) -> bool:
    """Whether a text is all digits but for letters O, l and I that look like digits."""
    return (
        not text.isdigit()
        and text.translate(_ALIKE).isdigit()
        and sum(c.isdigit() for c in text) >= 2
    )


BETWEEN_DIGITS: Final = r"[\s.,:;'\"+\-/#*]"
"""Signs that people set between digits (for pyarrow and for re alike)."""


def could_be_pin(text: str) -> bool:
    """Whether a text in a PIN column may give a PIN's digits away, however it was bent."""
    return bool(re.fullmatch(r"[0-9]+(?:[eE][0-9]+)?", bare_digits(text)))


def bare_digits(text: str) -> str:
    """The text without the signs that people set between digits, and O, l as digits."""
    return re.sub(BETWEEN_DIGITS, "", text).translate(_ALIKE)


EXPONENT: Final = "exponent form"
POINT_ZERO: Final = "a trailing .0"
FIFTEEN: Final = "digits past the fifteenth turned to zero"
ZEROS_GONE: Final = "leading zeros gone"

DAMAGED: Final = r"^[0-9]+(?:[.,][0-9]+)?[eE][+][0-9]{1,3}$|^[0-9][.,][0-9]+[eE][0-9]{1,3}$|^[0-9]+[.,]0$|^[0-9]{15}0+$"  # noqa: E501
"""Every text that `damage` may find something in (for pyarrow and for re alike)."""


def damage(text: str, *, pin: bool) -> str | None:
    """What a spreadsheet did to a card number or PIN; None where nothing shows.

    `12,0` is a facility and a number on a card; only in a PIN is it a trailing zero.
    """
    if re.fullmatch(r"[0-9]+(?:[.,][0-9]+)?[eE][+][0-9]{1,3}|[0-9][.,][0-9]+[eE][0-9]{1,3}", text):
        return EXPONENT
    if re.fullmatch(r"[0-9]+\.0" if not pin else r"[0-9]+[.,]0", text):
        return POINT_ZERO
    return FIFTEEN if re.fullmatch(r"[0-9]{15}0+", text) else None


_PARSERS: Final[Mapping[str, Parser]] = {
    "yesno": read_yesno,
    "whole": read_whole,
    "decimal": read_decimal,
    "clock": read_clock,
    "days": read_days,
    "pin": read_pin,
}
