"""An IFC model: doors, the spaces on their two sides, and Pset_DoorCommon. An optional extra.

OverallWidth is the frame's width, not the clear width: it is not read. Row numbers are the
numbers of the entities (#123) in the file.
"""

from __future__ import annotations

from collections import Counter
from pathlib import Path
from typing import Any, Final

from audit.faults import InputError
from audit.ingest.building import Door, Model, Space

MOST_BYTES: Final = 1 << 30


def model(path: Path, file: str) -> Model:
    """Doors and spaces of an IFC file; InputError where it can't be read or has no door."""
    try:
        import ifcopenshell
    except ImportError:
        raise InputError(
            f'{file}: reading IFC needs the extra: pip install "door-audit[ifc]"; or export a'
            " COBie workbook"
        ) from None
    try:
        with path.open("rb") as stream:
            start = stream.read(64)
        if path.stat().st_size > MOST_BYTES:
            raise InputError(f"{file}: larger than 1 GiB; export the doors and spaces alone")
    except OSError as e:
        raise InputError(f"{file}: can't be read ({e.strerror})") from None
    if not start.lstrip().startswith(b"ISO-10303-21"):
        raise InputError(f"{file}: is no IFC file; export the model again as .ifc")
    try:
        found = _model(ifcopenshell.open(str(path)), file)
    except InputError:
        raise
    except Exception:
        raise InputError(f"{file}: damaged, so it can't be read; export the model again") from None
    if not found.doors:
        raise InputError(f"{file}: the model has no door (IfcDoor)")
    return found


def _model(ifc: Any, file: str) -> Model:
    doors, spaces = ifc.by_type("IfcDoor"), ifc.by_type("IfcSpace")
    space_ids = _ids(spaces)
    sides, outdoors, bounded = _sides(ifc, space_ids)
    notes = ["OverallWidth is not the clear width and is not taken for it"]
    if not bounded:
        notes.append("the model has no space boundaries, so no door says what it stands between")
    door_ids = _ids(doors)
    if any(door_ids[d.id()] == d.GlobalId for d in doors):
        notes.append("doors without a name of their own go by their GlobalId")
    return Model(
        file,
        "an IFC model",
        [_door(d, door_ids, sides.get(d.id(), ()), d.id() in outdoors) for d in doors],
        [_space(s, space_ids) for s in spaces],
        {},
        tuple(notes),
    )


def _ids(entities: Any) -> dict[int, str]:
    """Entity -> what it goes by: its name where no other has it, else its GlobalId."""
    names = Counter((e.Name or "").strip() for e in entities)
    return {
        e.id(): (e.Name or "").strip()
        if (e.Name or "").strip() and names[(e.Name or "").strip()] == 1
        else e.GlobalId
        for e in entities
    }


def _sides(ifc: Any, spaces: dict[int, str]) -> tuple[dict[int, list[str]], set[int], bool]:
    """Door -> its spaces; the doors of which one boundary is external; whether any boundary is."""
    found: dict[int, list[str]] = {}
    outdoors: set[int] = set()
    boundaries = ifc.by_type("IfcRelSpaceBoundary")
    for boundary in boundaries:
        for door in _doors_in(boundary.RelatedBuildingElement):
            space = boundary.RelatingSpace
            name = spaces.get(space.id()) if space is not None else None
            if name is not None and name not in found.setdefault(door.id(), []):
                found[door.id()].append(name)
            beyond = str(boundary.InternalOrExternalBoundary or "")
            if beyond.startswith("EXTERNAL") or (
                space is not None and space.is_a("IfcExternalSpatialElement")
            ):
                outdoors.add(door.id())
    return found, outdoors, bool(boundaries)


def _doors_in(element: Any) -> list[Any]:
    """The door that bounds a space: itself, or what fills the opening that does."""
    if element is None:
        return []
    if element.is_a("IfcDoor"):
        return [element]
    if element.is_a("IfcOpeningElement"):
        fillings = [f.RelatedBuildingElement for f in element.HasFillings]
        return [f for f in fillings if f.is_a("IfcDoor")]
    return []


def _door(door: Any, ids: dict[int, str], spaces: Any, outdoors: bool) -> Door:
    common = _set(door, "Pset_DoorCommon")
    name = (door.Description or door.ObjectType or "").strip()
    return Door(
        door.id(), ids[door.id()], name, tuple(spaces), _text(common.get("IsExternal")),
        _text(common.get("FireRating")), _text(common.get("SelfClosing")),
        _text(common.get("FireExit")), outdoors=outdoors,
    )  # fmt: skip


def _space(space: Any, ids: dict[int, str]) -> Space:
    long_name = (getattr(space, "LongName", None) or "").strip()
    beyond = getattr(space, "PredefinedType", None) or getattr(
        space, "InteriorOrExteriorSpace", None
    )
    first = {"EXTERNAL": "outside", "PARKING": "parking"}.get(str(beyond or ""), "")
    kinds = (first, (space.ObjectType or "").strip(), long_name)
    needs = _set(space, "Pset_SpaceOccupancyRequirements")
    people = _text(needs.get("OccupancyNumber"))
    return Space(
        space.id(), ids[space.id()], long_name, tuple(k for k in kinds if k),
        people.removesuffix(".0"),
    )  # fmt: skip


def _set(entity: Any, name: str) -> dict[str, Any]:
    """A property set of an entity, its type's where it has none of its own."""
    from ifcopenshell.util.element import get_pset

    found: dict[str, Any] = get_pset(entity, name) or {}
    return found


def _text(value: Any) -> str:
    return "" if value is None else str(value)
