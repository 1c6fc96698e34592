"""The report pack as a folder: written beside its place, moved in whole, and verified.

A run that is killed leaves the earlier pack or the new one. On Linux and macOS the two
folders change places in one step of the kernel; elsewhere the earlier pack is set aside
under a name that `recover` finds.
"""

from __future__ import annotations

import ctypes
import hashlib
import json
import os
import shutil
import sys
import tempfile
from collections.abc import Iterable, Mapping
from pathlib import Path

from audit.site import InputError

FORMAT = "door-audit pack 1"
MANIFEST = "manifest.json"
_ASIDE = ".earlier-pack"


def digest(data: bytes) -> str:
    """sha256 as hex."""
    return hashlib.sha256(data).hexdigest()


def manifest_text(
    files: Mapping[str, bytes], inputs: Mapping[str, str], facts: Mapping[str, object]
) -> str:
    """manifest.json: sha256 of every file of the pack and of every input file."""
    content = {
        "format": FORMAT,
        **facts,
        "files": {name: digest(data) for name, data in sorted(files.items())},
        "inputs": dict(sorted(inputs.items())),
    }
    return json.dumps(content, ensure_ascii=False, indent=2) + "\n"


def check_place(folder: Path, site: Path) -> None:
    """InputError where a pack must not be written: a file, the site itself, a foreign folder."""
    recover(folder)
    if folder.exists() and not folder.is_dir():
        raise InputError(f"--out {folder}: is a file; name a folder for the pack")
    resolved, home = folder.resolve(), site.resolve()
    if resolved == home or resolved in home.parents:
        raise InputError(f"--out {folder}: holds the site's own files; name another folder")
    if folder.is_dir() and any(folder.iterdir()) and not (folder / MANIFEST).is_file():
        raise InputError(
            f"--out {folder}: is not empty and holds no earlier pack; name an empty or new folder"
        )


def write(folder: Path, files: Mapping[str, bytes], manifest: str) -> None:
    """Writes the pack whole, its manifest last, and moves it into `folder` in one step.

    Files of an earlier pack's folder that no pack wrote (a decisions.csv put there) stay.
    """
    folder.parent.mkdir(parents=True, exist_ok=True)
    fresh = Path(tempfile.mkdtemp(prefix=f".{folder.name}-", dir=folder.parent))
    try:
        fresh.chmod(0o755)
        if folder.is_dir():
            for kept in _foreign(folder, files):
                target = fresh / kept.relative_to(folder)
                target.parent.mkdir(parents=True, exist_ok=True)
                shutil.copy2(kept, target)
        for name, data in files.items():
            _write_file(fresh / name, data)
        _write_file(fresh / MANIFEST, manifest.encode())
        _sync(fresh)
        _move_in(fresh, folder)
    finally:
        shutil.rmtree(fresh, ignore_errors=True)


def _write_file(path: Path, data: bytes) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    with path.open("wb") as file:
        file.write(data)
        file.flush()
        os.fsync(file.fileno())


def _sync(folder: Path) -> None:
    if os.name == "posix":
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def _foreign(folder: Path, files: Iterable[str]) -> list[Path]:
    own = {*files, MANIFEST, *_listed(folder)}
    return [
        p
        for p in sorted(folder.rglob("*"))
        if p.is_file() and p.relative_to(folder).as_posix() not in own
    ]


def _listed(folder: Path) -> set[str]:
    try:
        listed = json.loads((folder / MANIFEST).read_text("utf-8"))["files"]
        return {str(name) for name in listed}
    except (OSError, ValueError, KeyError, TypeError):
        return set()


def _move_in(fresh: Path, folder: Path) -> None:
    if not folder.exists():
        fresh.rename(folder)
        return
    if _exchange(fresh, folder):
        return
    aside = folder.with_name(folder.name + _ASIDE)
    shutil.rmtree(aside, ignore_errors=True)
    folder.rename(aside)
    fresh.rename(folder)
    shutil.rmtree(aside, ignore_errors=True)


def recover(folder: Path) -> None:
    """Puts an earlier pack back that a killed run had set aside (see `_move_in`)."""
    aside = folder.with_name(folder.name + _ASIDE)
    if aside.is_dir():
        if folder.exists():
            shutil.rmtree(aside, ignore_errors=True)
        else:
            aside.rename(folder)


def _exchange(one: Path, other: Path) -> bool:
    """Swaps two folders in one step; False where the system can't."""
    a, b = os.fsencode(one), os.fsencode(other)
    try:
        libc = ctypes.CDLL(None, use_errno=True)
        if sys.platform.startswith("linux"):
            at_cwd, swap = -100, 2
            return bool(libc.renameat2(at_cwd, a, at_cwd, b, swap) == 0)
        if sys.platform == "darwin":
            swap = 2
            return bool(libc.renamex_np(a, b, swap) == 0)
    except (OSError, AttributeError, TypeError):
        return False
    return False


def verified(folder: Path, data_folder: Path | None) -> list[str]:
    """Everything that differs from what the manifest says; empty where all is well.

    Checks the pack's own files, and the input files where `data_folder` is given.
    """
    recover(folder)
    if not folder.is_dir():
        raise InputError(f"{folder}: there is no such folder; name a report pack")
    path = folder / MANIFEST
    if not path.is_file():
        raise InputError(f"{folder}: holds no {MANIFEST}; it is no report pack, or not a whole one")
    try:
        manifest = json.loads(path.read_text("utf-8"))
        files, inputs = dict(manifest["files"]), dict(manifest["inputs"])
        if manifest["format"] != FORMAT:
            raise ValueError
    except (OSError, ValueError, KeyError, TypeError, RecursionError):
        raise InputError(f"{path.name}: is not a manifest of this program") from None
    differs = []
    for name, expected in sorted(files.items()):
        differs += _differs(folder, name, expected, "file")
    known = {*files, MANIFEST, "decisions.csv"}  # the reviewer's own file may lie in the folder
    for found in sorted(p for p in folder.rglob("*") if p.is_file()):
        name = found.relative_to(folder).as_posix()
        if name not in known:
            differs.append(f"{name}: is not part of the pack; it was put there later")
    if data_folder is not None:
        for name, expected in sorted(inputs.items()):
            differs += _differs(data_folder, name, expected, "data file")
    return differs


def data_beside(folder: Path) -> Path | None:
    """The site folder that a pack speaks of: the folder around it, or one beside it.

    Of several, the one with most of the pack's input files unchanged; None where there is none.
    """
    try:
        inputs = dict(json.loads((folder / MANIFEST).read_text("utf-8"))["inputs"])
    except (OSError, ValueError, KeyError, TypeError, RecursionError):
        return None
    around = folder.resolve().parent
    places = [around, *sorted(p for p in around.iterdir() if p.is_dir())]
    sites = [p for p in places if (p / "site.toml").is_file()]
    return max(sites, key=lambda p: _unchanged(p, inputs), default=None)


def _unchanged(place: Path, inputs: Mapping[str, str]) -> int:
    return sum(not _differs(place, name, expected, "file") for name, expected in inputs.items())


def _differs(folder: Path, name: str, expected: str, what: str) -> list[str]:
    target = folder / name
    if not target.resolve().is_relative_to(folder.resolve()):
        return [f"{name}: lies outside {folder.name}; it was not read"]
    if not target.is_file():
        return [f"{name}: the {what} is missing"]
    try:
        found = digest(target.read_bytes())
    except OSError as e:
        return [f"{name}: can't be read ({e.strerror})"]
    return [] if found == expected else [f"{name}: the {what} was changed since the pack was made"]
