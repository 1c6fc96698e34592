"""Files of strangers: read once, never followed, never waited for, told safely."""

from __future__ import annotations

import hashlib
import os
import stat
from collections.abc import Iterator
from contextlib import contextmanager
from io import BufferedReader
from pathlib import Path
from typing import Final

from audit.faults import one_line

LONGEST_TOLD: Final = 120


def shown(text: object) -> str:
    """A name as it may be printed: one line, no control characters, not too long."""
    line = one_line(str(text)).strip()
    if len(line) > LONGEST_TOLD:
        return f"{line[:LONGEST_TOLD]}… ({len(line):,} characters)"
    return line


def entries(folder: Path) -> Iterator[str]:
    """The name of everything below a folder but its folders: files, links, pipes; none followed."""
    for inner in sorted(os.scandir(folder), key=lambda e: e.name):
        if inner.is_dir(follow_symlinks=False):
            yield from (f"{inner.name}/{name}" for name in entries(Path(inner.path)))
        else:
            yield inner.name


def read(path: Path, most: int) -> bytes | None:
    """The bytes of a plain file of at most so many; None where it is none."""
    with _opened(path) as file:
        if file is None:
            return None
        data = file.read(most + 1)
    return data if len(data) <= most else None


def sha256(path: Path) -> str | None:
    """The sha256 of a plain file; None where there is none. OSError where it can't be read."""
    with _opened(path) as file:
        return None if file is None else hashlib.file_digest(file, "sha256").hexdigest()


@contextmanager
def _opened(path: Path) -> Iterator[BufferedReader | None]:
    """A plain file opened for reading, without following a link or waiting for a pipe."""
    flags = os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_NOFOLLOW", 0)
    try:
        plain = stat.S_ISREG(os.lstat(path).st_mode)
        handle = os.open(path, flags | getattr(os, "O_BINARY", 0)) if plain else -1
    except (FileNotFoundError, NotADirectoryError, ValueError):
        handle = -1
    if handle < 0:
        yield None
        return
    with os.fdopen(handle, "rb") as file:
        yield file
