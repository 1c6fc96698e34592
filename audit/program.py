"""Which program this is: its version, and a digest of the rules that it holds."""

from __future__ import annotations

import hashlib
from functools import cache
from importlib.metadata import PackageNotFoundError
from importlib.metadata import version as installed
from importlib.resources import files


def version() -> str:
    """The installed version, or `from a checkout`."""
    try:
        return installed("door-audit")
    except PackageNotFoundError:
        return "from a checkout"


@cache
def catalogue_digest() -> str:
    """sha256 of the rules as they are: every file of their package, whatever its line ends."""
    total = hashlib.sha256()
    home = files("rules")

    def add(folder: object, prefix: str) -> None:
        for entry in sorted(folder.iterdir(), key=lambda e: e.name):  # type: ignore[attr-defined]
            name = f"{prefix}{entry.name}"
            if entry.is_dir():
                add(entry, f"{name}/")
            elif entry.name.endswith((".py", ".toml", ".json")):
                data = entry.read_bytes().replace(b"\r\n", b"\n")
                total.update(f"{name} {len(data)} ".encode() + data)

    add(home, "")
    return total.hexdigest()
