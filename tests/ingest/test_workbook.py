"""Workbooks: what a person sees in the cells, and what is refused."""

from __future__ import annotations

import datetime as dt
import io
import random
import zipfile
from pathlib import Path
from typing import Any

import openpyxl
import pytest

from audit.ingest import values as v
from audit.ingest.readers.workbook import number_text, serial_day
from audit.site import InputError
from tests.ingest.books import by_hand, inline, sheet_xml, workbook
from tests.ingest.sites import csv_text, load, same

DAY = dt.date(2026, 9, 30)


def test_a_workbook_gives_the_same_dataset_as_the_plain_file(tmp_path: Path) -> None:
    rows = [
        ["card_id", "number", "facility_code", "status", "valid_to", "person_id"],
        ["C1", "001234", "12", "active", "2026-09-30", "P1"],
        ["C2", "4711", "", "lost", "", ""],
        ["C3", "04A1B2C3", "", "", "2026-12-31", "Zoë"],
    ]
    typed: list[list[Any]] = [list(r) for r in rows]
    typed[1][2] = 12
    typed[1][4] = (dt.date(2026, 9, 30), "dd/mm/yyyy")
    typed[2][1] = 4711
    typed[3][4] = (46387, "d. mmm yy")
    plain = load(tmp_path / "a", {"cards.csv": csv_text(rows)})
    book = load(tmp_path / "b", {"cards.xlsx": workbook({"Cards": typed})})
    same(plain, book)
    assert book.where("cards", 1) == ("cards.xlsx", "Cards", 3)


@pytest.mark.parametrize(
    ("raw", "code", "shown"),
    [
        ("1234", "000000", "001234"),
        ("1234", "General", "1234"),
        ("1234", "0", "1234"),
        ("1234567", "000000", "1234567"),
        ("1.23E+11", "General", "123000000000"),
        ("1.23E+11", "0.00E+00", "123000000000"),
        ("1.2345678901234567E+16", "General", "12345678901234600"),
        ("0.5", "General", "0.5"),
        ("-0", "General", "0"),
        ("1.1000000000000001", "General", "1.1"),
        ("46295", "dd/mm/yyyy", "2026-09-30"),
        ("46295", "[$-407]d. mmmm yyyy", "2026-09-30"),
        ("46295.5", "dd/mm/yyyy hh:mm", "2026-09-30T12:00"),
        ("46295.5", "dd/mm/yyyy", "2026-09-30"),
        ("0.354166666666667", "hh:mm", "08:30"),
        ("0.354178240740741", "h:mm:ss", "08:30:01"),
        ("1", "[h]:mm", "24:00"),
        ("1", "hh:mm", "24:00"),
        ("1.25", "[h]:mm", "30:00"),
        ("46295", '"Tag "0', "46295"),
        ("12", '00"h"', "12"),
        ("59", "yyyy-mm-dd", "1900-02-28"),
        ("60", "yyyy-mm-dd", "60"),
        ("61", "yyyy-mm-dd", "1900-03-01"),
        ("99999999", "yyyy-mm-dd", "99999999"),
    ],
)
def test_numbers_as_a_person_sees_them(raw: str, code: str, shown: str) -> None:
    """Serial 1 is 1 January 1900, 61 is 1 March (ECMA-376 18.17.4.1, from memory)."""
    assert number_text(raw, code) == shown


def test_the_1904_calendar(tmp_path: Path) -> None:
    assert serial_day(0, from_1904=True) == dt.date(1904, 1, 1)
    rows = [["card_id", "number", "valid_to"], ["C1", "1", (DAY, "yyyy-mm-dd")]]
    book = workbook({"Cards": rows}, date_1904=True)
    assert load(tmp_path, {"cards.xlsx": book})["cards"]["valid_to"][0].date() == DAY


def test_titles_above_the_header_and_rows_without_value(tmp_path: Path) -> None:
    out = io.BytesIO()
    book = openpyxl.Workbook()
    sheet = book.active
    sheet["A1"] = "Fobs at Mill Yard"
    sheet.merge_cells("A1:D1")
    for row in (["Fob No.", "Tenant ref", "Flat", "Expires"], ["001", "P1", "A1", DAY], [],
                ["002", "P2", "A2", None]):  # fmt: skip
        sheet.append(row)
    sheet["D9"] = None
    book.save(out)
    data = load(tmp_path, {"cards.xlsx": out.getvalue()})
    assert data["cards"]["number"].tolist() == ["001", "002"]
    assert data["cards"]["person_id"].tolist() == ["P1", "P2"]
    assert data["cards"]["valid_to"][0].date() == DAY
    assert data.tables["cards"].rows.tolist() == [3, 5]


