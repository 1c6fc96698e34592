"""Typing whole tables: the quick way against the one cell at a time, secrets, rows set aside."""

from __future__ import annotations

import datetime as dt
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import pyarrow as pa
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from audit.contract import DTYPES, TEXT, Dataset
from audit.ingest import moments, tables
from audit.ingest import values as v
from audit.ingest.tables import NOT_SHOWN, RawTable, from_text
from audit.ingest.values import UNREAD
from audit.schema import SECRET_COLUMNS, TABLES
from audit.site import Site, site_from
from tests.ingest.sites import AS_OF, same

SITE = site_from({"site": {"name": "Mill Yard", "timezone": "Europe/Dublin"}})


def dataset(given: dict[str, tuple[list[str], list[list[str]]]], site: Site = SITE) -> Dataset:
    return from_text(given, site, AS_OF)


ODD = st.sampled_from(
    ["", " ", "-", "n/a", "NONE", "None", "#N/A", "##", "Err:502", "\u00a0A1", "A1 ",
     "\uff11\uff12", "A1", "a1", "12O4", "1.23E+11", "1234.0", "1234567890123450",
     "12345678901234567", "yes", "no", "active", "In use", "lost", "2026-09-30",
     "30/09/2026", "46295",
     "3-Apr", "soon", "0012", "12",
     "123456", "****", "482913", "person", "pin", "card", "role", "staff", "door", "granted",
     "2026-09-30T10:00:00", "2026-10-25T01:30", "2026-09-30T10:00:00Z", "P\n1", "none ", "850,5",
     "mon-fri", "24:00"]
) | st.text(max_size=4)  # fmt: skip


@settings(max_examples=60)
@given(st.sampled_from(sorted(TABLES)), st.data(), st.booleans())
def test_the_quick_way_gives_what_one_cell_at_a_time_gives(
    name: str, data: st.DataObject, numbers: bool
) -> None:
    spec = TABLES[name]
    header = [c.name for c in spec.columns]
    pools = [data.draw(st.lists(ODD, min_size=1, max_size=5)) for _ in header]
    n = data.draw(st.integers(1, 12))
    rows = [[data.draw(st.sampled_from(p)) for p in pools] for _ in range(n)]
    if numbers and name == "pins":
        header[1] += " (numbers)"
    slow = dataset({name: (header, rows)})
    usual = tables.QUICK_FROM, tables.THREADS_FROM
    try:
        tables.QUICK_FROM = tables.THREADS_FROM = 0  # type: ignore[misc]
        quick = dataset({name: (header, rows)})
    finally:
        tables.QUICK_FROM, tables.THREADS_FROM = usual  # type: ignore[misc]
    same(slow, quick)


@settings(max_examples=60)
@given(st.sampled_from(sorted(TABLES)), st.data())
def test_every_cell_is_typed_as_its_parser_says(name: str, data: st.DataObject) -> None:
    """Held against the plainest second implementation: a loop over rows and cells."""
    spec = TABLES[name]
    header = [c.name for c in spec.columns]
    rows = [[data.draw(ODD) for _ in header] for _ in range(data.draw(st.integers(1, 5)))]
    table = dataset({name: (header, rows)}).tables[name]
    kept = {int(r): i for i, r in enumerate(table.rows)}
    aside = set(table.set_aside["row"])
    for number, cells in enumerate(rows, 2):
        if all(c.strip().casefold() in v.BLANK_WORDS for c in map(v.clean, cells)):
            continue  # no row; where `none` is a word, see below
        if number not in kept:
            assert number in aside or all(v.clean(c).casefold() in v.BLANK_WORDS for c in cells)
            continue
        for column, text in zip(spec.columns, cells, strict=True):
            if column.kind in ("pin", "number") or column.name in (
                "pin_id", "card_id", "holder_id"
            ):  # fmt: skip
                continue  # damage and secrets: tested below
            if name in SECRET_COLUMNS and column.kind == "ref":
                continue  # secrets again
            read = v.cell_parser(column, "dmy", ZoneInfo("Europe/Dublin"))(text)
            got = table.frame[column.name][kept[number]]
            mask = table.unread.get(column.name)
            assert (mask is not None and bool(mask[kept[number]])) == (read is UNREAD)
            if read is None and column.default is not None:
                assert got == (False if column.default == "no" else column.default)
            elif read is None or read is UNREAD:
                assert pd.isna(got)
            elif column.kind == "date":
                assert got.date() == read
            else:
                assert got == read


