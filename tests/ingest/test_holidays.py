"""Holidays from iCalendar files (RFC 5545 3.6.1: whole-day events; 3.8.5.3: recurrence)."""

from __future__ import annotations

from pathlib import Path

import pytest

from audit.arithmetic import recurrence
from audit.contract import Dataset
from audit.facts import hours as schedules
from audit.ingest import InputError
from audit.ingest.look import look
from tests.ingest.sites import load


def ics(*events: str, head: str = "") -> bytes:
    body = "".join(f"BEGIN:VEVENT\nUID:{i}\n{e}\nEND:VEVENT\n" for i, e in enumerate(events))
    text = f"BEGIN:VCALENDAR\nVERSION:2.0\nPRODID:x\n{head}{body}END:VCALENDAR\n"
    return text.replace("\n", "\r\n").encode()


def dates(data: Dataset, near: str = "2026") -> list[tuple[str, str]]:
    rows = data["calendars"]
    found = zip(rows["calendar"], rows["date"].dt.strftime("%Y-%m-%d"), strict=True)
    return [(c, d) for c, d in found if d.startswith(near)]


CHRISTMAS = "DTSTART;VALUE=DATE:20261225\nSUMMARY:Christmas"


def test_a_row_a_date(tmp_path: Path) -> None:
    content = ics(CHRISTMAS, "DTSTART;VALUE=DATE:20260403\nDTEND;VALUE=DATE:20260406")
    data = load(tmp_path, {"calendars.ics": content})
    # the end of a whole-day event is the day after it
    assert dates(data) == [
        ("calendars", "2026-12-25"), ("calendars", "2026-04-03"), ("calendars", "2026-04-04"),
        ("calendars", "2026-04-05"),
    ]  # fmt: skip
    assert data["calendars"]["name"].tolist()[0] == "Christmas"
    assert data.notes == ()
    assert data.where("calendars", 1).row == 2


def test_one_that_comes_back_every_year(tmp_path: Path) -> None:
    content = ics("DTSTART;VALUE=DATE:20201225\nRRULE:FREQ=YEARLY\nEXDATE;VALUE=DATE:20261225")
    data = load(tmp_path, {"calendars.ics": content})
    assert dates(data, "2025") == [("calendars", "2025-12-25")]
    assert dates(data, "2026") == []
    assert dates(data, "2027") == [("calendars", "2027-12-25")]


def test_the_calendars_name(tmp_path: Path) -> None:
    named = ics(CHRISTMAS, head="X-WR-CALNAME:IE\n")
    assert dates(load(tmp_path / "a", {"calendars.ics": named}))[0][0] == "IE"
    by_event = ics(CHRISTMAS + "\nCATEGORIES:north", head="X-WR-CALNAME:IE\n")
    toml = '[sources.calendars]\nfile = "h.ics"\nschedule_property = "SUMMARY"\n'
    assert dates(load(tmp_path / "b", {"h.ics": by_event}, toml))[0][0] == "Christmas"


def test_an_event_with_a_time_of_day_is_no_holiday(tmp_path: Path) -> None:
    content = ics(CHRISTMAS, "DTSTART:20261224T120000\nDTEND:20261224T180000")
    data = load(tmp_path, {"calendars.ics": content})
    assert dates(data) == [("calendars", "2026-12-25")]
    (note,) = data.notes
    assert "1 event has a time of day and is no holiday; not taken" in note


def test_schedules_know_the_dates(tmp_path: Path) -> None:
    data = load(
        tmp_path,
        {
            "calendars.ics": ics(CHRISTMAS, head="X-WR-CALNAME:IE\n"),
            "schedules.csv": "schedule_id,days,start,end,calendar\nS,mon-fri,08:00,09:00,IE\n",
        },
    )
    year = schedules.year(data)
    friday = 86 * recurrence.DAY + 8 * 60  # 25 December, counted from 30 September
    opened = [int(s) for s in year.openings("S").starts]
    assert friday not in opened
    assert friday + 7 * recurrence.DAY in opened


@pytest.mark.parametrize(
    "content", [b"", b"x", ics(CHRISTMAS)[:-20], ics("DTSTART;VALUE=DATE:20269999"),
                ics("DTSTART;VALUE=DATE:20200101\nDTEND;VALUE=DATE:99990101", *[
                    "DTSTART;VALUE=DATE:20200101\nRRULE:FREQ=DAILY"] * 3)]
)  # fmt: skip
def test_broken_or_endless_is_one_line(tmp_path: Path, content: bytes) -> None:
    with pytest.raises(InputError, match=r"calendars\.ics"):
        load(tmp_path, {"calendars.ics": content})


def test_look_tells_holidays_from_schedules(tmp_path: Path) -> None:
    for name, event, table in [
        ("holidays.ics", CHRISTMAS, "calendars"),
        ("doors.ics", "DTSTART:20260105T080000\nDTEND:20260105T120000", "schedules"),
    ]:
        path = tmp_path / name
        path.write_bytes(ics(event))
        (found,) = look(path)
        assert (found.table, found.usable) == (table, True)
