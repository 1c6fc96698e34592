"""Doors and zones from COBie workbooks and IFC models, tiny and invented."""

from __future__ import annotations

import sys
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from audit.check import audited
from audit.cli import main
from audit.contract import Dataset
from audit.ingest import InputError, load_site
from audit.ingest.building import NOT_CARRIED
from audit.schema import TABLES
from tests.ingest.books import workbook
from tests.ingest.sites import AS_OF, TOML

SOURCES = '[sources.doors]\nfile = "model.xlsx"\n[sources.zones]\nfile = "model.xlsx"\n'
# COBie 2.4: columns of the sheets (egress.md 6.2)
TYPE = ["Name", "CreatedBy", "Category", "AssetType", "NominalWidth", "ExtObject"]
COMPONENT = ["Name", "CreatedBy", "TypeName", "Space", "Description", "ExtObject"]
SPACE = ["Name", "CreatedBy", "Category", "FloorName", "Description", "RoomTag"]
ZONE = ["Name", "Category", "SpaceNames"]
ATTRIBUTE = ["Name", "SheetName", "RowName", "Value", "Unit"]
NA = "n/a"

Sheets = dict[str, Sequence[Sequence[Any]]]


def cobie(**changes: Sequence[Sequence[Any]]) -> Sheets:
    """A small house: a street, a hall, a stair, a flat, a store; a sheet may be changed."""
    sheets: Sheets = {
        "Type": [
            TYPE,
            ["Entrance doorset", "a", "23-30 10 00: Doors", "Fixed", "915", NA],
            ["Flat door", "a", "23-30 10 00: Doors", "Fixed", "838", NA],
            ["Door closer", "a", "23-30 40 00: Door Hardware", "Fixed", NA, NA],
            ["Boiler", "a", "23-60 30 00: Heating", "Fixed", NA, NA],
        ],
        "Component": [
            COMPONENT,
            ["D01", "a", "Entrance doorset", "Hall", "Main entrance", NA],
            ["D02", "a", "Flat door", "Hall,Flat 1", "D02", NA],
            ["D03", "a", "Flat door", "Stair, Hall , Store", NA, NA],
            ["D04", "a", "Flat door", NA, NA, NA],
            ["CL1", "a", "Door closer", "Hall", NA, NA],
            ["B1", "a", "Boiler", "Store", NA, NA],
        ],
        "Space": [
            SPACE,
            ["Hall", "a", "Common: Lobby", "Ground", "Entrance hall", "G01"],
            ["Flat 1", "a", "Dwelling", "Ground", NA, "G02"],
            ["Stair", "a", "13-85 11 00: Stairway", "Ground", "Stair A", NA],
            ["Store", "a", NA, "Ground", NA, NA],
        ],
        "Zone": [ZONE, ["Back of house", "Storage", "Store"]],
        "Attribute": [
            ATTRIBUTE,
            ["FireRating", "Component", "D02", "FD30S", NA],
            ["FireRating", "Type", "Entrance doorset", "FireRating", NA],
            ["FireRating", "Component", "D03", "-", NA],
            ["FireRating", "Component", "D04", "90", NA],
            ["ClearWidth", "Component", "D01", "0.85", "metres"],
            ["ClearWidth", "Component", "D02", "PR 915", "mm"],
            ["ClearWidth", "Component", "D03", "762", "mm"],
            ["ClearWidth", "Component", "D04", "0.9", NA],
            ["SelfClosing", "Component", "D01", "TRUE", NA],
            ["SelfClosing", "Component", "D02", "FALSE", NA],
            ["SelfClosing", "Component", "D03", "TRUE", NA],
            ["FireExit", "Component", "D01", "TRUE", NA],
            ["FireExit", "Component", "D02", "FALSE", NA],
            ["IsExternal", "Component", "D01", "TRUE", NA],
            ["IsExternal", "Component", "D02", "FALSE", NA],
            ["OccupancyNumber", "Space", "Hall", "12", NA],
            ["FireRating", "Component", "B1", "EI 60", NA],
        ],
    }
    return {**sheets, **changes}


