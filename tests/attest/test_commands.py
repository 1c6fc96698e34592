"""sign and verify as commands: exit statuses, and what is said first."""

from __future__ import annotations

import json
import os
import shutil
import stat
import subprocess
from pathlib import Path

import pytest

from audit.cli import main

needs_ssh = pytest.mark.skipif(
    shutil.which("ssh-keygen") is None, reason="ssh-keygen is not installed"
)
CHECK = ("--as-of", "2026-09-30", "--fail-on", "never", "--quiet")


@pytest.fixture
def site(tmp_path: Path) -> Path:
    folder = tmp_path / "site"
    folder.mkdir()
    (folder / "site.toml").write_text(
        '[site]\nname = "Example Court"\ntimezone = "Europe/Dublin"\n', "utf-8"
    )
    (folder / "people.csv").write_text("person_id,name,status\nR1,Oda Vint,departed\n", "utf-8")
    (folder / "cards.csv").write_text("card_id,number,person_id\nC1,1001,R1\n", "utf-8")
    return folder


@needs_ssh
def test_signed_and_verified(
    site: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    pack = tmp_path / "pack"
    assert main(["check", str(site), *CHECK, "--out", str(pack), "--formats", "json,csv"]) == 0
    key = tmp_path / "key"
    subprocess.run(["ssh-keygen", "-q", "-t", "ed25519", "-N", "", "-f", str(key)], check=True)
    assert main(["sign", str(pack), "--key", str(key)]) == 0
    assert main(["sign", str(pack), "--key", str(key)]) == 2
    signers = tmp_path / "signers"
    signers.write_text(f"agent@example.org {key.with_suffix('.pub').read_text()}")
    capsys.readouterr()
    options = ["--signers", str(signers), "--site", str(site), "--again"]
    assert main(["verify", str(pack), *options]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert lines[0] == "Report pack of Example Court"
    assert lines[1] == "as of 2026-09-30, stage review, audience full"
    assert lines[2].startswith("verdict: ")
    assert lines[-1].endswith("complete and unchanged")
    signers.write_text("")
    assert main(["verify", str(pack), "--signers", str(signers)]) == 1
    assert main(["verify", str(pack), "--signers", str(tmp_path / "none")]) == 2
    assert main(["verify", str(tmp_path)]) == 2
    assert main(["verify", str(pack), "--site", str(tmp_path)]) == 2
    if os.name == "posix":
        for path in pack.iterdir():
            assert stat.S_IMODE(path.stat().st_mode) == 0o600


def test_unsigned_packs_are_said_to_be(
    site: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    pack = tmp_path / "pack"
    main(["check", str(site), *CHECK, "--out", str(pack), "--formats", "json"])
    assert main(["verify", str(pack)]) == 0
    told = capsys.readouterr().out
    assert "signed by: nobody" in told
    assert "anyone who changed a file could have written the manifest again" in told


@pytest.mark.parametrize("audience", ["outside", "insurer"])
def test_a_record_for_others_is_printed(
    site: Path, capsys: pytest.CaptureFixture[str], audience: str
) -> None:
    options = ["--audience", audience, "--out", "-", "--formats", "json"]
    assert main(["check", str(site), *CHECK, *options]) == 0
    told = capsys.readouterr().out
    assert json.loads(told)["audience"] == audience
    assert "Vint" not in told
    assert "C1" not in told
    assert (site / ".door-audit" / "key").is_file()


def test_a_check_that_writes_nothing_makes_no_key(site: Path) -> None:
    assert main(["check", str(site), *CHECK]) == 0
    assert main(["check", str(site), *CHECK, "--audience", "outside"]) == 2
    assert not (site / ".door-audit").exists()


@pytest.mark.skipif(os.name != "posix", reason="modes of POSIX")
def test_new_pins_and_copies_are_nobody_elses_to_read(site: Path, tmp_path: Path) -> None:
    (site / "pins.csv").write_text("pin_id,pin,person_id,status\nP1,111111,R1,active\n", "utf-8")
    out = tmp_path / "mended"
    main(["mend", str(site), "--out", str(out), "--as-of", "2026-09-30", "--new-pins"])
    written = [p for p in out.rglob("*") if p.is_file()]
    assert any(p.name == "pins.csv" for p in written)
    for path in written:
        assert stat.S_IMODE(path.stat().st_mode) == 0o600
    for folder in (out, *(p for p in out.rglob("*") if p.is_dir())):
        assert stat.S_IMODE(folder.stat().st_mode) == 0o700
