"""Everything that was tried on a pack, its signature, its history and its data, and what `verify`
says to it. A row is one tampering: what is done, with what `verify` is asked, and its answer."""

from __future__ import annotations

import copy
import datetime as dt
import json
import os
import shutil
import subprocess
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from audit import check
from audit.attest import statement
from audit.attest.sign import sign_pack
from audit.attest.verify import Verdict, told, verified
from audit.faults import InputError
from audit.report import pack

pytestmark = pytest.mark.skipif(os.name != "posix", reason="links and pipes of POSIX")

AS_OF, EARLIER = dt.date(2026, 9, 30), dt.date(2026, 6, 30)
NOW = dt.datetime(2026, 11, 27, 12, tzinfo=dt.UTC)
FORMATS = ("json", "csv", "html")
TOML = """[site]
id = "{0}"
name = "{1}"
timezone = "Europe/Dublin"
[policy]
card_dormant_days = 60
"""
TABLES = {
    "dwellings": "dwelling_id\nF1\nF2\n",
    "people": "person_id,name,dwelling_id,status,end_date\n"
    "R1,Oda Vint,F1,departed,2026-05-31\nR2,Quillon Brask,F2,current,\n",
    "cards": "card_id,number,person_id,dwelling_id,last_used\n"
    "C1,1001,R1,F1,2026-06-01\nC2,1002,R2,F2,2026-01-02\nC3,1003,,,\n",
    "pins": "pin_id,pin,person_id\nP1,482913,R1\n",
    "doors": "door_id,inside_zone,outside_zone,entry\nD1,Z1,Z0,card\n",
    "zones": "zone_id,kind\nZ1,common\nZ0,outside\n",
    "permissions": "permission_id,holder_kind,holder_id,door_id\n"
    "M1,person,R1,D1\nM2,person,R2,D1\n",
}
DECISIONS = "finding_id,decision,reason,decided_by,decided_on,until\n"


@dataclass(frozen=True)
class Place:
    """A copy of everything: the site, its pack (signed) and the earlier one beside it."""

    home: Path

    @property
    def pack(self) -> Path:
        return self.home / "pack"

    @property
    def earlier(self) -> Path:
        return self.home / "earlier"

    @property
    def site(self) -> Path:
        return self.home / "site"

    def read(self, name: str = "findings.json") -> dict[str, Any]:
        found: dict[str, Any] = json.loads((self.pack / name).read_text("utf-8"))
        return found

    def write(self, raw: Any, name: str = "findings.json") -> None:
        (self.pack / name).write_text(json.dumps(raw, indent=2), "utf-8")

    def manifest_again(self, **changed: Any) -> None:
        """The manifest as who tampers would make it: digests of what lies there now."""
        manifest = self.read("manifest.json")
        for subject in manifest["subject"]:
            data = (self.pack / subject["name"]).read_bytes()
            subject["digest"]["sha256"] = statement.digest(data)
        manifest["predicate"] |= changed
        self.write(manifest, "manifest.json")

    def verify(self, *asked: str) -> Verdict:
        return verified(
            self.pack,
            signers=self.home / "allowed_signers" if "signers" in asked else None,
            site=self.site if "site" in asked else None,
            again="again" in asked,
            now=NOW,
        )


def _site(folder: Path, identity: str = "0a1b2c3d", name: str = "Example Court") -> Path:
    folder.mkdir()
    (folder / "site.toml").write_text(TOML.format(identity, name), "utf-8")
    for table, text in TABLES.items():
        (folder / f"{table}.csv").write_text(text, "utf-8")
    (folder / "decisions.csv").write_text(DECISIONS, "utf-8")
    return folder


def _keygen(*options: str) -> None:
    subprocess.run(["ssh-keygen", "-q", *options], check=True, capture_output=True)


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Place:
    place = Place(tmp_path_factory.mktemp("made"))
    _site(place.site)
    audit = check.audited(place.site, as_of=EARLIER, out=place.earlier)
    check.write_pack(audit, place.earlier, FORMATS)
    audit = check.audited(place.site, as_of=AS_OF, out=place.pack, previous=place.earlier)
    check.write_pack(audit, place.pack, FORMATS)
    for name in ("key", "other"):
        _keygen("-t", "ed25519", "-N", "", "-C", "", "-f", str(place.home / name))
    public = (place.home / "key.pub").read_text()
    (place.home / "allowed_signers").write_text(f"agent@example.org {public}")
    sign_pack(place.pack, place.home / "key", None)
    return place