def load(tmp_path: Path, sheets: Mapping[str, Sequence[Sequence[Any]]]) -> Dataset:
    folder = tmp_path / "site"
    folder.mkdir()
    (folder / "site.toml").write_text(TOML + SOURCES, "utf-8")
    (folder / "model.xlsx").write_bytes(workbook(sheets))
    return load_site(folder, AS_OF)


def cells(data: Dataset, table: str, column: str) -> list[Any]:
    return [None if pd.isna(v) else v for v in data[table][column]]


def test_doors_and_spaces(tmp_path: Path) -> None:
    data = load(tmp_path, cobie())
    assert cells(data, "doors", "door_id") == ["D01", "D02", "D03", "D04"]
    assert cells(data, "doors", "name") == ["Main entrance", None, None, None]
    # one space and external: the other side is outside; of two the public one is outside
    assert cells(data, "doors", "inside_zone") == ["Hall", "Flat 1", None, None]
    assert cells(data, "doors", "outside_zone") == ["outside", "Hall", None, None]
    assert cells(data, "zones", "zone_id") == ["Hall", "Flat 1", "Stair", "Store", "outside"]
    assert cells(data, "zones", "kind") == ["common", "dwelling", "stair", "store", "outside"]
    assert cells(data, "zones", "occupants") == [12, None, None, None, None]
    assert cells(data, "zones", "name") == ["Entrance hall", "G02", "Stair A", None, None]


def test_rows_are_those_of_the_sheets(tmp_path: Path) -> None:
    data = load(tmp_path, cobie())
    assert (data.where("doors", 1).sheet, data.where("doors", 1).row) == ("Component", 3)
    assert (data.where("zones", 2).sheet, data.where("zones", 2).row) == ("Space", 4)
    assert data.where("zones", 2).file == "model.xlsx"


def test_placeholders_are_not_given_and_odd_widths_not_understood(tmp_path: Path) -> None:
    data = load(tmp_path, cobie())
    assert cells(data, "doors", "fire_minutes") == [None, 30, None, 90]
    assert not data.unread("doors", "fire_minutes").any()
    assert cells(data, "doors", "clear_width_mm") == [850.0, None, 762.0, None]
    assert data.unread("doors", "clear_width_mm").tolist() == [False, True, False, False]
    said = " ".join(data.notes)
    assert "2 doors have a placeholder for a fire rating" in said
    assert "'FD30S' as 30" in said
    assert "1 door has a clear width without a unit" in said
    assert "NominalWidth is not the clear width" in said
    assert "more than two spaces; neither side is given: D03" in said


def test_what_the_standard_does_not_carry_is_absent_and_said(tmp_path: Path) -> None:
    data = load(tmp_path, cobie())
    columns = data.tables["doors"].columns
    assert not columns & set(NOT_CARRIED)
    assert set(NOT_CARRIED) <= {c.name for c in TABLES["doors"].columns}
    assert any("4 doors from a COBie workbook, which carries no entry, lock" in n
               for n in data.notes)  # fmt: skip


def test_rules_that_need_it_say_that_they_did_not_look(tmp_path: Path) -> None:
    load(tmp_path, cobie())
    record = audited(tmp_path / "site", as_of=AS_OF).record
    states = {o.rule: o.state for o in record.outcomes}
    for rule in ("escape-door-locked-without-power", "controlled-door-without-monitor",
                 "escape-door-without-emergency-release", "pin-code-space"):  # fmt: skip
        assert states[rule] == "not-assessed", rule
    ways = next(o for o in record.outcomes if o.rule == "zone-without-way-out")
    assert (ways.found, ways.unassessed) == (0, 4)  # every zone but the street
    assert any(f.rule == "value-not-understood" for f in record.findings)
    assert any("carries no" in n for n in record.notices)
    assert not any(o.state == "failed" for o in record.outcomes)


