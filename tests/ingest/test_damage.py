"""What spreadsheets do to registers: each kind with the file that has it, the row, what to do.

Behaviour of spreadsheet programs: common practice, no source; fifteen digits: IEEE 754.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from audit.check import audited
from audit.ingest import load_site
from audit.ingest import values as v
from audit.record import Record
from tests.ingest.books import workbook
from tests.ingest.sites import AS_OF, site


def review(folder: Path, files: Mapping[str, str | bytes]) -> Record:
    return audited(site(folder, files), as_of=AS_OF).record


def one(ids: object) -> str:
    """The one id of a finding's subject."""
    (found,) = ids if isinstance(ids, list) else [ids]
    return str(found)


def damage(record: Record) -> dict[str, tuple[str, list[tuple[str, int]]]]:
    """id -> (what was done to it, [(file, row)]) of the findings on spreadsheet damage."""
    found = [f for f in record.findings if f.rule == "spreadsheet-damage"]
    assert all("Export again" in f.remedy for f in found)
    return {
        one(f.subjects["id"]): (str(f.evidence["damage"]), [(s.file, s.row) for s in f.sources])
        for f in found
    }


def notices(record: Record, words: str) -> list[str]:
    return [n for n in record.notices if words in n]


def book(table: str, *rows: list[Any]) -> dict[str, bytes]:
    return {f"{table}.xlsx": workbook({table: rows})}


# --- leading zeros -------------------------------------------------------------------------


def test_leading_zeros_gone_from_pins(tmp_path: Path) -> None:
    """004817 typed into a number cell is 4817; six digits are the fewest here."""
    record = review(
        tmp_path,
        book("pins", ["pin_id", "pin"], ["P1", 482913], ["P2", 4817], ["P3", "004817"]),
    )
    assert damage(record) == {"P2": (v.ZEROS_GONE, [("pins.xlsx", 3)])}


def test_zeros_that_the_number_format_shows_are_there(tmp_path: Path) -> None:
    files = book("pins", ["pin_id", "pin"], ["P1", (4817, "000000")])
    assert not damage(review(tmp_path, files))
    assert load_site(tmp_path, AS_OF)["pins"]["secret"].tolist() == ["004817"]


def test_leading_zeros_gone_from_references(tmp_path: Path) -> None:
    """Flat 0101 of the dwellings is 101 in the list of people that a spreadsheet opened."""
    files: dict[str, str | bytes] = {
        "dwellings.csv": "dwelling_id\n0101\n0102\n0103\n",
        **book("people", ["person_id", "dwelling_id"], ["P1", "0101"], ["P2", 102], ["P3", 103]),
    }
    record = review(tmp_path, files)
    (said,) = notices(record, "leading zeros")
    assert said.startswith("people.xlsx")
    assert "row 3 and 1 more row" in said
    assert "dwelling_id" in said
    assert "as text" in said
    found = {one(f.subjects["id"]) for f in record.findings if f.rule == "reference-unknown"}
    assert found == {"P2", "P3"}  # never repaired: 102 and 0102 may be two flats elsewhere


def test_numbers_as_ids_are_no_damage_where_they_are_known(tmp_path: Path) -> None:
    files = {
        "dwellings.csv": "dwelling_id\n101\n102\n",
        **book("people", ["person_id", "dwelling_id"], ["P1", 101], ["P2", 999]),
    }
    assert not notices(review(tmp_path, files), "leading zeros")


# --- digits --------------------------------------------------------------------------------


@pytest.mark.parametrize("text", ["1.23457E+11", "1,23457E+11", "1E+12"])
def test_exponent_form(tmp_path: Path, text: str) -> None:
    files = {"cards.csv": f"card_id;number\nC1;0012345\nC2;{text}\n"}
    assert damage(review(tmp_path, files)) == {"C2": (v.EXPONENT, [("cards.csv", 3)])}
    assert load_site(tmp_path, AS_OF)["cards"]["number"].tolist() == ["0012345", pd.NA]


def test_exponent_form_of_a_pin(tmp_path: Path) -> None:
    files = {"pins.csv": "pin_id,pin\nP1,4.83E+05\nP2,482913\n"}
    record = review(tmp_path, files)
    assert damage(record) == {"P1": (v.EXPONENT, [("pins.csv", 2)])}
    assert "4.83E+05" not in record.to_json()


def test_a_trailing_point_zero_is_taken_away_and_said(tmp_path: Path) -> None:
    files = {"cards.csv": "card_id,number\nC1,123456.0\n"}
    assert damage(review(tmp_path, files)) == {"C1": (v.POINT_ZERO, [("cards.csv", 2)])}
    assert load_site(tmp_path, AS_OF)["cards"]["number"].tolist() == ["123456"]