@pytest.fixture
def place(made: Place, tmp_path: Path) -> Place:
    shutil.copytree(made.home, tmp_path / "copy", symlinks=True)
    return Place(tmp_path / "copy")


def test_nothing_was_tampered_with(place: Place) -> None:
    verdict = place.verify("signers", "site", "again")
    assert verdict.wrong == []
    assert verdict.ok
    assert verdict.signed.startswith("agent@example.org (key SHA256:")
    lines = "\n".join(told(verdict, place.pack))
    for words in (
        "Report pack of Example Court (site 0a1b2c3d)",
        "as of 2026-09-30, stage review, audience full",
        "signed by: agent@example.org",
        "it follows the pack of 2026-06-30",
        "data files are those that were audited",
        "the same audit of the same data gives the same findings.json",
        "drawn again from findings.json: findings.csv, findings.json, worklist.csv",
        "drawn again from the data: access-roll.csv, findings.csv, findings.json, report.html",
        "complete and unchanged",
    ):
        assert words in lines


# --- what is done ------------------------------------------------------------------------

Deed = Callable[[Place], None]


def _edit(name: str, old: str, new: str) -> Deed:
    def deed(place: Place) -> None:
        text = (place.home / name).read_text("utf-8-sig")
        assert old in text
        (place.home / name).write_text(text.replace(old, new, 1), "utf-8")

    return deed


def _remove(name: str) -> Deed:
    return lambda place: (place.home / name).unlink()


def _add(name: str, text: str = "x") -> Deed:
    def deed(place: Place) -> None:
        path = place.home / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, "utf-8")

    return deed


def _predicate(**changed: Any) -> Deed:
    return lambda place: place.manifest_again(**changed)


def _record(change: Callable[[dict[str, Any]], None], *, hidden: bool = True) -> Deed:
    """findings.json changed; `hidden`: and the manifest made again, the signature taken away."""

    def deed(place: Place) -> None:
        raw = place.read()
        before = copy.deepcopy(raw)
        change(raw)
        assert raw != before
        place.write(raw)
        if hidden:
            place.manifest_again(**_repeated(raw))
            (place.pack / "manifest.json.sig").unlink()

    return deed


def _repeated(raw: dict[str, Any]) -> dict[str, Any]:
    facts = statement.record_facts(raw)
    facts["site"] = facts["site"].model_dump()
    facts["program"] = facts["program"].model_dump()
    return facts


def _drop_finding(raw: dict[str, Any]) -> None:
    raw["findings"].pop(0)


def _drop_finding_and_count(raw: dict[str, Any]) -> None:
    gone = raw["findings"].pop(0)
    raw["totals"][gone["priority"]] -= 1


def _drop_finding_and_every_count(raw: dict[str, Any]) -> None:
    gone = raw["findings"].pop(0)
    raw["totals"][gone["priority"]] -= 1
    outcome = next(o for o in raw["outcomes"] if o["rule"] == gone["rule"])
    outcome["found"] -= 1


def _lower_priority(raw: dict[str, Any]) -> None:
    raw["findings"][0]["priority"] = "advisory"


def _twice(raw: dict[str, Any]) -> None:
    one, two = raw["findings"][:2]
    two["id"] = one["id"]


def _other_subject(raw: dict[str, Any]) -> None:
    finding = next(f for f in raw["findings"] if "card" in f["subjects"])
    finding["subjects"]["card"] = ["C9"]


def _case_out(raw: dict[str, Any]) -> None:
    gone = raw["cases"].pop(0)
    if gone["open"]:
        raw["case_totals"][gone["priority"]] -= 1


def _case_less_urgent(raw: dict[str, Any]) -> None:
    raw["cases"][0]["rank"] = 6


def _case_total(raw: dict[str, Any]) -> None:
    raw["case_totals"][raw["cases"][0]["priority"]] -= 1


def _verdict_better(raw: dict[str, Any]) -> None:
    raw["verdict"] |= {"state": "in-order", "words": "nothing that must be put right"}


def _decision_made_up(raw: dict[str, Any]) -> None:
    raw["findings"][0]["decision"] = {
        "decision": "keep", "reason": "x", "decided_by": "y", "decided_on": None,
        "until": "2027-01-01", "document": None, "state": "in force",
    }  # fmt: skip


def _other_anchor(raw: dict[str, Any]) -> None:
    finding = next(f for f in raw["findings"] if "card" in f["anchor"])
    finding["anchor"]["card"] = ["C9"]