def test_every_canonical_column_is_there_with_its_dtype() -> None:
    data = dataset({name: ([s.starred[0]], []) for name, s in TABLES.items()})
    for name, spec in TABLES.items():
        for column in spec.columns:
            shown = data[name]["secret" if column.kind == "pin" else column.name]
            wanted: Any = DTYPES.get(column.kind, TEXT)
            assert shown.dtype == wanted, (name, column.name)
        assert ("secret" in data[name]) == (name in ("pins", "loaded", "events"))
        assert isinstance(data[name].index, pd.RangeIndex)


def test_defaults_stand_where_nothing_is_given_and_not_where_it_is_unreadable() -> None:
    data = dataset({"cards": (["number", "status"], [["1", ""], ["2", "lost"], ["3", "mine"]])})
    cards = data["cards"]
    assert cards["status"].tolist() == ["active", "lost", pd.NA]
    assert cards["kind"].tolist() == ["ordinary"] * 3
    assert data.unread("cards", "status").tolist() == [False, False, True]
    assert data.blank("cards", "valid_to").isna().all()
    assert not data.has("cards", "kind")


def test_a_row_set_aside_still_makes_its_id_known() -> None:
    data = dataset(
        {
            "cards": (["card_id", "number"], [["C1", "1"], ["C2", ""], ["", "-"], ["", "7"]]),
            "schedules": (["schedule_id", "days", "start", "end"], [["S1", "", "8:00", "9:00"]]),
        }
    )
    assert set(data.known("cards")) == {"C1", "C2", "7"}
    assert set(data.known("schedules")) == {"S1"}
    (line,) = data.tables["cards"].set_aside.to_dict("records")
    assert (line["id"], line["column"], line["row"], line["unread"]) == ("C2", "number", 3, False)
    assert data.where("cards", -1).row == 3
    assert {(i.table, i.rows, i.set_aside) for i in data.inputs} == {
        ("cards", 3, 1),
        ("schedules", 1, 1),
    }


def test_an_unreadable_starred_value_sets_the_row_aside_as_such() -> None:
    data = dataset(
        {"calendars": (["calendar", "date"], [["K1", "2026-12-25"], ["K1", "Christmas"]])}
    )
    assert len(data["calendars"]) == 1
    assert data.tables["calendars"].set_aside["unread"].tolist() == [True]


def test_a_row_of_blank_words_is_no_row_where_none_is_a_word_it_is() -> None:
    data = dataset({"doors": (["door_id", "name", "lock"], [["-", "n/a", ""], ["", "", "none"]])})
    assert len(data["doors"]) == 0
    assert data.tables["doors"].set_aside["row"].tolist() == [3]


# --- damage ------------------------------------------------------------------------------


def test_damaged_numbers_stay_in_the_table_unread() -> None:
    rows = [["C1", "1.23E+11"], ["C2", "1234567.0"], ["C3", "12345678901234000"], ["", "9E+12"]]
    data = dataset({"cards": (["card_id", "number"], rows)})
    assert data["cards"]["number"].tolist() == [pd.NA, "1234567", pd.NA, pd.NA]
    assert data["cards"]["card_id"].tolist() == ["C1", "C2", "C3", "9E+12"]
    assert data.unread("cards", "number").tolist() == [True, False, True, True]
    assert data.blank("cards", "number").tolist() == [pd.NA, False, pd.NA, pd.NA]
    assert data.tables["cards"].damage["number"].tolist() == [
        v.EXPONENT, v.POINT_ZERO, v.FIFTEEN, v.EXPONENT,
    ]  # fmt: skip


def test_sixteen_digits_that_end_in_nought_are_sound_where_chance_makes_as_many() -> None:
    kept = [f"1234567890123{n}7" for n in range(10, 29)]
    for others, damaged in (kept, False), (kept[:18], True), (["7"], True):
        rows = [["1234567890123450"], *[[o] for o in others]]
        data = dataset({"cards": (["number"], rows)})
        assert ("number" in data.tables["cards"].damage) is damaged
        assert (data["cards"]["number"][0] is pd.NA) is damaged


