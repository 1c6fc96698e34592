"""Broken and hostile files of every kind: a dataset or one clear line, soon, and no PIN's digit.

The corpus is made here, so that it can be read: a small good site, its files cut, bent and
filled with what does not belong, and random bytes in every place. Each case ends in a dataset
or in an InputError of one line that names the file.
"""

from __future__ import annotations

import contextlib
import io
import json
import logging
import random
import subprocess
import sys
import tempfile
import time
import traceback
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import rules
from audit.contract import Dataset, collect
from audit.engine import run
from audit.ingest import load_site
from audit.ingest.readers import raw
from audit.site import InputError
from tests.ingest.books import by_hand, inline, sheet_xml, workbook
from tests.ingest.sites import AS_OF, TOML, csv_text, load, site
from tests.ingest.test_records import parquet

CANARY = ("918273", "564738")
"""PINs that must not leave, whatever happens to the table that holds them."""

PINS = [
    ["pin_id", "pin", "kind", "dwelling_id", "set_on"],
    ["P1", CANARY[0], "shared", "A1", "2026-01-01"],
    ["P2", CANARY[1], "shared", "A2", "2026-01-01"],
]
REGISTER_RULES = [r for r in collect(rules) if r.family in ("register", "pins", "readback")]


def everything_said(data: Dataset) -> str:
    """All that leaves a dataset: notes, findings, and the frames without their secrets."""
    judged = run(REGISTER_RULES, data)
    told = [json.dumps(f.model_dump(mode="json")) for j in judged for f in j.findings]
    reasons = [str(j.outcome.reason) for j in judged]
    assert all(j.outcome.state != "failed" for j in judged), reasons
    frames = [t.frame.drop(columns="secret", errors="ignore").to_string() for t in
              data.tables.values()]  # fmt: skip
    aside = [t.set_aside.to_string() for t in data.tables.values()]
    return "\n".join([*data.notes, *told, *reasons, *frames, *aside])


def outcome(folder: Path) -> str:
    """What a person could see of an attempt to read the site, tracebacks included."""
    log = io.StringIO()
    handler = logging.StreamHandler(log)
    logging.getLogger().addHandler(handler)
    try:
        with contextlib.redirect_stderr(log), contextlib.redirect_stdout(log):
            data = load_site(folder, AS_OF)
        shown = everything_said(data)
    except InputError as e:
        if not 0 < len(str(e)) < 600 or "\n" in str(e):
            pytest.fail("not one clear line", pytrace=False)
        shown = "".join(traceback.format_exception(e))
    finally:
        logging.getLogger().removeHandler(handler)
    return shown + log.getvalue()


def assert_hidden(shown: str) -> None:
    """Fails without repeating what was shown."""
    if any(pin in shown for pin in CANARY):
        pytest.fail("a digit left", pytrace=False)


BROKEN_PINS: dict[str, str | bytes] = {
    "no header": csv_text(PINS[1:]),
    "columns exchanged": csv_text([[r[1], r[0], *r[2:]] for r in PINS[1:]]).join(
        ["pin_id,pin,kind,dwelling_id,set_on\r\n", ""]
    ),
    "ids are the codes": csv_text([PINS[0], *[[r[1], *r[1:]] for r in PINS[1:]]]),
    "ids hold the codes": csv_text([PINS[0], *[["PIN " + r[1], *r[1:]] for r in PINS[1:]]]),
    "no pin column": csv_text([[r[0], *r[2:]] for r in PINS]),
    "codes under another name": csv_text([["pin_id", "Keypad secret"], *[r[:2] for r in PINS[1:]]]),
    "an open quote": csv_text(PINS).replace(CANARY[0], '"' + CANARY[0]),
    "more cells": csv_text([PINS[0], *[[*r, r[1]] for r in PINS[1:]]]),
    "cut in the middle": csv_text(PINS)[:-30],
    "NUL": csv_text(PINS).replace("shared", "sha\0red"),
    "as sums": csv_text(PINS).replace(CANARY[0], CANARY[0] + ".0"),
    "as exponents": csv_text(PINS).replace(CANARY[0], "9.18273E+05"),
    "spaced": csv_text(PINS).replace(CANARY[0], "918 273"),
    "ids twice": csv_text([PINS[0], PINS[1], ["P1", CANARY[1], "", "", ""]]),
    "utf-16 without its first byte": csv_text(PINS).encode("utf-16")[1:],
    "the wrong separator": csv_text(PINS).replace(",", "~"),
}


@pytest.mark.parametrize("name", BROKEN_PINS)
def test_no_digit_leaves_a_broken_pin_table(tmp_path: Path, name: str) -> None:
    read_back = csv_text(
        [["door_id", "credential_kind", "number"],
         *[["D1", kind, number] for kind in ("pin", "", "x") for number in CANARY]]
    )  # fmt: skip
    events = csv_text(
        [["time", "door_id", "event", "pin_id"],
         *[["2026-09-30T10:00", "D1", "granted", p] for p in CANARY]]
    )  # fmt: skip
    files = {"pins.csv": BROKEN_PINS[name], "loaded.csv": read_back, "events.csv": events}
    shown = outcome(site(tmp_path, files))
    assert_hidden(shown)


