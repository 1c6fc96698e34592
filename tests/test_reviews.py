"""A site keeps its reviews: recorded, followed, replaced while nobody has signed."""

from __future__ import annotations

import datetime as dt
import json
import shutil
import subprocess
from pathlib import Path

import pytest

from audit.attest.sign import sign_pack
from audit.attest.verify import verified
from audit.cli import main

NOW = dt.datetime(2026, 11, 27, tzinfo=dt.UTC)
TOML = '# the block by the canal\n[site]\nname = "Example Court"\ntimezone = "Europe/Dublin"\n'
PEOPLE = "person_id,name,status\nR1,Oda Vint,departed\nR2,Quillon Brask,current\n"
CARDS = "card_id,number,person_id,status\nC1,1001,R1,{0}\nC2,1002,R2,active\n"


@pytest.fixture
def site(tmp_path: Path) -> Path:
    folder = tmp_path / "site"
    folder.mkdir()
    (folder / "site.toml").write_text(TOML, "utf-8")
    (folder / "people.csv").write_text(PEOPLE, "utf-8")
    (folder / "cards.csv").write_text(CARDS.format("active"), "utf-8")
    (folder / "decisions.csv").write_text("finding_id,decision\n", "utf-8")
    return folder


def _record(site: Path, day: str, *more: str) -> int:
    options = ["--as-of", day, "--record", "--quiet", "--fail-on", "never", *more]
    return main(["check", str(site), *options])


def _kept(site: Path, day: str) -> dict[str, object]:
    text = (site / "reviews" / day / "findings.json").read_text("utf-8")
    found: dict[str, object] = json.loads(text)
    return found


def test_reviews_follow_one_another(site: Path) -> None:
    for day in ("2026-03-31", "2026-06-30", "2026-09-30"):
        assert _record(site, day) == 0
    names = sorted(p.name for p in (site / "reviews" / "2026-09-30").iterdir())
    assert names == ["decisions.csv", "findings.json", "manifest.json"]
    first, last = _kept(site, "2026-03-31"), _kept(site, "2026-09-30")
    assert first["previous"] is None
    assert last["previous"]["as_of"] == "2026-06-30"  # type: ignore[index]
    assert {f["change"] for f in last["findings"]} == {"standing"}  # type: ignore[attr-defined]
    assert "Vint" not in json.dumps([first, last])
    verdict = verified(site / "reviews" / "2026-09-30", site=site, again=True, now=NOW)
    assert verdict.wrong == []
    assert verdict.ok
    assert "it follows the pack of 2026-06-30, then 2026-03-31" in verdict.proved
    # what was recorded first stands before nothing
    assert verified(site / "reviews" / "2026-03-31", site=site, again=True, now=NOW).ok


def test_an_earlier_review_that_was_changed_is_told(site: Path) -> None:
    for day in ("2026-06-30", "2026-09-30"):
        _record(site, day)
    (site / "reviews" / "2026-06-30" / "decisions.csv").write_text("finding_id,decision\nx,keep\n")
    verdict = verified(site / "reviews" / "2026-09-30", now=NOW)
    assert verdict.wrong == [
        "the earlier pack of 2026-06-30: decisions.csv: was changed since the pack was made"
    ]


def test_id_and_key_are_written_once(site: Path) -> None:
    _record(site, "2026-06-30")
    text = (site / "site.toml").read_text("utf-8")
    assert text.startswith("# the block by the canal\n")
    identity = _kept(site, "2026-06-30")["site"]["id"]  # type: ignore[index]
    assert f'id = "{identity}"' in text
    key = (site / ".door-audit" / "key").read_bytes()
    _record(site, "2026-09-30")
    assert (site / "site.toml").read_text("utf-8") == text
    assert (site / ".door-audit" / "key").read_bytes() == key


@pytest.mark.skipif(shutil.which("ssh-keygen") is None, reason="ssh-keygen is not installed")
def test_a_signed_review_is_not_replaced(
    site: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    _record(site, "2026-09-30")
    (site / "cards.csv").write_text(CARDS.format("returned"), "utf-8")
    assert _record(site, "2026-09-30") == 0
    place = site / "reviews" / "2026-09-30"
    assert _kept(site, "2026-09-30")["totals"]["immediate"] == 0  # type: ignore[index]
    key = tmp_path / "key"
    subprocess.run(["ssh-keygen", "-q", "-t", "ed25519", "-N", "", "-f", str(key)], check=True)
    sign_pack(place, key, None)
    before = {p.name: p.read_bytes() for p in place.iterdir()}
    assert _record(site, "2026-09-30") == 2
    assert "reviews/2026-09-30: is signed" in capsys.readouterr().err
    assert {p.name: p.read_bytes() for p in place.iterdir()} == before


def test_another_sites_review_is_refused(site: Path, capsys: pytest.CaptureFixture[str]) -> None:
    _record(site, "2026-06-30")
    path = site / "reviews" / "2026-06-30" / "findings.json"
    path.write_text(path.read_text("utf-8").replace('"id": "', '"id": "0', 1), "utf-8")
    assert _record(site, "2026-09-30") == 2
    assert "is of another site (Example Court)" in capsys.readouterr().err


@pytest.mark.parametrize("more", [("--stage", "upload"), ("--audience", "outside")])
def test_only_full_reviews_are_recorded(site: Path, more: tuple[str, ...]) -> None:
    assert _record(site, "2026-09-30", *more) == 2
    assert not (site / "reviews").exists()


def test_a_zip_keeps_no_review(
    site: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    packed = Path(shutil.make_archive(str(tmp_path / "packed"), "zip", site))
    assert _record(packed, "2026-09-30") == 2
    assert "a ZIP keeps no review" in capsys.readouterr().err
