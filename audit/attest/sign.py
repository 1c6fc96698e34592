"""Signs a pack: its manifest, and so every byte that the manifest lists."""

from __future__ import annotations

import datetime as dt
import os
from collections.abc import Callable
from pathlib import Path

from audit.attest import files
from audit.attest.files import shown
from audit.attest.signatures import NeedsPassphrase, Signature, checked, sign
from audit.attest.statement import MOST_BYTES, NAME, SIGNATURE
from audit.attest.verify import verified
from audit.faults import InputError

MOST_KEY = 1 << 20


def sign_pack(folder: Path, key: Path, ask: Callable[[], str] | None) -> Signature:
    """Writes manifest.json.sig; `ask` gives the key's passphrase, None where nobody can be asked.

    InputError where pack or key can't be used, and where the pack is signed already.
    """
    manifest = files.read(folder / NAME, MOST_BYTES) if folder.is_dir() else None
    if manifest is None:
        raise InputError(f"{shown(folder)}: has no {NAME} that can be read; name a report pack")
    target = folder / SIGNATURE
    if os.path.lexists(target):
        raise InputError(f"{shown(folder)}: is signed already; remove {SIGNATURE} to sign it again")
    try:
        secret = files.read(key, MOST_KEY)
    except OSError as e:
        raise InputError(f"--key {shown(key)}: can't be read ({e.strerror})") from None
    if secret is None:
        raise InputError(f"--key {shown(key)}: there is no such file; name a private key")
    wrong = verified(folder, now=dt.datetime.now(dt.UTC)).wrong
    if wrong:
        raise InputError(f"{shown(folder)}: is not signed, for {wrong[0]}")
    armoured = _signed(manifest, secret, key, ask)
    signature = checked(manifest, armoured)
    if signature is None:  # never seen; a signature that does not hold must not be written
        raise InputError(f"--key {shown(key)}: gives no signature that holds")
    handle = os.open(target, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    with os.fdopen(handle, "w", encoding="ascii", newline="\n") as file:
        file.write(armoured)
    return signature


def _signed(manifest: bytes, secret: bytes, key: Path, ask: Callable[[], str] | None) -> str:
    try:
        try:
            return sign(manifest, secret)
        except NeedsPassphrase:
            if ask is None:
                raise
        return sign(manifest, secret, ask().encode())
    except NeedsPassphrase as e:
        how = f"run this in a terminal, or: ssh-keygen -Y sign -n door-audit -f KEY {NAME}"
        raise InputError(f"--key {shown(key)}: {e}; {how}") from None
    except InputError as e:
        raise InputError(f"--key {shown(key)}: {e}") from None
