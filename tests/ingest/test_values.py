"""One cell's text to one value."""

from __future__ import annotations

import datetime as dt
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from audit.ingest import values as v
from audit.ingest.values import UNREAD
from audit.schema import TABLES

DUBLIN = ZoneInfo("Europe/Dublin")
DAY = dt.date(2026, 9, 30)


def cell(table: str, column: str, text: str, order: str = "dmy", **values: str) -> Any:
    return v.cell_parser(TABLES[table].column(column), order, DUBLIN, values)(text)


@pytest.mark.parametrize("text", ["", " ", "-", "n/a", "N/A", "none", "None", "\u00a0", " - "])
def test_blank_words_mean_not_given(text: str) -> None:
    assert cell("people", "name", text) is None
    assert cell("people", "start_date", text) is None
    assert cell("doors", "exit_reader", text) is None


def test_none_is_a_value_where_it_is_a_word() -> None:
    assert cell("doors", "lock", "None") == "none"
    assert cell("doors", "lock", "-") is None
    assert cell("doors", "power_loss", "none") is None


@pytest.mark.parametrize(
    "text", ["#N/A", "#REF!", "#NV", "#VALEUR!", "#¡REF!", "########", "Err:502", "#UNCALCULATED!"]
)
def test_error_cells_are_not_blank(text: str) -> None:
    for table, column in (("people", "name"), ("cards", "number"), ("cards", "status")):
        assert cell(table, column, text) is UNREAD


@pytest.mark.parametrize(
    ("text", "value"),
    [("yes", True), ("Y", True), ("TRUE", True), ("1", True), ("No", False), ("n", False),
     ("false", False), ("0", False), ("ja", UNREAD), ("x", UNREAD), ("2", UNREAD), ("yes!", UNREAD),
     ("", None)],
)  # fmt: skip
def test_yes_and_no(text: str, value: Any) -> None:
    assert cell("doors", "exit_reader", text) is value


def test_words_without_case_and_blanks_and_with_the_sites_own() -> None:
    assert cell("doors", "power_loss", "Stays Locked") == "stays-locked"
    assert cell("doors", "power_loss", "STAYS_LOCKED") == "stays-locked"
    assert cell("cards", "status", "In use") is UNREAD
    assert cell("cards", "status", "In  USE", **{"In use": "active"}) == "active"


# ISO 8601-1 (from memory): extended and basic calendar dates, week dates, ordinal dates.
@pytest.mark.parametrize("order", ["dmy", "mdy", "ymd"])
@pytest.mark.parametrize(
    "text",
    ["2026-09-30", "20260930", "2026-W40-3", "2026W403", "2026-273", "2026-09-30T00:00:00",
     "2026-09-30 14:05", "2026-09-30T14:05:06Z", "2026-09-30T23:30:00+02:00", "46295", "46295.0",
     "46295.75", "30 September 2026", "30. Sept. 2026", "Sep 30, 2026", "30 septembre 2026",
     "30 de septiembre de 2026", "30-sep-2026", "2026/09/30", "2026.9.30"],
)  # fmt: skip
def test_dates_that_read_alike_under_every_order(text: str, order: str) -> None:
    assert cell("people", "start_date", text, order) == DAY


@pytest.mark.parametrize(
    ("text", "order", "day"),
    [
        ("03/04/2026", "dmy", dt.date(2026, 4, 3)),
        ("03/04/2026", "mdy", dt.date(2026, 3, 4)),
        ("03/04/2026", "ymd", UNREAD),
        ("26-04-03", "ymd", dt.date(2026, 4, 3)),
        ("3.4.26", "dmy", dt.date(2026, 4, 3)),
        ("12/31/2026", "dmy", UNREAD),  # never guessed row by row
        ("31/12/2026", "mdy", UNREAD),
        ("30/02/2026", "dmy", UNREAD),
        ("2026-02-29", "dmy", UNREAD),
        ("2026", "dmy", UNREAD),
        ("soon", "dmy", UNREAD),
        ("3/4", "dmy", UNREAD),
        ("9999-12-31", "dmy", dt.date(9999, 12, 31)),
        ("99999999", "dmy", UNREAD),
        ("2026-366", "dmy", UNREAD),
        ("30-Sep-26", "dmy", DAY),
    ],
)
def test_dates_by_the_sites_order(text: str, order: str, day: Any) -> None:
    assert cell("people", "start_date", text, order) == day


@given(st.dates(dt.date(1970, 1, 1), dt.date(2068, 12, 31)), st.sampled_from(["dmy", "mdy"]))
def test_every_date_comes_back(day: dt.date, order: str) -> None:
    shown = f"{day:%d/%m/%Y}" if order == "dmy" else f"{day:%m/%d/%Y}"
    assert cell("people", "start_date", shown, order) == day
    assert cell("people", "start_date", day.isoformat(), order) == day
    if day >= dt.date(1955, 1, 1):
        serial = (day - dt.date(1899, 12, 30)).days
        assert cell("people", "start_date", str(serial), order) == day


