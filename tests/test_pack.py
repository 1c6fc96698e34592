"""The pack: moved in whole, verified, killed at any moment."""

from __future__ import annotations

import datetime as dt
import json
import os
import random
import signal
import stat
import subprocess
import sys
import time
from pathlib import Path

import pytest

from audit.attest import statement
from audit.attest.verify import verified
from audit.report import pack
from audit.site import InputError

RECORD = {
    "site": {"name": "s"}, "as_of": "2026-09-30", "stage": "review", "audience": "full",
    "inputs": [], "findings": [], "outcomes": [], "totals": {},
}  # fmt: skip


def manifest_of(files: dict[str, bytes]) -> str:
    return statement.stated(
        RECORD, files, kind="corrected copy", formats=(), inputs=[], key=None
    ).to_json()


def _write(folder: Path, text: str) -> None:
    files = {f"file{i}.txt": f"{text} {i}".encode() for i in range(5)}
    files["findings.json"] = json.dumps(RECORD).encode()
    pack.write(folder, files, manifest_of(files))


def _wrong(folder: Path) -> list[str]:
    return verified(folder, now=dt.datetime.now(dt.UTC)).wrong


def test_whole_pack_verifies(tmp_path: Path) -> None:
    _write(tmp_path / "p", "one")
    assert _wrong(tmp_path / "p") == []


def test_a_later_pack_takes_the_place_and_keeps_foreign_files(tmp_path: Path) -> None:
    folder = tmp_path / "p"
    _write(folder, "one")
    folder.chmod(0o750)
    (folder / "decisions.csv").write_text("mine")
    _write(folder, "two")
    assert (folder / "file0.txt").read_text() == "two 0"
    assert (folder / "decisions.csv").read_text() == "mine"
    assert stat.S_IMODE(folder.stat().st_mode) == 0o750
    assert [p.name for p in tmp_path.iterdir()] == ["p"]