@pytest.mark.parametrize("word", ["TRUE", "FALSE"])
def test_one_answer_for_every_door_is_a_templates(tmp_path: Path, word: str) -> None:
    """egress.md 6.3: TRUE in IsExternal and SelfClosing on every door, correct or not."""
    rows = [ATTRIBUTE]
    for door in ("D01", "D02", "D03", "D04"):
        rows += [[name, "Component", door, word, NA]
                 for name in ("SelfClosing", "IsExternal", "FireExit")]  # fmt: skip
    data = load(tmp_path, cobie(Attribute=rows))
    assert not {"self_closing", "escape_route"} & data.tables["doors"].columns
    assert cells(data, "doors", "outside_zone")[0] is None
    assert "outside" not in cells(data, "zones", "zone_id")
    assert any(f"SelfClosing is {word} on every one of 4 doors" in n for n in data.notes)
    assert any("one recorded side only" in n and "D01" in n for n in data.notes)


def test_two_doors_alike_are_two_doors(tmp_path: Path) -> None:
    rows = [ATTRIBUTE, *([["SelfClosing", "Component", d, "TRUE", NA] for d in ("D01", "D02")])]
    data = load(tmp_path, cobie(Attribute=rows))
    assert cells(data, "doors", "self_closing")[:2] == [True, True]


def test_the_second_space_of_cobie_3(tmp_path: Path) -> None:
    """NBIMS-US v4, COBie 3: Space.Name and Space.SecondaryName, Type.Name."""
    component = [
        ["Name", "Type.Name", "Space.Name", "Space.SecondaryName"],
        ["D1", "Flat door", "Hall", "Flat 1"],
        ["D2", "Flat door", "Hall", NA],
        ["D3", "Flat door", "Stair", "Hall"],
    ]
    data = load(tmp_path, cobie(Component=component))
    assert cells(data, "doors", "inside_zone") == ["Flat 1", "Hall", "Stair"]
    assert cells(data, "doors", "outside_zone") == ["Hall", None, "Hall"]
    assert any(
        "1 door stands between two spaces of which neither is surely" in n for n in data.notes
    )


def test_a_space_with_a_comma_in_its_name(tmp_path: Path) -> None:
    spaces = [SPACE, ["Hall, ground", "a", NA, "G", NA, NA], ["Flat 1", "a", NA, "G", NA, NA]]
    component = [COMPONENT, ["D1", "a", "Flat door", "Hall, ground", NA, NA]]
    data = load(tmp_path, cobie(Space=spaces, Component=component))
    assert cells(data, "doors", "inside_zone") == ["Hall, ground"]


def test_doors_by_their_ifc_object(tmp_path: Path) -> None:
    component = [
        COMPONENT,
        ["A", "a", "X", "Hall", NA, "IfcDoor"],
        ["Door-like window", "a", "Y", "Hall", NA, "IfcWindow"],
    ]
    data = load(tmp_path, cobie(Component=component))
    assert cells(data, "doors", "door_id") == ["A"]


def test_spaces_without_a_door_are_a_gap_in_the_model(tmp_path: Path) -> None:
    """egress.md 6.3: report it as incomplete, not as a trap, people in it or not."""
    sheets = cobie()
    spaces = [*sheets["Space"], ["Void", "a", "Common", "G", NA, NA]]
    people = [*sheets["Attribute"], ["OccupancyNumber", "Space", "Void", "9", NA]]
    data = load(tmp_path, cobie(Space=spaces, Attribute=people))
    assert "Void" not in cells(data, "zones", "zone_id")
    assert any("1 of 5 spaces without a recorded door, a gap" in n and n.endswith(": Void")
               for n in data.notes)  # fmt: skip
    record = audited(tmp_path / "site", as_of=AS_OF).record
    assert not [f for f in record.findings if f.rule == "zone-without-way-out"]


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"Component": [COMPONENT]}, "has no door among its 0 components"),
        ({"Component": [["Naam", "Space"], ["D1", "Hall"]]}, "has no column Name"),
        ({"Type": [["x"], ["y"]]}, "has no column Name"),
    ],
)
def test_what_is_no_use_is_one_line(tmp_path: Path, changes: dict[str, Any], says: str) -> None:
    with pytest.raises(InputError, match=says):
        load(tmp_path, cobie(**changes))