def test_no_digit_leaves_read_back_and_events_alone(tmp_path: Path) -> None:
    files = {
        "loaded.csv": f"door_id,credential_kind,number\nD1,pin,{CANARY[0]}\nD1,,{CANARY[1]}\n",
        "events.csv": "time,door_id,event,pin_id\n"
        f"2026-09-30,D1,granted,{CANARY[0]}\n,,,{CANARY[1]}\n",
    }
    assert_hidden(outcome(site(tmp_path, files)))


@pytest.mark.parametrize("sheet", [PINS, PINS[1:], [PINS[0][::-1], *[r[::-1] for r in PINS[1:]]]])
def test_no_digit_leaves_a_workbook(tmp_path: Path, sheet: list[list[str]]) -> None:
    typed: list[list[Any]] = [[int(c) if c.isdigit() else c for c in row] for row in sheet]
    for i, rows in enumerate((sheet, typed)):
        book = workbook({"Pins": rows})
        assert_hidden(outcome(site(tmp_path / str(i), {"pins.xlsx": book})))


# --- the corpus --------------------------------------------------------------------------


def _good() -> dict[str, bytes]:
    cards = [["card_id", "number", "status"], *[[f"C{i}", f"{i:04}", ""] for i in range(40)]]
    records = [{"card_id": f"C{i}", "number": f"{i:04}"} for i in range(40)]
    return {
        "cards.csv": csv_text(cards).encode(),
        "cards.xlsx": workbook({"Cards": cards}),
        "cards.json": json.dumps(records).encode(),
        "cards.jsonl": "\n".join(map(json.dumps, records)).encode(),
        "cards.parquet": parquet({"card_id": ["C1", "C2"] * 20, "number": ["1", "2"] * 20}),
        "schedules.ics": (
            b"BEGIN:VCALENDAR\r\nVERSION:2.0\r\nPRODID:x\r\nBEGIN:VEVENT\r\nUID:a\r\n"
            b"DTSTART:20260105T080000\r\nDTEND:20260105T120000\r\nRRULE:FREQ=DAILY\r\n"
            b"END:VEVENT\r\nEND:VCALENDAR\r\n"
        ),
    }


GOOD = _good()


def _survives(name: str, content: bytes) -> None:
    with tempfile.TemporaryDirectory() as folder:
        start = time.monotonic()
        shown = outcome(site(Path(folder), {name: content}))
        assert time.monotonic() - start < 60
        assert shown is not None


