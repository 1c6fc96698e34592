"""Finding a site's files: names, sources, what leads outside, archives, decisions."""

from __future__ import annotations

import datetime as dt
import hashlib
import io
import os
import stat
import zipfile
from pathlib import Path

import pytest

from audit.ingest import load_site, read_decisions
from audit.site import InputError
from tests.ingest.sites import AS_OF, TOML, load, same, site

CARDS = "card_id,number\nC1,1\n"


def test_names_are_matched_without_case(tmp_path: Path) -> None:
    data = load(tmp_path, {"Cards.CSV": CARDS, "Door-Groups.csv": "door_group\nG1\n"})
    assert set(data.tables) == {"cards", "door_groups"}
    assert data.inputs[0].file == "Cards.CSV"


def test_inputs_name_file_digest_and_rows(tmp_path: Path) -> None:
    text = "card_id,number\nC1,1\nC2,\n,\n"
    (one,) = load(tmp_path, {"cards.csv": text}).inputs
    assert one.sha256 == hashlib.sha256(text.encode()).hexdigest()
    assert (one.table, one.file, one.rows, one.set_aside) == ("cards", "cards.csv", 2, 1)


def test_other_inputs_are_named_too(tmp_path: Path) -> None:
    data = load(tmp_path, {"decisions.csv": "finding_id,decision\n"})
    assert data.other_inputs == {
        "site.toml": hashlib.sha256(TOML.encode()).hexdigest(),
        "decisions.csv": hashlib.sha256(b"finding_id,decision\n").hexdigest(),
    }


def test_the_day_is_given_or_today_at_the_site(tmp_path: Path) -> None:
    folder = site(tmp_path, {})
    assert load_site(folder, AS_OF).as_of == AS_OF
    assert abs((load_site(folder).as_of - dt.datetime.now(dt.UTC).date()).days) <= 1


def test_sources_say_what_differs(tmp_path: Path) -> None:
    toml = """
[sources.cards]
file = 'exports\\fobs.csv'
date_order = "mdy"
columns = { number = "Fob No.", person_id = "Tenant ref" }
values.status = { "In use" = "active", "Handed back" = "returned" }
"""
    text = "Fob No.;Tenant ref;status;valid_to\n0012;P1;in use;09/30/2026\n13;;HANDED BACK;x\n"
    data = load(tmp_path, {"exports/fobs.csv": text, "cards.csv": CARDS}, toml)
    cards = data["cards"]
    assert cards["number"].tolist() == ["0012", "13"]
    assert cards["status"].tolist() == ["active", "returned"]
    assert cards["valid_to"][0].date() == AS_OF
    assert data.unread("cards", "valid_to").tolist() == [False, True]
    assert any(
        n.startswith("cards.csv: not read; site.toml names exports/fobs") for n in data.notes
    )


def test_a_file_in_two_tables(tmp_path: Path) -> None:
    toml = '[sources.doors]\nfile = "all.csv"\n[sources.zones]\nfile = "all.csv"\n'
    data = load(tmp_path, {"all.csv": "zone_id,door_id\nZ1,D1\n"}, toml)
    assert data["doors"]["door_id"].tolist() == ["D1"]
    assert data["zones"]["zone_id"].tolist() == ["Z1"]