def _raw_manifest(change: Callable[[dict[str, Any]], None]) -> Deed:
    def deed(place: Place) -> None:
        manifest = place.read("manifest.json")
        change(manifest)
        place.write(manifest, "manifest.json")

    return deed


def _subject_twice(manifest: dict[str, Any]) -> None:
    manifest["subject"].append(manifest["subject"][0])


def _subject_outside(manifest: dict[str, Any]) -> None:
    manifest["subject"][0]["name"] = "../site/pins.csv"


def _no_html(manifest: dict[str, Any]) -> None:
    manifest["subject"] = [s for s in manifest["subject"] if s["name"] != "report.html"]


def _without_html(place: Place) -> None:
    _raw_manifest(_no_html)(place)
    (place.pack / "report.html").unlink()


def _no_inputs(manifest: dict[str, Any]) -> None:
    manifest["predicate"]["inputs"] = []


def _exchanged_inputs(manifest: dict[str, Any]) -> None:
    inputs = {i["table"]: i for i in manifest["predicate"]["inputs"]}
    one, two = inputs["cards"], inputs["people"]
    one["commitment"], two["commitment"] = two["commitment"], one["commitment"]


def _linked(place: Place) -> None:
    path = place.pack / "findings.csv"
    path.rename(place.home / "elsewhere.csv")
    path.symlink_to(place.home / "elsewhere.csv")


def _piped(place: Place) -> None:
    (place.pack / "findings.csv").unlink()
    os.mkfifo(place.pack / "findings.csv")


def _dangling(place: Place) -> None:
    (place.pack / "more").symlink_to("nowhere")


def _signed_by_other(place: Place) -> None:
    (place.pack / "manifest.json.sig").unlink()
    sign_pack(place.pack, place.home / "other", None)


def _signature_of_earlier(place: Place) -> None:
    sign_pack(place.earlier, place.home / "key", None)
    shutil.copy(place.earlier / "manifest.json.sig", place.pack / "manifest.json.sig")


def _signed_for_files(place: Place) -> None:
    sig = place.pack / "manifest.json.sig"
    sig.unlink()
    manifest = str(place.pack / "manifest.json")
    _keygen("-Y", "sign", "-n", "file", "-f", str(place.home / "key"), manifest)


def _other_site(place: Place) -> None:
    shutil.rmtree(place.site)
    _site(place.site, "ffff0000", "Elsewhere House")


def _other_key(place: Place) -> None:
    (place.site / ".door-audit" / "key").write_text("ab" * 32)


def _no_key(place: Place) -> None:
    shutil.rmtree(place.site / ".door-audit")


def _all_data(place: Place) -> None:
    for path in place.site.iterdir():
        if path.is_file() and path.name != "site.toml":
            path.write_text(path.read_text() + "\n", "utf-8")


def _earlier_findings(place: Place) -> None:
    _edit("earlier/findings.csv", "rule", "Rule")(place)


def _other_report(place: Place) -> None:
    text = (place.pack / "worklist.csv").read_text("utf-8-sig").splitlines(keepends=True)
    (place.pack / "worklist.csv").write_text("".join(text[:-1]), "utf-8-sig")
    place.manifest_again()


def _other_html(place: Place) -> None:
    (place.pack / "report.html").write_text("<p>All is well.</p>", "utf-8")
    place.manifest_again()


