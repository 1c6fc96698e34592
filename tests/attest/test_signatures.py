"""Signatures against OpenSSH itself, in both directions; keys and their files against the site."""

from __future__ import annotations

import base64
import datetime as dt
import hashlib
import json
import os
import shutil
import stat
import struct
import subprocess
from pathlib import Path

import pytest

from audit.attest import key as keys
from audit.attest.sign import sign_pack
from audit.attest.signatures import NeedsPassphrase, checked, sign, signers_of
from audit.faults import InputError
from tests.test_pack import RECORD, manifest_of

NOW = dt.datetime(2026, 11, 27, 12, tzinfo=dt.UTC)
MESSAGE = b'{"_type": "x"}\n'
KINDS = {
    "ed25519": ("-t", "ed25519"),
    "rsa": ("-t", "rsa", "-b", "2048"),
    "ecdsa 256": ("-t", "ecdsa", "-b", "256"),
    "ecdsa 521": ("-t", "ecdsa", "-b", "521"),
}
needs_ssh = pytest.mark.skipif(
    shutil.which("ssh-keygen") is None, reason="ssh-keygen is not installed"
)


def _keygen(*options: str, **more: object) -> subprocess.CompletedProcess[bytes]:
    return subprocess.run(["ssh-keygen", *options], check=False, capture_output=True, **more)  # type: ignore[call-overload,no-any-return]


def _key(folder: Path, kind: str = "ed25519", passphrase: str = "") -> Path:
    path = folder / "key"
    _keygen("-q", "-N", passphrase, "-C", "", "-f", str(path), *KINDS[kind])
    return path


def _signers(folder: Path, key: Path, options: str = "", who: str = "agent@example.org") -> Path:
    public = key.with_suffix(".pub").read_text().strip()
    path = folder / "allowed_signers"
    path.write_text(f"# who signs\n{who} {options}{' ' if options else ''}{public}\n")
    return path


@needs_ssh
@pytest.mark.parametrize("kind", KINDS)
def test_openssh_believes_what_we_sign(tmp_path: Path, kind: str) -> None:
    key = _key(tmp_path, kind)
    (tmp_path / "m.sig").write_text(sign(MESSAGE, key.read_bytes()))
    options = ["-Y", "verify", "-f", str(_signers(tmp_path, key)), "-I", "agent@example.org"]
    options += ["-s", str(tmp_path / "m.sig"), "-n"]
    assert _keygen(*options, "door-audit", input=MESSAGE).returncode == 0
    assert _keygen(*options, "door-audit", input=MESSAGE + b" ").returncode != 0
    assert _keygen(*options, "file", input=MESSAGE).returncode != 0


@needs_ssh
@pytest.mark.parametrize("kind", KINDS)
def test_we_believe_what_openssh_signs(tmp_path: Path, kind: str) -> None:
    key = _key(tmp_path, kind)
    (tmp_path / "m").write_bytes(MESSAGE)
    _keygen("-Y", "sign", "-n", "door-audit", "-f", str(key), str(tmp_path / "m"))
    armoured = (tmp_path / "m.sig").read_text()
    signature = checked(MESSAGE, armoured)
    assert signature is not None
    listed = _keygen("-l", "-f", str(key) + ".pub").stdout.decode()
    assert signature.fingerprint in listed
    assert checked(MESSAGE + b" ", armoured) is None
    assert signers_of(signature, _signers(tmp_path, key), NOW) == ["agent@example.org"]
    (tmp_path / "m.sig").unlink()
    _keygen("-Y", "sign", "-n", "file", "-f", str(key), str(tmp_path / "m"))
    assert checked(MESSAGE, (tmp_path / "m.sig").read_text()) is None  # signed for another use


@needs_ssh
def test_a_bit_changed_anywhere_is_seen(tmp_path: Path) -> None:
    armoured = sign(MESSAGE, _key(tmp_path).read_bytes())
    lines = armoured.strip().splitlines()
    data = bytearray(base64.b64decode("".join(lines[1:-1])))
    public = bytes(data[14:65])
    for at in range(len(data)):
        data[at] ^= 1
        text = "\n".join([lines[0], base64.b64encode(bytes(data)).decode(), lines[-1]])
        seen = checked(MESSAGE, text)
        assert seen is None, (at, public)
        data[at] ^= 1
    for text in ("", "x", armoured[:-40], "\n".join(lines[1:]), armoured.replace("SSH", "PGP")):
        assert checked(MESSAGE, text) is None


@needs_ssh
@pytest.mark.parametrize(
    ("options", "counts"),
    [
        ("", True),
        ('namespaces="door-audit"', True),
        ('namespaces="file,door-*"', True),
        ('namespaces="file"', False),
        ('valid-after="20260101"', True),
        ('valid-after="20270101Z"', False),
        ('valid-before="20270101Z"', True),
        ('valid-before="20260101"', False),
        ('namespaces="door-audit",valid-before="202612010000Z"', True),
        ("cert-authority", False),
        ("no-such-option", False),
    ],
)
def test_allowed_signers(tmp_path: Path, options: str, counts: bool) -> None:
    key = _key(tmp_path)
    signature = checked(MESSAGE, sign(MESSAGE, key.read_bytes()))
    assert signature is not None
    named = signers_of(signature, _signers(tmp_path, key, options, "a@example.org,b"), NOW)
    assert named == (["a@example.org", "b"] if counts else [])


