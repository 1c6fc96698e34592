"""The invented site by itself: same bytes, whole references, an answer key for every rule.

Nothing here asks the auditor. What it must find on these sites is tested where it is run.
"""

from __future__ import annotations

import contextlib
import csv
import io
import itertools
import json
import re
from collections import Counter
from datetime import date, datetime, timedelta
from pathlib import Path

import pytest
from zxcvbn import zxcvbn

import demo_data

AS_OF = date(2026, 9, 30)
COMMITTED = Path(demo_data.__file__).parent / "site"
CATALOGUE = Path(__file__).parent / "catalogue.tsv"

Table = list[dict[str, str]]


TOO_MANY_TO_PLANT = {"controller-credentials-exceeded"}  # it takes a thousand cards


def rules() -> set[str]:
    lines = CATALOGUE.read_text("utf-8").splitlines()[1:]
    return {line.split("\t")[0] for line in lines} - TOO_MANY_TO_PLANT


def read(folder: Path, encoding: str = "utf-8", separator: str = ",") -> dict[str, Table]:
    tables = {}
    for file in sorted(folder.glob("*.csv")):
        text = io.StringIO(file.read_bytes().decode(encoding), newline="")
        tables[file.stem] = list(csv.DictReader(text, delimiter=separator))
    return tables


def files(folder: Path) -> dict[str, bytes]:
    return {file.name: file.read_bytes() for file in sorted(folder.iterdir())}


def key_of(folder: Path) -> list[dict[str, object]]:
    entries: list[dict[str, object]] = json.loads((folder / "answer-key.json").read_text("utf-8"))
    return entries


@pytest.fixture(scope="module")
def clean(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Table]:
    folder = tmp_path_factory.mktemp("clean")
    demo_data.write(folder, as_of=AS_OF, clean=True)
    return read(folder)


# --- the files -----------------------------------------------------------------------


def test_same_arguments_same_bytes(tmp_path: Path) -> None:
    for folder in ("one", "two"):
        demo_data.write(tmp_path / folder, 30, 7, as_of=AS_OF)
    demo_data.write(tmp_path / "other", 30, 8, as_of=AS_OF)
    assert files(tmp_path / "one") == files(tmp_path / "two")
    assert files(tmp_path / "one") != files(tmp_path / "other")


def test_committed_site_is_what_the_generator_writes(tmp_path: Path) -> None:
    demo_data.write(tmp_path, as_of=AS_OF)
    fresh, kept = files(tmp_path), files(COMMITTED)
    assert fresh.keys() == kept.keys()
    for name in fresh:
        assert fresh[name] == kept[name], name


@pytest.mark.parametrize(
    ("style", "encoding", "separator"),
    [
        ("utf-8-bom", "utf-8-sig", ","),
        ("utf-16", "utf-16", ","),
        ("cp1252-semicolon", "cp1252", ";"),
    ],
)
def test_styles_hold_the_same_cells(
    tmp_path: Path, style: str, encoding: str, separator: str
) -> None:
    demo_data.write(tmp_path / "plain", 12, as_of=AS_OF)
    demo_data.write(tmp_path / "other", 12, as_of=AS_OF, style=style)
    assert read(tmp_path / "plain") == read(tmp_path / "other", encoding, separator)
    assert files(tmp_path / "plain")["people.csv"] != files(tmp_path / "other")["people.csv"]


def test_wrong_arguments_are_refused(tmp_path: Path) -> None:
    with pytest.raises(ValueError, match="at least one dwelling"):
        demo_data.write(tmp_path, 0, as_of=AS_OF)
    with pytest.raises(ValueError, match="utf-8-bom"):
        demo_data.write(tmp_path, as_of=AS_OF, style="latin")
    assert not list(tmp_path.iterdir())


# --- the answer key ------------------------------------------------------------------


@pytest.mark.parametrize("seed", range(1, 9))
def test_key_names_every_rule(tmp_path: Path, seed: int) -> None:
    demo_data.write(tmp_path, seed=seed, as_of=AS_OF)
    named = Counter(entry["rule"] for entry in key_of(tmp_path))
    assert set(named) == rules()
    assert min(named[r] for r in ("departed-with-card", "exit-input-without-monitor")) >= 3
    assert min(named[r] for r in ("pin-too-short", "card-without-dwelling", "pin-reused")) >= 2


