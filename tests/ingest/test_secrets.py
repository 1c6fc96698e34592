"""PINs in columns that are not meant for them, from the files to every byte of the reports."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import pytest

from audit import check

AS_OF = dt.date(2026, 9, 30)
TOML = '[site]\nname = "S"\ntimezone = "Europe/Dublin"\n'
DOORS = "door_id,inside_zone,outside_zone,entry\nD1,Z1,Z0,card-or-pin\n"
PEOPLE = "person_id,name\nR1,Oda Vint\n"


def _told(folder: Path, audience: str, **tables: str) -> str:
    folder.mkdir()
    (folder / "site.toml").write_text(TOML, "utf-8")
    for name, text in tables.items():
        (folder / f"{name}.csv").write_text(text, "utf-8")
    audit = check.audited(folder, as_of=AS_OF, audience=audience, make_key=True)
    ids = [f.id for f in audit.record.findings]
    assert ids
    assert len(ids) == len(set(ids))
    return b"".join(check.drawn(audit, ("json", "csv", "html")).values()).decode()


CASES = {
    "column headed Keypad": {
        "pins": "PIN ID,Keypad,Person\nP1,482913,R1\nP2,739154,R1\n",
        "stations": "station_id,kind\nS1,entrance-panel\n",
        "people": PEOPLE,
    },
    "column headed Panel, codes there too": {
        "pins": "PIN ID,PIN,Panel\nP1,482913,482913\nP2,739154,739154\n",
        "stations": "station_id,kind\nS1,entrance-panel\n",
    },
    "code with a sign after it": {
        "pins": "pin_id,pin,station_id\nP1,482913,482913#\nP2,739154,Keypad 739154\n",
        "stations": "station_id,kind\nS1,entrance-panel\n",
    },
    "credential of a log": {
        "pins": "pin_id,pin,person_id\nP1,482913,R1\nP2,739154,R1\n",
        "people": PEOPLE,
        "doors": DOORS,
        "cards": "card_id,number\nC1,12345678\n",
        "events": "Time,Door,Event,Credential,PIN used\n2026-09-29T10:00,D1,granted,482913,\n"
        "2026-09-29T11:00,D1,granted,739154,\n2026-09-29T11:00,D1,granted,12345678,\n"
        "2026-09-29T10:30,D1,granted,,990044\n",
    },
    "read-back of kind card": {
        "pins": "pin_id,pin,person_id\nP1,482913,R1\nP2,739154,R1\n",
        "people": PEOPLE,
        "doors": DOORS,
        "cards": "card_id,number\nC1,12345678\n",
        "loaded": "door_id,credential_kind,number\nD1,card,482913\nD1,card,739154\n"
        "D1,pin,990044\nD1,card,12345678\n",
    },
    "reference that is a code": {
        "pins": "pin_id,pin,person_id,dwelling_id,door_id\n"
        "P1,482913,482913,,\nP2,739154,,,739154\n",
        "people": PEOPLE,
        "doors": DOORS,
        "loaded": "door_id,credential_kind,number\n739154,pin,P1\n",
    },
    "zeros at the start lost on the way": {
        "pins": "pin_id,pin,person_id\nP1,00482913,R1\nP2,0739154,R1\n",
        "people": PEOPLE,
        "doors": DOORS,
        "cards": "card_id,number\nC1,12345678\n",
        "loaded": "door_id,credential_kind,number\nD1,card,482913\nD1,card,739154\n",
    },
    "holder of a right": {
        "pins": "pin_id,pin,person_id\nP1,482913,R1\nP2,739154,R1\n",
        "people": PEOPLE,
        "doors": DOORS,
        "permissions": "permission_id,holder_kind,holder_id,door_id\n"
        "M1,card,482913,D1\nM2,person,739154,D1\n",
        "cards": "card_id,number\nC1,12345678\n",
    },
}


@pytest.mark.parametrize("audience", ["full", "outside"])
@pytest.mark.parametrize("tables", CASES.values(), ids=CASES)
def test_no_code_is_told(tmp_path: Path, tables: dict[str, str], audience: str) -> None:
    told = _told(tmp_path / "s", audience, **tables)
    for digits in ("482913", "739154", "990044"):
        assert digits not in told


def test_what_a_table_explains_is_shown(tmp_path: Path) -> None:
    told = _told(
        tmp_path / "s",
        "full",
        pins="pin_id,pin,dwelling_id\nP1,1204,1204\nP2,555777,9999\n",
        dwellings="dwelling_id\n1204\n",
        cards="card_id,number,dwelling_id,status\nC1,555777,1204,lost\n",
        doors=DOORS,
        loaded="door_id,credential_kind,number\nD1,card,0555777\n",
    )
    assert "0555777" in told or "C1" in told
    assert "9999" not in told  # all digits, and no dwelling