def test_fifteen_digits_and_zeros_behind_them(tmp_path: Path) -> None:
    """A spreadsheet keeps fifteen digits: 12345678901234567 is shown as …450."""
    files = {"cards.csv": "card_id,number\nC1,12345678901234500\nC2,123456789012345\n"}
    assert damage(review(tmp_path, files)) == {"C1": (v.FIFTEEN, [("cards.csv", 2)])}
    as_number = book("cards", ["card_id", "number"], ["C1", 12345678901234567])
    found = review(tmp_path / "book", as_number)
    assert damage(found) == {"C1": (v.FIFTEEN, [("cards.xlsx", 2)])}


# --- dates made of numbers -----------------------------------------------------------------


def test_dates_made_of_numbers(tmp_path: Path) -> None:
    """Flat 3/4 becomes 3 April: a date cell in a workbook, 03-Apr in a CSV."""
    files = {
        **book("dwellings", ["dwelling_id", "number"], ["1/2", "1/2"],
               [(dt.date(2026, 4, 3), "d-mmm"), "3/4"],
               ["5/6", (dt.date(2026, 6, 5), "d-mmm")]),
        "people.csv": "person_id,dwelling_id\nP1,1/2\nP2,03-Apr\nP3,Apr-03\n",
    }  # fmt: skip
    record = review(tmp_path, files)
    said = notices(record, "as a spreadsheet makes of a text such as 3/4; type it again as text")
    assert sorted(n.partition(" holds")[0] for n in said) == [
        "dwellings.xlsx, sheet 'dwellings' row 3: dwelling_id",
        "dwellings.xlsx, sheet 'dwellings' row 4: number",
        "people.csv row 3 and 1 more row: dwelling_id",
    ]
    unknown = {one(f.subjects["id"]) for f in record.findings if f.rule == "reference-unknown"}
    assert {"P2", "P3"} <= unknown


def test_names_that_hold_a_day_are_no_damage(tmp_path: Path) -> None:
    files = {"calendars.csv": "calendar,date,name\nIE,2026-05-01,1 May\nIE,2026-10-03,3 Oct\n"}
    assert not notices(review(tmp_path, files), "as a spreadsheet makes")


# --- odd signs -----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("cell", "read"),
    [
        ("\u00a0001234", "001234"),  # a blank that does not break
        ("001\u00a0234", "001 234"),
        ("００１２３４", "001234"),  # full-width digits
        ("001234\u200b", "001234"),  # zero width
        ("\u202e001234", "001234"),  # right to left
    ],
)  # fmt: skip
def test_odd_blanks_and_full_width_digits(tmp_path: Path, cell: str, read: str) -> None:
    files = {"cards.csv": f"card_id,number\nC1,0099\nC2,{cell}\n"}
    record = review(tmp_path, files)
    (said,) = notices(record, "invisible or full-width signs")
    assert said.startswith("cards.csv row 3: number")
    assert "read as plain ones" in said
    assert load_site(tmp_path, AS_OF)["cards"]["number"].tolist() == ["0099", read]


def test_odd_signs_in_ids_do_not_part_a_person_from_the_card(tmp_path: Path) -> None:
    files = {
        "people.csv": "person_id,name\nP1,Elm\n",
        "cards.csv": "card_id,number,person_id\nC1,0099,P1\u00a0\nC2,0098,Ｐ１\n",
    }
    record = review(tmp_path, files)
    assert not [f for f in record.findings if f.rule == "reference-unknown"]
    (said,) = notices(record, "invisible or full-width signs")
    assert "row 2 and 1 more row: person_id" in said


# --- letters for digits --------------------------------------------------------------------


@pytest.mark.parametrize("pin", ["48O211", "48l211", "4821I1"])
def test_letters_for_digits_in_a_pin(tmp_path: Path, pin: str) -> None:
    files = {"pins.csv": f"pin_id,pin\nP1,739150\nP2,{pin}\n"}
    record = review(tmp_path, files)
    (said,) = notices(record, "a letter O, l or I among digits; write the digit 0 or 1")
    assert said.startswith("pins.csv row 3: pin")
    (finding,) = [f for f in record.findings if f.rule == "value-not-understood"]
    assert one(finding.subjects["id"]) == "P2"
    assert [s.row for s in finding.sources] == [3]
    assert pin not in record.to_json()


@pytest.mark.parametrize("number", ["00O1234", "0l01234", "00123I4"])
def test_letters_for_digits_in_a_card_number(tmp_path: Path, number: str) -> None:
    files = {"cards.csv": f"card_id,number\nC1,{number}\nC2,04A1B2C3\nC3,0012345\n"}
    (said,) = notices(review(tmp_path, files), "a letter O, l or I among digits")
    assert said.startswith("cards.csv row 2: number")


# --- in look -------------------------------------------------------------------------------


def test_look_says_it_before_anything_is_audited(tmp_path: Path) -> None:
    from tests.ingest.test_look import told

    path = tmp_path / "fobs.csv"
    path.write_text("Fob No.;Status\n1.23E+11;active\n0012;active\n", "utf-8")
    text = " ".join(told([path], width=80)[1].split())
    assert "'Fob No.': a spreadsheet changed some of these numbers (exponent form)" in text
