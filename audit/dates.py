"""Dates as registers write them: ISO 8601, else by the site's order, else a serial number."""

from __future__ import annotations

import datetime as dt
import re

_ISO = re.compile(r"(\d{4})-(\d{2})-(\d{2})(?:[T ]00:00(?::00(?:\.0+)?)?)?$")
_PARTS = re.compile(r"(\d{1,4})([./\- ])(\d{1,2})\2(\d{1,4})(?: 00:00(?::00)?)?$")
_SERIAL = re.compile(r"(\d{5})(?:\.0+)?$")
SERIAL_EPOCH = dt.date(1899, 12, 30)  # day 60 of 1900 never was; from day 61 on this holds


def read_date(text: str, order: str) -> dt.date | None:
    """The date that `text` writes; None where it writes none.

    `order` (dmy, mdy, ymd) decides where both readings are possible, and never row by row.
    Two-digit years up to 69 are of this century. Serial numbers are taken from 20000 (1954)
    to 80000 (2119), so that a five-digit reference is seldom taken for a day.
    """
    try:
        if m := _ISO.match(text):
            return dt.date(int(m[1]), int(m[2]), int(m[3]))
        if m := _PARTS.match(text):
            a, b, c = m[1], m[3], m[4]
            if len(a) == 4 or order == "ymd":
                year, month, day = a, b, c
            elif order == "mdy":
                month, day, year = a, b, c
            else:
                day, month, year = a, b, c
            if len(year) not in (2, 4) or len(day) > 2:
                return None
            full = int(year) + (0 if len(year) == 4 else 2000 if int(year) < 70 else 1900)
            return dt.date(full, int(month), int(day))
        if (m := _SERIAL.match(text)) and 20_000 <= int(m[1]) <= 80_000:
            return SERIAL_EPOCH + dt.timedelta(days=int(m[1]))
    except ValueError:
        return None
    return None
