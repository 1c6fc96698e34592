"""`look`: a folder of exports that nobody has prepared becomes a site; nothing silently."""

from __future__ import annotations

import datetime as dt
import io
import re
from pathlib import Path

import pytest

from audit.cli import main
from audit.faults import InputError
from audit.ingest import load_site
from audit.ingest.guess import claims, date_order, days_words, meanings, translated
from audit.ingest.lexicon import LANGUAGES, WORDS
from audit.ingest.look import Look, look, tell
from audit.ingest.mapping import PLACEHOLDER
from audit.ingest.values import fold
from audit.schema import TABLES
from audit.screen import console
from audit.site import parse_site
from tests.ingest.books import workbook
from tests.ingest.exports import SITES
from tests.ingest.sites import TOML

AS_OF = dt.date(2026, 10, 1)


def put(folder: Path, files: dict[str, bytes]) -> Path:
    folder.mkdir(parents=True, exist_ok=True)
    for name, content in files.items():
        (folder / name).write_bytes(content)
    return folder


def told(files: list[Path], write: Path | None = None, width: int = 200) -> tuple[int, str]:
    out = io.StringIO()
    code = tell(files, console(out, color=False, width=width), write)
    return code, out.getvalue()


def seen(path: Path) -> Look:
    (found,) = look(path)
    return found


WANTED = {
    "German": {
        "cards": "number person_id dwelling_id status issued_on valid_to",
        "people": "person_id name dwelling_id start_date end_date phone",
        "pins": "pin_id pin kind person_id door_id",
        "doors": "door_id name inside_zone outside_zone entry lock power_loss status_monitor"
        " escape_route clear_width_mm fire_minutes self_closing last_tested",
        "zones": "zone_id name kind occupants",
        "schedules": "schedule_id days start end",
        "permissions": "permission_id holder_id door_group schedule_id",
    },
    "French": {
        "cards": "number person_id dwelling_id status issued_on valid_to",
        "people": "person_id name role dwelling_id start_date end_date phone",
        "doors": "door_id name inside_zone outside_zone entry lock power_loss exit_input"
        " escape_route clear_width_mm fire_minutes self_closing last_tested",
        "zones": "zone_id name kind occupants place_of_safety",
        "schedules": "schedule_id days start end",
        "events": "time door_id event card_number",
    },
    "Spanish": {
        "cards": "number person_id dwelling_id status issued_on valid_to",
        "people": "person_id name role dwelling_id start_date end_date phone",
        "doors": "door_id name inside_zone outside_zone entry lock power_loss status_monitor"
        " escape_route clear_width_mm fire_minutes self_closing last_tested",
        "zones": "zone_id name kind occupants",
        "schedules": "schedule_id days start end",
        "pins": "pin_id pin kind dwelling_id",
    },
    "Dutch": {
        "cards": "number person_id dwelling_id status issued_on valid_to",
        "people": "person_id name role dwelling_id start_date end_date phone",
        "doors": "door_id name inside_zone outside_zone entry lock power_loss exit_input"
        " escape_route clear_width_mm fire_minutes self_closing last_tested",
        "zones": "zone_id name kind occupants",
        "schedules": "schedule_id days start end",
        "calendars": "calendar date name",
    },
    "English": {
        "cards": "number person_id dwelling_id status issued_on valid_to",
        "people": "person_id name dwelling_id start_date end_date",
        "doors": "door_id name inside_zone outside_zone entry lock power_loss exit_input"
        " escape_route clear_width_mm fire_minutes self_closing last_tested",
        "zones": "zone_id name kind occupants",
        "pins": "pin_id pin kind dwelling_id",
        "events": "time door_id event card_number",
    },
}