# Summer time in Ireland ends on 25 October 2026 (references/access.md 6.3).
@pytest.mark.parametrize(
    ("text", "utc"),
    [
        ("2026-09-30T14:05:06", "2026-09-30T13:05:06"),
        ("2026-09-30 14:05", "2026-09-30T13:05:00"),
        ("2026-09-30T14:05:06.250Z", "2026-09-30T14:05:06.250000"),
        ("2026-09-30T14:05:06-05:00", "2026-09-30T19:05:06"),
        ("30/09/2026 14:05:06", "2026-09-30T13:05:06"),
        ("30.09.2026, 2:05 PM", "2026-09-30T13:05:00"),
        ("2026-10-25T01:30:00", "2026-10-25T00:30:00"),  # the first of the repeated hour
        ("2026-03-29T01:30:00", "2026-03-29T01:30:00"),  # skipped: the offset before the change
        ("46295.5", "2026-09-30T11:00:00"),
    ],
)
def test_moments(text: str, utc: str) -> None:
    assert cell("events", "time", text) == dt.datetime.fromisoformat(utc)


@pytest.mark.parametrize("text", ["noon", "2026-09-30T25:00", "30/09/2026 14:65", "14:05"])
def test_no_moments(text: str) -> None:
    assert cell("events", "time", text) is UNREAD


@pytest.mark.parametrize(
    ("text", "minutes"),
    [("00:00", 0), ("8:30", 510), ("08:30:00", 510), ("24:00", 1440), ("8:30 pm", 1230),
     ("12:00 AM", 0), ("0.5", 720), ("0.354166666666667", 510), ("24:01", UNREAD),
     ("8:60", UNREAD), ("08:30:30", UNREAD), ("25:00", UNREAD), ("eight", UNREAD)],
)  # fmt: skip
def test_times_of_day(text: str, minutes: Any) -> None:
    assert cell("schedules", "start", text) == minutes


@pytest.mark.parametrize(
    ("text", "value"),
    [("12", 12), ("012", 12), ("12.0", 12), ("-1", UNREAD), ("12.5", UNREAD), ("1e3", UNREAD),
     ("12 s", UNREAD), ("١٢", UNREAD)],
)  # fmt: skip
def test_whole_numbers(text: str, value: Any) -> None:
    assert cell("doors", "held_open_alarm_s", text) == value


@pytest.mark.parametrize(
    ("text", "value"),
    [("850", 850.0), ("850.5", 850.5), ("850,5", 850.5), ("1,050", UNREAD), ("-3", UNREAD),
     ("nan", UNREAD), ("inf", UNREAD), ("1.2.3", UNREAD)],
)  # fmt: skip
def test_decimals(text: str, value: Any) -> None:
    assert cell("doors", "clear_width_mm", text) == value


@pytest.mark.parametrize(("text", "value"), [("2", 2), ("4", 4), ("0", UNREAD), ("5", UNREAD)])
def test_a_grade_is_one_to_four(text: str, value: Any) -> None:
    assert cell("zones", "security_grade", text) == value


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("482913", "482913"),
        ("0001", "0001"),
        ("\uff14\uff18\uff12\uff19", "4829"),
        ("****", None),
        ("••••••", None),
        ("5f4dcc3b5aa765d61d8327deb882cf99", None),
        ("$2b$12$abcdefghijklmnopqrstuv", None),
        ("sha256:0123456789abcdef", None),
        ("48O291", UNREAD),
        ("12-34", UNREAD),
        ("door", UNREAD),
        ("1234567890123", UNREAD),
    ],
)
def test_pins(text: str, value: Any) -> None:
    assert cell("pins", "pin", text) == value


@pytest.mark.parametrize(
    ("text", "pin", "kind"),
    [
        ("1.23E+11", False, v.EXPONENT),
        ("1,23E+11", False, v.EXPONENT),
        ("1E+11", True, v.EXPONENT),
        ("1234567.0", False, v.POINT_ZERO),
        ("482913.0", True, v.POINT_ZERO),
        ("12,0", False, None),
        ("12,0", True, v.POINT_ZERO),
        ("12345678901234000", False, v.FIFTEEN),
        ("1234567890123450", False, v.FIFTEEN),
        ("12345678901234567", False, None),
        ("123456789012340", False, None),
        ("04A1E211", False, None),
        ("1E11", False, None),
        ("04.1E.23.11", False, None),
    ],
)
def test_what_a_spreadsheet_did(text: str, pin: bool, kind: str | None) -> None:
    import re

    assert v.damage(text, pin=pin) == kind
    if kind:
        assert re.search(v.DAMAGED, text)


@pytest.mark.parametrize(
    ("text", "cleaned"),
    [("\u00a0A1\u00a0", "A1"), ("A\u00a01", "A 1"), ("\ufeffA1", "A1"), ("A\u200b1", "A1"),
     ("\uff21\uff11", "A1"), ("Zoë", "Zoë"), ("\u202eA1", "A1"), ("A\x001", "A1")],
)  # fmt: skip
def test_odd_signs(text: str, cleaned: str) -> None:
    assert v.clean(text) == cleaned
    assert v.was_repaired(text) == (text != "Zoë")


@given(st.text(max_size=30))
def test_cleaning_twice_changes_nothing(text: str) -> None:
    assert v.clean(v.clean(text)) == v.clean(text)


@given(
    st.sampled_from([(t.name, c.name) for t in TABLES.values() for c in t.columns]),
    st.text(max_size=25) | st.from_regex(r"[0-9./:,+\-TZWEe ]{1,22}", fullmatch=True),
    st.sampled_from(["dmy", "mdy", "ymd"]),
)
def test_no_text_breaks_a_parser(place: tuple[str, str], text: str, order: str) -> None:
    cell(*place, text, order)
