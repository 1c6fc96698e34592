"""Looks over a ZIP (a workbook is one) before anything in it is unpacked."""

from __future__ import annotations

import zipfile
from itertools import pairwise
from pathlib import Path, PurePosixPath
from typing import Final

from audit.site import InputError

MAX_UNPACKED: Final = 1 << 30
MAX_RATIO: Final = 100  # honest workbooks stand at 8 to 12
RATIO_FROM: Final = 1 << 20  # below a megabyte no ratio matters
MAX_ENTRIES: Final = 10_000
_SYMLINK: Final = 0o120000
_KIND: Final = 0o170000


def open_zip(path: Path, file: str, what: str) -> zipfile.ZipFile:
    """The archive, once its list of contents has been found harmless; else InputError."""
    try:
        archive = zipfile.ZipFile(path)
    except OSError as e:
        raise InputError(f"{file}: can't be read ({e.strerror or 'damaged'})") from None
    except Exception:
        raise InputError(
            f"{file}: damaged or cut short, so it is no {what}; save or copy it again"
        ) from None
    try:
        _check(archive, file, what, path.stat().st_size)
    except BaseException:
        archive.close()
        raise
    return archive


def _check(archive: zipfile.ZipFile, file: str, what: str, size: int) -> None:
    entries = archive.infolist()
    if len(entries) > MAX_ENTRIES:
        raise InputError(f"{file}: holds {len(entries):,} entries; this is no honest {what}")
    unpacked = sum(e.file_size for e in entries)
    if unpacked > MAX_UNPACKED:
        raise InputError(
            f"{file}: unpacks to {unpacked / 1e6:,.0f} MB, more than the 1,074 MB that are read;"
            f" this is no honest {what}"
        )
    if unpacked > RATIO_FROM and unpacked > MAX_RATIO * max(1, size):
        raise InputError(
            f"{file}: unpacks to more than {MAX_RATIO} times its size; this is no honest {what}"
        )
    for entry in entries:
        if entry.file_size > RATIO_FROM and entry.file_size > 4 * MAX_RATIO * max(
            1, entry.compress_size
        ):
            raise InputError(
                f"{file}: an entry unpacks to more than {4 * MAX_RATIO} times its size; this is no"
                f" honest {what}"
            )
        if entry.flag_bits & 1:
            raise InputError(f"{file}: is locked with a password; save it without one")
    spans = sorted((e.header_offset, e.header_offset + e.compress_size) for e in entries)
    if any(a[1] > b[0] for a, b in pairwise(spans)):
        raise InputError(f"{file}: entries overlap; this is no honest {what}")


def unpack_site(path: Path, file: str, into: Path) -> Path:
    """Unpacks the one site in a ZIP below `into`; returns the folder of its site.toml.

    Entries that would leave the folder, symbolic links and names given twice are refused
    with one line.
    """
    with open_zip(path, file, "site archive") as archive:
        names: set[str] = set()
        entries = [e for e in archive.infolist() if not e.is_dir()]
        entries = [e for e in entries if not _clutter(e.filename)]
        for entry in entries:
            safe_name(entry.filename, file)
            if entry.external_attr >> 16 & _KIND == _SYMLINK:
                raise InputError(f"{file}: {entry.filename!r} is a symbolic link; pack the file")
            if entry.filename.casefold() in names:
                raise InputError(f"{file}: holds {entry.filename!r} twice")
            names.add(entry.filename.casefold())
        sites = [PurePosixPath(n) for n in (e.filename for e in entries)]
        sites = [n for n in sites if n.name == "site.toml"]
        if len(sites) != 1:
            found = "no site.toml" if not sites else f"{len(sites)} files called site.toml"
            raise InputError(f"{file}: holds {found}; pack the folder of one site")
        home = sites[0].parent
        for entry in entries:
            target = into / PurePosixPath(entry.filename)
            try:
                target.parent.mkdir(parents=True, exist_ok=True)
                with archive.open(entry) as source, target.open("wb") as out:
                    left = entry.file_size
                    while block := source.read(min(1 << 20, left + 1)):
                        left -= len(block)
                        if left < 0:
                            raise InputError(f"{file}: {entry.filename!r} is larger than it says")
                        out.write(block)
            except InputError:
                raise
            except Exception:
                raise InputError(f"{file}: {entry.filename!r} is damaged; pack it again") from None
    return into / home


def _clutter(name: str) -> bool:
    parts = PurePosixPath(name).parts
    return bool(parts) and (parts[0] == "__MACOSX" or parts[-1] in (".DS_Store", "Thumbs.db"))


def safe_name(name: str, file: str) -> None:
    """InputError where an entry's name leads out of the archive's own folder."""
    parts = name.replace("\\", "/").split("/")
    if name.startswith(("/", "\\")) or ".." in parts or (len(parts[0]) > 1 and parts[0][1] == ":"):
        raise InputError(f"{file}: {name[:80]!r} leads out of the archive; pack it again")
    if "\0" in name or any(len(p) > 200 for p in parts):
        raise InputError(f"{file}: an entry has no usable name; pack it again")
