"""The report pack as a folder: written beside its place and moved in whole.

A run that is killed leaves the earlier pack or the new one. On Linux and macOS the two folders
change places in one step of the kernel; elsewhere the earlier pack is set aside under a name
that the next run finds. Where a folder can't change places (a mounted volume, a parent that is
not ours, links or folders of others in it), each file is, and the manifest last.
"""

from __future__ import annotations

import contextlib
import ctypes
import hashlib
import os
import shutil
import sys
import tempfile
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Final

from audit.attest.statement import NAME, SIGNATURE, STAMP, read_statement
from audit.faults import InputError

OURS: Final = ".door-audit-"
"""How the names of folders and files begin that only a killed run leaves behind."""
PENDING: Final = f"{OURS}pending.json"
APART: Final = frozenset({NAME, SIGNATURE, STAMP})
"""What belongs to a pack without being one of its subjects."""


def check_place(folder: Path, site: Path) -> None:
    """InputError where a pack must not be written: a file, the site itself, a foreign folder."""
    place = _place(folder)
    recover(place)
    if place.exists() and not place.is_dir():
        raise InputError(f"--out {folder}: is a file; name a folder for the pack")
    home = site.resolve()
    if place == home or place in home.parents:
        raise InputError(f"--out {folder}: holds the site's own files; name another folder")
    _guard(place, ())


def write(folder: Path, files: Mapping[str, bytes], manifest: str) -> None:
    """Writes the pack complete, its manifest last; files of others in the folder stay.

    InputError where a file of the pack would take the place of one that is no earlier pack's.
    """
    place = _place(folder)
    place.parent.mkdir(parents=True, exist_ok=True)
    _sweep(place)
    _guard(place, files)
    content = {**files, NAME: manifest.encode()}
    others = _others(place)
    apart = place.is_dir() and (
        os.path.ismount(place)
        or not os.access(place.parent, os.W_OK)
        or any(p.is_symlink() or not p.is_file() for p in others)
    )
    (_write_in_place if apart else _write_beside)(place, content, others)


def _place(folder: Path) -> Path:
    """Where the pack will stand: what a link leads to."""
    try:
        return folder.resolve()
    except (OSError, RuntimeError, ValueError):
        raise InputError(f"--out {folder}: can't be followed to a folder; name another") from None


def _write_beside(place: Path, content: Mapping[str, bytes], others: Iterable[Path]) -> None:
    fresh = Path(tempfile.mkdtemp(prefix=f"{_prefix(place)}{os.getpid()}-", dir=place.parent))
    try:
        for kept in others:
            try:
                os.link(kept, fresh / kept.name)
            except OSError:  # a file system without links
                shutil.copy2(kept, fresh / kept.name)
        for name, data in content.items():
            _write_file(fresh / name, data)
        if place.is_dir():
            fresh.chmod(place.stat().st_mode & 0o7777)
        _sync(fresh)
        _move_in(fresh, place)
    finally:
        shutil.rmtree(fresh, ignore_errors=True)


def _write_in_place(place: Path, content: Mapping[str, bytes], _: Iterable[Path]) -> None:
    gone = {*_listed(place), SIGNATURE, STAMP} - content.keys()
    _replace(place / PENDING, content[NAME])
    for name, data in content.items():
        if name != NAME:
            _replace(place / name, data)
    for name in sorted(gone):
        with contextlib.suppress(FileNotFoundError):
            (place / name).unlink()
    _replace(place / NAME, content[NAME])
    (place / PENDING).unlink()
    _sync(place)


def _replace(path: Path, data: bytes) -> None:
    path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
    fresh = path.with_name(f"{OURS}{os.getpid()}")
    with contextlib.suppress(FileNotFoundError):
        fresh.unlink()
    _write_file(fresh, data)
    fresh.replace(path)


def _write_file(path: Path, data: bytes) -> None:
    path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
    handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0), 0o600)
    with os.fdopen(handle, "wb") as file:
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


# --- what is there already ---------------------------------------------------------------


