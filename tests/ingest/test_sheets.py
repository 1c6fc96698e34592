"""The blank sheets: drawn from the schema, and read back clean once a person filled them in."""

from __future__ import annotations

import datetime as dt
import re
import shutil
import subprocess
import tomllib
from pathlib import Path
from typing import Any

import openpyxl
import pytest

from audit import packs
from audit.cli import main
from audit.contract import Dataset
from audit.faults import InputError
from audit.ingest import load_site, sheets
from audit.schema import TABLES
from audit.site import POLICY_KEYS, Equipment, parse_site

AS_OF = dt.date(2026, 9, 30)
SOFFICE = shutil.which("soffice") or shutil.which("libreoffice")

ROWS: dict[str, list[dict[str, Any]]] = {
    "dwellings": [
        {"dwelling_id": "0101", "building": "A", "core": "1", "floor": "00", "number": "0101",
         "zone_id": "STAIR", "occupied": "yes"},
        {"dwelling_id": "0102", "zone_id": "STAIR", "occupied": "no"},
    ],
    "people": [
        {"person_id": "P001", "name": "Elm, Ada", "role": "resident", "dwelling_id": "0101",
         "start_date": dt.date(2020, 3, 4), "phone": "+353 1 0000000"},
        {"person_id": "P002", "name": "Ash \"Bo\"; B", "role": "staff", "status": "current"},
    ],
    "cards": [
        {"card_id": "0007", "number": "001234", "technology": "hf-secure", "person_id": "P001",
         "status": "active", "valid_from": dt.date(2024, 2, 29), "valid_to": dt.date(2027, 12, 31)},
        {"number": "00001234567890123456", "person_id": "P002", "status": "stock"},
        {"number": "12E45", "facility_code": 7, "status": "lost"},
    ],
    "pins": [
        {"pin_id": "HOUSE", "pin": "004817", "kind": "shared", "door_id": "D1",
         "set_on": dt.date(2026, 9, 1)},
        {"pin_id": "P2", "pin": "****", "kind": "personal", "person_id": "P001"},
    ],
    "buildings": [
        {"building": "Elm House", "use": "flats", "evacuation": "stay-put", "communal_alarm": "no",
         "storeys": 4},
    ],
    "locks": [
        {"door_id": "D1", "lock_id": "top", "lock": "magnet", "power_loss": "unlocks",
         "emergency_release": "yes"},
    ],
    "zones": [
        {"zone_id": "STREET", "kind": "outside"},
        {"zone_id": "STAIR", "name": "Stair", "kind": "stair", "occupants": 40,
         "place_of_safety": "no", "security_grade": 2},
    ],
    "doors": [
        {"door_id": "D1", "name": "Main", "inside_zone": "STAIR", "outside_zone": "STREET",
         "entry": "card-or-pin", "lock": "magnet", "power_loss": "unlocks",
         "exit_input": "handle-switch", "mechanical_exit": "lever", "exit_reader": "no",
         "emergency_release": "yes", "alarm_release": "yes", "status_monitor": "contact-and-bolt",
         "escape_route": "yes", "opens_with_escape": "yes",
         "clear_width_mm": 850.5, "fire_minutes": 30, "self_closing": "yes",
         "held_open_alarm_s": 30, "exit_delay_s": 0, "unlock_schedule": "DAY",
         "last_tested": dt.date(2026, 8, 3)},
    ],
    "door_groups": [{"door_group": "ALL", "member_kind": "door", "member_id": "D1"},
                    {"door_group": "EMPTY"}],
    "permissions": [
        {"permission_id": "1", "holder_kind": "person", "holder_id": "P001", "door_group": "ALL",
         "schedule_id": "DAY", "valid_from": dt.date(2024, 2, 29)},
    ],
    "schedules": [
        {"schedule_id": "DAY", "days": "mon-fri", "start": "07:00", "end": "24:00",
         "calendar": "IE"},
        {"schedule_id": "DAY", "days": "sat sun", "start": "00:00", "end": "06:30"},
    ],
    "calendars": [{"calendar": "IE", "date": dt.date(2026, 12, 25), "name": "Christmas"}],
    "stations": [
        {"station_id": "EP", "kind": "entrance-panel", "door_id": "D1", "controller_id": "C1",
         "port": "6", "address": "10.0.0.2", "time_source": "network", "timezone": "Europe/Dublin",
         "admin_code": "changed"},
        {"station_id": "C1", "kind": "controller"},
        {"station_id": "AU", "kind": "answering-unit", "dwelling_id": "0101", "number": "0101"},
    ],
    "loaded": [
        {"door_id": "D1", "credential_kind": "card", "number": "001234",
         "valid_to": dt.date(2027, 12, 31), "read_on": dt.date(2026, 9, 29)},
        {"door_id": "D1", "credential_kind": "pin", "number": "HOUSE"},
    ],
    "events": [
        {"time": "2026-09-29T08:00:00Z", "door_id": "D1", "event": "granted",
         "card_number": "001234"},
        {"time": "2026-09-29 09:00", "door_id": "D1", "event": "exit"},
    ],
}  # fmt: skip


