"""Doors and zones from a building model: a COBie workbook, or an IFC file.

A model says which doors there are and between which spaces; the standards carry no lock, no
behaviour without power, no exit input, no monitor and no release. Those columns stay absent,
so that a rule that needs them is not assessed. What every door says alike, and what is a
template's placeholder, is no statement about a door: it is left out, and said.

Sources: COBie 2.4 (columns of Component, Type, Space, Zone, Attribute), NBIMS-US v4 COBie 3
(Space.SecondaryName), ISO 16739-1 (IfcDoor, IfcRelSpaceBoundary, Pset_DoorCommon); what real
models look like: egress.md 6.3.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

import numpy as np
import pyarrow as pa

from audit.ingest.guess import translated
from audit.ingest.readers.raw import NAMED_AT_MOST
from audit.ingest.tables import RawTable
from audit.schema import TABLES

OUTSIDE: Final = "outside"
ALIKE_FROM: Final = 3
"""From so many doors on, one answer for all of them is a template's and not a survey's."""
NOT_CARRIED: Final = (
    "entry", "lock", "power_loss", "exit_input", "mechanical_exit", "exit_reader",
    "emergency_release", "alarm_release", "status_monitor", "opens_with_escape",
)  # fmt: skip
_PLACEHOLDERS: Final = frozenset(
    ("", "-", "--", "na", "none", "tbc", "tbd", "tobeconfirmed", "tobedetermined", "unknown",
     "notspecified", "notset", "default", "undefined", "unset", "xxx", "value", "firerating",
     "fireresistance", "fireresistancerating", "clearwidth", "selfclosing", "fireexit", "notknown",
     "tobeconfirmedatalaterstage", "null")
)  # fmt: skip


@dataclass(frozen=True)
class Door:
    """One door as a model gives it; texts as they stand there, "" where nothing does."""

    row: int
    door_id: str
    name: str = ""
    spaces: tuple[str, ...] = ()
    external: str = ""
    fire: str = ""
    closing: str = ""
    exit: str = ""
    width: str = ""
    width_unit: str = ""
    outdoors: bool = False  # the model's geometry says that the other side is outside


@dataclass(frozen=True)
class Space:
    """One space; `kinds` are the texts that may tell what it is, the surest first."""

    row: int
    zone_id: str
    name: str = ""
    kinds: tuple[str, ...] = ()
    occupants: str = ""


@dataclass(frozen=True)
class Model:
    """What a building model says of doors and spaces."""

    file: str
    what: str
    doors: Sequence[Door]
    spaces: Sequence[Space]
    sheets: Mapping[str, str | None] = field(default_factory=dict)
    notes: tuple[str, ...] = ()


def read(path: Path, file: str, table: str, sha256: str = "") -> tuple[RawTable, list[str]]:
    """The doors or the zones of a model, and what is to be said of them.

    InputError where it can't be read, or has none.
    """
    if path.suffix.lower() == ".ifc":
        from audit.ingest import ifc

        model = ifc.model(path, file)
    else:
        from audit.ingest import cobie

        model = cobie.model(path, file)
    return of(model, table, sha256)


def of(model: Model, table: str, sha256: str = "") -> tuple[RawTable, list[str]]:
    """The table of a model; see `read`."""
    notes: list[str] = list(model.notes) if table == "doors" else []
    kinds = {s.zone_id: kind_of(s) for s in model.spaces}
    doors = _sides(model, kinds, notes)
    if table == "doors":
        columns = _door_columns(model, doors, notes)
        rows = [d.row for d in model.doors]
    else:
        columns, rows = _zone_columns(model, doors, kinds, notes)
    cells = {
        name: pa.chunked_array([pa.array(texts, pa.large_string())])
        for name, texts in columns.items()
    }
    raw = RawTable(
        table, cells, np.array(rows, np.int64), model.file, model.sheets.get(table), sha256
    )
    return raw, [f"{model.file}: {note}" for note in notes]


def kind_of(space: Space) -> str:
    """What a space is, where its category or name says so in a word of the trade; else ""."""
    column = TABLES["zones"].column("kind")
    for text in space.kinds:
        for part in (text, *re.split(r"[:;,|/]", text)):
            found = translated("zones", column, re.sub(r"[0-9.\-]+", " ", part))
            if found is not None and found[1]:
                return found[0]
    return ""


# --- sides ---------------------------------------------------------------------------------

_PUBLIC: Final = {"outside": 0, "common": 1, "stair": 1, "parking": 2}


def _sides(
    model: Model, kinds: Mapping[str, str], notes: list[str]
) -> list[tuple[str | None, str | None]]:
    """(inside, outside) of every door; None where the model does not say."""
    external = _answers((d.external for d in model.doors), "IsExternal", notes)
    outdoors = _outdoors(kinds)
    found: list[tuple[str | None, str | None]] = []
    one: list[Door] = []
    many: list[Door] = []
    none: list[Door] = []
    by_order = 0
    for door, out in zip(model.doors, external, strict=True):
        spaces = tuple(dict.fromkeys(door.spaces))
        if len(spaces) == 2:
            a, b = spaces
            public = _PUBLIC.get(kinds.get(a, ""), 3), _PUBLIC.get(kinds.get(b, ""), 3)
            by_order += public[0] == public[1]
            found.append((b, a) if public[0] < public[1] else (a, b))
        elif len(spaces) == 1 and (door.outdoors or out == "yes"):
            found.append((spaces[0], outdoors))
        else:
            found.append((spaces[0] if len(spaces) == 1 else None, None))
            (none if not spaces else one if len(spaces) == 1 else many).append(door)
    _say(notes, one, "one recorded side only; the other is not given")
    _say(notes, many, "more than two spaces; neither side is given")
    _say(notes, none, "no space; neither side is given")
    if by_order:
        notes.append(
            f"{_count(by_order, 'door stands', 'doors stand')} between two spaces of which neither"
            " is surely the protected one; the first named is taken as the inside: correct"
            " inside_zone where it matters"
        )
    return found


def _outdoors(kinds: Mapping[str, str]) -> str:
    """The zone outside: the model's own where it has just one, else one of that name."""
    own = [zone for zone, kind in kinds.items() if kind == "outside"]
    return own[0] if len(own) == 1 else OUTSIDE