SIG = ("signers",)
DATA = ("site",)
AGAIN = ("site", "again")
CASES: dict[str, tuple[Deed, tuple[str, ...], str]] = {
    # the files
    "a report edited": (
        _edit("pack/report.html", "<html", "<html "), (), "report.html: was changed since"),
    "a row of findings.csv taken out": (
        _edit("pack/findings.csv", "\n", ""), (), "findings.csv: was changed since"),
    "a file removed": (_remove("pack/worklist.csv"), (), "worklist.csv: the file is missing"),
    "a file added": (_add("pack/annex.docx"), (), "annex.docx: is not part of the pack"),
    "a file added in a folder": (_add("pack/more/x.txt"), (), "more/x.txt: is not part of the"),
    "a dangling link added": (_dangling, (), "more: is not part of the pack"),
    "a file exchanged for a link to it": (_linked, (), "findings.csv: is a link"),
    "a file exchanged for a pipe": (_piped, (), "findings.csv: the file is missing"),
    "a report dropped and not listed": (
        _without_html, (), "report.html: belongs to a pack of these formats"),
    # the record, with the manifest made again by who changed it
    "a finding taken out, manifest as it was": (
        _record(_drop_finding, hidden=False), (), "findings.json: was changed since"),
    "a finding taken out": (_record(_drop_finding), (), "the totals are not those of its findings"),
    "a finding and its total taken out": (
        _record(_drop_finding_and_count), (), "findings; "),
    "a finding and every count taken out, unsigned": (
        _record(_drop_finding_and_every_count), SIG, "nobody signed it"),
    "a finding and every count taken out, with the data": (
        _record(_drop_finding_and_every_count), AGAIN, "the same audit of the data gives another"),
    "a priority lowered": (_record(_lower_priority), (), "the totals are not those"),
    "a finding put in the place of another": (_record(_twice), (), "a finding is there twice"),
    "a case taken out": (_record(_case_out), (), "not every finding is in one case"),
    "a case made less urgent": (_record(_case_less_urgent), (), "is not as urgent as"),
    "a total of cases lowered": (_record(_case_total), (), "the totals of cases are not"),
    "a better verdict, in both": (_record(_verdict_better), (), "the verdict is not the one"),
    "a decision made up": (_record(_decision_made_up), (), "is not as urgent as"),
    "a finding's anchor changed": (_record(_other_anchor), (), "id is not made of its rule"),
    "a finding laid upon another card": (
        _record(_other_subject), AGAIN, "the same audit of the data gives another"),
    "a report drawn for another record": (
        _other_report, ("again",), "worklist.csv: drawn again from findings.json, it is another"),
    "another report in the place of one": (
        _other_html, AGAIN, "report.html: drawn again from the data, it is another"),
    # the manifest
    "another site's name": (_predicate(site={"id": "0a1b2c3d", "name": "X"}), (), "the site: "),
    "another site's id": (
        _predicate(site={"id": "00", "name": "Example Court"}), (), "the site: "),
    "another as-of date": (_predicate(as_of="2026-12-31"), (), "the as-of date: "),
    "another stage": (_predicate(stage="upload"), (), "the stage: "),
    "another audience": (_predicate(audience="outside"), (), "the audience: "),
    "another verdict": (_predicate(verdict={"state": "in-order"}), (), "the verdict: "),
    "another scope": (_predicate(scope={"policy": {}, "x": 1}), (), "the scope: "),
    "a failed rule hidden": (_predicate(complete=False), (), "whether it is complete: "),
    "a coverage that nobody had": (
        _predicate(coverage={"cards": {"assessed": 99}}), (), "the coverage: "),
    "another program": (
        _predicate(program={"version": "9", "catalogue": "0" * 64}), (), "the program: "),
    "a subject listed twice": (_raw_manifest(_subject_twice), (), "lists a file twice"),
    "a subject outside the pack": (
        _raw_manifest(_subject_outside), (), "../site/pins.csv: lies outside the pack"),
    "the data files not listed": (_raw_manifest(_no_inputs), (), "the data files: "),
    "two data files exchanged in the manifest": (
        _raw_manifest(_exchanged_inputs), (), "the data files: "),
    # the signature
    "the manifest changed after it was signed": (
        _predicate(formats=["json", "csv"]), (), "sig: is not a signature of this manifest"),
    "signed by somebody else": (_signed_by_other, SIG, "is not that of a signer in"),
    "the signature of another pack": (_signature_of_earlier, (), "is not a signature of this"),
    "a signature made for other things": (_signed_for_files, (), "is not a signature of this"),
    "the signature taken away": (_remove("pack/manifest.json.sig"), SIG, "nobody signed it"),
    "a signature that is none": (_edit("pack/manifest.json.sig", "U1NIU0", "AAAAAA"), (), "sig:"),
    "a time stamp that is none": (_add("pack/manifest.json.tsr"), (), "is not a time stamp of"),
    # the data
    "a card's row changed": (
        _edit("site/cards.csv", "C3,1003", "C3,1004"), DATA, "cards.csv: was changed since"),
    "a policy changed": (_edit("site/site.toml", "60", "900"), DATA, "site.toml: was changed"),
    "decisions exchanged": (
        _add("site/decisions.csv", DECISIONS + "x,keep,,,,\n"), DATA, "decisions.csv: was changed"),
    "a table taken away": (_remove("site/pins.csv"), DATA, "pins.csv: the data file is missing"),
    "every table changed but site.toml": (_all_data, DATA, "people.csv: was changed since"),
    "another site's data": (_other_site, DATA, "is of another site (Elsewhere House)"),
    "another key": (_other_key, DATA, "is not the one this pack was made with"),
    "the key taken away": (_no_key, DATA, "has no key"),
    # history
    "the earlier pack's findings changed": (
        _earlier_findings, (), "the earlier pack of 2026-06-30: findings.csv: was changed"),
    "the earlier record exchanged": (
        _edit("earlier/findings.json", '"review"', '"upload"'), DATA, "the previous record: is"),
}  # fmt: skip