def test_pins_that_arrived_as_numbers() -> None:
    rows = [["P1", "1234"], ["P2", "123456"], ["P3", "12345.0"], ["P4", "123456.0"], ["P5", "****"]]
    numbers = dataset({"pins": (["pin_id", "pin (numbers)"], rows)})
    assert numbers["pins"]["secret"].tolist() == [pd.NA, "123456", pd.NA, "123456", pd.NA]
    assert numbers.tables["pins"].damage["pin"].tolist() == [
        v.ZEROS_GONE, pd.NA, v.POINT_ZERO, v.POINT_ZERO, pd.NA,
    ]  # fmt: skip
    texts = dataset({"pins": (["pin_id", "pin"], rows[:2])})
    assert texts["pins"]["secret"].tolist() == ["1234", "123456"]
    assert not texts.tables["pins"].damage


def test_a_cards_read_back_number_may_be_short() -> None:
    rows = [["D1", "card", "123"], ["D1", "pin", "123"]]
    header = ["door_id", "credential_kind", "number (numbers)"]
    data = dataset({"loaded": (header, rows), "pins": (["pin_id", "pin"], [["P1", "999999"]])})
    assert data.tables["loaded"].damage["number"].tolist() == [pd.NA, v.ZEROS_GONE]
    assert data["loaded"]["number"].tolist() == ["123", NOT_SHOWN]


# --- secrets -----------------------------------------------------------------------------


def test_ids_in_pin_columns() -> None:
    """data.md, Reading rows: all digits and no known pin_id is `pin, not shown`."""
    pins = (["pin_id", "pin"], [["1001", "482913"], ["P2", "739154"], ["660042", "660042"]])
    loaded = [[k, n] for k in ("pin", "card", "") for n in ("482913", "1001", "P2", "zz", "660042")]
    data = dataset(
        {
            "pins": pins,
            "loaded": (["door_id", "credential_kind", "number"], [["D1", *r] for r in loaded]),
            "events": (
                ["time", "door_id", "event", "pin_id"],
                [["2026-09-30T10:00", "D1", "granted", n] for n in ("482913", "1001", "****", "")],
            ),
            "cards": (["number"], [["482913"]]),
        }
    )
    assert data["pins"]["pin_id"].tolist()[:2] == ["1001", "P2"]
    assert data["pins"]["pin_id"][2].startswith("row-")
    assert data.unread("pins", "pin_id").tolist() == [False, False, True]
    hidden = [NOT_SHOWN, "1001", "P2", "zz", NOT_SHOWN]
    cards = ["482913", "1001", "P2", "zz", NOT_SHOWN]  # of these, 482913 is a card's number
    unsure = ["482913", "1001", "P2", "zz", NOT_SHOWN]  # a card's number is no secret
    assert data["loaded"]["number"].tolist() == hidden + cards + unsure
    assert data["loaded"]["secret"].tolist()[:5] == ["482913", pd.NA, pd.NA, pd.NA, "660042"]
    assert data["events"]["pin_id"].tolist() == [NOT_SHOWN, "1001", "****", pd.NA]
    assert data["events"]["secret"].tolist() == ["482913", pd.NA, pd.NA, pd.NA]


@pytest.mark.parametrize(
    "bent",
    ["48 29 13", "482913.0", "4.82913E+05", "48-29-13", "\uff148\uff12913", "4829l3",
     "PIN 482913"],
)  # fmt: skip
def test_bent_digits_do_not_leave_either(bent: str) -> None:
    data = dataset(
        {
            "pins": (["pin_id", "pin"], [["P1", "482913"]]),
            "events": (
                ["time", "door_id", "event", "pin_id"],
                [["2026-09-30T10:00", "D1", "granted", bent]],
            ),
        }
    )
    assert data["events"]["pin_id"].tolist() == [NOT_SHOWN]


@pytest.mark.parametrize(
    ("pin_id", "pin"),
    [("482913", "482913"), ("P-482913", "482913"), ("482913", "P1"), ("48-29-13", "482913")],
)  # fmt: skip
def test_an_id_that_tells_its_code_is_not_understood(pin_id: str, pin: str) -> None:
    data = dataset({"pins": (["pin_id", "pin", "kind"], [[pin_id, pin, "shared"]] * 2)})
    ids = data["pins"]["pin_id"].tolist()
    assert ids[0].startswith("row-")
    assert ids[1] == ids[0] + "-2"
    assert data.unread("pins", "pin_id").all()
    assert "482913" not in data["pins"].drop(columns="secret").to_string()