def blank(tmp_path: Path) -> Path:
    folder = tmp_path / "register"
    sheets.write(folder)
    return folder


def column_format(sheet: Any, at: int) -> str:
    """The number format that an empty cell of this column has."""
    return next(
        (d.number_format for d in sheet.column_dimensions.values() if d.min <= at <= d.max),
        "General",
    )


def fill(folder: Path) -> Path:
    """What a person types into every sheet, the column's own format left as it is."""
    path = folder / sheets.BOOK
    book = openpyxl.load_workbook(path)
    for table, rows in ROWS.items():
        sheet = book[table]
        header = [c.value for c in sheet[1]]
        for number, row in enumerate(rows, 2):
            for name, value in row.items():
                at = header.index(name) + 1
                cell = sheet.cell(number, at, value)
                cell.number_format = column_format(sheet, at)
    book.save(path)
    return path


def read_back(data: Dataset) -> None:
    """Every table holds what was typed, nothing unread, nothing said."""
    assert data.notes == ()
    assert set(data.tables) == set(ROWS)
    for name, rows in ROWS.items():
        table = data.tables[name]
        assert not table.unread, name
        assert not table.damage, name
        assert not len(table.set_aside), name
        assert len(table.frame) == len(rows), name
        for at, row in enumerate(rows):
            for column, value in row.items():
                kind = TABLES[name].column(column).kind
                got = table.frame["secret" if kind == "pin" else column].iloc[at]
                where = (name, column, at)
                if kind == "date":
                    assert got.date() == value, where
                elif kind == "yesno":
                    assert bool(got) == (value == "yes"), where
                elif kind == "clock":
                    assert got == int(value[:2]) * 60 + int(value[3:]), where
                elif kind == "moment":
                    assert got == dt.datetime(2026, 9, 29, 8), where  # 09:00 in Dublin is 08:00 UTC
                elif kind == "pin":
                    assert (got if value.isdigit() else None) == (
                        value if value.isdigit() else None
                    ), where
                else:
                    assert got == value, where


def in_dublin(folder: Path) -> Path:
    path = folder / "site.toml"
    text = re.sub(
        r"^timezone = .*$", 'timezone = "Europe/Dublin"', path.read_text("utf-8"), flags=re.M
    )
    path.write_text(text, "utf-8")
    return folder


# --- as they are written -------------------------------------------------------------------


def test_a_sheet_and_a_csv_a_table_with_the_canonical_header(tmp_path: Path) -> None:
    folder = blank(tmp_path)
    book = openpyxl.load_workbook(folder / sheets.BOOK)
    assert book.sheetnames == [sheets.GUIDE, *TABLES]
    for name, table in TABLES.items():
        wanted = [c.name for c in table.columns]
        assert [c.value for c in book[name][1]] == wanted
        assert book[name].max_row == 1
        assert book[name].freeze_panes == "B2"
        text = (folder / f"{name}.csv").read_bytes().decode("utf-8-sig")
        assert text == ",".join(wanted) + "\r\n"


def test_every_column_has_its_help_twice_and_its_check(tmp_path: Path) -> None:
    book = openpyxl.load_workbook(blank(tmp_path) / sheets.BOOK)
    guide = {(r[0].value, r[1].value, r[2].value) for r in book[sheets.GUIDE].iter_rows()}
    helps = [g[2] for g in guide if g[1]]
    for name, table in TABLES.items():
        sheet = book[name]
        checks = {str(v.sqref).split(":")[0]: v for v in sheet.data_validations.dataValidation}
        for at, column in enumerate(table.columns, 1):
            letter = openpyxl.utils.get_column_letter(at)
            help_text = sheets.help_of(table, column)
            assert sheet.cell(1, at).comment.text.strip() == help_text
            assert help_text in helps
            check = checks[f"{letter}2"]
            assert check.promptTitle == column.name
            assert check.prompt
            text = column_format(sheet, at) == "@"
            if column.words:
                assert check.type == "list"
                assert check.formula1.strip('"').split(",") == list(column.words)
            elif column.kind == "yesno":
                assert check.formula1 == '"yes,no"'
            elif column.kind == "date":
                assert (check.type, text) == ("date", False)
            elif column.kind in ("whole", "decimal"):
                assert check.type in ("whole", "decimal", "list")
                assert not text
            if column.kind in ("id", "ref", "number", "pin", "text"):
                assert text, (name, column.name)