def _guard(place: Path, names: Iterable[str]) -> None:
    """InputError where the folder holds what no earlier pack wrote in the place of a file of ours,
    or what somebody changed since."""
    if not place.is_dir() or not any(place.iterdir()):
        return
    if not _listings(place):
        raise InputError(
            f"--out {place}: is not empty and holds no earlier pack; name an empty or new folder"
        )
    listed = _listed(place)
    for name in sorted({*listed, *names}):
        path = place / name
        if not path.is_symlink() and not path.exists():
            continue
        if name not in listed or path.is_symlink() or not path.is_file():
            raise InputError(
                f"--out {place}: holds a {name} that this program did not write; move it away, or"
                " name another folder"
            )
        with path.open("rb") as file:
            if hashlib.file_digest(file, "sha256").hexdigest() not in listed[name]:
                raise InputError(
                    f"--out {place}: {name} was changed since it was written; move it away, or"
                    " name another folder"
                )


def _listings(place: Path) -> list[dict[str, str]]:
    """The files of the pack there, by its manifest, and of the one that a killed run began."""
    found = []
    for name in (NAME, PENDING):
        path = place / name
        try:
            if path.is_file() and not path.is_symlink():
                found.append(read_statement(path.read_bytes()).files())
        except (InputError, OSError):
            continue
    return found


def _listed(place: Path) -> dict[str, set[str]]:
    """Every digest under which a file of ours may stand there."""
    found: dict[str, set[str]] = {}
    for listing in _listings(place):
        for name, digest in listing.items():
            if safe_name(name):
                found.setdefault(name, set()).add(digest)
    return found


def safe_name(name: str) -> bool:
    """Whether a subject's name stays in the folder, on every system."""
    parts = name.split("/")
    return not (
        "\\" in name or ":" in name or "\0" in name or any(p in ("", ".", "..") for p in parts)
    )


def _others(place: Path) -> list[Path]:
    """What lies in the folder and is not of a pack: its first level, and folders whole."""
    if not place.is_dir():
        return []
    own = {n.split("/")[0] for n in _listed(place)} | APART
    return [p for p in sorted(place.iterdir()) if p.name not in own and not _left(p)]


def _left(path: Path) -> bool:
    return path.name.startswith(OURS) and path.is_file() and not path.is_symlink()


# --- killed runs -------------------------------------------------------------------------


def _prefix(place: Path) -> str:
    return f"{OURS}{hashlib.sha256(os.fsencode(place.name)).hexdigest()[:8]}-"


def _aside(place: Path) -> Path:
    return place.with_name(f"{_prefix(place)}earlier") if place.name else place


def recover(place: Path) -> None:
    """Puts an earlier pack back that a killed run had set aside (see `_move_in`)."""
    aside = _aside(place)
    if aside != place and aside.is_dir() and not place.exists() and _listings(aside):
        aside.rename(place)


def _sweep(place: Path) -> None:
    """Removes what killed runs left of packs for this place; never what lives or is another's."""
    prefix = _prefix(place)
    try:
        beside = [p for p in place.parent.iterdir() if p.name.startswith(prefix)]
    except OSError:
        beside = []
    for path in beside:
        pid = path.name.removeprefix(prefix).partition("-")[0]
        left = place.exists() if pid == "earlier" else pid.isdecimal() and not _alive(int(pid))
        if left and path.is_dir() and not path.is_symlink() and _is_mine(path):
            shutil.rmtree(path, ignore_errors=True)
    if place.is_dir():
        for path in place.iterdir():
            pid = path.name.removeprefix(OURS)
            if _left(path) and pid.isdecimal() and not _alive(int(pid)):
                path.unlink(missing_ok=True)


def _is_mine(path: Path) -> bool:
    return os.name != "posix" or path.stat().st_uid == os.getuid()


def _alive(pid: int) -> bool:
    """Whether a process of this number runs; on Windows, where asking would end it, yes."""
    if os.name != "posix" or pid == os.getpid():
        return True
    try:
        os.kill(pid, 0)
    except (ProcessLookupError, OverflowError):
        return False
    except PermissionError:
        return True
    return True


def _move_in(fresh: Path, place: Path) -> None:
    if not place.exists():
        fresh.rename(place)
        return
    if _exchange(fresh, place):
        return
    aside = _aside(place)
    shutil.rmtree(aside, ignore_errors=True)
    place.rename(aside)
    fresh.rename(place)
    shutil.rmtree(aside, ignore_errors=True)


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