def test_numbers_are_good_ids_of_pins_that_are_not_readable() -> None:
    data = dataset({"pins": (["pin_id", "pin"], [["1001", "****"], ["17", ""], ["12", "0012"]])})
    assert data["pins"]["pin_id"].tolist() == ["1001", "17", "12"]


def test_a_right_given_to_digits_is_hidden() -> None:
    rows = [["R1", "pin", "482913"], ["R2", "pin", "P1"], ["R3", "person", "482913"]]
    data = dataset(
        {
            "pins": (["pin_id", "pin"], [["P1", "482913"]]),
            "permissions": (
                ["permission_id", "holder_kind", "holder_id", "door_id"],
                [[*r, "D1"] for r in rows],
            ),
        }
    )
    assert data["permissions"]["holder_id"].tolist() == [NOT_SHOWN, "P1", NOT_SHOWN]


# --- times -------------------------------------------------------------------------------


@settings(max_examples=80)
@given(
    st.lists(st.datetimes(dt.datetime(1975, 1, 1), dt.datetime(2037, 12, 31)), min_size=1),
    st.sampled_from(["Europe/Dublin", "America/New_York", "Australia/Lord_Howe", "Asia/Kathmandu",
                     "Africa/Casablanca", "UTC"]),
)  # fmt: skip
def test_local_times_become_utc_as_the_standard_library_says(
    walls: list[dt.datetime], zone: str
) -> None:
    place = ZoneInfo(zone)
    got = moments.to_utc(np.array(walls, "datetime64[us]"), place)
    wanted = [w.replace(tzinfo=place).astimezone(dt.UTC).replace(tzinfo=None) for w in walls]
    assert got.tolist() == wanted


@settings(max_examples=80)
@given(
    st.lists(
        st.sampled_from(
            ["2026-09-30T10:00:00", "2026-09-30 10:00", "2026-10-25T01:30:00Z", "2026-09-30",
             "2026-03-29T01:30:00", "2026-09-30T10:00:00.1234567", "30/09/2026 10:00", "", "x",
             "46295.5", "2026-09-30T24:00:00", "2026-09-30T10", "20260930T101500"]
        ) | st.none(),
        min_size=1, max_size=12,
    ),
    st.integers(1, 4),
)  # fmt: skip
def test_blocks_of_times_read_as_single_cells(texts: list[str | None], block: int) -> None:
    zone = ZoneInfo("Europe/Dublin")
    parser = v.cell_parser(TABLES["events"].column("time"), "dmy", zone)
    usual = moments._BLOCK
    try:
        moments._BLOCK = block  # type: ignore[misc]
        times, bad = moments.moments(
            pa.chunked_array([pa.array(texts, pa.large_string())]), parser, zone
        )
    finally:
        moments._BLOCK = usual  # type: ignore[misc]
    wanted = [None if t is None else parser(t) for t in texts]
    assert bad.tolist() == [w is UNREAD for w in wanted]
    assert times.tolist() == [None if w is UNREAD else w for w in wanted]


def test_repairs_and_suspicions_are_said() -> None:
    rows = [
        ["C\u00a01", "12O456", "P1"],
        ["C2", "\uff11\uff12", "3-Apr"],
        ["C3", "7", "2026-04-03"],
    ]
    data = dataset({"cards": (["card_id", "number", "person_id"], rows)})
    said = "\n".join(data.notes)
    assert "cards.csv row 2: card_id holds invisible or full-width signs" in said
    assert "cards.csv row 3: number holds invisible or full-width signs" in said
    assert "cards.csv row 2: number holds a letter O, l or I among digits" in said
    assert "cards.csv row 3 and 1 more row: person_id holds a date" in said
    assert data["cards"]["card_id"][0] == "C 1"
    assert data["cards"]["number"].tolist() == ["12O456", "12", "7"]


def test_raw_table_is_public() -> None:
    cells = {"zone_id": pa.chunked_array([pa.array(["Z1"], pa.large_string())])}
    raw = RawTable("zones", cells, np.array([2]), "zones.csv")
    assert tables.build([raw], SITE, AS_OF)["zones"]["zone_id"].tolist() == ["Z1"]