def test_error_cells_and_formulas_without_result(tmp_path: Path) -> None:
    rows = (
        f"<row>{inline('card_id', 'number', 'status', 'technology')}</row>"
        f'<row>{inline("C1")}<c t="str"><f>A1</f><v>77</v></c><c t="e"><v>#N/A</v></c>'
        f"<c><f>B1</f></c></row>"
        f"<row>{inline('C2')}<c><f>1+1</f></c></row>"
    )
    data = load(tmp_path, {"cards.xlsx": by_hand(sheet_xml(rows))})
    assert data["cards"]["number"].tolist() == ["77"]
    assert data.unread("cards", "status").tolist() == [True]
    assert data.unread("cards", "technology").tolist() == [True]
    assert data.tables["cards"].set_aside["unread"].tolist() == [True]


def test_pins_typed_as_numbers_are_told_from_those_that_only_show_zeros(tmp_path: Path) -> None:
    rows = [["pin_id", "pin"], ["P1", 1234], ["P2", (1234, "000000")], ["P3", "1234"],
            ["P4", 482913]]  # fmt: skip
    data = load(tmp_path, {"pins.xlsx": workbook({"Pins": rows})})
    damage = data.tables["pins"].damage["pin"].fillna("").tolist()
    assert damage == [v.ZEROS_GONE, "", "", ""]
    assert data["pins"]["secret"].str.len().fillna(0).tolist() == [0, 6, 4, 6]
    assert data.tables["pins"].as_numbers == {"pin"}


def test_texts_keep_what_the_file_escapes(tmp_path: Path) -> None:
    shared = (
        '<sst xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main">'
        "<si><t>person_id</t></si><si><t>name</t></si>"
        '<si><r><t>Zo</t></r><r><t xml:space="preserve">ë Q</t></r><rPh><t>x</t></rPh></si>'
        "<si><t>P_x0031_</t></si></sst>"
    )
    cells = "".join(f'<c t="s"><v>{i}</v></c>' for i in (0, 1))
    body = "".join(f'<c t="s"><v>{i}</v></c>' for i in (3, 2))
    book = by_hand(sheet_xml(f"<row>{cells}</row><row>{body}</row>"), shared)
    data = load(tmp_path, {"people.xlsx": book})
    assert data["people"].iloc[0, :2].tolist() == ["P1", "Zoë Q"]


def test_several_sheets(tmp_path: Path) -> None:
    cards = [["card_id", "number"], ["C1", "1"]]
    people = [["person_id", "name"], ["P1", "Ada"]]
    notes = [["read me"], ["nothing here"]]
    one = workbook({"Read me": notes, "Fobs": cards, "Lists": [["x"]]})
    assert len(load(tmp_path / "a", {"cards.xlsx": one})["cards"]) == 1
    both = workbook({"Old": cards, "New": [*cards, ["C2", "2"]]})
    with pytest.raises(InputError, match=r"cards\.xlsx: several sheets.*'Old', 'New'.*sheet ="):
        load(tmp_path / "b", {"cards.xlsx": both})
    toml = '[sources.cards]\nfile = "all.xlsx"\nsheet = "New"\n'
    data = load(tmp_path / "c", {"all.xlsx": both}, toml)
    assert len(data["cards"]) == 2
    assert data.where("cards", 0) == ("all.xlsx", "New", 2)
    with pytest.raises(InputError, match="has no sheet 'Fob'"):
        load(tmp_path / "d", {"all.xlsx": both}, toml.replace("New", "Fob"))
    whole = workbook({"Cards": cards, "People": people})
    toml = '[sources.cards]\nfile = "all.xlsx"\n[sources.people]\nfile = "all.xlsx"\n'
    data = load(tmp_path / "e", {"all.xlsx": whole}, toml)
    assert [i.file for i in data.inputs] == ["all.xlsx", "all.xlsx"]
    assert data.inputs[0].sha256 == data.inputs[1].sha256
    with pytest.raises(InputError, match="none of the sheets"):
        load(tmp_path / "f", {"cards.xlsx": workbook({"A": notes, "B": people})})


