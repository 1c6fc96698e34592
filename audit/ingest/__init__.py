"""From a site's folder or ZIP to a Dataset; what can't be used is one clear line."""

from __future__ import annotations

import datetime as dt
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from audit.site import InputError, read_site

if TYPE_CHECKING:
    from audit.contract import Dataset
    from audit.decisions import DecisionRow

__all__ = ["InputError", "load_site", "read_decisions", "site_folder"]


def load_site(path: Path, as_of: dt.date | None = None) -> Dataset:
    """The typed dataset of a site folder, or of a ZIP that holds one.

    `as_of` is the day that the audit speaks of; today in the site's time zone unless given.
    InputError where anything can't be used: one line naming the file and how to mend it.
    """
    from audit.ingest.files import read_tables
    from audit.ingest.readers.workbook import digest
    from audit.ingest.tables import build, join_columns

    _give_memory_back(at_once=True)
    with site_folder(path) as folder:
        site = read_site(inside(folder, "site.toml", missing_ok=True))
        raws, notes = read_tables(folder, site)
        others = {
            name: digest(folder / name, name)
            for name in ("site.toml", "decisions.csv")
            if (folder / name).is_file()
        }
    day = as_of or dt.datetime.now(ZoneInfo(site.timezone)).date()
    data = build(raws, site, day, tuple(notes))
    del raws  # before columns are joined: both at once are the most that is ever held
    join_columns(data)
    _give_memory_back(at_once=False)
    data.other_inputs.update(others)
    return data


def _give_memory_back(*, at_once: bool) -> None:
    """Lets arrow take its memory from an allocator that returns what is no longer needed.

    Its usual one keeps it: for a register of millions of rows half as much again. At once while
    files are read, for then the most is held; later a second after, which costs less time.
    """
    import pyarrow as pa

    try:
        pool = pa.jemalloc_memory_pool()
        pa.jemalloc_set_decay_ms(0 if at_once else 1000)
    except NotImplementedError:  # not on every platform
        pool = pa.system_memory_pool()
    pa.set_memory_pool(pool)


@contextmanager
def site_folder(path: Path) -> Iterator[Path]:
    """The folder of a site: the path itself, that of its site.toml, or a ZIP's, unpacked."""
    from audit.ingest.readers.zips import unpack_site

    path = Path(path)
    try:
        if path.is_dir():
            yield path
            return
        if path.name == "site.toml" and path.is_file():
            yield path.parent
            return
        regular = path.is_file()
        start = path.open("rb").read(4) if regular else b""
    except (OSError, ValueError) as e:
        reason = getattr(e, "strerror", None) or "no usable path"
        raise InputError(f"{path.name or path}: can't be read ({reason})") from None
    if not regular:
        raise InputError(f"{path}: there is no such site folder")
    if not start.startswith(b"PK"):
        raise InputError(f"{path.name}: is no site; name its folder, or a ZIP of that folder")
    with tempfile.TemporaryDirectory(prefix="site-", ignore_cleanup_errors=True) as temporary:
        yield unpack_site(path, path.name, Path(temporary))


def inside(folder: Path, name: str, *, missing_ok: bool = False) -> Path:
    """The regular file of that name below the folder.

    InputError where the name, or a symbolic link on its way, leads out of the folder, and
    where nothing that can be read as a file stands there.
    """
    plain = name.replace("\\", "/") if "\\" in name and not (folder / name).exists() else name
    parts = plain.split("/")
    if plain.startswith("/") or ".." in parts or (len(parts[0]) > 1 and parts[0][1] == ":"):
        raise InputError(
            f"{name}: lies outside the site folder; put the file into the folder and name it there"
        )
    path = folder / plain
    try:
        if not path.resolve().is_relative_to(folder.resolve()):
            raise InputError(
                f"{name}: is a link that leads out of the site folder; put the file itself there"
            )
        if path.exists() and not path.is_file():
            raise InputError(f"{name}: is no file that can be read; put the table itself there")
        if path.exists() or missing_ok:
            return path
    except (OSError, ValueError, RuntimeError):
        raise InputError(f"{name[:80]!r}: can't be followed to a file; correct the name") from None
    raise InputError(f"{name}: not found in the site folder; correct the name or add the file")


def read_decisions(path: Path) -> list[DecisionRow]:
    """The rows of the site's decisions.csv as they stand there; none where it has none.

    InputError where it can't be read or lacks finding_id or decision.
    """
    with site_folder(path) as folder:
        if not (folder / "decisions.csv").exists():
            return []
        return decision_rows(inside(folder, "decisions.csv"), "decisions.csv")


def decision_rows(path: Path, file: str) -> list[DecisionRow]:
    """The rows of one decisions file."""
    from audit.decisions import COLUMNS, DecisionRow
    from audit.ingest.headers import plain
    from audit.ingest.readers.csv_text import read_csv

    wanted = {plain(name): name for name in COLUMNS}
    raw, _ = read_csv(path, file, lambda cells: len({plain(c) for c in cells} & wanted.keys()))
    names = [wanted.get(plain(h)) for h in raw.header]
    for name in ("finding_id", "decision"):
        if name not in names:
            wanted_names = ", ".join(COLUMNS)
            raise InputError(f"{file}: has no column {name}; its columns are {wanted_names}")
    columns = [c.to_pylist() for c in raw.cells]
    return [
        DecisionRow(
            int(row),
            {n: c or "" for n, c in zip(names, cells, strict=True) if n is not None},
        )
        for row, *cells in zip(raw.rows, *columns, strict=True)
    ]
