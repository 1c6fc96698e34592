"""The pack: moved in whole, verified, killed at any moment."""

from __future__ import annotations

import os
import random
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from audit.report import pack
from audit.site import InputError


def _write(folder: Path, text: str) -> None:
    files = {f"file{i}.txt": f"{text} {i}".encode() for i in range(5)}
    pack.write(folder, files, pack.manifest_text(files, {}, {"site": "s"}))


def test_whole_pack_verifies(tmp_path: Path) -> None:
    _write(tmp_path / "p", "one")
    assert pack.verified(tmp_path / "p", None) == []


def test_says_precisely_what_differs(tmp_path: Path) -> None:
    folder = tmp_path / "p"
    _write(folder, "one")
    (folder / "file1.txt").write_text("other")
    (folder / "file2.txt").unlink()
    (folder / "more.txt").write_text("x")
    (folder / "decisions.csv").write_text("the reviewer's own")
    assert [d.split(":")[0] for d in pack.verified(folder, None)] == [
        "file1.txt",
        "file2.txt",
        "more.txt",
    ]


def test_data_is_compared_too(tmp_path: Path) -> None:
    site = tmp_path / "site"
    site.mkdir()
    (site / "site.toml").write_text("a")
    (site / "cards.csv").write_text("b")
    files = {"findings.json": b"{}"}
    inputs = {p.name: pack.digest(p.read_bytes()) for p in site.iterdir()}
    folder = tmp_path / "p"
    pack.write(folder, files, pack.manifest_text(files, inputs, {}))
    assert pack.data_beside(folder) == site
    assert pack.verified(folder, site) == []
    (site / "cards.csv").write_text("c")
    assert pack.data_beside(folder) == site
    assert pack.verified(folder, site) == [
        "cards.csv: the data file was changed since the pack was made"
    ]


def test_a_later_pack_takes_the_place_and_keeps_foreign_files(tmp_path: Path) -> None:
    folder = tmp_path / "p"
    _write(folder, "one")
    (folder / "decisions.csv").write_text("mine")
    _write(folder, "two")
    assert (folder / "file0.txt").read_text() == "two 0"
    assert (folder / "decisions.csv").read_text() == "mine"
    assert [p.name for p in tmp_path.iterdir()] == ["p"]


def test_without_the_exchange_of_the_kernel(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(pack, "_exchange", lambda one, other: False)
    folder = tmp_path / "p"
    _write(folder, "one")
    _write(folder, "two")
    assert pack.verified(folder, None) == []
    # a run killed between the two renames left the earlier pack aside
    folder.rename(tmp_path / "p.earlier-pack")
    assert pack.verified(folder, None) == []


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
folder, n = Path(sys.argv[1]), 0
print("ready", flush=True)
while True:
    n += 1
    files = {f"file{i}.txt": (f"{n} " * 20_000).encode() for i in range(8)}
    pack.write(folder, files, pack.manifest_text(files, {}, {"run": n}))
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
        assert pack.verified(folder, None) == []
