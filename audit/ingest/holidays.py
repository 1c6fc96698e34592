"""Holidays from an iCalendar file in place of the calendars table: a row a whole-day date."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import Any, Final
from zoneinfo import ZoneInfo

import numpy as np
import pyarrow as pa

from audit.arithmetic.recurrence import DAY, ScheduleError, Span, event_openings, read_icalendar
from audit.faults import InputError
from audit.ingest.tables import RawTable

MAX_BYTES: Final = 1 << 24
MAX_DATES: Final = 50_000
_FIRST: Final = dt.date(2000, 1, 1)
_SPAN: Final = Span(_FIRST, (dt.date(2100, 1, 1) - _FIRST).days)
"""The dates that are kept of a holiday that comes back every year."""


def read(path: Path, file: str, named: str | None, sha256: str) -> tuple[RawTable, list[str]]:
    """The dates of every whole-day event, 2000 to 2099; and what is to be said.

    The calendar is what the property `named` says of an event, else the file's own name for
    it (X-WR-CALNAME), else the file's name. An event with a time of day is no holiday.
    InputError where the file can't be read or has too many dates.
    """
    rows: list[tuple[int, str, str, str]] = []
    timed = 0
    try:
        if path.stat().st_size > MAX_BYTES:
            raise InputError(f"{file}: larger than 16 MiB; this is no calendar of holidays")
        content = path.read_bytes()
        own = _own_name(content) or path.stem
        for number, (name, text) in enumerate(read_icalendar(content, named or "UID"), 1):
            found = event_openings(text, _SPAN, ZoneInfo("UTC"))
            if any(start % DAY or end % DAY for start, end in found):
                timed += 1
                continue
            summary = _summary(text)
            for start, end in found:
                for day in range(max(0, start // DAY), min(end // DAY, _SPAN.days)):
                    date = (_FIRST + dt.timedelta(days=day)).isoformat()
                    rows.append((number, name if named else own, date, summary))
            if len(rows) > MAX_DATES:
                raise InputError(f"{file}: more than {MAX_DATES:,} dates; leave out what is past")
    except InputError:
        raise
    except ScheduleError as e:
        raise InputError(f"{file}: {e}; export the calendar again") from None
    except OSError as e:
        raise InputError(f"{file}: can't be read ({e.strerror})") from None
    except (RecursionError, Exception):
        raise InputError(f"{file}: this is no iCalendar file; export it again") from None
    notes = []
    if timed:
        plural = "s have" if timed > 1 else " has"
        notes.append(f"{file}: {timed} event{plural} a time of day and is no holiday; not taken")
    cells = {
        column: pa.chunked_array([pa.array([r[at] for r in rows], pa.large_string())])
        for at, column in enumerate(("calendar", "date", "name"), 1)
    }
    numbers = np.array([r[0] for r in rows], np.int64)
    return RawTable("calendars", cells, numbers, file, None, sha256), notes


def _own_name(content: bytes) -> str:
    import icalendar

    return str(icalendar.Calendar.from_ical(content).get("X-WR-CALNAME", "")).strip()


def _summary(text: str) -> str:
    import icalendar

    event: Any = next(iter(icalendar.Calendar.from_ical(text).walk("VEVENT")), {})
    return str(event.get("SUMMARY", "")).strip()
