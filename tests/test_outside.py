"""What readers outside are told: needles in every byte, and attempts to find people again."""

from __future__ import annotations

import datetime as dt
import itertools
import json
import re
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import demo_data
from audit import check, ingest, outside
from audit.attest.verify import verified
from audit.contract import Rule
from audit.contract.example import examples_of
from audit.engine import run
from audit.faults import InputError
from audit.schema import TABLES
from tests.needles import texts, texts_of
from tests.sites import dataset

AS_OF = dt.date(2026, 9, 30)
FORMATS = ("json", "csv", "xlsx", "html", "pdf")
TOML = '[site]\nname = "S"\ntimezone = "Europe/Dublin"\n'

SITE = {
    "buildings": "building,use\nNorth,flats\n",
    "dwellings": "dwelling_id,building,core,floor,number,zone_id\n"
    "Apt-7701,North,1,1,7701,Z1\nApt-7702,North,1,1,7702,HALL-7702\nVINT HOUSE,North,1,1,9,Z1\n",
    "people": "person_id,name,dwelling_id,status,start_date,end_date,phone\n"
    "quillon.brask,Quillon Brask,Apt-7701,departed,2023-02-13,2026-06-17,087 555 1234\n"
    "RES-8801,Oda Vint,Apt-7702,current,2024-03-19,,+353 1 555 0199\n"
    "RES-8802,Tamsin Orrell,VINT HOUSE,current,2026-11-08,,\n"
    "oda@example.org,Oda Vint,Apt-7702,departed,2020-01-07,2024-05-23,\n",
    "cards": "card_id,number,person_id,dwelling_id,status,issued_on,last_used\n"
    "Brask fob,60017001,quillon.brask,Apt-7701,active,2023-02-14,2026-06-18\n"
    "CRD-5501,60017002,RES-8801,Apt-7702,active,2024-03-21,2024-04-22\n"
    "CRD-5502,60017003,,Apt-7702,lost,,\nCRD-5503,60017004,RES-8802,,active,2026-09-03,\n"
    "CRD-5504,60017002,Somebody Elsewhere,,active,,\n",
    "pins": "pin_id,pin,kind,person_id,door_id,set_on\n"
    "PN-3301,111111,personal,quillon.brask,,2023-02-15\nPN-3302,770277,personal,RES-8801,,\n"
    "PN-3303,482913,shared,,FRONT,2026-01-29\nPN-3304,482914,personal,RES-8802,,\n",
    "zones": "zone_id,name,kind,building,floor,occupants\nSTREET,,outside,,,\n"
    "Z1,Stair by Brask's,stair,North,1,\nHALL-7702,Oda's hall,dwelling,North,1,2\n"
    "PLANT,,plant,North,1,\nORRELL STORE,,store,North,1,\n",
    "doors": "door_id,name,inside_zone,outside_zone,entry,lock,power_loss,exit_input,"
    "mechanical_exit,escape_route,fire_minutes,self_closing,last_tested\n"
    "FRONT,Front door for Oda,Z1,STREET,card-or-pin,magnet,unlocks,button,none,yes,,,2025-01-05\n"
    "D-7702,Vint flat,HALL-7702,Z1,card,strike,stays-locked,none,lever,no,30,no,\n"
    "RISER,,PLANT,Z1,card,strike,unlocks,none,lever,no,60,no,\n"
    "Orrell door,,ORRELL STORE,Z1,card,,,,,,,,\n",
    "door_groups": "door_group,member_id\nMAIN,FRONT\nMAIN,RISER\nVint extra,D-7702\n"
    "JUST-BRASK-4,RISER\n",
    "permissions": "permission_id,holder_kind,holder_id,door_group,door_id,schedule_id\n"
    "PRM-2201,person,quillon.brask,MAIN,,WEEK\nPRM-2202,person,RES-8801,MAIN,,WEEK\n"
    "PRM-2203,person,RES-8801,Vint extra,,\nPRM-2204,dwelling,VINT HOUSE,MAIN,,\n"
    "PRM-2205,card,CRD-5502,,FRONT,\nPRM-2206,person,quillon.brask,JUST-BRASK-4,,CARER-4\n"
    "PRM-2207,pin,PN-3303,,FRONT,WEEK\nPRM-2208,person,nobody.known,,FRONT,\n",
    "schedules": "schedule_id,days,start,end\nWEEK,mon-fri,07:00,22:00\nWEEK,mon-fri,21:00,23:00\n"
    "CARER-4,mon,10:00,10:30\nCARER-4,mon,10:15,11:00\n",
    "stations": "station_id,kind,dwelling_id,number,door_id,address\n"
    "PANEL,entrance-panel,,,FRONT,10.71.0.1\nUNIT-7701,answering-unit,Apt-7701,7701,,10.71.0.2\n"
    "UNIT-7702,answering-unit,Apt-7702,7701,,10.71.0.2\n",
    "loaded": "door_id,credential_kind,number,valid_to,read_on\n"
    "FRONT,card,60017001,2026-12-13,2026-09-11\nFRONT,card,69999999,,2026-09-11\n"
    "FRONT,pin,998877,,2026-09-11\nRISER,card,60017003,,2026-09-11\n",
    "events": "time,door_id,event,card_number,pin_id\n"
    "2026-06-18T23:47:11,FRONT,granted,60017001,\n2026-09-02T04:13:59,FRONT,forced,,\n"
    "2026-09-03T05:29:31,RISER,granted,60017003,\n2026-09-04T06:31:41,FRONT,granted,69999998,\n"
    "2026-09-05T03:17:43,FRONT,duress,,PN-3301\n2026-09-06T08:19:47,FRONT,granted,,998877\n",
    "decisions": "finding_id,decision,reason,decided_by,decided_on,until\n",
}
NEEDLES = {
    "names": "quillon brask|oda vint|vint|tamsin|orrell|oda's|for oda|somebody elsewhere"
    "|nobody.known|gilda.prowse",
    "ids of people": "quillon.brask|res-8801|res-8802|oda@example.org",
    "dwellings": "apt-7701|apt-7702|vint house|hall-7702|d-7702|unit-7701|unit-7702",
    "cards": "brask fob|crd-550|60017001|60017002|60017003|60017004|6999999",
    "pins": "pn-330|111111|770277|482913|482914|998877",
    "rights": "prm-220|vint extra|just-brask|carer-4",
    "telephones": "5551234|555 1234|5550199|555 0199|01 555",
    "days": "2023-02-13|2026-06-17|2024-03-19|2026-11-08|2024-05-23|2023-02-14|2024-04-22"
    "|2026-09-03|2026-06-18|2026-01-29|2026-12-13",
    "moments": "23:47|04:13|05:29|06:31|03:17|08:19",
    "addresses": "10.71.0",
    "patterns": "one digit|about try 1|about try 2|about try 3|steps of 1",
    "files": "decisions.csv row|people.csv|cards.csv|ask the carer|a. reviewer",
}


