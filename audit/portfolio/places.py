"""Where the sites lie, and where their results may be kept.

Links are never followed, results never land outside the folder named for them, and a run never
takes its own output for a site.
"""

from __future__ import annotations

import os
from collections.abc import Iterable
from pathlib import Path
from typing import Final

from audit.faults import InputError

FINDINGS: Final = "findings.json"
RESULT: Final = "site.json"
SITES: Final = "sites"
SUM: Final = "portfolio.json"
UNFINISHED: Final = "unfinished"
_SAYS: Final = "This run is not finished; the same command goes on from here.\n"
Named = tuple[str, Path]


def found(folder: Path, out: Path | None) -> tuple[list[Named], list[tuple[str, str]]]:
    """Every site folder below `folder` with its name, and the places that can't be looked into.

    A site within a site is a site of its own. A name is the path from `folder`, with slashes;
    of a site that is `folder` itself, a dot.
    """
    if not folder.is_dir():
        raise InputError(f"{folder}: there is no such folder")
    home, own = folder.resolve(), None if out is None else out.resolve()
    sites: list[Named] = []
    closed: list[tuple[str, str]] = []

    def shut(e: OSError) -> None:
        name = _name(folder, Path(e.filename))
        closed.append((name, f"the folder can't be looked into ({e.strerror})"))

    for place, inner, files in os.walk(folder, onerror=shut):
        path = Path(place)
        if "site.toml" in files:
            sites.append((_name(folder, path), path))
        for name in inner:
            link = path / name
            astray = link.is_symlink() and not link.resolve().is_relative_to(home)
            if astray and (link / "site.toml").exists():
                why = "is a link that leads out of the folder; put the site itself there"
                closed.append((_name(folder, link), why))
        inner[:] = sorted(n for n in inner if own is None or (path / n).resolve() != own)
    if not sites and not closed:
        raise InputError(f"{folder}: no folder below it holds a site.toml")
    return sorted(sites), sorted(closed)


def _name(folder: Path, path: Path) -> str:
    return path.relative_to(folder).as_posix()


def shown(name: str) -> str:
    """The name as text that every file can hold: bytes that are no UTF-8 as escapes."""
    return name.encode("utf-8", "backslashreplace").decode()


def check_out(folder: Path, out: Path) -> None:
    """InputError where results must not be written: a file, the sites' own or a foreign folder."""
    if out.exists() and not out.is_dir():
        raise InputError(f"--out {out}: is a file; name a folder for the results")
    home, own = folder.resolve(), out.resolve()
    if home == own or home.is_relative_to(own / SITES) or (out / "site.toml").exists():
        raise InputError(f"--out {out}: holds the sites' own files; name another folder")
    if (
        out.is_dir()
        and any(out.iterdir())
        and not any((out / name).is_file() for name in (SUM, UNFINISHED))
    ):
        raise InputError(
            f"--out {out}: is not empty and holds no earlier results; name an empty or new folder"
        )


def begin(out: Path, names: Iterable[str]) -> None:
    """Marks the results as unfinished and removes those of sites that are gone."""
    out.mkdir(parents=True, exist_ok=True)
    (out / UNFINISHED).write_text(_SAYS, encoding="utf-8", newline="\n")
    _sweep(out, {out / SITES / name for name in names})


def end(out: Path) -> None:
    """Removes what an interrupted write left, and the mark."""
    _sweep(out, None)
    (out / UNFINISHED).unlink(missing_ok=True)


def _sweep(out: Path, wanted: set[Path] | None) -> None:
    for place, _, files in os.walk(out / SITES, topdown=False):
        path = Path(place)
        for name in files:
            if name.startswith(".") and name.endswith(".part"):
                (path / name).unlink(missing_ok=True)
        if wanted is not None and path not in wanted and RESULT in files:
            drop(path)
        if path != out / SITES and not any(path.iterdir()):
            path.rmdir()


def drop(place: Path) -> None:
    """Removes a result that is no longer true."""
    for name in (RESULT, FINDINGS):
        (place / name).unlink(missing_ok=True)


def within(out: Path, name: str) -> Path:
    """The place for one site's results; InputError where a link leads it out of `out`."""
    place = out / SITES / name
    if not place.resolve().is_relative_to(out.resolve()):
        raise InputError(f"the place for its results is a link that leads out of {out.name}")
    return place