def test_key_names_rows_that_exist_and_no_digits_of_a_pin(tmp_path: Path) -> None:
    demo_data.write(tmp_path, as_of=AS_OF)
    tables, key = read(tmp_path), key_of(tmp_path)
    ids = {
        name: {row[f"{name}_id"] for row in tables[f"{name}s"]}
        for name in ("card", "pin", "door", "zone", "dwelling", "permission", "station")
    }
    ids["person"] = {row["person_id"] for row in tables["people"]}
    ids["schedule"] = {row["schedule_id"] for row in tables["schedules"]}
    ids["door_group"] = {row["door_group"] for row in tables["door_groups"]}
    ids["technology"] = {row["technology"] for row in tables["cards"]}
    subjects = [entry["subjects"] for entry in key]
    assert len({json.dumps([e["rule"], e["subjects"]], sort_keys=True) for e in key}) == len(key)
    for subject in subjects:
        assert isinstance(subject, dict)
        for word in subject.keys() & ids.keys():
            assert subject[word], subject
            assert set(subject[word]) <= ids[word], subject
            assert subject[word] == sorted(subject[word])
    text = (tmp_path / "answer-key.json").read_text("utf-8")
    runs = set(re.findall(r"\d{4,}", text))
    assert not runs & {row["pin"] for row in tables["pins"]}


def test_clean_site_has_an_empty_key_and_the_faulty_one_differs(tmp_path: Path) -> None:
    demo_data.write(tmp_path / "clean", 1, as_of=AS_OF, clean=True)
    assert key_of(tmp_path / "clean") == []
    demo_data.write(tmp_path / "faulty", 1, as_of=AS_OF)
    assert key_of(tmp_path / "faulty")


@pytest.mark.parametrize("dwellings", [1, 2, 5, 6, 23, 24, 73, 400])
def test_every_size_has_its_dwellings(tmp_path: Path, dwellings: int) -> None:
    demo_data.write(tmp_path, dwellings, as_of=AS_OF)
    tables = read(tmp_path)
    assert len({row["dwelling_id"] for row in tables["dwellings"]}) == dwellings
    assert all(tables.values())


def test_any_day_of_the_calendar_will_do(tmp_path: Path) -> None:
    for nth, day in enumerate((date(2024, 2, 29), date(2027, 1, 1), date(2031, 12, 31))):
        demo_data.write(tmp_path / str(nth), as_of=day)
        assert {entry["rule"] for entry in key_of(tmp_path / str(nth))} == rules()


# --- the site in order ---------------------------------------------------------------

REFERENCES = (
    ("dwellings", "zone_id", "zones", "zone_id"),
    ("people", "dwelling_id", "dwellings", "dwelling_id"),
    ("cards", "person_id", "people", "person_id"),
    ("cards", "dwelling_id", "dwellings", "dwelling_id"),
    ("pins", "person_id", "people", "person_id"),
    ("pins", "dwelling_id", "dwellings", "dwelling_id"),
    ("pins", "door_id", "doors", "door_id"),
    ("pins", "station_id", "stations", "station_id"),
    ("doors", "inside_zone", "zones", "zone_id"),
    ("doors", "outside_zone", "zones", "zone_id"),
    ("doors", "unlock_schedule", "schedules", "schedule_id"),
    ("permissions", "door_group", "door_groups", "door_group"),
    ("permissions", "door_id", "doors", "door_id"),
    ("permissions", "schedule_id", "schedules", "schedule_id"),
    ("schedules", "calendar", "calendars", "calendar"),
    ("stations", "dwelling_id", "dwellings", "dwelling_id"),
    ("stations", "main_id", "stations", "station_id"),
    ("stations", "door_id", "doors", "door_id"),
    ("stations", "controller_id", "stations", "station_id"),
    ("loaded", "door_id", "doors", "door_id"),
    ("events", "door_id", "doors", "door_id"),
    ("events", "pin_id", "pins", "pin_id"),
)


def test_references_resolve(clean: dict[str, Table]) -> None:
    for table, column, other, id_column in REFERENCES:
        known = {row[id_column] for row in clean[other]}
        used = {row[column] for row in clean[table]} - {""}
        assert used, f"{table}.{column} is never used"
        assert used <= known, f"{table}.{column}"
    members: dict[str, set[str]] = {"door": set(), "door_group": set()}
    for row in clean["door_groups"]:
        members[row["member_kind"] or "door"].add(row["member_id"])
    assert members["door"] <= {row["door_id"] for row in clean["doors"]} | {""}
    assert members["door_group"] <= {row["door_group"] for row in clean["door_groups"]}
    holders = {
        "person": {row["person_id"] for row in clean["people"]},
        "card": {row["card_id"] for row in clean["cards"]},
        "pin": {row["pin_id"] for row in clean["pins"]},
        "dwelling": {row["dwelling_id"] for row in clean["dwellings"]},
        "role": {"staff", "agent", "responder"},
    }
    for row in clean["permissions"]:
        assert row["holder_id"] in holders[row["holder_kind"]]
        assert bool(row["door_group"]) != bool(row["door_id"])
    assert {row["holder_kind"] for row in clean["permissions"]} == set(holders)