def _say(notes: list[str], doors: Sequence[Door], what: str) -> None:
    if doors:
        named = ", ".join(d.door_id for d in doors[:NAMED_AT_MOST])
        more = f" and {len(doors) - NAMED_AT_MOST} more" if len(doors) > NAMED_AT_MOST else ""
        notes.append(f"{_count(len(doors), 'door has', 'doors have')} {what}: {named}{more}")


def _count(n: int, one: str, many: str) -> str:
    return f"{n} {one if n == 1 else many}"


# --- columns -------------------------------------------------------------------------------


def _door_columns(
    model: Model, sides: Sequence[tuple[str | None, str | None]], notes: list[str]
) -> dict[str, list[str | None]]:
    doors = model.doors
    columns: dict[str, list[str | None]] = {"door_id": [d.door_id for d in doors]}
    names = [d.name or None for d in doors]
    if any(names):
        columns["name"] = names
    columns["inside_zone"] = [inside for inside, _ in sides]
    columns["outside_zone"] = [outside for _, outside in sides]
    exits = _answers((d.exit for d in doors), "FireExit", notes)
    # FALSE says that the door is no exit by the code; it may still lie on a way to one
    _put(columns, "escape_route", [e if e == "yes" else None for e in exits])
    _put(columns, "self_closing", _answers((d.closing for d in doors), "SelfClosing", notes))
    _put(columns, "fire_minutes", _fire(doors, notes))
    _put(columns, "clear_width_mm", _widths(doors, notes))
    absent = [c for c in NOT_CARRIED if c not in columns]
    notes.append(
        f"{_count(len(doors), 'door', 'doors')} from {model.what}, which carries no"
        f" {', '.join(absent)}: rules on these are not assessed; add them in a doors table of your"
        " own"
    )
    return columns


def _put(columns: dict[str, list[str | None]], name: str, texts: list[str | None]) -> None:
    """A column only where some door has a value: an absent column is not a blank one."""
    if any(t is not None for t in texts):
        columns[name] = texts


def _answers(texts: Iterable[str], name: str, notes: list[str]) -> list[str | None]:
    """yes, no, a text that is neither, or None; one answer for every door says nothing."""
    column = TABLES["doors"].column("self_closing")
    found: list[str | None] = []
    for text in texts:
        if _placeholder(text):
            found.append(None)
            continue
        meant = translated("doors", column, text)
        found.append(meant[0] if meant else text)
    given = [f for f in found if f is not None]
    if len(given) >= ALIKE_FROM and len(set(given)) == 1 and given[0] in ("yes", "no"):
        word = "TRUE" if given[0] == "yes" else "FALSE"
        notes.append(f"{name} is {word} on every one of {len(given)} doors, as a template leaves"
                     " it; not taken")  # fmt: skip
        return [None] * len(found)
    return found