def test_a_header_row_that_the_site_names(tmp_path: Path) -> None:
    rows = [["number", "status"], ["card numbers of October"], ["number", "status"], ["7", "lost"]]
    toml = "[sources.cards]\nheader_row = 3\n"
    data = load(tmp_path / "a", {"cards.xlsx": workbook({"S": rows})}, toml)
    assert data["cards"]["number"].tolist() == ["7"]
    with pytest.raises(InputError, match="row 9 is empty"):
        load(tmp_path / "b", {"cards.xlsx": workbook({"S": rows})}, toml.replace("3", "9"))


# --- refused -----------------------------------------------------------------------------

HEAD = f"<row>{inline('card_id', 'number')}</row>"
BOMB = '<!DOCTYPE x [<!ENTITY a "aaaaaaaaaa"><!ENTITY b "&a;&a;&a;&a;&a;&a;&a;&a;">]>'


def _zip(entries: dict[str, bytes], **kind: Any) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as z:
        for name, data in entries.items():
            z.writestr(name, data)
    return out.getvalue()


def _overlapping() -> bytes:
    good = bytearray(workbook({"S": [["card_id", "number"], ["C1", "1"]]}))
    # the central directory's last two entries point at one place
    first = good.index(b"PK\x01\x02")
    second = good.index(b"PK\x01\x02", first + 4)
    good[second + 42 : second + 46] = good[first + 42 : first + 46]
    return bytes(good)


REFUSED = {
    "entity bomb in a sheet": (by_hand(sheet_xml(HEAD, BOMB)), "document type"),
    "entity bomb in the texts": (by_hand(sheet_xml(HEAD), BOMB + "<sst/>"), "document type"),
    "zip bomb": (by_hand(sheet_xml(HEAD), None, {"x": b"\0" * 40_000_000}), "times its size"),
    "one entry a bomb": (
        by_hand(
            sheet_xml(HEAD), None,
            {"x": b"\0" * 8_000_000, "z": random.Random(1).randbytes(200_000)},
        ),
        "times its size",
    ),
    "too many entries": (_zip({f"{i}": b"" for i in range(10_001)}), "entries"),
    "overlapping entries": (_overlapping(), "overlap"),
    "no workbook inside": (_zip({"a.txt": b"x"}), "holds no workbook"),
    "cut short": (workbook({"S": [["card_id", "number"]]})[:-200], "damaged"),
    "not XML": (by_hand("<worksheet><sheetData><row>"), "damaged"),
    "bad shared text": (by_hand(sheet_xml(HEAD + '<row><c t="s"><v>99</v></c></row>')), "damaged"),
    "a cell far out": (
        by_hand(sheet_xml(HEAD + '<row r="2"><c r="XFD2"><v>1</v></c></row>')),
        "column 16,384",
    ),
    "a cell outside": (
        by_hand(sheet_xml(HEAD + '<row r="2"><c r="XFZ2"><v>1</v></c></row>')),
        "outside the sheet",
    ),
    "a giant cell": (
        by_hand(sheet_xml(HEAD + f"<row>{inline('C1', 'ab' * 20_000)}</row>")),
        "row 2: a cell longer",
    ),
    "an old workbook": (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + b"\0" * 600, "save it as .xlsx"),
    "empty sheet": (by_hand(sheet_xml("")), "the sheet is empty"),
    "plain text": (b"card_id,number\nC1,1\n", "damaged or cut short"),
}  # fmt: skip


@pytest.mark.parametrize("name", REFUSED)
def test_hostile_workbooks_are_one_clear_line(tmp_path: Path, name: str) -> None:
    content, says = REFUSED[name]
    with pytest.raises(InputError, match=r"cards\.xlsx") as caught:
        load(tmp_path, {"cards.xlsx": content})
    assert says in str(caught.value)
    assert "\n" not in str(caught.value)


def test_a_stray_cell_at_the_last_row_costs_nothing(tmp_path: Path) -> None:
    rows = HEAD + f'<row r="2">{inline("C1", "7")}</row>'
    rows += '<row r="1048576"><c r="A1048576" t="inlineStr"><is><t> </t></is></c></row>'
    assert len(load(tmp_path, {"cards.xlsx": by_hand(sheet_xml(rows))})["cards"]) == 1


def test_a_workbook_by_any_name_is_read_as_one(tmp_path: Path) -> None:
    book = workbook({"S": [["card_id", "number"], ["C1", "007"]]})
    assert load(tmp_path, {"cards.csv": book})["cards"]["number"].tolist() == ["007"]