def test_every_column_is_used(clean: dict[str, Table]) -> None:
    for table, rows in clean.items():
        for column in rows[0]:
            assert any(row[column] for row in rows), f"{table}.{column}"


def test_ids_occur_once(clean: dict[str, Table]) -> None:
    for table in ("dwellings", "people", "cards", "pins", "doors", "zones", "permissions"):
        ids = [next(iter(row.values())) for row in clean[table]]
        assert len(set(ids)) == len(ids), table
    loaded = [(row["door_id"], row["credential_kind"], row["number"]) for row in clean["loaded"]]
    assert len(set(loaded)) == len(loaded)


def easy(code: str) -> bool:
    """In one of the classes of the published six-digit list, a date, or easy for zxcvbn."""
    orders = {6: ("%d%m%y", "%m%d%y", "%y%m%d"), 8: ("%d%m%Y", "%m%d%Y", "%Y%m%d")}
    for order in orders.get(len(code), ()):
        with contextlib.suppress(ValueError):
            datetime.strptime(code, order)
            return True
    # abcabc, abccba, ababa?: access.md 4.4
    repeated = code[:3] in (code[3:], code[:2:-1]) or re.match(r"(\d\d)\1", code)
    # zxcvbn 4.5.0: score 0 is fewer than about a thousand guesses, access.md 5.1
    return (len(code) == 6 and bool(repeated)) or zxcvbn(code)["score"] == 0


def test_codes_are_long_far_apart_and_in_no_list(clean: dict[str, Table]) -> None:
    assert all(map(easy, ("200690", "19850412", "482482", "482284", "484826", "123456")))
    numbers = sorted(int(row["pin"]) for row in clean["pins"])
    assert min(b - a for a, b in itertools.pairwise(numbers)) > 10
    assert [row["pin_id"] for row in clean["pins"] if len(row["pin"]) < 6] == []
    assert [row["pin_id"] for row in clean["pins"] if easy(row["pin"])] == []


def test_thousands_of_codes_still_differ(tmp_path: Path) -> None:
    demo_data.write(tmp_path, 1000, 3, as_of=AS_OF, clean=True)
    numbers = sorted(int(row["pin"]) for row in read(tmp_path)["pins"])
    assert len(numbers) > 1200
    assert min(b - a for a, b in itertools.pairwise(numbers)) > 10


def test_telephone_numbers_are_of_the_range_for_fiction(clean: dict[str, Table]) -> None:
    # Ireland keeps 020 91X XXXX for drama (from memory)
    phones = [row["phone"] for row in clean["people"]]
    assert all(re.fullmatch(r"\+353 20 91\d \d{4}", phone) for phone in phones)
    assert len(set(phones)) == len(phones)


def doors_of(clean: dict[str, Table], group: str) -> set[str]:
    found: set[str] = set()
    for row in clean["door_groups"]:
        if row["door_group"] == group and row["member_id"]:
            if row["member_kind"] == "door_group":
                found |= doors_of(clean, row["member_id"])
            else:
                found.add(row["member_id"])
    return found


def canonical(number: str) -> int:
    """A number as a controller writes it: `facility,number`, decimal, else hexadecimal."""
    if "," in number:
        facility, card = number.split(",")
        return int(facility) * 65536 + int(card)
    plain = re.sub("[ :.-]", "", number)
    return int(plain) if plain.isdigit() else int(plain, 16)


def registered(card: dict[str, str]) -> int:
    if card["number_form"] == "hex-reversed":
        return int.from_bytes(bytes.fromhex(card["number"]), "little")
    return canonical(",".join(filter(None, (card["facility_code"], card["number"]))))


