"""Where a zone without dwellings belongs: to the building that its doors lead to."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

from audit import ingest, picture


def test_a_lobby_is_of_its_building_and_a_shared_yard_of_none(tmp_path: Path) -> None:
    (tmp_path / "site.toml").write_text('[site]\nname = "Two"\ntimezone = "Europe/Dublin"\n')
    (tmp_path / "dwellings.csv").write_text(
        "dwelling_id,building,zone_id\n1,Ash,A1\n2,Ash,A2\n3,Elm,E1\n"
    )
    (tmp_path / "zones.csv").write_text(
        "zone_id,kind\nA1,dwelling\nA2,dwelling\nE1,dwelling\nAL,common\nEL,common\n"
        "ST,plant\nYARD,common\nSHED,store\nOUT,outside\n"
    )
    (tmp_path / "doors.csv").write_text(
        "door_id,inside_zone,outside_zone\n1,A1,AL\n2,A2,AL\n3,E1,EL\n4,ST,AL\n5,AL,YARD\n"
        "6,EL,YARD\n7,SHED,YARD\n8,YARD,OUT\n9,AL,OUT\n10,EL,OUT\n"
    )
    data = ingest.load_site(tmp_path, dt.date(2026, 9, 30))
    places, _, _ = picture._places(data)
    parents = {p["id"]: p["parent"] for p in places if p["id"].startswith("zone ")}
    assert parents == {
        "zone A1": "building Ash", "zone A2": "building Ash", "zone AL": "building Ash",
        "zone ST": "building Ash", "zone E1": "building Elm", "zone EL": "building Elm",
        "zone YARD": None, "zone SHED": None, "zone OUT": None,
    }  # fmt: skip