def _placeholder(text: str) -> bool:
    return re.sub(r"[\W_]+", "", text.casefold()) in _PLACEHOLDERS


def _fire(doors: Sequence[Door], notes: list[str]) -> list[str | None]:
    column = TABLES["doors"].column("fire_minutes")
    found: list[str | None] = []
    read: Counter[str] = Counter()
    left = 0
    for door in doors:
        text = door.fire.strip()
        if _placeholder(text):
            left += bool(text) and text.casefold() != "n/a"
            found.append(None)
            continue
        meant = None if text.isdigit() else translated("doors", column, text)
        if meant is not None and meant[1]:
            read[f"{text!r} as {meant[0]}"] += 1
            found.append(meant[0])
        else:
            found.append(text)
    if left:
        notes.append(
            f"{_count(left, 'door has', 'doors have')} a placeholder for a fire rating; not given"
        )
    if read:
        said = ", ".join(what for what, _ in read.most_common(NAMED_AT_MOST))
        notes.append(f"fire ratings read as minutes: {said}")
    return found


_FACTOR: Final = {
    "mm": 1.0, "millimetre": 1.0, "millimeter": 1.0, "cm": 10.0, "centimetre": 10.0,
    "centimeter": 10.0, "m": 1000.0, "metre": 1000.0, "meter": 1000.0,
}  # fmt: skip


def _widths(doors: Sequence[Door], notes: list[str]) -> list[str | None]:
    """Clear widths in mm; a text that is no number stays, to be reported as not understood."""
    found: list[str | None] = []
    bare = 0
    for door in doors:
        text = door.width.strip()
        if _placeholder(text):
            found.append(None)
            continue
        factor = _FACTOR.get(door.width_unit.strip().casefold().rstrip("s") or "-")
        number = re.fullmatch(r"[0-9]{1,5}(?:[.,][0-9]{1,6})?", text)
        if number is None:
            found.append(text)
        elif factor is None and float(text.replace(",", ".")) < 100:
            bare += 1
            found.append(None)
        else:
            found.append(f"{round(float(text.replace(',', '.')) * (factor or 1.0), 3):g}")
    if bare:
        notes.append(
            f"{_count(bare, 'door has', 'doors have')} a clear width without a unit; not given"
        )
    return found


def _zone_columns(
    model: Model,
    sides: Sequence[tuple[str | None, str | None]],
    kinds: Mapping[str, str],
    notes: list[str],
) -> tuple[dict[str, list[str | None]], list[int]]:
    notes.clear()  # said of the doors
    named = {space for door in model.doors for space in door.spaces}
    spaces = [s for s in model.spaces if s.zone_id in named]
    alone = [s.zone_id for s in model.spaces if s.zone_id not in named]
    columns: dict[str, list[str | None]] = {"zone_id": [s.zone_id for s in spaces]}
    rows = [s.row for s in spaces]
    names = [s.name or None for s in spaces]
    what: list[str | None] = [kinds[s.zone_id] or None for s in spaces]
    people = [None if _placeholder(s.occupants) else s.occupants for s in spaces]
    if any(OUTSIDE in pair for pair in sides) and OUTSIDE not in columns["zone_id"]:
        columns["zone_id"].append(OUTSIDE)
        rows.append(1)
        names.append(None)
        what.append("outside")
        people.append(None)
    _put(columns, "name", names)
    _put(columns, "kind", what)
    _put(columns, "occupants", people)
    if alone:
        some = ", ".join(alone[:NAMED_AT_MOST])
        more = f" and {len(alone) - NAMED_AT_MOST} more" if len(alone) > NAMED_AT_MOST else ""
        notes.append(
            f"{len(alone)} of {_count(len(model.spaces), 'space', 'spaces')} without a recorded"
            " door, a gap in the model and no fault of the building; left out, and whether people"
            f" can leave was not judged: {some}{more}"
        )
    unknown = sum(1 for w in what if w is None)
    if unknown:
        notes.append(
            f"{unknown} of {_count(len(what), 'zone', 'zones')} without a word on what it is; kind"
            " not given"
        )
    return columns, rows
