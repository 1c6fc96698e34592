"""`look` and hostile input: the corpus of broken files, invented tables, PINs in every place."""

from __future__ import annotations

import contextlib
import io
import random
import tempfile
import tomllib
from pathlib import Path

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from audit.faults import InputError
from audit.ingest import load_site
from audit.ingest.look import tell
from audit.schema import TABLES
from audit.screen import console
from audit.site import read_site
from tests.ingest.books import workbook
from tests.ingest.exports import SITES
from tests.ingest.sites import AS_OF, csv_text
from tests.ingest.test_building import cobie
from tests.ingest.test_hostile import BINARY, BROKEN_PINS, CANARY, GOOD, assert_hidden


def shown(folder: Path) -> str:
    """All that look prints and writes of a folder; it never raises anything but one clear line."""
    out = io.StringIO()
    try:
        code = tell([folder], console(out, color=False, width=120), folder)
        assert code in (0, 1, 2)
    except InputError as e:
        if not 0 < len(str(e)) < 600 or "\n" in str(e):
            pytest.fail("not one clear line", pytrace=False)
        out.write(str(e))
    toml = folder / "site.toml"
    if toml.exists():
        text = toml.read_text("utf-8")
        tomllib.loads(text)
        out.write(text)
    return out.getvalue()


def put(folder: Path, name: str, content: bytes) -> Path:
    folder.mkdir(exist_ok=True, parents=True)
    (folder / name).write_bytes(content)
    return folder


@pytest.mark.parametrize("name", BROKEN_PINS)
def test_no_digit_of_a_broken_pin_table(tmp_path: Path, name: str) -> None:
    content = BROKEN_PINS[name]
    content = content.encode() if isinstance(content, str) else content
    for file in ("pins.csv", "export.csv"):
        assert_hidden(shown(put(tmp_path / file, file, content)))


@pytest.mark.parametrize("kind", BINARY)
@pytest.mark.parametrize("name", ["x.csv", "x.xlsx", "x.json", "x.parquet", "x.ics", "x.ifc"])
def test_files_that_are_something_else(tmp_path: Path, kind: str, name: str) -> None:
    shown(put(tmp_path, name, BINARY[kind]))


MORE = {**GOOD, "model.xlsx": workbook(cobie())}


@pytest.mark.parametrize("name", MORE)
def test_cut_and_bent_anywhere(tmp_path: Path, name: str) -> None:
    chance = random.Random(11)
    whole = MORE[name]
    for i in range(12):
        bent = bytearray(whole)
        for _ in range(chance.choice((1, 3, 20))):
            bent[chance.randrange(len(bent))] = chance.randrange(256)
        cut = bytes(bent)[: chance.choice((len(whole), len(whole) // 2, 7))]
        shown(put(tmp_path / str(i), name, cut))


HEADERS = st.sampled_from(
    [c.name for t in TABLES.values() for c in t.columns]
    + ["Keypad code", "Zahlencode", "Code", "PIN", "Notiz", "Name", "Flat", "", "x", "Date", "[a]",
       "a=b", 'a"b', "a\nb", "\u202ea", "Serial", "Fob", "Tür", "Memo", "pin_id", "pin"]
)  # fmt: skip
CELLS = st.sampled_from(
    [*CANARY, CANARY[0] + ".0", "P " + CANARY[0], "x", "A1", "active", "", "2026-09-30", "1/2/2026",
     "perhaps", "yes", "#N/A", "[b]", "\x1b[1m", "=1+1", "'", '"', "\u202e", "9,18273E+05"]
)  # fmt: skip


@settings(max_examples=120)
@given(
    st.lists(HEADERS, min_size=1, max_size=6),
    st.lists(st.lists(CELLS, min_size=1, max_size=6), min_size=1, max_size=4),
    st.sampled_from(["export.csv", "pins.csv", "cards.csv", "events.csv", "doors.csv", "x.csv"]),
)
@example(["pin", "status"], [[CANARY[0], CANARY[0]]], "cards.csv")
@example([CANARY[0], "pin"], [["x", CANARY[0]]], "pins.csv")
def test_no_digit_of_a_pin_column_whatever_stands_beside_it(
    header: list[str], rows: list[list[str]], name: str
) -> None:
    """One column is surely a PIN's; its digits may stand in any other cell as well."""
    table = csv_text([["Keypad PIN", *header], *[[CANARY[0], *r] for r in rows],
                      [CANARY[1], "x"]])  # fmt: skip
    with tempfile.TemporaryDirectory() as folder:
        assert_hidden(shown(put(Path(folder) / "s", name, table.encode())))


@settings(max_examples=60)
@given(
    st.lists(st.text(max_size=8), min_size=1, max_size=5),
    st.lists(st.lists(st.text(max_size=5), max_size=5), max_size=4),
)
def test_any_table_leaves_a_site_file_that_can_be_read(
    header: list[str], rows: list[list[str]]
) -> None:
    table = csv_text([["Fob No.", *header], ["0012", "x"], *rows]).encode("utf-8", "replace")
    with tempfile.TemporaryDirectory() as folder:
        path = put(Path(folder) / "s", "fobs.csv", table)
        told = shown(path)
        if b"\0" in table:  # no text file: refused in a line, and nothing is written for it
            assert "NUL" in told
            return
        if "double quote" in told:  # a line break between quotes in the header: refused in a line
            return
        assert path / "site.toml" in path.iterdir()
        with contextlib.suppress(InputError):  # of the table's own faults
            load_site(path, AS_OF)
        read_site(path / "site.toml")


def test_the_exports_hold_no_pin_that_is_shown(tmp_path: Path) -> None:
    """The codes of the invented exports: 482913, 112233, 771204, 903174, 558210."""
    for language, files in SITES.items():
        folder = tmp_path / language
        for name, content in files.items():
            put(folder, name, content)
        text = shown(folder)
        for code in ("482913", "112233", "771204", "903174", "558210"):
            assert code not in text, language
