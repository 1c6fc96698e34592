"""The secret of one site: keys commitments and pseudonyms; never in a pack, never printed.

An input file's plain digest would give a register of few PINs away to whoever tries them all;
keyed, it says to those who hold the key that the file is the same, and to others nothing.
"""

from __future__ import annotations

import contextlib
import hashlib
import hmac
import os
import secrets
from pathlib import Path

from audit.faults import InputError

PLACE = ".door-audit"
NAME = "key"
BYTES = 32


def site_key(site: Path, *, make: bool = False) -> bytes | None:
    """The key of a site folder: 32 bytes; None where it has none and none is to be made, and of
    a ZIP, which can't keep one.

    InputError where it can't be read or written, or is no key.
    """
    folder = site.parent if site.name == "site.toml" and site.is_file() else site
    path = folder / PLACE / NAME
    try:
        if path.is_symlink() or path.parent.is_symlink():
            raise InputError(f"{PLACE}/{NAME}: is a link; put the site's key itself there")
        if path.is_file():
            return _read(path)
        return _made(path) if make and folder.is_dir() else None
    except OSError as e:
        raise InputError(
            f"{PLACE}/{NAME}: the site's key cannot be kept there ({e.strerror}); make the site"
            " folder writable"
        ) from None


def _read(path: Path) -> bytes:
    with path.open("rb") as file:
        text = file.read(4 * BYTES).strip()
    try:
        key = bytes.fromhex(text.decode("ascii"))
    except ValueError:
        key = b""
    if len(key) != BYTES:
        raise InputError(
            f"{PLACE}/{NAME}: is damaged; put the copy from a backup there. With a new key earlier"
            " packs can no longer be compared with the data"
        )
    return key


def _made(path: Path) -> bytes:
    """A new key, written whole or not at all; of two runs at once both take the first."""
    path.parent.mkdir(mode=0o700, exist_ok=True)
    draft = path.with_name(f"{NAME}-{os.getpid()}")
    handle = os.open(draft, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
    try:
        with os.fdopen(handle, "w", encoding="ascii") as file:
            file.write(secrets.token_hex(BYTES) + "\n")
            file.flush()
            os.fsync(file.fileno())
        try:
            os.link(draft, path)
        except FileExistsError:
            pass
        except OSError:  # a file system without links
            if not path.exists():
                draft.replace(path)
    finally:
        with contextlib.suppress(FileNotFoundError):
            draft.unlink()
    return _read(path)


def keyed(key: bytes, kind: str, text: str) -> str:
    """HMAC-SHA-256 of a text of some kind, as hex."""
    message = f"{kind}\x1f{text}".encode("utf-8", "surrogatepass")
    return hmac.new(key, message, hashlib.sha256).hexdigest()


def commitment(key: bytes | None, sha256: str) -> str | None:
    """The keyed digest of an input file, from its sha256 (hex); None without a key."""
    return keyed(key, "file", sha256) if key is not None else None


def key_mark(key: bytes | None) -> str | None:
    """What tells this key from another one, and nothing else of it."""
    return keyed(key, "key", "") if key is not None else None