def test_the_workbook_is_the_same_every_time() -> None:
    assert sheets.workbook() == sheets.workbook()


def test_the_site_file_names_every_key_and_its_default(tmp_path: Path) -> None:
    assert set(sheets.POLICY_HELP) == set(POLICY_KEYS)
    assert set(sheets.EQUIPMENT_HELP) == set(Equipment.model_fields)
    text = (blank(tmp_path) / "site.toml").read_text("utf-8")
    bare = re.sub(r"^# (?=(?:pack_)?[a-z_]+ = [^…])", "", text, flags=re.M)
    policy = tomllib.loads(bare)["policy"]
    assert set(policy) == {*POLICY_KEYS, *packs.NAMES}
    own, default = parse_site(bare).policy, parse_site(text).policy
    for key in POLICY_KEYS:  # with every default set by hand nothing changes
        assert getattr(default, key) in (None, getattr(own, key)), key
    for key in sheets.EQUIPMENT_HELP:
        assert f"# {key} = …" in text


def test_blank_sheets_are_no_tables(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    folder = blank(tmp_path)
    data = load_site(folder, AS_OF)
    assert not data.tables
    assert data.notes == ()
    assert main(["check", str(folder)]) == 1
    assert "important rules were not run" in " ".join(capsys.readouterr().out.split())


def test_nothing_is_overwritten(tmp_path: Path) -> None:
    folder = blank(tmp_path)
    with pytest.raises(InputError, match="is there already"):
        sheets.write(folder)
    (tmp_path / "file").write_text("x")
    with pytest.raises(InputError, match="is no folder"):
        sheets.write(tmp_path / "file")
    other = tmp_path / "other"
    other.mkdir()
    (other / "cards.csv").write_text("number\n1\n")
    with pytest.raises(InputError, match=r"cards\.csv: is there already"):
        sheets.write(other)
    assert [p.name for p in other.iterdir()] == ["cards.csv"]


def test_a_filled_csv_beside_an_unused_sheet_is_said(tmp_path: Path) -> None:
    folder = blank(tmp_path)
    with (folder / "cards.csv").open("a") as stream:
        stream.write("C1,001234\n")
    (note,) = load_site(folder, AS_OF).notes
    assert "cards.csv: not read; site.toml names register.xlsx for cards" in note


# --- filled in -----------------------------------------------------------------------------


def test_filled_in_it_reads_back(tmp_path: Path) -> None:
    folder = in_dublin(blank(tmp_path))
    fill(folder)
    read_back(load_site(folder, AS_OF))


needs_office = pytest.mark.skipif(
    SOFFICE is None,
    reason="LibreOffice (soffice) is not installed: the sheets were not tried in it",
)


def office(path: Path, kind: str, out: Path, home: Path) -> None:
    """Opens a workbook in LibreOffice and saves it as another kind of file."""
    assert SOFFICE is not None
    done = subprocess.run(
        [SOFFICE, f"-env:UserInstallation=file://{home}", "--headless", "--convert-to", kind,
         "--outdir", str(out), str(path)],
        capture_output=True, text=True, timeout=180, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr


@needs_office
def test_saved_by_a_spreadsheet_program_it_reads_back(tmp_path: Path) -> None:
    folder = in_dublin(blank(tmp_path))
    path = fill(folder)
    out, home = tmp_path / "saved", tmp_path / "home"
    office(path, "xlsx", out, home)
    shutil.copy(out / sheets.BOOK, path)
    read_back(load_site(folder, AS_OF))
    # and as CSV, a file a sheet: comma, double quotes, UTF-8, cells as shown
    texts = "csv:Text - txt - csv (StarCalc):44,34,76,1,,0,false,true,false,false,false,-1"
    office(path, texts, out, home)
    site = tmp_path / "csv site"
    site.mkdir()
    (site / "site.toml").write_text('[site]\nname = "S"\ntimezone = "Europe/Dublin"\n')
    for table in TABLES:
        shutil.copy(out / f"register-{table}.csv", site / f"{table}.csv")
    read_back(load_site(site, AS_OF))