def test_without_the_exchange_of_the_kernel(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(pack, "_exchange", lambda one, other: False)
    folder = tmp_path / "p"
    _write(folder, "one")
    _write(folder, "two")
    assert _wrong(folder) == []
    # a run killed between the two renames left the earlier pack aside
    folder.rename(pack._aside(folder))
    pack.check_place(folder, tmp_path / "site")
    assert _wrong(folder) == []


def test_never_writes_into_a_foreign_folder(tmp_path: Path) -> None:
    site = tmp_path / "site"
    site.mkdir()
    foreign = tmp_path / "foreign"
    foreign.mkdir()
    (foreign / "thesis.doc").write_text("x")
    for place in (site, tmp_path, foreign):
        with pytest.raises(InputError):
            pack.check_place(place, site)
    pack.check_place(tmp_path / "new", site)


WRITER = """
import sys
from pathlib import Path
from audit.report import pack
from tests.test_pack import RECORD, manifest_of
import json
folder, n = Path(sys.argv[1]), 0
print("ready", flush=True)
while True:
    n += 1
    files = {f"file{i}.txt": (f"{n} " * 20_000).encode() for i in range(8)}
    files["findings.json"] = json.dumps(RECORD).encode()
    pack.write(folder, files, manifest_of(files))
"""


@pytest.mark.skipif(os.name != "posix", reason="kills a process the POSIX way")
def test_killed_at_any_moment_leaves_a_whole_pack(tmp_path: Path) -> None:
    folder = tmp_path / "p"
    _write(folder, "first")
    chance = random.Random(7)
    for _ in range(25):
        writer = subprocess.Popen(
            [sys.executable, "-c", WRITER, str(folder)], stdout=subprocess.PIPE, text=True
        )
        assert writer.stdout is not None
        writer.stdout.readline()
        time.sleep(chance.uniform(0, 0.05))
        writer.send_signal(signal.SIGKILL)
        writer.wait()
        writer.stdout.close()
        assert _wrong(folder) == []


@pytest.mark.skipif(os.name != "posix", reason="modes, links and pipes of POSIX")
class TestFolders:
    """What stands in the folder already, and beside it."""

    def test_modes(self, tmp_path: Path) -> None:
        _write(tmp_path / "p", "one")
        assert stat.S_IMODE((tmp_path / "p").stat().st_mode) == 0o700
        for path in (tmp_path / "p").iterdir():
            assert stat.S_IMODE(path.stat().st_mode) == 0o600

    def test_a_link_stays_and_its_folder_is_filled(self, tmp_path: Path) -> None:
        (tmp_path / "real").mkdir()
        (tmp_path / "p").symlink_to("real")
        _write(tmp_path / "p", "one")
        assert (tmp_path / "p").is_symlink()
        assert (tmp_path / "real" / "file1.txt").read_text() == "one 1"

    def test_pipes_folders_and_links_of_others_stay(self, tmp_path: Path) -> None:
        folder = tmp_path / "p"
        _write(folder, "one")
        os.mkfifo(folder / "pipe")
        (folder / "nowhere").symlink_to("gone")
        (folder / "notes").mkdir()
        (folder / "notes" / "a.txt").write_text("a")
        _write(folder, "two")
        assert (folder / "file1.txt").read_text() == "two 1"
        assert stat.S_ISFIFO((folder / "pipe").lstat().st_mode)
        assert (folder / "nowhere").is_symlink()
        assert (folder / "notes" / "a.txt").read_text() == "a"
        assert not [p for p in folder.iterdir() if p.name.startswith(pack.OURS)]

    def test_a_parent_that_is_not_ours(
        self, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        folder = tmp_path / "p"
        _write(folder, "one")
        inode = folder.stat().st_ino
        monkeypatch.setattr(pack.os, "access", lambda path, mode: path != tmp_path)
        _write(folder, "two")
        assert folder.stat().st_ino == inode  # each file changed its place, not the folder
        assert _wrong(folder) == []

    def test_nothing_else_is_overwritten(self, tmp_path: Path) -> None:
        folder = tmp_path / "p"
        _write(folder, "one")
        (folder / "file1.txt").write_text("notes of mine")
        with pytest.raises(InputError, match="was changed since"):
            _write(folder, "two")
        with pytest.raises(InputError, match="was changed since"):
            pack.check_place(folder, tmp_path / "site")
        assert (folder / "file1.txt").read_text() == "notes of mine"
        (folder / "file1.txt").write_text("one 1")
        (folder / "report.html").write_text("mine")
        files = {"report.html": b"x", "findings.json": json.dumps(RECORD).encode()}
        with pytest.raises(InputError, match=r"holds a report\.html that this program did not"):
            pack.write(folder, files, manifest_of(files))
        assert (folder / "report.html").read_text() == "mine"

    def test_leftovers_go_and_what_is_anothers_stays(self, tmp_path: Path) -> None:
        folder = tmp_path / "p"
        dead = subprocess.Popen([sys.executable, "-c", ""])
        dead.wait()
        mine = tmp_path / f"{pack._prefix(folder)}{dead.pid}-x"
        alive = tmp_path / f"{pack._prefix(folder)}{os.getpid()}-x"
        other = tmp_path / f"{pack._prefix(tmp_path / 'q')}{dead.pid}-x"
        for left in (mine, alive, other):
            left.mkdir()
        (tmp_path / f"{pack._prefix(folder)}{dead.pid}-link").symlink_to(other)
        _write(folder, "one")
        assert not mine.exists()
        assert alive.exists()
        assert other.exists()

    def test_odd_places(self, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        monkeypatch.chdir(tmp_path)
        site = tmp_path / "site"
        site.mkdir()
        pack.check_place(Path("new"), site)
        for place in (Path(), Path("/")):
            with pytest.raises(InputError, match="own files"):
                pack.check_place(place, site)
        (tmp_path / "here").mkdir()
        monkeypatch.chdir(tmp_path / "here")
        _write(Path(), "one")
        assert (tmp_path / "here" / "file1.txt").is_file()
        (tmp_path / "round").symlink_to("round")
        with pytest.raises(InputError):
            pack.check_place(tmp_path / "round", site)