@needs_ssh
def test_signing_a_pack(tmp_path: Path) -> None:
    pack = tmp_path / "pack"
    pack.mkdir()
    with pytest.raises(InputError, match=r"has no manifest\.json"):
        sign_pack(pack, tmp_path / "key", None)
    files = {"findings.json": json.dumps(RECORD).encode()}
    (pack / "manifest.json").write_text(manifest_of(files))
    (pack / "findings.json").write_bytes(files["findings.json"])
    with pytest.raises(InputError, match="there is no such file"):
        sign_pack(pack, tmp_path / "key", None)
    key = _key(tmp_path, passphrase="a long one")
    with pytest.raises(InputError, match="has a passphrase; run this in a terminal"):
        sign_pack(pack, key, None)
    with pytest.raises(InputError, match="its passphrase is another one"):
        sign_pack(pack, key, lambda: "wrong")
    with pytest.raises(InputError, match="not a private key"):
        sign_pack(pack, key.with_suffix(".pub"), None)
    with pytest.raises(NeedsPassphrase):
        sign(MESSAGE, key.read_bytes())
    (pack / "findings.json").write_text("{}")
    with pytest.raises(InputError, match=r"is not signed, for findings\.json: was changed"):
        sign_pack(pack, key, lambda: "a long one")
    (pack / "findings.json").write_bytes(files["findings.json"])
    assert not (pack / "manifest.json.sig").exists()
    sign_pack(pack, key, lambda: "a long one")
    message = (pack / "manifest.json").read_bytes()
    assert checked(message, (pack / "manifest.json.sig").read_text()) is not None
    with pytest.raises(InputError, match="signed already"):
        sign_pack(pack, key, lambda: "a long one")


@needs_ssh
def test_a_key_that_somebody_must_touch(tmp_path: Path) -> None:
    """A signature of a FIDO key, put together by the protocol; OpenSSH is the judge."""
    from cryptography.hazmat.primitives.asymmetric import ed25519

    key = ed25519.Ed25519PrivateKey.generate()
    kind, application = b"sk-ssh-ed25519@openssh.com", b"ssh:"
    blob = _strings(kind, key.public_key().public_bytes_raw(), application)
    digest = hashlib.sha512(MESSAGE).digest()
    signed = b"SSHSIG" + _strings(b"door-audit", b"", b"sha512", digest)

    def armoured(flags: int) -> str:
        counter = bytes([flags]) + struct.pack(">I", 7)
        whole = hashlib.sha256(application).digest() + counter + hashlib.sha256(signed).digest()
        signature = _strings(kind, key.sign(whole)) + counter
        data = b"SSHSIG" + struct.pack(">I", 1)
        data += _strings(blob, b"door-audit", b"", b"sha512", signature)
        text = base64.encodebytes(data).decode()
        return f"-----BEGIN SSH SIGNATURE-----\n{text}-----END SSH SIGNATURE-----\n"

    (tmp_path / "m.sig").write_text(armoured(1))
    line = f"agent@example.org {kind.decode()} {base64.b64encode(blob).decode()}\n"
    (tmp_path / "signers").write_text(line)
    options = ["-f", str(tmp_path / "signers"), "-I", "agent@example.org", "-n", "door-audit"]
    done = _keygen("-Y", "verify", *options, "-s", str(tmp_path / "m.sig"), input=MESSAGE)
    assert done.returncode == 0, done.stderr
    signature = checked(MESSAGE, armoured(1))
    assert signature is not None
    assert signers_of(signature, tmp_path / "signers", NOW) == ["agent@example.org"]
    assert checked(MESSAGE, armoured(0)) is None  # nobody touched it
    assert checked(MESSAGE + b" ", armoured(1)) is None


def _strings(*parts: bytes) -> bytes:
    return b"".join(struct.pack(">I", len(p)) + p for p in parts)


# --- the site's key ----------------------------------------------------------------------


def test_a_key_is_made_once(tmp_path: Path) -> None:
    assert keys.site_key(tmp_path) is None
    key = keys.site_key(tmp_path, make=True)
    assert key is not None
    assert len(key) == 32
    assert keys.site_key(tmp_path) == keys.site_key(tmp_path, make=True) == key
    assert [p.name for p in (tmp_path / ".door-audit").iterdir()] == ["key"]
    if os.name == "posix":
        assert stat.S_IMODE((tmp_path / ".door-audit" / "key").stat().st_mode) == 0o600
        assert stat.S_IMODE((tmp_path / ".door-audit").stat().st_mode) == 0o700


@pytest.mark.parametrize("text", ["", "00", "zz" * 32, "00" * 33, "\0" * 64])
def test_a_damaged_key_is_told(tmp_path: Path, text: str) -> None:
    (tmp_path / ".door-audit").mkdir()
    (tmp_path / ".door-audit" / "key").write_text(text)
    with pytest.raises(InputError, match="is damaged"):
        keys.site_key(tmp_path)


def test_a_link_for_a_key_is_refused(tmp_path: Path) -> None:
    (tmp_path / "elsewhere").write_text("00" * 32)
    (tmp_path / ".door-audit").mkdir()
    (tmp_path / ".door-audit" / "key").symlink_to(tmp_path / "elsewhere")
    with pytest.raises(InputError, match="is a link"):
        keys.site_key(tmp_path, make=True)


def test_a_folder_that_cannot_be_written_is_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refused(*_: object, **__: object) -> None:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "mkdir", refused)
    with pytest.raises(InputError, match="make the site folder writable"):
        keys.site_key(tmp_path, make=True)


def test_commitments_of_two_sites_differ() -> None:
    one, two = b"1" * 32, b"2" * 32
    assert keys.commitment(one, "ab") == keys.commitment(one, "ab")
    assert len({keys.commitment(k, d) for k in (one, two) for d in ("ab", "ac")}) == 4
    assert keys.commitment(None, "ab") is None
    assert keys.key_mark(one) != keys.key_mark(two)