def test_a_sheet_named_by_hand_is_a_table_as_any_other(tmp_path: Path) -> None:
    folder = tmp_path / "site"
    folder.mkdir()
    (folder / "site.toml").write_text(
        TOML + '[sources.doors]\nfile = "model.xlsx"\nsheet = "Component"\n'
        'columns = { door_id = "Name", inside_zone = "Space" }\n'
    )
    (folder / "model.xlsx").write_bytes(workbook(cobie()))
    data = load_site(folder, AS_OF)
    assert len(data["doors"]) == 6


def test_look_puts_the_model_into_site_toml(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = tmp_path / "site"
    folder.mkdir()
    (folder / "house.xlsx").write_bytes(workbook(cobie()))
    assert main(["look", str(folder), "--write", str(folder)]) == 0
    assert "from a COBie workbook" in capsys.readouterr().out
    data = load_site(folder, AS_OF)
    assert set(data.tables) == {"doors", "zones"}
    assert len(data["doors"]) == 4


# --- IFC -----------------------------------------------------------------------------------

ifcopenshell = pytest.importorskip("ifcopenshell", reason="the extra `ifc` is not installed")


def ifc(path: Path, schema: str = "IFC4", *, closing: Sequence[bool] = (True, False, True)) -> None:
    """A house of three doors: street to hall, hall to flat, and one without a boundary."""
    import ifcopenshell.guid

    f = ifcopenshell.file(schema=schema)

    def make(kind: str, **given: Any) -> Any:
        if kind != "IfcPropertySingleValue":
            given["GlobalId"] = ifcopenshell.guid.new()
            if schema == "IFC2X3":
                given["OwnerHistory"] = owner
        return f.create_entity(kind, **given)

    owner = None
    if schema == "IFC2X3":
        person = f.create_entity("IfcPerson", FamilyName="x")
        firm = f.create_entity("IfcOrganization", Name="x")
        both = f.create_entity("IfcPersonAndOrganization", person, firm)
        app = f.create_entity("IfcApplication", firm, "1", "x", "x")
        owner = f.create_entity("IfcOwnerHistory", both, app, None, "ADDED", None, None, None, 0)

    def pset(name: str, entity: Any, **values: Any) -> None:
        properties = [
            f.create_entity(
                "IfcPropertySingleValue", Name=key,
                NominalValue=f.create_entity(*value) if isinstance(value, tuple) else value,
            )
            for key, value in values.items()
        ]  # fmt: skip
        made = make("IfcPropertySet", Name=name, HasProperties=properties)
        make("IfcRelDefinesByProperties", RelatedObjects=[entity],
             RelatingPropertyDefinition=made)  # fmt: skip

    rest = {"InteriorOrExteriorSpace": "INTERNAL"} if schema == "IFC2X3" else {}
    hall = make("IfcSpace", Name="G01", LongName="Lobby", CompositionType="ELEMENT", **rest)
    flat = make("IfcSpace", Name="G02", LongName="Flat", CompositionType="ELEMENT", **rest)
    doors = [
        make("IfcDoor", Name="D1", OverallWidth=1.01), make("IfcDoor", Name="D2"),
        make("IfcDoor", Name="D3"),
    ]  # fmt: skip
    for space, door, beyond in (
        (hall, doors[0], "EXTERNAL"), (hall, doors[1], "INTERNAL"), (flat, doors[1], "INTERNAL"),
    ):  # fmt: skip
        make(
            "IfcRelSpaceBoundary", RelatingSpace=space, RelatedBuildingElement=door,
            PhysicalOrVirtualBoundary="PHYSICAL", InternalOrExternalBoundary=beyond,
        )  # fmt: skip
    for door, closes, rating in zip(doors, closing, ("EI 60", "FireRating", "<none>"), strict=True):
        pset(
            "Pset_DoorCommon", door, SelfClosing=("IfcBoolean", closes),
            FireRating=("IfcLabel", rating), FireExit=("IfcBoolean", door.Name == "D1"),
        )  # fmt: skip
    if schema != "IFC2X3":
        pset("Pset_SpaceOccupancyRequirements", hall, OccupancyNumber=("IfcCountMeasure", 12))
    f.write(str(path))


def load_ifc(tmp_path: Path, **given: Any) -> Dataset:
    folder = tmp_path / "site"
    folder.mkdir()
    (folder / "site.toml").write_text(TOML + SOURCES.replace("model.xlsx", "model.ifc"), "utf-8")
    ifc(folder / "model.ifc", **given)
    return load_site(folder, AS_OF)


@pytest.mark.parametrize("schema", ["IFC4", "IFC2X3", "IFC4X3"])
def test_doors_and_spaces_of_an_ifc_model(tmp_path: Path, schema: str) -> None:
    data = load_ifc(tmp_path, schema=schema)
    assert cells(data, "doors", "door_id") == ["D1", "D2", "D3"]
    assert cells(data, "doors", "inside_zone") == ["G01", "G02", None]
    assert cells(data, "doors", "outside_zone") == ["outside", "G01", None]
    assert cells(data, "doors", "fire_minutes")[:2] == [60, None]
    assert cells(data, "doors", "self_closing") == [True, False, True]
    assert cells(data, "doors", "escape_route") == [True, None, None]
    assert cells(data, "zones", "zone_id") == ["G01", "G02", "outside"]
    assert cells(data, "zones", "kind") == ["common", "dwelling", "outside"]
    if schema != "IFC2X3":
        assert cells(data, "zones", "occupants") == [12, None, None]
    assert "clear_width_mm" not in data.tables["doors"].columns  # OverallWidth is the frame's
    assert not set(NOT_CARRIED) & data.tables["doors"].columns


def test_true_on_every_door_of_an_ifc_model(tmp_path: Path) -> None:
    data = load_ifc(tmp_path, closing=(True, True, True))
    assert "self_closing" not in data.tables["doors"].columns
    assert any("SelfClosing is TRUE on every one of 3 doors" in n for n in data.notes)


def test_an_unused_placeholder_is_said(tmp_path: Path) -> None:
    data = load_ifc(tmp_path)
    assert any("placeholder for a fire rating" in n for n in data.notes)


@pytest.mark.parametrize(
    ("content", "says"),
    [
        (b"", "is no IFC file"),
        (b"nonsense", "is no IFC file"),
        (b"ISO-10303-21;\nHEADER;\n", "damaged|no door"),
        (b"ISO-10303-21;\nHEADER;\nFILE_SCHEMA(('IFC9'));\nENDSEC;\nDATA;\n", "damaged|no door"),
    ],
)
def test_broken_ifc_is_one_line(tmp_path: Path, content: bytes, says: str) -> None:
    folder = tmp_path / "site"
    folder.mkdir()
    (folder / "site.toml").write_text(TOML + '[sources.doors]\nfile = "m.ifc"\n')
    (folder / "m.ifc").write_bytes(content)
    with pytest.raises(InputError, match=says):
        load_site(folder, AS_OF)


def test_without_the_extra_it_says_what_to_install(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = tmp_path / "site"
    folder.mkdir()
    (folder / "site.toml").write_text(TOML)
    ifc(folder / "doors.ifc")
    monkeypatch.setitem(sys.modules, "ifcopenshell", None)
    with pytest.raises(InputError, match=r"door-audit\[ifc\]"):
        load_site(folder, AS_OF)