@pytest.mark.parametrize("language", SITES)
def test_a_folder_of_foreign_exports_becomes_a_site_with_one_command(
    tmp_path: Path, language: str, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = put(tmp_path / "Linden Court", SITES[language])
    assert main(["look", str(folder), "--write", str(folder)]) == 0
    assert main(["check", str(folder), "--as-of", str(AS_OF), "--quiet"]) in (0, 1)
    data = load_site(folder, AS_OF)
    wanted = {table: set(columns.split()) for table, columns in WANTED[language].items()}
    assert {name: set(t.columns) for name, t in data.tables.items()} == wanted
    for name, table in data.tables.items():
        assert not table.unread, name
        assert not len(table.set_aside), name
    assert data.site.name == "Linden Court"
    again = (folder / "site.toml").read_bytes()
    assert main(["look", str(folder), "--write", str(folder)]) == 0
    assert (folder / "site.toml").read_bytes() == again
    capsys.readouterr()


def test_words_and_dates_come_out_as_they_were_meant(tmp_path: Path) -> None:
    """Values of three languages, worked out by hand from the exports."""
    got = {}
    for language in ("German", "French", "English"):
        folder = put(tmp_path / language, SITES[language])
        told([folder], folder)
        got[language] = load_site(folder, AS_OF)
    german = got["German"]
    assert german["cards"]["status"].tolist() == ["active", "suspended", "lost"]
    assert german["doors"]["clear_width_mm"].tolist() == [900.0, 850.0]
    assert german["doors"]["power_loss"].tolist() == ["unlocks", "stays-locked"]
    assert german["schedules"]["days"].tolist() == ["mon-fri", "sat"]
    assert german["cards"]["number"].tolist() == ["004711", "004712", "004713"]
    french = got["French"]
    assert french["doors"]["clear_width_mm"].tolist() == [900.0, 800.0]
    assert french["doors"]["fire_minutes"].tolist()[0] == 30
    assert french["schedules"]["days"].tolist() == ["mon-fri", "sat sun"]
    assert french["events"]["event"].tolist() == ["granted", "denied", "forced"]
    english = got["English"]
    assert english["cards"]["issued_on"].dt.strftime("%Y-%m-%d").tolist() == [
        "2025-02-13", "2025-02-14", "2025-02-15",
    ]  # fmt: skip
    assert english["cards"]["status"].tolist() == ["active", "returned", "lost"]


# --- how sure ------------------------------------------------------------------------------


def test_a_column_is_never_taken_silently(tmp_path: Path) -> None:
    path = tmp_path / "fobs.csv"
    path.write_text("Fob No.,Colour,Holder,Expires\n0012,blue,P1,2026-12-31\n", "utf-8")
    code, text = told([path])
    assert code == 0
    assert re.search(r"Colour\s+left over", text)
    assert re.search(r"Fob No\.\s+number\s+English trade word\s+0012", text)
    assert "header in row 1; 1 row" in text
    assert "comma" in text
    assert "UTF-8" in text


def test_a_proposal_is_told_from_what_check_takes_by_itself(tmp_path: Path) -> None:
    path = tmp_path / "chips.csv"
    path.write_text("Chip-Nr.;Bewohner-Kennung\n0012;M1\n", "utf-8")
    found = {c.header: c for c in seen(path).columns}
    assert found["Chip-Nr."].by_itself
    assert not found["Bewohner-Kennung"].by_itself
    assert found["Bewohner-Kennung"].sure
    assert found["Bewohner-Kennung"].why == "German, means 'personen nr'"
    _, text = told([path])
    assert re.search(r"Bewohner-Kennung\s+person_id \+", text)
    assert "+ is taken only once site.toml says so" in text


def test_it_says_when_it_is_not_sure(tmp_path: Path) -> None:
    path = tmp_path / "list.csv"
    path.write_text("Flat;Name\nA1;Elm\nA2;Oak\n", "utf-8")
    code, text = told([path])
    assert code == 1
    assert "Not sure" in text or "no column is surely" in text
    assert "may also be" in text


def test_what_is_no_register_is_no_table(tmp_path: Path) -> None:
    path = tmp_path / "menu.csv"
    path.write_text("Dish;Price\nSoup;4.50\nPie;7.20\n", "utf-8")
    code, text = told([path])
    assert code == 1
    assert "No table is recognised" in text
    folder = put(tmp_path / "s", {"menu.csv": path.read_bytes()})
    told([folder], folder)
    assert "sources" not in (folder / "site.toml").read_text("utf-8")


def test_a_file_without_a_line_of_names_is_told(tmp_path: Path) -> None:
    path = tmp_path / "x.csv"
    path.write_text("482913;A1;2026-01-01\n771204;A2;2026-01-02\n", "utf-8")
    code, text = told([path])
    assert code == 1
    assert "no line of column names" in text
    assert "482913" not in text
    assert "771204" not in text


def test_values_that_do_not_look_like_it_are_said(tmp_path: Path) -> None:
    path = tmp_path / "cards.csv"
    path.write_text("number,valid_to\n0012,blue\n0013,green\n", "utf-8")
    _, text = told([path])
    assert "most of its values do not look like it" in text
    assert "valid_to: not understood in 2 rows: 'blue', 'green'; it takes a date" in text


def test_unsure_lines_are_comments_and_read_as_nothing(tmp_path: Path) -> None:
    rows = "Fob No.;Holder;State of affairs;Status\n0012;P1;x;in use\n0013;P2;y;somewhere\n"
    folder = put(tmp_path / "s", {"fobs.csv": rows.encode()})
    told([folder], folder)
    text = (folder / "site.toml").read_text("utf-8")
    assert '"in use" = "active"' in text
    assert '# "somewhere" = "…"    # one of: active, suspended, lost' in text
    site = parse_site(text)
    assert site.sources["cards"].values == {"status": {"in use": "active"}}


def test_without_a_starred_column_the_whole_section_is_a_comment(tmp_path: Path) -> None:
    folder = put(tmp_path / "s", {"mieter.csv": b"Name;Wohnung;Einzug\nElm;A1;13.02.2024\n"})
    code, text = told([folder], folder)
    assert code == 1
    assert "no column is surely person_id" in text
    toml = (folder / "site.toml").read_text("utf-8")
    assert "# [sources.people]" in toml
    assert parse_site(toml).sources == {}


def test_one_line_to_correct_where_one_column_is_not_sure(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    rows = "Omschrijving;Zahlencode;Soort\nBezorging;903174;bezorging\nHuis;558210;privé\n"
    folder = put(tmp_path / "s", {"toegangscodes.csv": rows.encode()})
    code, text = told([folder], folder)
    assert code == 1
    assert "[sources.pins] waits for you: take away the # before pin_id" in text
    toml = folder / "site.toml"
    line = '# pin_id = "Omschrijving"    # not sure: its values differ in every row'
    assert line in toml.read_text("utf-8")
    assert main(["check", str(folder)]) == 2  # loud, and says which line
    assert "has no column pin_id" in capsys.readouterr().err
    toml.write_text(toml.read_text("utf-8").replace(line, line.removeprefix("# ")), "utf-8")
    data = load_site(folder, AS_OF)
    assert data["pins"]["pin_id"].tolist() == ["Bezorging", "Huis"]


def test_days_and_times_in_two_columns_are_said(tmp_path: Path) -> None:
    rows = "Datum;Uhrzeit;Leser;Ergebnis\n13.02.2026;08:00:00;T1;Zutritt gewährt\n"
    rows += "13.02.2026;08:05:00;T1;verweigert\n"
    path = tmp_path / "protokoll.csv"
    path.write_text(rows, "utf-8")
    code, text = told([path])
    assert code == 1
    assert "'Datum' holds days without a time of day; join it with the column of the time" in text
    assert "08:00:00" in text


def test_a_persons_name_is_not_surely_a_reference(tmp_path: Path) -> None:
    path = tmp_path / "fobs.csv"
    path.write_text("Fob number,Tenant name\n0012,Elm A\n0013,Oak B\n", "utf-8")
    found = {c.header: c for c in seen(path).columns}
    assert found["Tenant name"].column == "person_id"
    assert not found["Tenant name"].sure


def test_dates_without_proof_are_said_and_not_decided(tmp_path: Path) -> None:
    rows = "Fob No.;Valid until\n0012;03/04/2026\n0013;05/06/2026\n"
    folder = put(tmp_path / "s", {"fobs.csv": rows.encode()})
    _, text = told([folder], folder)
    assert "nothing in the file proves which" in text
    toml = (folder / "site.toml").read_text("utf-8")
    assert '# date_order = "dmy"' in toml
    assert parse_site(toml).sources["cards"].date_order is None


def test_two_files_for_one_table(tmp_path: Path) -> None:
    rows = b"Fob No.;Status\n0012;active\n"
    folder = put(tmp_path / "s", {"block a.csv": rows + b"0013;active\n", "block b.csv": rows})
    code, text = told([folder], folder)
    assert code == 1
    assert "cards is read from block a.csv; a table has one file" in text
    assert parse_site((folder / "site.toml").read_text("utf-8")).sources["cards"].file == (
        "block a.csv"
    )


# --- site.toml -----------------------------------------------------------------------------

BY_HAND = (
    "# our own site, written by hand\n" + TOML + "\n[policy]\ncard_dormant_days = 30  # agreed\n"
)


def test_what_a_person_wrote_stays_to_the_letter(tmp_path: Path) -> None:
    folder = put(tmp_path / "s", SITES["Dutch"])
    (folder / "site.toml").write_text(BY_HAND, "utf-8")
    told([folder], folder)
    text = (folder / "site.toml").read_text("utf-8")
    assert text.startswith(BY_HAND)
    assert load_site(folder, AS_OF).policy.card_dormant_days == 30


@pytest.mark.parametrize(
    "section",
    [
        '[sources.cards]\nfile = "fobs.csv"   # theirs\ncolumns = { number = "Serial" }\n',
        '[sources.cards]\nfile = "fobs.csv"\nvalues.status = { "in use" = "suspended" }\n',
        '[sources.cards]\nfile = "fobs.csv"\n[sources.cards.values.status]\n"gone" = "lost"\n',
        '[sources.cards]\nfile = "fobs.csv"\ndate_order = "mdy"\n',
    ],
)
def test_a_section_that_is_there_is_only_added_to(tmp_path: Path, section: str) -> None:
    rows = "Fob No.;Serial;Bewohner-Kennung;Status\n0012;A1;P1;in use\n0013;A2;P2;verloren\n"
    folder = put(tmp_path / "s", {"fobs.csv": rows.encode()})
    (folder / "site.toml").write_text(TOML + section, "utf-8")
    before = parse_site(TOML + section).sources["cards"]
    told([folder], folder)
    text = (folder / "site.toml").read_text("utf-8")
    for line in section.splitlines():
        if line.startswith("file"):
            assert line in text
    after = parse_site(text).sources["cards"]
    for column, header in before.columns.items():
        assert after.columns[column] == header
    for column, words in before.values.items():
        assert words.items() <= after.values[column].items()
    assert after.columns["person_id"] == "Bewohner-Kennung"
    assert after.values["status"]["verloren"] == "lost"
    assert (after.date_order or "dmy") == (before.date_order or "dmy")
    load_site(folder, AS_OF)


def test_what_site_toml_says_goes_first_and_is_named_as_the_reason(tmp_path: Path) -> None:
    rows = "Fob No.;Serial;Who\n0012;A1;P1\n"
    folder = put(tmp_path / "s" / "x", {"fobs.csv": rows.encode()}).parent
    mapped = '[sources.cards]\nfile = "x/fobs.csv"\ncolumns = { number = "Serial" }\n'
    (folder / "site.toml").write_text(TOML + mapped, "utf-8")
    _, text = told([folder / "x" / "fobs.csv"])
    assert re.search(r"Serial\s+number\s+site\.toml", text)
    assert re.search(r"Fob No\.\s+left over\s+could be number too", text)
    (folder / "site.toml").write_text(TOML + mapped.replace("Serial", "Seriol"), "utf-8")
    with pytest.raises(InputError, match=r"has no column 'Seriol'.*the nearest is 'Serial'"):
        told([folder / "x" / "fobs.csv"])


def test_line_ends_of_the_file_are_kept(tmp_path: Path) -> None:
    folder = put(tmp_path / "s", {"fobs.csv": b"Fob No.\n0012\n"})
    (folder / "site.toml").write_bytes(TOML.replace("\n", "\r\n").encode())
    told([folder], folder)
    data = (folder / "site.toml").read_bytes()
    assert b"[sources.cards]" in data
    assert data.count(b"\n") == data.count(b"\r\n")


def test_a_file_outside_the_site_is_not_referred_to(tmp_path: Path) -> None:
    outside = tmp_path / "fobs.csv"
    outside.write_text("Fob No.;Status\n0012;active\n", "utf-8")
    site = put(tmp_path / "site", {})
    _, text = told([outside], site)
    assert "copy it into the folder first" in text
    assert "fobs" not in (site / "site.toml").read_text("utf-8")


def test_a_link_out_of_the_site_is_not_referred_to(tmp_path: Path) -> None:
    (tmp_path / "fobs.csv").write_text("Fob No.;Status\n0012;active\n", "utf-8")
    site = put(tmp_path / "site", {})
    (site / "fobs.csv").symlink_to(tmp_path / "fobs.csv")
    _, text = told([site / "fobs.csv"], site)
    assert "copy it into the folder first" in text


def test_files_below_the_site_are_named_from_it(tmp_path: Path) -> None:
    site = tmp_path / "site"
    put(site / "exports" / "october", {"fobs.csv": b"Fob No.;Status\n0012;active\n"})
    told([site / "exports"], site)
    assert parse_site((site / "site.toml").read_text("utf-8")).sources["cards"].file == (
        "exports/october/fobs.csv"
    )
    assert len(load_site(site, AS_OF)["cards"]) == 1


def test_a_time_zone_that_is_not_known_is_asked_for(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr("audit.ingest.mapping.local_zone", lambda: None)
    folder = put(tmp_path / "s", {"fobs.csv": b"Fob No.\n0012\n"})
    _, text = told([folder], folder)
    assert "time zone is not known" in text
    assert main(["check", str(folder)]) == 2
    said = capsys.readouterr().err
    assert PLACEHOLDER in said
    assert "time zone" in said
    assert len(said.strip().splitlines()) == 1
    assert told([folder], folder)[0] == 0  # looked at again before it is filled in


def test_this_computers_zone_is_said(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("TZ", "Europe/Madrid")
    folder = put(tmp_path / "s", {"fobs.csv": b"Fob No.\n0012\n"})
    _, text = told([folder], folder)
    assert "Europe/Madrid is this computer's" in text
    assert load_site(folder).site.timezone == "Europe/Madrid"


def test_a_broken_file_is_one_line_and_the_others_are_told(tmp_path: Path) -> None:
    folder = put(
        tmp_path / "s", {"a.xlsx": b"PK\x03\x04 cut", "fobs.csv": b"Fob No.;Status\n12;active\n"}
    )
    code, text = told([folder])
    assert code == 2
    assert "a.xlsx: damaged" in text
    assert "Is the table cards." in text


@pytest.mark.parametrize("name", ["missing.csv", "*.csv"])
def test_nothing_to_look_at(tmp_path: Path, name: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["look", str(tmp_path / name)]) == 2
    captured = capsys.readouterr()
    assert "Traceback" not in captured.out + captured.err
    assert captured.out == ""
    assert captured.err.count("\n") == 1


def test_no_folder_to_write_to(tmp_path: Path) -> None:
    path = tmp_path / "fobs.csv"
    path.write_text("Fob No.\n1\n", "utf-8")
    with pytest.raises(InputError, match="there is no such folder"):
        told([path], tmp_path / "nowhere")


def test_patterns_are_followed_where_the_shell_does_not(tmp_path: Path) -> None:
    put(tmp_path, {"fobs.csv": b"Fob No.;Status\n12;active\n", "notes.md": b"#"})
    assert "Is the table cards." in told([tmp_path / "*.csv"])[1]


# --- secrets -------------------------------------------------------------------------------

CANARY = "739150"


@pytest.mark.parametrize(
    "rows",
    [
        "pin_id,pin,kind\nP1,{c},shared\n",
        "Name;Zahlencode\nHaus;{c}\n",
        "Code ref,Keypad code,Flat\nP{c},{c},A1\n",
        "Fob No.,Keypad code,Holder\n0012,{c},P1\n",
        "Fob No.,Notes\n0012,gate code {c}\n",
        "Fob No.,Status\n0012,{c}\n",
        "Whatever,Other\n{c},x\n",
        "{c},A1\n{c},A2\n",
        "pin_id,pin,kind\n{c},P1,shared\nP2,,{c}\n",
        "pin_id,pin,set_on\nP1,,{c}\n",
        "time,door_id,event,pin_id\n2026-01-01 08:00,D1,granted,{c}\n",
        "time,door_id,event,pin_id\n2026-01-01 08:00,D1,{c},{c}\n",
        "door_id,number,credential_kind\nD1,{c},pin\n",
        'pin_id,pin\n"P1,{c}\nP2,{c}\n',
        "pin_id,pin,{c}\nP1,x,y\n",
        "name,code,code\nA,{c},{c}\n",
        "person_id,name,phone\nP1,Elm,{c}\n",
        "holder_id,permission_id,door_id\n{c},R1,D1\n",
    ],
)
def test_no_digit_of_a_pin_is_shown_or_written(
    tmp_path: Path, rows: str, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = put(tmp_path / "s", {"codes.csv": rows.format(c=CANARY).encode()})
    assert main(["look", str(folder), "--write", str(folder)]) in (0, 1, 2)
    captured = capsys.readouterr()
    assert CANARY not in captured.out + captured.err
    toml = folder / "site.toml"
    assert not toml.exists() or CANARY not in toml.read_text("utf-8")


def test_pin_samples_are_lengths(tmp_path: Path) -> None:
    path = tmp_path / "codes.csv"
    path.write_text("Code ref,Keypad code\nHouse,7391\nPost,****\n", "utf-8")
    samples = {c.column: c.samples for c in seen(path).columns}
    assert samples["pin"] == ("[4 digits]", "[4 characters]")
    assert samples["pin_id"] == ("House", "Post")


def test_names_come_out_inert(tmp_path: Path) -> None:
    header = "Fob No.;[bold]x[/bold];\u202eevil;=1+1"
    folder = put(tmp_path / "s", {"fobs.csv": f"{header}\n1;a\x1b[31m;b;c\n".encode()})
    _, text = told([folder], folder)
    assert "[bold]x[/bold]" in text
    assert "\x1b" not in text
    assert "\u202e" not in text
    parse_site((folder / "site.toml").read_text("utf-8"))


def test_a_header_with_quotes_and_breaks_is_written_as_toml(tmp_path: Path) -> None:
    folder = put(tmp_path / "s", {"fobs.csv": b'Fob No.;"Holder ""main""\n(ref)"\n12;P1\n'})
    told([folder], folder)
    load_site(folder, AS_OF)


# --- workbooks -----------------------------------------------------------------------------


def test_each_sheet_of_a_book_is_a_table(tmp_path: Path) -> None:
    book = workbook(
        {
            "Read me": [["Exported on Monday"]],
            "Fobs": [["Estate"], [], ["Fob No.", "Status"], ["0012", "active"]],
            "Flats": [["Flat no", "Block", "Staircase"], ["A1", "A", "1"]],
        }
    )
    folder = put(tmp_path / "s", {"register.xlsx": book})
    code, _text = told([folder], folder)
    assert code == 0
    site = parse_site((folder / "site.toml").read_text("utf-8"))
    assert {t: s.sheet for t, s in site.sources.items()} == {"cards": "Fobs", "dwellings": "Flats"}
    assert site.sources["cards"].header_row == 3
    data = load_site(folder, AS_OF)
    assert len(data["cards"]) == len(data["dwellings"]) == 1


def test_a_hidden_sheet_is_said(tmp_path: Path) -> None:
    import xlsxwriter

    path = tmp_path / "fobs.xlsx"
    book = xlsxwriter.Workbook(str(path))
    first, second = book.add_worksheet("Fobs"), book.add_worksheet("Old")
    for sheet in (first, second):
        sheet.write_row(0, 0, ["Fob No.", "Status"])
        sheet.write_row(1, 0, ["0012", "active"])
    second.hide()
    book.close()
    assert "hidden sheets were not looked at: 'Old'" in told([path])[1]


# --- words ---------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("table", "header", "column"),
    [
        ("cards", "Schlüsselanhänger-Nr", "number"),
        ("cards", "Sleutelhangernr.", "number"),
        ("cards", "Clé n°", "number"),
        ("cards", "Gültigkeit bis", "valid_to"),
        ("cards", "Date handed out", "issued_on"),
        ("cards", "Geldig t/m datum", "valid_to"),
        ("people", "Tenant reference no", "person_id"),
        ("people", "Identificador del inquilino", "person_id"),
        ("doors", "Tuerbezeichnung", "name"),
        ("doors", "clear widht mm", "clear_width_mm"),
        ("stations", "IP-Adresse der Sprechstelle", "address"),
    ],
)
def test_spellings_never_seen(table: str, header: str, column: str) -> None:
    found = claims(table, header)
    assert found, header
    assert found[0].column == column
    assert found[0].score < 1


@pytest.mark.parametrize("header", ["Colour", "Bemerkung", "Prix", "Foto", "Opmerkingen", "x", ""])
@pytest.mark.parametrize("table", TABLES)
def test_headers_that_mean_none_of_ours(table: str, header: str) -> None:
    assert not [c for c in claims(table, header) if c.score >= 0.8]


def test_every_listed_word_stands_for_one_word_of_its_column() -> None:
    for (table, column), words in WORDS.items():
        spec = TABLES[table].column(column)
        assert set(words) <= set(spec.words)
        owner: dict[str, str] = {}
        for word, others in words.items():
            for other in others:
                assert owner.setdefault(fold(other), word) == word, (table, column, other)
                assert translated(table, spec, other) == (word, True), (table, column, other)


def test_languages_are_told() -> None:
    for header, language in [
        ("Schließzylinder Wohnung", "German"), ("Numéro du logement", "French"),
        ("Vivienda", "Spanish"), ("Huurder", "Dutch"), ("Tenant", "English"),
    ]:  # fmt: skip
        assert meanings(header)[1][0] == language
        assert language in LANGUAGES


@pytest.mark.parametrize(
    ("texts", "meant"),
    [
        (["Mo-Fr", "Sa, So"], {"Mo-Fr": ("mon-fri", True), "Sa, So": ("sat sun", True)}),
        (["ma t/m vr", "di"], {"ma t/m vr": ("mon-fri", True), "di": ("tue", True)}),
        (["di"], {"di": ("tue", False)}),  # French dimanche, German and Dutch Tuesday
        (["Mon-Fri"], {}),
        (["perhaps"], {}),
        (["lunes a viernes y festivos"], {"lunes a viernes y festivos": ("mon-fri holiday", True)}),
    ],
)
def test_days_of_other_languages(texts: list[str], meant: dict[str, tuple[str, bool]]) -> None:
    assert days_words(texts) == meant


@pytest.mark.parametrize(
    ("texts", "orders", "open_to_doubt"),
    [
        (["13/02/2026", "01/02/2026"], {"dmy"}, True),
        (["02/13/2026"], {"mdy"}, True),
        (["01/02/2026"], {"dmy", "mdy"}, True),
        (["13/02/2026", "02/13/2026"], set(), True),
        (["2026-02-13", "3 May 2026"], {"dmy", "mdy", "ymd"}, False),
        (["26.02.13"], {"dmy", "ymd"}, True),
        (["26.02.33"], {"dmy"}, True),
    ],
)
def test_which_date_order_is_proved(
    texts: list[str], orders: set[str], open_to_doubt: bool
) -> None:
    assert date_order(texts) == (orders, open_to_doubt)


def test_a_long_file_is_looked_at_in_seconds(tmp_path: Path) -> None:
    rows = "".join(f"{i:07d};M{i:06d};aktiv;13.02.2024\n" for i in range(60_000))
    path = tmp_path / "chips.csv"
    path.write_text("Chip-Nr.;Bewohner-Kennung;Zustand;Ausgabetag\n" + rows, "utf-8")
    found = seen(path)
    assert (found.table, found.sure, found.rows) == ("cards", True, 60_000)