@pytest.mark.parametrize(
    ("files", "toml", "says"),
    [
        ({"cards.csv": CARDS, "cards.xlsx": "x"}, "", "two files for the table cards"),
        ({"cards.csv": CARDS, "Cards.json": "[]"}, "", "two files for the table cards"),
        ({"cards.ods": "x"}, "", r"cards\.ods: this kind of file is not read; save it as"),
        ({"cards.csv": "card_id\nC1\n"}, "", r"cards\.csv: .* no column number"),
        ({"permissions.csv": "permission_id,holder_id\n"}, "", "no column door_group or door_id"),
        ({}, '[sources.cards]\nfile = "../cards.csv"\n', r"\.\./cards\.csv: lies outside"),
        ({}, '[sources.cards]\nfile = "/etc/passwd"\n', "/etc/passwd: lies outside"),
        ({}, '[sources.cards]\nfile = "C:\\\\cards.csv"\n', "lies outside"),
        ({}, '[sources.cards]\nfile = "..\\\\cards.csv"\n', "lies outside"),
        ({}, '[sources.cards]\nfile = "a/../../cards.csv"\n', "lies outside"),
        ({}, '[sources.cards]\nfile = "cards.csv"\n', r"cards\.csv: not found in the site"),
        ({"card.csv": CARDS}, '[sources.cards]\nfile = "cards.csv"\n', "nearest is 'card.csv'"),
        ({"x.pdf": "x"}, '[sources.cards]\nfile = "x.pdf"\n', "not read"),
        ({"x/y.csv": CARDS}, '[sources.cards]\nfile = "x"\n', "x: is no file"),
        ({}, '[sources.cards]\nsheet = "Fobs"\n', "gives a sheet and no file"),
        ({}, '[sources.cards]\nfile = "a\\u0000b"\n', "can't be followed"),
        ({"cards.csv": CARDS}, '[sources.cards]\nvalues.status = {"In use" = "activ"}\n',
         "'activ', which is no word of status; did you mean 'active'"),
        ({"doors.csv": "door_id\n"}, '[sources.doors]\nvalues.exit_reader = {"ja" = "oui"}\n',
         "no word of exit_reader"),
    ],
)  # fmt: skip
def test_what_can_not_be_used_is_one_clear_line(
    tmp_path: Path, files: dict[str, str], toml: str, says: str
) -> None:
    with pytest.raises(InputError, match=says) as caught:
        load(tmp_path, files, toml)
    assert "\n" not in str(caught.value)


def test_no_site(tmp_path: Path) -> None:
    for path, says in ((tmp_path / "none", "no such site"), (tmp_path, "site.toml: not found")):
        with pytest.raises(InputError, match=says):
            load_site(path)
    (tmp_path / "x.csv").write_text("a")
    with pytest.raises(InputError, match="is no site"):
        load_site(tmp_path / "x.csv")


def test_links_that_lead_outside(tmp_path: Path) -> None:
    outside = tmp_path / "outside.csv"
    outside.write_text(CARDS)
    folder = site(tmp_path / "s", {"real.csv": CARDS})
    (folder / "cards.csv").symlink_to(outside)
    with pytest.raises(InputError, match=r"cards\.csv: is a link that leads out"):
        load_site(folder, AS_OF)
    (folder / "cards.csv").unlink()
    (folder / "cards.csv").symlink_to(folder / "real.csv")
    assert len(load_site(folder, AS_OF)["cards"]) == 1
    (folder / "cards.csv").unlink()
    (folder / "cards.csv").symlink_to("cards.csv")
    with pytest.raises(InputError, match=r"cards\.csv"):
        load_site(folder, AS_OF)
    (folder / "cards.csv").unlink()
    (folder / "cards.csv").symlink_to("nowhere.csv")
    with pytest.raises(InputError, match=r"cards\.csv"):
        load_site(folder, AS_OF)
    (folder / "cards.csv").unlink()
    (folder / "site.toml").unlink()
    (tmp_path / "other.toml").write_text(TOML)
    (folder / "site.toml").symlink_to(tmp_path / "other.toml")
    with pytest.raises(InputError, match=r"site\.toml: is a link that leads out"):
        load_site(folder, AS_OF)


def test_pipes_folders_and_unreadable_files(tmp_path: Path) -> None:
    folder = site(tmp_path, {})
    (folder / "doors.csv").mkdir()
    with pytest.raises(InputError, match=r"doors\.csv: is no file"):
        load_site(folder, AS_OF)
    (folder / "doors.csv").rmdir()
    os.mkfifo(folder / "cards.csv")
    with pytest.raises(InputError, match=r"cards\.csv: is no file"):
        load_site(folder, AS_OF)
    (folder / "cards.csv").unlink()
    path = folder / "cards.csv"
    path.write_text(CARDS)
    path.chmod(0)
    if not os.access(path, os.R_OK):
        with pytest.raises(InputError, match=r"cards\.csv: can't be read"):
            load_site(folder, AS_OF)


# --- archives ----------------------------------------------------------------------------


def archive(path: Path, entries: dict[str, str], link: str | None = None) -> Path:
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as z:
        for name, text in entries.items():
            z.writestr(name, text)
        if link:
            entry = zipfile.ZipInfo(link)
            entry.external_attr = (stat.S_IFLNK | 0o777) << 16
            z.writestr(entry, "/etc/passwd")
    return path


