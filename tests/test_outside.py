"""Readers outside see no name, also where an id or a free reference is one."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

from audit import check

AS_OF = dt.date(2026, 9, 30)


def _site(folder: Path, **tables: str) -> Path:
    folder.mkdir()
    (folder / "site.toml").write_text('[site]\nname = "S"\ntimezone = "Europe/Dublin"\n', "utf-8")
    for name, text in tables.items():
        (folder / f"{name}.csv").write_text(text, "utf-8")
    return folder


def _both(site: Path) -> tuple[check.Audit, check.Audit]:
    return (
        check.audited(site, as_of=AS_OF),
        check.audited(site, as_of=AS_OF, audience="outside"),
    )


def test_ids_that_are_names_get_stand_ins(tmp_path: Path) -> None:
    site = _site(
        tmp_path / "s",
        dwellings="dwelling_id\nF1\n",
        people="person_id,name,dwelling_id,status,end_date,phone\n"
        "quillon.brask,Quillon Brask,F1,departed,2026-06-30,0871234567\n"
        "R2,Oda Vint,F1,departed,2026-06-30,0879999999\n",
        cards="card_id,number,person_id,dwelling_id\n"
        "Brask fob,1001,quillon.brask,F1\nC2,1002,R2,F1\nC3,1003,Somebody Elsewhere,F1\n",
    )
    full, outside = _both(site)
    assert [f.id for f in outside.record.findings] == [f.id for f in full.record.findings]
    files = check.drawn(outside, ("json", "csv", "html"))
    told = b"".join(files.values()).decode().casefold()
    for word in ("quillon", "brask", "oda vint", "0871234567", "somebody elsewhere"):
        assert word not in told
    held = next(
        f
        for f in outside.record.findings
        if f.rule == "departed-with-card" and f.subjects["person"] != ["R2"]
    )
    assert held.subjects["person"][0].startswith("person-")
    assert held.subjects["card"][0].startswith("card-")
    # the same stand-in at the next review
    later = check.audited(site, as_of=dt.date(2026, 12, 31), audience="outside")
    assert held.subjects in [f.subjects for f in later.record.findings]


def test_opaque_references_stay_so_that_the_agent_finds_them(tmp_path: Path) -> None:
    site = _site(
        tmp_path / "s",
        people="person_id,name,status\nR2,Oda Vint,departed\n",
        cards="card_id,number,person_id,dwelling_id\nC2,1002,R2,\n",
    )
    _, outside = _both(site)
    held = next(f for f in outside.record.findings if f.rule == "departed-with-card")
    assert held.subjects == {"person": ["R2"], "card": ["C2"]}


def test_names_in_free_text_are_replaced(tmp_path: Path) -> None:
    site = _site(
        tmp_path / "s",
        people="person_id,name,status\nR2,Oda Vint,departed\n",
        cards="card_id,number,person_id,dwelling_id\nC2,1002,R2,\n",
        doors="door_id,name\nD1,Store of Vint Oda\n",
    )
    full, _ = _both(site)
    held = next(f for f in full.record.findings if f.rule == "departed-with-card")
    (site / "decisions.csv").write_text(
        "finding_id,decision,reason,decided_by,decided_on,until\n"
        f'{held.id},later,"ask ODA VINT, or Vint, Oda",A. Agent,2026-09-30,2026-12-31\n',
        "utf-8",
    )
    _, outside = _both(site)
    told = b"".join(check.drawn(outside, ("json", "csv", "html")).values()).decode().casefold()
    assert "vint" not in told
    decided = next(f.decision for f in outside.record.findings if f.decision)
    assert decided.reason == "ask person R2, or person R2"
    assert decided.decided_by == "A. Agent"


def test_people_who_are_gone_from_the_register_are_not_named(tmp_path: Path) -> None:
    site = _site(
        tmp_path / "s",
        dwellings="dwelling_id\nF1\nF2\n",
        people="person_id,name,dwelling_id\noda.vint,Oda Vint,F1\nR2,Quillon Brask,F2\n",
        cards="card_id,number,person_id\nC1,1001,oda.vint\nC2,1002,R2\n",
        doors="door_id,inside_zone,outside_zone,entry\nD1,Z1,Z0,card\n",
        zones="zone_id,kind\nZ1,common\nZ0,outside\n",
        permissions="permission_id,holder_kind,holder_id,door_id\nM1,person,oda.vint,D1\n"
        "M2,person,R2,D1\n",
    )
    check.write_pack(check.audited(site, as_of=AS_OF), tmp_path / "q3", ("json", "csv"))
    (site / "people.csv").write_text("person_id,name,dwelling_id\nR2,Quillon Brask,F2\n", "utf-8")
    (site / "cards.csv").write_text("card_id,number,person_id\nC2,1002,R2\n", "utf-8")
    (site / "permissions.csv").write_text(
        "permission_id,holder_kind,holder_id,door_id\nM2,person,R2,D1\n", "utf-8"
    )
    later = check.audited(
        site, as_of=dt.date(2026, 12, 31), previous=tmp_path / "q3", audience="outside"
    )
    files = check.drawn(later, ("csv", "html"))
    assert b"gone" in files["access-roll.csv"]
    for data in files.values():
        told = data.decode().casefold()
        assert "oda.v" not in told
        assert "vint" not in told