def _site(folder: Path, tables: dict[str, str] | None = None, toml: str = TOML) -> Path:
    folder.mkdir()
    (folder / "site.toml").write_text(toml, "utf-8")
    for name, text in (tables or SITE).items():
        (folder / f"{name}.csv").write_text(text, "utf-8")
    return folder


def _audit(site: Path, audience: str = "outside", as_of: dt.date = AS_OF, **more: Any) -> Any:
    return check.audited(site, as_of=as_of, audience=audience, make_key=True, **more)


@pytest.fixture(scope="module")
def packs(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    """A full pack and one for readers outside, with decisions and an earlier review."""
    home = tmp_path_factory.mktemp("packs")
    gone = "gilda.prowse,Gilda Prowse,Apt-7702,current,,,\n"
    site = _site(home / "site", SITE | {
        "people": SITE["people"] + gone,
        "permissions": SITE["permissions"] + "PRM-2299,person,gilda.prowse,MAIN,,\n",
    })  # fmt: skip
    first = _audit(site, "full", dt.date(2026, 6, 30))
    check.write_pack(first, home / "first", ("json", "csv"))
    rows = "".join(
        f"{f.id},later,ask the carer of Oda Vint,A. Reviewer,2026-09-29,2026-12-31\n"
        for f in first.record.findings
        if not f.life_safety
    )
    (site / "decisions.csv").write_text(SITE["decisions"] + rows, "utf-8")
    (site / "people.csv").write_text(SITE["people"], "utf-8")
    (site / "permissions.csv").write_text(SITE["permissions"], "utf-8")
    for audience in ("full", "outside"):
        out = home / audience
        audit = _audit(site, audience, previous=home / "first", out=out)
        check.write_pack(audit, out, FORMATS)
    return home / "full", home / "outside"


@pytest.mark.parametrize("kind", NEEDLES)
def test_no_needle_is_in_any_byte(packs: tuple[Path, Path], kind: str) -> None:
    full, told = texts_of(packs[0]), texts_of(packs[1])
    needles = NEEDLES[kind].split("|")
    if kind not in ("pins", "telephones", "addresses", "patterns"):
        assert any(n in text for n in needles for text in full.values()), "an empty test"
    found = [(name, n) for name, text in told.items() for n in needles if n in text]
    assert found == []


def test_what_is_common_keeps_its_id(packs: tuple[Path, Path]) -> None:
    told = texts_of(packs[1])
    for name in ("front", "riser", "main", "week", "panel"):
        assert name in told["findings.json"] + told["access-roll.csv"]


def test_pseudonyms_are_the_same_in_every_pack_and_others_at_another_site(
    tmp_path: Path, packs: tuple[Path, Path]
) -> None:
    def people(record: Any) -> set[str]:
        return {p for f in record.findings for p in f.subjects.get("person", ())}

    home = packs[0].parent / "site"
    later = people(_audit(home, as_of=dt.date(2026, 10, 31)).told)
    now = people(_audit(home).told)
    assert now
    assert now & later
    elsewhere = people(_audit(_site(tmp_path / "s")).told)
    assert elsewhere
    assert not now & elsewhere


def test_ids_of_findings_are_keyed(packs: tuple[Path, Path]) -> None:
    """Who has guessed a name could else make the id of its finding, and see that it is there."""
    full, told = (json.loads((p / "findings.json").read_text("utf-8")) for p in packs)
    ids = {f["id"] for f in full["findings"]}
    assert len(told["findings"]) == len(ids)
    assert ids.isdisjoint(f["id"] for f in told["findings"])
    text = "".join(texts_of(packs[1]).values())
    assert [i for i in ids if i in text] == []


def test_order_tells_nothing(tmp_path: Path) -> None:
    """The register's order, and that of its ids, is not that of the pack."""
    people = "".join(f"R{i:03},Person N{i},departed,2026-06-30\n" for i in range(40))
    cards = "".join(f"C{i:03},{70000 + i},R{i:03}\n" for i in range(40))
    site = _site(
        tmp_path / "s",
        {
            "people": "person_id,name,status,end_date\n" + people,
            "cards": "card_id,number,person_id\n" + cards,
        },
    )
    audit = _audit(site)
    key = audit.key
    shown = {
        outside.Veil(key).shown("person", f"R{i:03}"): i for i in range(40)
    }  # fmt: skip
    seen = [
        shown[f.subjects["person"][0]]
        for f in audit.told.findings
        if f.rule == "departed-with-card"
    ]
    assert sorted(seen) == list(range(40))
    rising = sum(a < b for a, b in itertools.pairwise(seen))
    assert 8 < rising < 31  # as by chance: of 39 steps about half
    lists = [
        f.subjects["card"]
        for f in audit.told.findings
        if len(f.subjects.get("card", ())) > 1
    ]  # fmt: skip
    assert all(names == sorted(names) for names in lists)


def test_no_plain_digest_can_be_tried(packs: tuple[Path, Path]) -> None:
    """Every hex text of the pack against digests of what somebody might try."""
    import hashlib

    seen = set(re.findall(r"[0-9a-f]{10,64}", "".join(texts_of(packs[1]).values())))
    tries = [w for row in SITE.values() for w in re.split(r"[,\n]", row) if w]
    tries += [(packs[0].parent / "site" / f"{n}.csv").read_text("utf-8") for n in SITE]
    for text in tries:
        for algorithm in ("sha256", "sha1", "md5"):
            whole = hashlib.new(algorithm, text.encode()).hexdigest()
            assert not [s for s in seen if len(s) >= 10 and whole.startswith(s)], text


def test_decisions_keep_their_date_and_lose_their_words(packs: tuple[Path, Path]) -> None:
    told = json.loads((packs[1] / "findings.json").read_text("utf-8"))
    decided = [f["decision"] for f in told["findings"] if f["decision"]]
    assert decided
    for d in decided:
        assert (d["decision"], d["until"], d["reason"], d["decided_by"]) == (
            "later", "2026-12-31", "", "",
        )  # fmt: skip


def test_only_months_of_peoples_days(packs: tuple[Path, Path]) -> None:
    told = json.loads((packs[1] / "findings.json").read_text("utf-8"))
    for f in told["findings"]:
        for name, value in f["evidence"].items():
            if name not in ("last_tested", "read_on"):
                assert not re.search(r"[0-9]{4}-[0-9]{2}-[0-9]{2}", json.dumps(value)), (f, name)


def test_every_piece_of_evidence_is_listed_or_withheld() -> None:
    """What a new rule tells is withheld until somebody has thought about it."""
    known = {name for rule in check.all_rules() for name in rule.evidence}
    withheld = known - outside.EVIDENCE.keys()
    assert {"pattern", "tries", "digits", "times", "address"} <= withheld


def test_sentences_of_withheld_values_can_be_read(packs: tuple[Path, Path]) -> None:
    told = json.loads((packs[1] / "findings.json").read_text("utf-8"))
    short = next(f for f in told["findings"] if "digits" in f["evidence"])
    assert short["evidence"]["digits"] == "(not shown)"
    assert not any("None" in f["summary"] or "{" in f["summary"] for f in told["findings"])


def test_a_record_for_readers_outside_is_no_previous_one(packs: tuple[Path, Path]) -> None:
    with pytest.raises(InputError, match="made for readers outside"):
        _audit(packs[0].parent / "site", previous=packs[1])


def test_a_zip_has_no_key(tmp_path: Path) -> None:
    import shutil

    _site(tmp_path / "s")
    packed = shutil.make_archive(str(tmp_path / "s"), "zip", tmp_path / "s")
    with pytest.raises(InputError, match="unpack it"):
        _audit(Path(packed))


HIDDEN = {
    "people": ("person_id", "name"),
    "dwellings": ("dwelling_id",),
    "cards": ("card_id", "number"),
    "pins": ("pin_id",),
    "permissions": ("permission_id",),
}


@pytest.mark.parametrize("rule", check.all_rules(), ids=lambda r: r.name)
def test_no_id_of_a_rules_examples_leaves(rule: Rule) -> None:
    """Each rule's own examples: what every finding says of people, cards, PINs and the rest."""
    for example in examples_of(rule.judge.__module__):
        data = dataset(example)
        hidden = outside.veil(data, b"k" * 32)
        public = {i.casefold() for ids in hidden.public.values() for i in ids}
        needles = {
            str(v).casefold()
            for table, columns in HIDDEN.items()
            for column in columns
            for v in data[table][column].dropna()
        }
        own = set(re.findall(r"[\w.@-]+", f"{rule.summary} {rule.remedy} {rule.title}".casefold()))
        own.add("65535")  # the most that sixteen bits hold
        for f in run([rule], data)[0].findings:
            told = outside.finding_outside(f, rule, {}, hidden)
            text = json.dumps([told.summary, told.evidence, told.subjects]).casefold()
            words = set(re.findall(r"[\w.@-]+", text)) - own - public
            numbers = {w for w in words if len(w) < 4 and w.isdecimal()}
            assert (words - numbers) & needles == set(), told.summary


# --- the insurer -------------------------------------------------------------------------


@pytest.fixture(scope="module")
def insurer_pack(packs: tuple[Path, Path]) -> Path:
    """The insurer's pack of the same site, with a recorded review."""
    home = packs[0].parent
    review = home / "site" / "reviews" / "2026-06-30"
    review.mkdir(parents=True)
    (review / "findings.json").write_bytes((home / "first" / "findings.json").read_bytes())
    audit = _audit(home / "site", "insurer", previous=home / "first", out=home / "insurer")
    check.write_pack(audit, home / "insurer", FORMATS)
    return home / "insurer"


@pytest.mark.parametrize("kind", [*NEEDLES, "days at all"])
def test_no_needle_is_in_any_byte_for_the_insurer(insurer_pack: Path, kind: str) -> None:
    told = texts_of(insurer_pack)
    needles = NEEDLES.get(kind, "2026-09-11|2026-09-02|2026-01-05").split("|")
    assert [(n, name) for name, text in told.items() for n in needles if n in text] == []


def test_the_insurer_gets_four_files_and_these_fields(insurer_pack: Path) -> None:
    names = sorted(p.name for p in insurer_pack.iterdir())
    assert names == ["findings.json", "manifest.json", "report.html", "report.pdf"]
    told = json.loads((insurer_pack / "findings.json").read_text("utf-8"))
    assert told["audience"] == "insurer"
    assert "findings" not in told
    assert "inputs" not in told
    places = {p for c in told["life_safety"] for p in c["places"]}
    assert "a dwelling door" in places
    assert "door RISER" in places
    assert not any("7702" in p for p in places)
    assert [r["as_of"] for r in told["course"]] == ["2026-06-30"]


def test_small_groups_are_not_counted(insurer_pack: Path) -> None:
    """No number from one to four but of doors, zones, cases, rules and days."""
    told = json.loads((insurer_pack / "findings.json").read_text("utf-8"))
    for family in [*told["families"], *(f for r in told["course"] for f in r["families"])]:
        for priority in ("immediate", "planned", "advisory"):
            assert family[priority] not in (1, 2, 3, 4)
    rows = [t[c] for t in told["scope"]["tables"] for c in ("rows", "previous_rows")]
    counts = [o[c] for o in told["outcomes"] for c in ("checked", "unassessed")]
    people = [c["people"] for c in told["life_safety"]]
    decided = [d[c] for d in told["decisions"] for c in ("number", "expired")]
    assert decided
    assert "fewer than five" in rows
    assert not {1, 2, 3, 4} & set(rows + counts + people + decided)


def test_the_insurers_pack_is_verified(insurer_pack: Path) -> None:
    verdict = verified(
        insurer_pack, site=insurer_pack.parent / "site", again=True, now=dt.datetime.now(dt.UTC)
    )
    assert verdict.wrong == []
    assert verdict.ok


# --- drawn registers ---------------------------------------------------------------------

WORDS = st.text("abcdefghijklmnopqrstuvwxyzäöß", min_size=5, max_size=9)


@st.composite
def registers(draw: st.DrawFn) -> tuple[dict[str, str], set[str]]:
    """A register of a few rows whose every text is a needle, and the needles."""
    needles: set[str] = set()

    def needle(digits: bool = False) -> str:
        text = draw(st.text("123456789", min_size=7, max_size=9) if digits else WORDS)
        text = text if digits else f"xq{text}"
        needles.add(text.casefold())
        return text

    n = range(draw(st.integers(1, 3)))
    flats = [needle() for _ in n]
    people = [needle() for _ in n]
    cards = [(needle(), needle(digits=True)) for _ in n]
    pins = [(needle(), needle(digits=True)) for _ in n]
    return {
        "dwellings": "dwelling_id\n" + "".join(f"{f}\n" for f in flats),
        "people": "person_id,name,dwelling_id,status\n"
        + "".join(
            f"{p},{needle()} {needle()},{draw(st.sampled_from([*flats, needle()]))},"
            f"{draw(st.sampled_from(['departed', 'current', 'x']))}\n"
            for p in people
        ),
        "cards": "card_id,number,person_id\n"
        + "".join(f"{c},{m},{draw(st.sampled_from([*people, needle()]))}\n" for c, m in cards),
        "pins": "pin_id,pin,person_id\n"
        + "".join(f"{i},{d},{draw(st.sampled_from(people))}\n" for i, d in pins),
        "doors": f"door_id,name,inside_zone,outside_zone,entry\nD1,{needle()},Z1,Z0,card\n",
        "zones": f"zone_id,name,kind\nZ1,{needle()},common\nZ0,,outside\n",
        "permissions": "permission_id,holder_kind,holder_id,door_id\n"
        + "".join(f"{needle()},person,{p},D1\n" for p in people),
        "loaded": "door_id,credential_kind,number\n"
        + "".join(f"D1,card,{m}\n" for _, m in cards)
        + f"D1,card,{needle(digits=True)}\nD1,pin,{needle(digits=True)}\n",
        "events": "time,door_id,event,card_number,pin_id\n"
        + "".join(f"2026-09-01T10:00,D1,granted,{m},\n" for _, m in cards)
        + f"2026-09-02T10:00,D1,granted,,{needle()}\n",
    }, needles  # fmt: skip


@settings(max_examples=25)
@given(drawn=registers())
def test_drawn_registers(
    drawn: tuple[dict[str, str], set[str]], tmp_path_factory: pytest.TempPathFactory
) -> None:
    tables, needles = drawn
    site = _site(tmp_path_factory.mktemp("drawn") / "s", tables)
    told = texts(check.drawn(_audit(site), ("json", "csv", "html")))
    found = [(name, n) for name, text in told.items() for n in needles if n in text]
    assert found == []
    assert set(tables) <= set(TABLES)


# --- the demo ----------------------------------------------------------------------------

PERSONAL = {
    "people": ("person_id", "name", "phone"),
    "dwellings": ("dwelling_id",),
    "cards": ("card_id", "number"),
    "pins": ("pin_id", "pin"),
    "permissions": ("permission_id",),
}
"""Columns of the demo whose every value is a needle where it is long enough to be one."""


def _values(site: Path) -> dict[str, set[str]]:
    found: dict[str, set[str]] = {}
    for table, columns in PERSONAL.items():
        path = next(site.glob(f"{table}.*"))
        data = ingest.load_site(site, AS_OF)
        for column in columns:
            name = "secret" if column == "pin" else column
            texts_ = {str(v).casefold() for v in data[table][name].dropna()}
            found[f"{table}.{column} in {path.name}"] = {
                t for t in texts_ if len(t) >= (6 if t.isdecimal() else 4)
            }
    return found


@pytest.mark.parametrize("audience", ["outside", "insurer"])
@pytest.mark.parametrize("seed", [3, 4])
def test_needles_of_the_demo(
    tmp_path_factory: pytest.TempPathFactory, seed: int, audience: str
) -> None:
    """Every name, telephone, card, PIN, dwelling and permission of a whole site; two reviews."""
    home = tmp_path_factory.mktemp("demo")
    demo_data.write(home / "site", dwellings=24, seed=seed, as_of=AS_OF)
    first = _audit(home / "site", "full", dt.date(2026, 6, 30))
    check.write_pack(first, home / "q2", ("json", "csv"))
    audit = _audit(home / "site", audience, previous=home / "q2")
    told = "\n".join(texts(check.drawn(audit, ("json", "csv", "xlsx", "html"))).values())
    page = (Path(check.__file__).parent / "report" / "assets" / "report.css").read_text("utf-8")
    words = set(re.findall(r"[\w+.@-]+", told)) - set(re.findall(r"\w+", page.casefold()))
    for what, needles in _values(home / "site").items():
        assert needles, what
        found = {n for n in needles if n in words or (" " in n and n in told)}
        assert found == set(), what
    assert set(re.findall(r"[0-9]{2}:[0-9]{2}:[0-9]{2}", told)) <= {"00:00:00"}  # of the script
