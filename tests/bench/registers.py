"""Large invented registers, the same for the same numbers, and such as make bad code slow.

Sound data with a few faults in a thousand rows: a register in which every row is wrong would
measure the writing of findings. Needs numpy and pyarrow only; imports nothing of the auditor.
"""

from __future__ import annotations

import sys
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.csv

AS_OF = "2026-09-30"
_TODAY = np.datetime64(AS_OF, "D")
_DOORS_A_BUILDING = 20

Column = Any  # a pyarrow array or a list of texts
Table = dict[str, Column]
_Ints = npt.NDArray[np.int64]

SITE = """[site]
name = "Register of {cards} cards"
timezone = "Europe/Dublin"
local_code = "generic"
"""


@dataclass(frozen=True)
class Size:
    """How many rows; the default is the large register of the contract."""

    cards: int = 1_000_000
    people: int = 400_000
    doors: int = 2_000
    permissions: int = 1_000_000
    events: int = 5_000_000
    pins: int = 100_000

    def times(self, factor: float) -> Size:
        """The same register, `factor` times as many rows in every table."""
        return Size(*(max(1, round(n * factor)) for n in self.__dict__.values()))


def register(folder: Path, size: Size) -> Path:
    """Writes a register of that size into `folder` and returns it."""
    rng = np.random.default_rng(820)
    buildings = max(1, size.doors // _DOORS_A_BUILDING)
    homes = max(1, size.people // 2)
    person = np.arange(size.people)
    home_of = person % homes
    holder = np.arange(size.cards) % size.people
    doors = _doors(size.doors, buildings)
    cards = _cards(rng, size.cards, holder)
    tables = {
        "dwellings": _dwellings(homes, buildings),
        "people": _people(rng, size.people, home_of),
        "cards": cards,
        "pins": _pins(rng, size.pins, size.people),
        "zones": _zones(buildings),
        "doors": doors,
        "door_groups": {
            "door_group": _named("G", np.arange(size.doors) % buildings),
            "member_kind": ["door"] * size.doors,
            "member_id": doors["door_id"],
        },
        "permissions": _permissions(rng, size, home_of % buildings, holder),
        "schedules": {
            "schedule_id": ["S1"],
            "days": ["daily"],
            "start": ["00:00"],
            "end": ["24:00"],
        },
        "events": _events(rng, size, cards["number"], (home_of % buildings)[holder]),
    }
    return write(folder, tables, f"{size.cards:,}")


def write(folder: Path, tables: Mapping[str, Table], title: str = "some") -> Path:
    """A site folder with these tables as CSV."""
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "site.toml").write_text(SITE.format(cards=title), encoding="utf-8")
    options = pyarrow.csv.WriteOptions(quoting_style="none")
    for name, columns in tables.items():
        texts = {
            c: pa.array(v, pa.string()) if isinstance(v, list) else v for c, v in columns.items()
        }
        pyarrow.csv.write_csv(pa.table(texts), folder / f"{name}.csv", options)
    return folder


# --- the tables ----------------------------------------------------------------------


def _named(letter: str, numbers: _Ints) -> pa.Array:
    """`P00000017` and the like, all of one width."""
    digits = pc.utf8_lpad(pc.cast(pa.array(numbers), pa.string()), 8, "0")
    return pc.binary_join_element_wise(letter, digits, "")


def _choice(rng: np.random.Generator, n: int, words: list[str], shares: list[float]) -> pa.Array:
    codes = rng.choice(len(words), n, p=shares).astype(np.int32)
    return pa.DictionaryArray.from_arrays(codes, pa.array(words)).cast(pa.string())


def _days(ago: _Ints) -> pa.Array:
    """Dates so many days before the as-of day; a negative number leaves the cell empty."""
    dates = pa.array((_TODAY - ago).astype("datetime64[D]"), mask=ago < 0)
    return pc.fill_null(pc.cast(dates, pa.string()), "")


def _where(mask: npt.NDArray[np.bool_], some: Column, other: Column) -> pa.Array:
    return pc.if_else(pa.array(mask), some, other)


def _dwellings(n: int, buildings: int) -> Table:
    at = np.arange(n)
    return {
        "dwelling_id": _named("F", at),
        "building": _named("B", at % buildings),
        "core": ["1"] * n,
        "number": _named("", at),
        "zone_id": _named("H", at % buildings),
        "occupied": ["yes"] * n,
    }


def _people(rng: np.random.Generator, n: int, home: _Ints) -> Table:
    at = np.arange(n)
    gone = rng.random(n) < 0.004
    contractor = rng.random(n) < 0.002
    since = rng.integers(400, 4_000, n)
    return {
        "person_id": _named("P", at),
        "name": pc.binary_join_element_wise(_named("Given", at), _named("Family", at), " "),
        "role": _where(contractor, "contractor", "resident"),
        "dwelling_id": _named("F", home),
        "status": [""] * n,
        "start_date": _days(since),
        "end_date": _days(np.where(gone, rng.integers(2, 300, n), -1)),
        "phone": _named("+3530", at),
    }


def _cards(rng: np.random.Generator, n: int, holder: _Ints) -> Table:
    number = rng.permutation(n) * 977 + 1_000_003
    again = rng.random(n) < 0.0002
    number[again] = number[0]
    loose = rng.random(n) < 0.001
    # a few homes have gathered cards
    crowded = rng.random(n) < 0.001
    holder = np.where(crowded, holder[0] + holder // 5_000, holder)
    status = _choice(rng, n, ["active", "lost", "returned", "stock"], [0.996, 0.001, 0.002, 0.001])
    return {
        "card_id": _named("C", np.arange(n)),
        "number": _named("", number),
        "technology": ["hf-secure"] * n,
        "kind": ["ordinary"] * n,
        "person_id": _where(loose, "", _named("P", holder)),
        "dwelling_id": [""] * n,
        "status": status,
        "issued_on": _days(rng.integers(100, 400, n)),
        "last_used": _days(rng.integers(0, 60, n)),
    }


def _pins(rng: np.random.Generator, n: int, people: int) -> Table:
    digits = rng.permutation(90_000_000)[:n] + 10_000_000 if n <= 90_000_000 else np.arange(n)
    again = rng.random(n) < 0.001
    digits[again] = digits[0]
    texts = _named("", digits)
    short = rng.random(n) < 0.001
    return {
        "pin_id": _named("K", np.arange(n)),
        "pin": _where(short, pc.utf8_slice_codeunits(texts, 0, 5), texts),
        "kind": ["personal"] * n,
        "person_id": _named("P", rng.permutation(people)[np.arange(n) % people]),
        "status": ["active"] * n,
        "set_on": _days(rng.integers(10, 400, n)),
    }


def _zones(buildings: int) -> Table:
    halls = _named("H", np.arange(buildings))
    return {
        "zone_id": pa.concat_arrays([pa.array(["street"]), halls.cast(pa.string())]),
        "name": ["street", *["hall"] * buildings],
        "kind": ["outside", *["common"] * buildings],
        "occupants": ["", *["40"] * buildings],
    }


def _doors(n: int, buildings: int) -> Table:
    at = np.arange(n)
    fixed = {
        "entry": "card",
        "lock": "magnet",
        "power_loss": "unlocks",
        "exit_input": "button",
        "mechanical_exit": "none",
        "exit_reader": "no",
        "emergency_release": "yes",
        "alarm_release": "yes",
        "escape_route": "yes",
        "opens_with_escape": "yes",
        "clear_width_mm": "900",
        "fire_minutes": "0",
        "self_closing": "yes",
        "held_open_alarm_s": "30",
        "exit_delay_s": "0",
        "last_tested": "2026-08-01",
    }
    return {
        "door_id": _named("D", at),
        "inside_zone": _named("H", at % buildings),
        "outside_zone": ["street"] * n,
        "status_monitor": _where(at % 100 == 7, "none", "contact"),
        **{column: [word] * n for column, word in fixed.items()},
    }


def _permissions(rng: np.random.Generator, size: Size, building: _Ints, holder: _Ints) -> Table:
    """A permission for each person to their building's doors, the rest for single cards."""
    n = size.permissions
    by_person = min(n, size.people)
    cards = np.arange(n - by_person) % size.cards
    kinds = np.repeat([True, False], [by_person, n - by_person])
    groups = np.concatenate([building[:by_person], building[holder[cards]]])
    ids = pa.concat_arrays(
        [
            _named("P", np.arange(size.people))[:by_person],
            _named("C", np.arange(size.cards)).take(pa.array(cards)),
        ]
    )
    return {
        "permission_id": _named("M", np.arange(n)),
        "holder_kind": _where(kinds, "person", "card"),
        "holder_id": ids,
        "door_group": _named("G", groups),
        "schedule_id": ["S1"] * n,
        "valid_from": _days(rng.integers(30, 400, n)),
        "applied_on": _days(rng.integers(1, 30, n)),
    }


def _events(rng: np.random.Generator, size: Size, numbers: pa.Array, building: _Ints) -> Table:
    """Two months of passages at the doors of each card's own building, in order of time."""
    n = size.events
    buildings = int(building.max(initial=0)) + 1
    card = rng.integers(0, size.cards, n)
    each = max(1, size.doors // buildings)
    door = np.minimum(building[card] + buildings * rng.integers(0, each, n), size.doors - 1)
    words = ["granted", "opened", "closed", "denied", "held"]
    code = rng.choice(len(words), n, p=[0.4, 0.28, 0.28, 0.0398, 0.0002]).astype(np.int32)
    code[(door % 100 == 5) & (code == 1)] = 4  # some doors are propped open all day
    for start in range(0, n - 12, max(12, n // 40)):  # and at some, somebody tries and tries
        door[start : start + 12], code[start : start + 12] = door[start], 3
    begin = np.datetime64("2026-08-01T00:00:00", "s")
    time = begin + np.sort(rng.integers(0, 60 * 86_400, n))
    return {
        "time": pc.strftime(pa.array(time), format="%Y-%m-%dT%H:%M:%SZ"),
        "door_id": _named("D", np.arange(size.doors)).take(pa.array(door)),
        "event": pa.DictionaryArray.from_arrays(code, pa.array(words)).cast(pa.string()),
        "card_number": _where((code == 0) | (code == 3), numbers.take(pa.array(card)), ""),
    }


# --- what makes bad code slow --------------------------------------------------------


def one_group(folder: Path, n: int) -> Path:
    """Everyone has a permission for one group, which holds every door but the last."""
    tables = _town(n)
    tables["door_groups"]["door_group"] = ["G00000000"] * 99 + ["G00000001"]
    tables["permissions"]["door_group"] = ["G00000000"] * n
    return write(folder, tables)


def one_holder(folder: Path, n: int) -> Path:
    """One person of ten has all cards and all permissions."""
    tables = _town(n)
    for name in ("people", "dwellings", "pins"):
        tables[name] = {column: cells[:10] for column, cells in tables[name].items()}
    tables["pins"]["person_id"] = tables["people"]["person_id"]
    for name, column in (("cards", "person_id"), ("permissions", "holder_id")):
        tables[name][column] = ["P00000000"] * n
    return write(folder, tables)


def equal_pins(folder: Path, n: int) -> Path:
    """All PINs have the same digits."""
    tables = _town(n)
    tables["pins"]["pin"] = ["83920571"] * n
    return write(folder, tables)


def equal_numbers(folder: Path, n: int) -> Path:
    """All cards have the same number, and the events name it."""
    tables = _town(n)
    tables["cards"]["number"] = ["1000003"] * n
    tables["events"]["card_number"] = ["1000003"] * n
    return write(folder, tables)


def deep_groups(folder: Path, n: int) -> Path:
    """Each door group holds the next, n deep, with a door at the end."""
    tables = _town(2_000)
    at = np.arange(n)
    tables["door_groups"] = {
        "door_group": pa.concat_arrays([_named("N", at), pa.array([f"N{n:08}"])]),
        "member_kind": ["door_group"] * n + ["door"],
        "member_id": pa.concat_arrays([_named("N", at + 1), pa.array(["D00000000"])]),
    }
    tables["permissions"]["door_group"] = _named("N", np.arange(2_000) % n)
    return write(folder, tables)


def one_zone(folder: Path, n: int) -> Path:
    """One zone with n doors, all but the last in one group that everyone has."""
    size = Size(cards=2_000, people=1_000, doors=n, permissions=2_000, events=n, pins=1_000)
    tables = _town(2_000)
    tables["doors"] = _doors(size.doors, 1)
    tables["door_groups"] = {
        "door_group": ["G00000000"] * (n - 1) + ["G00000001"],
        "member_kind": ["door"] * n,
        "member_id": tables["doors"]["door_id"],
    }
    tables["permissions"]["door_group"] = ["G00000000"] * 2_000
    return write(folder, tables)


ADVERSARIAL = {
    "everyone in one group": (one_group, 50_000),
    "one person with all cards": (one_holder, 50_000),
    "all PINs equal": (equal_pins, 50_000),
    "all card numbers equal": (equal_numbers, 50_000),
    "a group chain, deep": (deep_groups, 5_000),
    "one zone with many doors": (one_zone, 5_000),
}
"""Each is written at its size and at twice its size."""


def _town(n: int) -> dict[str, Table]:
    """Tables of n cards, people, PINs, permissions and events, at 100 doors."""
    rng = np.random.default_rng(821)
    buildings = 5
    home = np.arange(n) % max(1, n // 2)
    at = np.arange(n)
    size = Size(n, n, 100, n, n, n)
    cards = _cards(rng, n, at)
    doors = _doors(100, buildings)
    doors["entry"] = ["card-or-pin"] * 100
    return {
        "dwellings": _dwellings(max(1, n // 2), buildings),
        "people": _people(rng, n, home),
        "cards": cards,
        "pins": _pins(rng, n, n),
        "zones": _zones(buildings),
        "doors": doors,
        "door_groups": {
            "door_group": _named("G", np.arange(100) % buildings),
            "member_kind": ["door"] * 100,
            "member_id": doors["door_id"],
        },
        "permissions": _permissions(rng, size, home % buildings, at),
        "schedules": {
            "schedule_id": ["S1"],
            "days": ["daily"],
            "start": ["00:00"],
            "end": ["24:00"],
        },
        "events": _events(rng, size, cards["number"], home % buildings),
    }


def main() -> None:
    """Writes one: `python -m tests.bench.registers KIND FOLDER N`.

    KIND is `register` (N: its scale) or a function of this module. A process of its own, for
    the memory that a parent has taken counts as its children's too.
    """
    kind, folder, number = sys.argv[1:]
    if kind == "register":
        register(Path(folder), Size().times(float(number)))
    else:
        {write.__name__: write for write, _ in ADVERSARIAL.values()}[kind](
            Path(folder), int(number)
        )


if __name__ == "__main__":
    main()