def test_controllers_hold_what_the_permissions_give(clean: dict[str, Table]) -> None:
    """Credential by credential and door by door, with none of the generator's indexes."""
    (read_on,) = {row["read_on"] for row in clean["loaded"]}

    def covers(row: dict[str, str]) -> bool:
        return row["valid_from"] <= read_on and (not row["valid_to"] or read_on <= row["valid_to"])

    rights: list[tuple[str, str, set[str]]] = [
        (
            row["holder_kind"],
            row["holder_id"],
            doors_of(clean, row["door_group"]) or {row["door_id"]},
        )
        for row in clean["permissions"]
        if covers(row) and row["applied_on"]
    ]
    people = {row["person_id"]: row for row in clean["people"]}
    expected = set()
    for kind, table, own in (("card", "cards", "card_id"), ("pin", "pins", "pin_id")):
        for row in clean[table]:
            if row["status"] != "active" or not covers(row) or row.get("issued_on", "") > read_on:
                continue
            person = people.get(row["person_id"], {})
            home = person.get("dwelling_id", row["dwelling_id"])
            for holder_kind, holder, doors in rights:
                held = (
                    (holder_kind == kind and holder == row[own])
                    or (holder_kind == "person" and holder == row["person_id"])
                    or (holder_kind == "role" and holder == person.get("role"))
                    or (
                        holder_kind == "dwelling"
                        and holder == home
                        and person.get("role", "resident") == "resident"
                    )
                )
                if held:
                    number = str(registered(row)) if kind == "card" else row[own]
                    expected |= {(door, kind, number) for door in doors}
    entry = {row["door_id"]: row["entry"] for row in clean["doors"]}
    expected = {
        (door, kind, number)
        for door, kind, number in expected
        if kind in entry[door].split("-") or entry[door] == kind
    }
    codes = {row["pin"]: row["pin_id"] for row in clean["pins"]}
    held_there = {
        (
            row["door_id"],
            row["credential_kind"],
            str(canonical(row["number"]))
            if row["credential_kind"] == "card"
            else codes.get(row["number"], row["number"]),
        )
        for row in clean["loaded"]
    }
    assert held_there == expected
    assert set(codes) & {row["number"] for row in clean["loaded"]}, "some hold PINs by digits"


def test_events_are_in_order_and_by_those_entitled(clean: dict[str, Table]) -> None:
    times = [row["time"] for row in clean["events"]]
    assert times == sorted(times)
    assert times[-1] < AS_OF.isoformat()
    assert any(not time.endswith(":00") for time in times)
    people = {row["person_id"]: row for row in clean["people"]}
    cards = {registered(row): row for row in clean["cards"]}
    pins = {row["pin_id"]: row for row in clean["pins"]}
    last: dict[str, tuple[str, str]] = {}
    used: dict[str, str] = {}
    for row in clean["events"]:
        if row["event"] != "granted":
            assert row["event"] in ("opened", "closed", "exit", "denied", "held")
            continue
        if row["pin_id"]:
            credential, own = pins[row["pin_id"]], row["pin_id"]
        else:
            credential = cards[canonical(row["card_number"])]
            own = credential["card_id"]
            used[own] = row["time"][:10]
        day = row["time"][:10]
        assert credential["valid_from"] <= day <= (credential["valid_to"] or "9")
        holder = people.get(credential["person_id"])
        if holder is not None:
            assert holder["start_date"] <= day <= (holder["end_date"] or "9")
        before = last.get(own)
        if before is not None and before[1] != row["door_id"]:
            gap = datetime.fromisoformat(row["time"]) - datetime.fromisoformat(before[0])
            assert gap > timedelta(seconds=30)
        last[own] = (row["time"], row["door_id"])
    for card in clean["cards"]:
        if card["card_id"] in used:
            assert card["last_used"] == used[card["card_id"]]


@pytest.mark.parametrize("state", ["normal", "power-lost", "fire-alarm"])
def test_everyone_gets_out(clean: dict[str, Table], state: str) -> None:
    """Zones grown back from the open air over doors free to leave, data.md."""
    safe, grown = {row["zone_id"] for row in clean["zones"] if row["kind"] == "outside"}, True
    while grown:
        grown = False
        for door in clean["doors"]:
            lets_go = {
                "normal": door["exit_input"] != "none",
                "power-lost": door["power_loss"] == "unlocks",
                "fire-alarm": door["alarm_release"] == "yes",
            }[state]
            open_ = door["lock"] == "none" or door["mechanical_exit"] != "none" or lets_go
            if open_ and door["outside_zone"] in safe and door["inside_zone"] not in safe:
                safe.add(door["inside_zone"])
                grown = True
    in_use = {row["zone_id"] for row in clean["zones"] if int(row["occupants"])}
    assert in_use | {row["zone_id"] for row in clean["dwellings"]} <= safe


def test_portfolio_repeats_a_contractor_and_a_card(tmp_path: Path) -> None:
    demo_data.write_portfolio(tmp_path, 8, as_of=AS_OF)
    sites = [read(folder) for folder in sorted(tmp_path.iterdir())]
    assert len(sites) == 8
    everywhere = set.intersection(*({row["name"] for row in s["people"]} for s in sites))
    assert len(everywhere) == 1
    numbers = Counter(number for s in sites for number in {r["number"] for r in s["cards"]})
    assert max(numbers.values()) == 4
    codes = Counter(code for s in sites for code in {r["pin"] for r in s["pins"]})
    assert max(codes.values()) >= 2
