"""JSON, JSON Lines, Parquet and iCalendar in place of a table."""

from __future__ import annotations

import datetime as dt
import io
import json
from pathlib import Path
from typing import Any

import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from audit.ingest import values as v
from audit.site import InputError
from tests.ingest.sites import csv_text, load, same

ROWS = [
    ["card_id", "number", "status", "valid_to", "person_id"],
    ["C1", "001234", "lost", "2026-09-30", ""],
    ["C2", "4711", "", "", "P2"],
]
RECORDS: list[dict[str, Any]] = [
    {"Card ID": "C1", "number": "001234", "status": "lost", "valid_to": "2026-09-30"},
    {"Card ID": "C2", "number": 4711, "valid_to": None, "person_id": "P2"},
]


@pytest.mark.parametrize(
    ("name", "content"),
    [
        ("cards.json", json.dumps(RECORDS)),
        ("cards.json", json.dumps({"cards": RECORDS, "people": []})),
        ("cards.json", json.dumps({"made_by": "x", "rows": RECORDS})),
        ("cards.json", json.dumps(RECORDS).encode("utf-16")),
        ("cards.json", json.dumps(ROWS)),
        ("cards.jsonl", "\n".join(map(json.dumps, RECORDS))),
        ("cards.jsonl", b"\xef\xbb\xbf" + "\n".join(map(json.dumps, RECORDS)).encode()),
    ],
)
def test_records_give_the_same_dataset(tmp_path: Path, name: str, content: str | bytes) -> None:
    plain = load(tmp_path / "a", {"cards.csv": csv_text(ROWS)})
    same(plain, load(tmp_path / "b", {name: content}))


def parquet(columns: dict[str, Any]) -> bytes:
    out = io.BytesIO()
    pq.write_table(pa.table(columns), out)
    return out.getvalue()


def test_parquet_gives_the_same_dataset(tmp_path: Path) -> None:
    plain = load(tmp_path / "a", {"cards.csv": csv_text(ROWS)})
    table = {
        "card_id": pa.array(["C1", "C2"]).dictionary_encode(),
        "number": ["001234", "4711"],
        "status": ["lost", None],
        "valid_to": pa.array([dt.date(2026, 9, 30), None]),
        "person_id": pa.array([None, "P2"]),
    }
    same(plain, load(tmp_path / "b", {"cards.parquet": parquet(table)}))


def test_numbers_are_kept_as_they_are_written(tmp_path: Path) -> None:
    text = '[{"number": 12345678901234567890}, {"number": 1.23E+11}, {"number": 12.0},'
    text += '{"number": true}, {"number": {"a": 1}}, {"number": [[1]]}, {"number": NaN}]'
    data = load(tmp_path, {"cards.json": text})
    assert data["cards"]["number"].tolist() == ["12345678901234567890", pd_na(), "12", "true"]
    assert data.tables["cards"].set_aside["row"].tolist() == [6, 7]
    assert data.tables["cards"].set_aside["unread"].tolist() == [True, True]


def pd_na() -> Any:
    import pandas as pd

    return pd.NA


@pytest.mark.parametrize(
    ("name", "content"),
    [
        ("pins.json", json.dumps([{"pin_id": "P1", "pin": 1234}, {"pin_id": "P2", "pin": "1234"}])),
        ("pins.jsonl", '{"pin_id": "P1", "pin": 1234}\n{"pin_id": "P2", "pin": "1234"}\n'),
    ],
)
def test_pins_as_numbers(tmp_path: Path, name: str, content: str) -> None:
    data = load(tmp_path, {name: content})
    assert data.tables["pins"].damage["pin"].tolist() == [v.ZEROS_GONE, pd_na()]