@pytest.mark.parametrize("top", ["", "Mill Yard/"])
def test_a_site_in_a_zip(tmp_path: Path, top: str) -> None:
    plain = load(tmp_path / "a", {"cards.csv": CARDS})
    entries = {f"{top}site.toml": TOML, f"{top}cards.csv": CARDS, "__MACOSX/._x": "junk",
               f"{top}decisions.csv": "finding_id,decision\nabc,keep\n"}  # fmt: skip
    path = archive(tmp_path / "site.zip", entries)
    data = load_site(path, AS_OF)
    same(plain, data)
    assert data.inputs == plain.inputs
    (row,) = read_decisions(path)
    assert row.row == 2
    assert row.cells["finding_id"] == "abc"


@pytest.mark.parametrize(
    ("entries", "link", "says"),
    [
        ({"cards.csv": CARDS}, None, "no site.toml"),
        ({"a/site.toml": TOML, "b/site.toml": TOML}, None, "2 files called site.toml"),
        ({"site.toml": TOML, "../cards.csv": CARDS}, None, "leads out"),
        ({"site.toml": TOML, "/cards.csv": CARDS}, None, "leads out"),
        ({"site.toml": TOML, "a\\..\\..\\cards.csv": CARDS}, None, "leads out"),
        ({"site.toml": TOML, "C:/cards.csv": CARDS}, None, "leads out"),
        ({"site.toml": TOML}, "cards.csv", "symbolic link"),
        ({"site.toml": TOML, "cards.csv": CARDS, "Cards.csv": CARDS}, None, "twice"),
        ({"site.toml": TOML, "cards.csv": "a" * 30_000_000}, None, "times its size"),
        ({"site.toml": TOML, "x" * 300: ""}, None, "no usable name"),
        ({"site.toml": TOML, "site.toml/x": ""}, None, "damaged"),
    ],
)
def test_archives_that_are_refused(
    tmp_path: Path, entries: dict[str, str], link: str | None, says: str
) -> None:
    path = archive(tmp_path / "site.zip", entries, link)
    with pytest.raises(InputError, match=r"site\.zip") as caught:
        load_site(path, AS_OF)
    assert says in str(caught.value)
    assert not (tmp_path.parent / "cards.csv").exists()


def test_damaged_archives(tmp_path: Path) -> None:
    whole = archive(tmp_path / "a.zip", {"site.toml": TOML, "cards.csv": CARDS * 500}).read_bytes()
    path = tmp_path / "site.zip"
    for cut in (5, 40, len(whole) // 2, len(whole) - 5):
        path.write_bytes(whole[:cut])
        with pytest.raises(InputError, match=r"site\.zip"):
            load_site(path, AS_OF)
    bent = bytearray(whole)
    bent[whole.index(b"cards.csv") + 20] ^= 0xFF
    path.write_bytes(bent)
    with pytest.raises(InputError, match=r"site\.zip"):
        load_site(path, AS_OF)


# --- decisions ---------------------------------------------------------------------------


def test_decisions_are_read_as_they_stand(tmp_path: Path) -> None:
    text = "Finding ID;Decision;Reason;decided by\r\n\r\nab12;Keep;wörd;Q\r\nx\r\n"
    folder = site(tmp_path, {"decisions.csv": text.encode("cp1252")})
    rows = read_decisions(folder)
    assert [r.row for r in rows] == [3, 4]
    assert dict(rows[0].cells) == {
        "finding_id": "ab12", "decision": "Keep", "reason": "wörd", "decided_by": "Q",
    }  # fmt: skip
    assert read_decisions(site(tmp_path / "none", {})) == []


@pytest.mark.parametrize("text", ["", "decision\nkeep\n", "a,b\n1,2\n", b"\0\0\0"])
def test_decisions_that_can_not_be_read(tmp_path: Path, text: str | bytes) -> None:
    with pytest.raises(InputError, match=r"decisions\.csv"):
        read_decisions(site(tmp_path, {"decisions.csv": text}))


def test_reading_leaves_nothing_behind(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    import tempfile

    scratch = tmp_path / "scratch"
    scratch.mkdir()
    monkeypatch.setattr(tempfile, "tempdir", str(scratch))
    path = archive(tmp_path / "site.zip", {"site.toml": TOML, "cards.csv": CARDS})
    load_site(path, AS_OF)
    path.write_bytes(io.BytesIO(path.read_bytes()).getvalue()[:-4])
    with pytest.raises(InputError):
        load_site(path, AS_OF)
    assert list(scratch.iterdir()) == []