@pytest.mark.parametrize("name", CASES)
def test_what_verify_says(place: Place, name: str) -> None:
    deed, asked, says = CASES[name]
    deed(place)
    verdict = place.verify(*asked)
    assert not verdict.ok
    assert says in "\n".join([*verdict.wrong, *verdict.open])


def test_data_of_another_site_is_one_line(place: Place) -> None:
    _other_site(place)
    verdict = place.verify("site")
    assert len(verdict.wrong) == 1


def test_an_earlier_pack_that_is_not_here_is_no_error(place: Place) -> None:
    shutil.rmtree(place.earlier)
    verdict = place.verify("signers")
    assert verdict.ok
    assert "earlier packs are not here" in verdict.open


def test_decisions_of_a_recorded_review_are_part_of_it(place: Place) -> None:
    review = place.site / "reviews" / "2026-09-30"
    files = {
        "findings.json": (place.pack / "findings.json").read_bytes(),
        "decisions.csv": DECISIONS.encode(),
        "sign-off.json": b"{}",
    }
    raw = json.loads(files["findings.json"])
    made = statement.stated(
        raw, files, kind="review", formats=("json",), inputs=_inputs(place), key=None
    )
    pack.write(review, files, made.to_json())
    assert verified(review, now=NOW).wrong == []
    for name in ("decisions.csv", "sign-off.json"):
        kept = (review / name).read_bytes()
        (review / name).write_bytes(kept + b" ")
        assert verified(review, now=NOW).wrong == [f"{name}: was changed since the pack was made"]
        (review / name).write_bytes(kept)
    (review / "notes.txt").write_text("x")
    assert verified(review, now=NOW).wrong == [
        "notes.txt: is not part of the pack; it was added later"
    ]


def _inputs(place: Place) -> list[statement.Input]:
    raw = place.read("manifest.json")["predicate"]["inputs"]
    return [statement.Input.model_validate(i) for i in raw]


UNUSABLE: dict[str, Callable[[bytes], bytes]] = {
    "cut short": lambda data: data[: len(data) // 2],
    "a key given twice": lambda data: data.replace(
        b'"predicate": {', b'"predicate": {"as_of": "2026-01-01", ', 1
    ),
    "of another kind": lambda data: data.replace(b"door-audit.example", b"elsewhere.example"),
    "with a key more": lambda data: data.replace(b'"subject"', b'"extra": 1, "subject"', 1),
    "nested without end": lambda data: b"[" * 200_000,
    "no text": lambda data: b"\xff\xfe\0\0",
    "empty": lambda data: b"",
}


@pytest.mark.parametrize("name", UNUSABLE)
def test_manifests_that_cannot_be_used(place: Place, name: str) -> None:
    path = place.pack / "manifest.json"
    path.write_bytes(UNUSABLE[name](path.read_bytes()))
    with pytest.raises(InputError):
        place.verify()


def test_nothing_raw_is_printed_and_nothing_written(place: Place) -> None:
    def names(manifest: dict[str, Any]) -> None:
        manifest["predicate"]["site"]["name"] = "\x1b[31mred\0\u202e\ud800" + "x" * 5000
        digest = manifest["subject"][0]["digest"]
        for name in ("a\x1b[2Jb", "n" * 5000, "\ud83d\udca9 \ud800", "two\nlines"):
            manifest["subject"].append({"name": name, "digest": digest})

    path = place.pack / "manifest.json"
    manifest = json.loads(path.read_text())
    names(manifest)
    path.write_text(json.dumps(manifest), "utf-8")
    (place.pack / "odd\x1b[1m\nname").write_text("x")
    before = sorted((p, p.lstat().st_mtime_ns) for p in place.home.rglob("*"))
    try:
        lines = told(place.verify("site"), place.pack)
    except InputError as e:
        lines = [str(e)]
    for line in lines:
        assert line.isprintable() or line == ""
        assert len(line) < 700
        line.encode("utf-8")
    assert sorted((p, p.lstat().st_mtime_ns) for p in place.home.rglob("*")) == before
