"""A COBie workbook: doors from Component and Type, zones from Space and Zone, and Attribute.

`n/a` is COBie's word for nothing. A door's spaces stand in one cell as a list, or (COBie 3)
in Space.Name and Space.SecondaryName.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Final

from audit.faults import InputError
from audit.ingest.building import Door, Model, Space
from audit.ingest.headers import plain

if TYPE_CHECKING:
    from audit.ingest.readers.workbook import Workbook

NEEDED: Final = frozenset(("component", "type", "space"))
_DOOR: Final = re.compile(r"\b(doors?|doorsets?)\b|t(ü|ue)r(en)?\b|\bportes?\b|\bpuertas?\b", re.I)
_NO_DOOR: Final = re.compile(
    r"hardware|ironmongery|furniture|frame|handle|closer|hinge|seal|bell|entry|operator", re.I
)
_ATTRIBUTES: Final = {
    "firerating": "fire", "fireresistance": "fire", "fireresistancerating": "fire",
    "fireexit": "exit", "selfclosing": "closing", "selfclosingdevice": "closing",
    "isexternal": "external", "external": "external",
    "clearwidth": "width", "clearopening": "width", "clearopeningwidth": "width",
    "cleardoorwidth": "width",
    "occupancynumber": "occupants", "occupants": "occupants", "numberofoccupants": "occupants",
    "occupancy": "occupants", "occupantload": "occupants",
}  # fmt: skip
"""Attribute names (letters and digits alone) -> what we read. NominalWidth and OverallWidth
are no clear width and are not among them."""

Row = dict[str, str]


def is_cobie(names: Iterable[str]) -> bool:
    """Whether a workbook with these sheets is a COBie workbook."""
    return {plain(n) for n in names} >= NEEDED


def model(path: Path, file: str) -> Model:
    """Doors and spaces of a COBie workbook; InputError where it has no door."""
    from audit.ingest.readers.workbook import Workbook

    with Workbook(path, file) as book:
        types = {r.get("name", ""): r for _, r in _rows(book, "type")}
        components = list(_rows(book, "component"))
        spaces = list(_rows(book, "space"))
        doors = _doors(components, types)
        if not doors:
            raise InputError(
                f"{file}: the COBie workbook has no door among its {len(components)} components;"
                " look at Type.Category and ExtObject"
            )
        names = {r["name"] for _, r in doors}
        kinds = {_type_of(r) for _, r in doors}
        said = _attributes(book, names, kinds, {r.get("name", "") for _, r in spaces})
        zoned = _zones(book)
    known = {r.get("name", "") for _, r in spaces}
    notes = []
    if any(_given(types.get(k, {}).get("nominalwidth", "")) for k in kinds):
        notes.append("NominalWidth is not the clear width and is not taken for it")
    return Model(
        file,
        "a COBie workbook",
        [_door(n, r, known, said) for n, r in doors],
        [_space(n, r, zoned, said) for n, r in spaces if r.get("name")],
        {"doors": "Component", "zones": "Space"},
        tuple(notes),
    )


def _rows(book: Workbook, sheet: str) -> Iterator[tuple[int, Row]]:
    """Row number and cells by header, `n/a` as nothing; no rows where there is no such sheet."""
    found = next((s for s in book.sheets if plain(s.name) == sheet), None)
    if found is None:
        return
    header: list[str] | None = None
    for number, cells in book.rows(found):
        if header is None:
            keys = [plain(c or "") for c in cells]
            if "name" in keys:
                header = keys
            continue
        row = {
            key: text.strip()
            for key, text in zip(header, cells, strict=False)
            if key and text is not None and _given(text)
        }
        if row:
            yield number, row
    if header is None:
        raise InputError(f"{book.file}, sheet {found.name!r}: has no column Name")


def _given(text: str) -> bool:
    return text.strip().casefold() not in ("", "n/a", "na")


def _type_of(row: Row) -> str:
    return row.get("typename", "")


def _doors(components: list[tuple[int, Row]], types: dict[str, Row]) -> list[tuple[int, Row]]:
    """The components that are doors: by their IFC object, their type's category, or its name."""
    found = []
    for number, row in components:
        kind = types.get(_type_of(row), {})
        objects = [_object(row), _object(kind)]
        if any(o.startswith("ifcdoor") for o in objects):
            is_door = True
        elif any(objects):
            is_door = False
        else:
            texts = [kind.get("category", ""), _type_of(row), row.get("name", "")]
            first = next((t for t in texts if t), "")
            is_door = bool(_DOOR.search(first)) and not _NO_DOOR.search(first)
        if is_door and row.get("name"):
            found.append((number, row))
    return found


def _object(row: Row) -> str:
    return (row.get("extobject") or row.get("externalobject") or "").casefold()


def _attributes(
    book: Workbook, doors: set[str], types: set[str], spaces: set[str]
) -> dict[tuple[str, str, str], tuple[str, str]]:
    """(sheet, row's name, what) -> (value, unit), of doors, their types and the spaces."""
    wanted = {"component": doors, "type": types, "space": spaces}
    found: dict[tuple[str, str, str], tuple[str, str]] = {}
    for _, row in _rows(book, "attribute"):
        what = _ATTRIBUTES.get(plain(row.get("name", "")))
        sheet, name = plain(row.get("sheetname", "")), row.get("rowname", "")
        if what is not None and name in wanted.get(sheet, ()):
            found.setdefault((sheet, name, what), (row.get("value", ""), row.get("unit", "")))
    return found


def _zones(book: Workbook) -> dict[str, list[str]]:
    """Space -> what the Zone sheet says of it: category, then name."""
    found: dict[str, list[str]] = {}
    for _, row in _rows(book, "zone"):
        for space in _listed(row.get("spacenames", ""), set()):
            found.setdefault(space, []).extend(
                t for t in (row.get("category", ""), row.get("name", "")) if t
            )
    return found


def _listed(text: str, known: set[str]) -> list[str]:
    """The names in a cell: one that holds a comma itself is a name where a space is called so."""
    if not text:
        return []
    if text in known:
        return [text]
    return [part.strip() for part in re.split(r"[,;\n]", text) if _given(part)]


def _door(
    number: int, row: Row, known: set[str], said: dict[tuple[str, str, str], tuple[str, str]]
) -> Door:
    name, kind = row["name"], _type_of(row)

    def of(what: str) -> tuple[str, str]:
        return said.get(("component", name, what)) or said.get(("type", kind, what)) or ("", "")

    spaces = _listed(row.get("space") or row.get("spacename") or "", known)
    spaces += _listed(row.get("spacesecondaryname", ""), known)
    width, unit = of("width")
    description = row.get("description", "")
    return Door(
        number, name, "" if description == name else description, tuple(spaces),
        of("external")[0], of("fire")[0], of("closing")[0], of("exit")[0], width, unit,
    )  # fmt: skip


def _space(
    number: int,
    row: Row,
    zoned: dict[str, list[str]],
    said: dict[tuple[str, str, str], tuple[str, str]],
) -> Space:
    name = row["name"]
    description = row.get("description", "")
    called = description or row.get("roomtag", "")
    kinds = (row.get("category", ""), description, row.get("roomtag", ""), *zoned.get(name, []))
    return Space(
        number, name, "" if called == name else called,
        tuple(k for k in kinds if k), said.get(("space", name, "occupants"), ("", ""))[0],
    )  # fmt: skip