def test_parquet_types(tmp_path: Path) -> None:
    moment = dt.datetime(2026, 9, 30, 10, 0, 5)
    table = {
        "time": pa.array([moment, moment], pa.timestamp("us", "UTC")),
        "door_id": pa.array([1, 2]),
        "event": ["granted", "denied"],
        "card_number": pa.array([1234.0, None]),
    }
    data = load(tmp_path / "a", {"events.parquet": parquet(table)})
    assert data["events"]["time"].tolist() == [moment, moment]
    assert data["events"]["door_id"].tolist() == ["1", "2"]
    assert data["events"]["card_number"].tolist() == ["1234", pd_na()]
    local = {**table, "time": pa.array([moment, moment])}
    assert load(tmp_path / "b", {"events.parquet": parquet(local)})["events"]["time"][0].hour == 9
    hours = {
        "schedule_id": ["S"], "days": [["mon", "tue"]], "start": [dt.time(8)], "end": ["18:00"],
    }  # fmt: skip
    data = load(tmp_path / "c", {"schedules.parquet": parquet(hours)})
    assert data["schedules"].iloc[0].tolist()[:4] == ["S", "mon tue", 480, 1080]
    doors = {"door_id": ["D1"], "exit_reader": pa.array([True]), "clear_width_mm": [850.5]}
    data = load(tmp_path / "d", {"doors.parquet": parquet(doors)})
    assert data["doors"]["exit_reader"].tolist() == [True]
    assert data["doors"]["clear_width_mm"].tolist() == [850.5]


@pytest.mark.parametrize(
    ("name", "content", "says"),
    [
        ("cards.json", "", "the file is empty"),
        ("cards.json", "{", "line 1: not valid JSON"),
        ("cards.json", "[" * 100_000, "nested too deep"),
        ("cards.json", "[]", "the file is empty"),
        ("cards.json", "3", "holds no list of records"),
        ("cards.json", '[{"number": "1"}, 2]', "row 3: not a record"),
        ("cards.json", '[{"number": "1", "number": "2"}]', "twice"),
        ("cards.json", b'[{"number": "\xff"}]', "not UTF-8"),
        ("cards.json", json.dumps([{"number": "x" * 40_000}]), "row 2: a cell longer"),
        ("cards.json", '[{"number": ' + "9" * 40_000 + "}]", "row 2: a cell longer"),
        ("cards.json", '[{"num\\u0000": 1}]', "no column number"),
        ("cards.jsonl", '{"number": "1"}\n{', "line 2: not valid JSON"),
        ("cards.jsonl", '{"number": "1"}\n[1]', "row 3: not a record"),
        ("cards.jsonl", "[" * 100_000, "line 1: nested too deep"),
        ("cards.jsonl", b"\xff\xfe{\0}\0", "must be UTF-8"),
        ("cards.jsonl", '{"number": "' + "x" * 5_000_000, "line 1: a line longer"),
        ("cards.parquet", b"PAR1" + b"\0" * 100, "damaged"),
        ("cards.parquet", b"no parquet at all", "damaged"),
        ("schedules.ics", "BEGIN:VCALENDAR\nBEGIN:VEVENT\n", "iCalendar"),
        ("schedules.ics", b"\xff\xfe\0\0", "iCalendar"),
    ],
)
def test_broken_files_are_one_clear_line(
    tmp_path: Path, name: str, content: str | bytes, says: str
) -> None:
    with pytest.raises(InputError, match=name.replace(".", r"\.")) as caught:
        load(tmp_path, {name: content})
    assert says in str(caught.value)
    assert "\n" not in str(caught.value)


def test_a_cut_parquet_file_is_damaged(tmp_path: Path) -> None:
    whole = parquet({"number": [str(i) for i in range(1000)]})
    for size in (9, len(whole) // 2, len(whole) - 9):
        with pytest.raises(InputError, match="damaged"):
            load(tmp_path / str(size), {"cards.parquet": whole[:size]})


ICS = """BEGIN:VCALENDAR
VERSION:2.0
PRODID:-//Mill Yard//EN
BEGIN:VEVENT
UID:cleaners
DTSTART:20260105T080000
DTEND:20260105T120000
RRULE:FREQ=WEEKLY;BYDAY=MO,WE
X-SCHEDULE:S7
END:VEVENT
END:VCALENDAR
"""


@pytest.mark.parametrize(("toml", "name"), [("", "cleaners"), ("X-SCHEDULE", "S7")])
def test_icalendar_in_place_of_schedules(tmp_path: Path, toml: str, name: str) -> None:
    given = f'[sources.schedules]\nschedule_property = "{toml}"\n' if toml else ""
    data = load(tmp_path, {"schedules.ics": ICS.replace("\n", "\r\n")}, given)
    assert data["schedules"]["schedule_id"].tolist() == [name]
    assert data["schedules"]["days"][0].startswith("BEGIN:VCALENDAR")
    assert len(data.tables["schedules"].set_aside) == 0
    assert data.has("schedules", "days", "start", "end")