@pytest.mark.parametrize("name", GOOD)
def test_cut_anywhere(name: str) -> None:
    whole = GOOD[name]
    for cut in sorted({1, 2, 3, 4, 7, len(whole) // 3, len(whole) // 2, len(whole) - 1}):
        _survives(name, whole[:cut])


@pytest.mark.parametrize("name", GOOD)
def test_bent_anywhere(name: str) -> None:
    chance = random.Random(7)
    for _ in range(25):
        bent = bytearray(GOOD[name])
        for _ in range(chance.choice((1, 3, 20))):
            bent[chance.randrange(len(bent))] = chance.randrange(256)
        _survives(name, bytes(bent))


@pytest.mark.parametrize("name", GOOD)
@settings(max_examples=25)
@given(noise=st.binary(max_size=300))
def test_random_bytes(name: str, noise: bytes) -> None:
    _survives(name, noise)


@settings(max_examples=60)
@given(
    st.lists(st.lists(st.text(max_size=5), max_size=5), max_size=5),
    st.sampled_from(["utf-8", "utf-16", "utf-8-sig"]),
)
def test_random_tables(rows: list[list[str]], encoding: str) -> None:
    header = ["card_id", "number", "valid_to"]
    _survives("cards.csv", csv_text([header, *rows]).encode(encoding, "replace"))


@settings(max_examples=40)
@given(st.text(max_size=60))
def test_random_site_files(text: str) -> None:
    with tempfile.TemporaryDirectory() as folder:
        path = site(Path(folder), {})
        (path / "site.toml").write_text(TOML + text, "utf-8", "replace")
        with contextlib.suppress(InputError):
            load_site(path, AS_OF)


@settings(max_examples=40)
@given(
    st.lists(
        st.tuples(
            st.sampled_from(["c", "row", "v", "is", "t", "f", "x:c", "sheetData"]),
            st.sampled_from(["", ' r="A1"', ' r="ZZZ9"', ' r="-1"', ' t="s"', ' t="e"', ' s="99"']),
            st.sampled_from(["", "1", "x", "99", "&lt;"]),
        ),
        max_size=8,
    )
)
def test_random_sheets(parts: list[tuple[str, str, str]]) -> None:
    body = "".join(f"<{t}{a}>{x}</{t}>" for t, a, x in parts)
    rows = f"<row>{inline('card_id', 'number')}</row><row>{body}</row>{body}"
    _survives("cards.xlsx", by_hand(sheet_xml(rows).replace("<x:", "<").replace("</x:", "</")))


BINARY = {
    "picture": b"\x89PNG\r\n\x1a\n" + bytes(range(256)) * 20,
    "program": b"\x7fELF" + b"\0" * 500,
    "pdf": b"%PDF-1.7\n" + b"x" * 200,
    "gzip": b"\x1f\x8b\x08" + bytes(range(256)),
    "html": b"<html><script>alert(1)</script><table><tr><td>card_id</td></tr></table></html>",
    "xml bomb": b'<?xml version="1.0"?><!DOCTYPE a [<!ENTITY b "' + b"c" * 500 + b'">]><a>&b;</a>',
    "zeros": b"\0" * 10_000,
    "newlines": b"\n" * 200_000,
    "separators": b",;\t|" * 50_000,
    "quotes": b'"' * 30_001,
    "one long line": b"x" * 3_000_000,
    "a header of a million": b"a," * 400_000 + b"\n1",
}


@pytest.mark.parametrize("kind", BINARY)
@pytest.mark.parametrize("name", ["cards.csv", "cards.xlsx", "cards.json", "cards.parquet"])
def test_files_that_are_something_else(tmp_path: Path, kind: str, name: str) -> None:
    with pytest.raises(InputError, match=name.replace(".", r"\.")) as caught:
        load(tmp_path, {name: BINARY[kind]})
    assert len(str(caught.value)) < 400


LIMITED = """
import resource, sys, datetime as dt
from pathlib import Path
from audit.ingest import load_site
from audit.site import InputError
try:
    load_site(Path(sys.argv[1]), dt.date(2026, 9, 30))
except InputError as e:
    print(e)
try:  # of this program alone: ru_maxrss begins with the memory of the test run that forked it
    lines = Path("/proc/self/status").read_text().splitlines()
    print(next(int(line.split()[1]) // 1024 for line in lines if line.startswith("VmHWM")))
except OSError:
    print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024)
"""


def _limited(folder: Path) -> tuple[str, int]:
    """The one line, and the peak memory in MiB, of reading a site in a process of its own."""
    done = subprocess.run(
        [sys.executable, "-c", LIMITED, str(folder)],
        capture_output=True, text=True, timeout=120, check=True,
    )  # fmt: skip
    *lines, peak = done.stdout.splitlines()
    return "\n".join(lines), int(peak)


def test_a_line_of_a_gigabyte_is_refused_at_once(tmp_path: Path) -> None:
    folder = site(tmp_path, {})
    with (folder / "cards.csv").open("wb") as out:
        out.write(b"card_id,number\nC1,")
        out.truncate(1 << 30)  # a file with a hole: a gigabyte of NUL bytes
    said, peak = _limited(folder)
    assert said.startswith("cards.csv row 2: holds NUL bytes")
    assert peak < 400
    with (folder / "cards.csv").open("wb") as out:
        out.write(b"card_id,number\nC1,")
        for _ in range(100):
            out.write(b"7" * 1_000_000)
    said, peak = _limited(folder)
    assert said.startswith("cards.csv row 2: a line longer than")
    assert peak < 400


def test_a_text_that_a_sheet_repeats_without_end_is_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """One shared text of 30,000 letters in ever more cells would fill any memory."""
    monkeypatch.setattr(raw, "MAX_TEXT", 100_000_000)
    shared = (
        f"<sst><si><t>card_id</t></si><si><t>number</t></si><si><t>{'x' * 30_000}</t></si></sst>"
    )
    row = '<row><c t="s"><v>2</v></c><c t="s"><v>2</v></c></row>'
    head = '<row><c t="s"><v>0</v></c><c t="s"><v>1</v></c></row>'
    book = by_hand(sheet_xml(head + row * 5_000), shared)
    with pytest.raises(InputError, match="more text than a register holds"):
        load(tmp_path, {"cards.xlsx": book})


@pytest.mark.parametrize(
    ("name", "line"),
    [("cards.csv", b"\n"), ("cards.csv", b"\r\n"), ("cards.csv", b",\n"), ("cards.jsonl", b"\n")],
)
def test_a_hundred_megabytes_of_line_ends(tmp_path: Path, name: str, line: bytes) -> None:
    folder = site(tmp_path, {})
    start = b"card_id,number\nC1,1001\n" if name.endswith("csv") else b'{"number": "1001"}\n'
    (folder / name).write_bytes(start + line * (100_000_000 // len(line)))
    said, peak = _limited(folder)
    assert said.startswith(f"{name}: holds millions of ")
    assert peak < 1000
