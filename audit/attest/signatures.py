"""OpenSSH signatures of a manifest: the format of `ssh-keygen -Y sign`, namespace door-audit.

The format is OpenSSH's PROTOCOL.sshsig and allowed_signers that of ssh-keygen(1), both read
2026-11; ssh-keygen judges both in the tests. Keys and arithmetic are those of `cryptography`.
"""

from __future__ import annotations

import base64
import binascii
import datetime as dt
import hashlib
import re
import shlex
import struct
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from fnmatch import fnmatchcase
from pathlib import Path
from typing import Final

from cryptography.exceptions import InvalidSignature, UnsupportedAlgorithm
from cryptography.hazmat.primitives import hashes
from cryptography.hazmat.primitives.asymmetric import ec, ed25519, padding, rsa
from cryptography.hazmat.primitives.asymmetric.utils import (
    decode_dss_signature,
    encode_dss_signature,
)
from cryptography.hazmat.primitives.serialization import (
    Encoding,
    PublicFormat,
    load_ssh_private_key,
    load_ssh_public_key,
)

from audit.faults import InputError

NAMESPACE: Final = "door-audit"
_MAGIC: Final = b"SSHSIG"
_BEGIN, _END = "-----BEGIN SSH SIGNATURE-----", "-----END SSH SIGNATURE-----"
_HASHES: Final = {"sha256": hashlib.sha256, "sha512": hashlib.sha512}
_CURVES: Final[dict[str, hashes.HashAlgorithm]] = {
    "nistp256": hashes.SHA256(), "nistp384": hashes.SHA384(), "nistp521": hashes.SHA512(),
}  # fmt: skip
_FIDO: Final = "sk-ssh-ed25519@openssh.com"


@dataclass(frozen=True)
class Signature:
    """A signature that its own key bears out; whose key it is, allowed_signers says."""

    blob: bytes

    @property
    def fingerprint(self) -> str:
        """As ssh-keygen writes it: SHA256:…"""
        told = base64.b64encode(hashlib.sha256(self.blob).digest()).decode()
        return f"SHA256:{told.rstrip('=')}"


def sign(message: bytes, key: bytes, password: bytes | None = None) -> str:
    """The armoured signature of a message; InputError where the key can't be used,
    NeedsPassphrase where it has a passphrase and none is given.
    """
    try:
        private = load_ssh_private_key(key, password)
    except TypeError:
        raise NeedsPassphrase("the key has a passphrase") from None
    except (ValueError, UnsupportedAlgorithm):
        raise InputError(
            "the key is not a private key of OpenSSH, or its passphrase is another one; make one"
            " with: ssh-keygen -t ed25519 -f audit-key"
        ) from None
    blob = _blob(private.public_key().public_bytes(Encoding.OpenSSH, PublicFormat.OpenSSH))
    kind = _text(_fields(blob))
    signed = _signed(message, NAMESPACE, "sha512")
    if isinstance(private, ed25519.Ed25519PrivateKey):
        raw = private.sign(signed)
    elif isinstance(private, rsa.RSAPrivateKey):
        kind = "rsa-sha2-512"
        raw = private.sign(signed, padding.PKCS1v15(), hashes.SHA512())
    elif isinstance(private, ec.EllipticCurvePrivateKey):
        der = private.sign(signed, ec.ECDSA(_CURVES[kind.rpartition("-")[2]]))
        raw = b"".join(_string(_mpint(n)) for n in decode_dss_signature(der))
    else:
        raise InputError("the key is of a kind that is not in use any more; take ed25519")
    whole = (
        _MAGIC + struct.pack(">I", 1) + _string(blob) + _string(NAMESPACE.encode()) + _string(b"")
        + _string(b"sha512") + _string(_string(kind.encode()) + _string(raw))
    )  # fmt: skip
    text = base64.b64encode(whole).decode()
    lines = [text[i : i + 70] for i in range(0, len(text), 70)]
    return "\n".join([_BEGIN, *lines, _END, ""])


class NeedsPassphrase(InputError):  # noqa: N818 - a question, as it were
    """The key is locked, and no passphrase was given."""


def checked(message: bytes, armoured: str) -> Signature | None:
    """The signature where it is one of this message, in our namespace; else None."""
    try:
        lines = armoured.strip().splitlines()
        if lines[0].strip() != _BEGIN or lines[-1].strip() != _END:
            return None
        data = base64.b64decode("".join(x.strip() for x in lines[1:-1]), validate=True)
        if data[:6] != _MAGIC or struct.unpack(">I", data[6:10]) != (1,):
            return None
        blob, namespace, _, algorithm, signature = _exactly(data[10:], 5)
        if namespace.decode() != NAMESPACE:
            return None
        _verify(blob, signature, _signed(message, NAMESPACE, algorithm.decode()))
    except (ValueError, KeyError, IndexError, struct.error, binascii.Error):
        return None
    except (InvalidSignature, UnsupportedAlgorithm):
        return None
    return Signature(blob)


def _verify(blob: bytes, signature: bytes, signed: bytes) -> None:
    """InvalidSignature, or ValueError, where it is not this key's signature."""
    fields = _fields(signature)
    kind, raw = _text(fields), next(fields)
    named = _text(_fields(blob))
    if named == _FIDO:
        _, point, application = _exactly(blob, 3)
        flags_and_counter = signature[len(_string(kind.encode()) + _string(raw)) :]
        if kind != named or len(flags_and_counter) != 5 or not flags_and_counter[0] & 1:
            raise InvalidSignature  # nobody touched the key
        whole = hashlib.sha256(application).digest() + flags_and_counter
        ed25519.Ed25519PublicKey.from_public_bytes(point).verify(
            raw, whole + hashlib.sha256(signed).digest()
        )
        return
    if next(fields, None) is not None:
        raise InvalidSignature
    public = load_ssh_public_key(named.encode() + b" " + base64.b64encode(blob))
    if isinstance(public, ed25519.Ed25519PublicKey) and kind == named:
        public.verify(raw, signed)
    elif isinstance(public, rsa.RSAPublicKey) and public.key_size >= 2048:
        # SHA-1 (`ssh-rsa`) is refused, as by OpenSSH
        algorithm = {"rsa-sha2-512": hashes.SHA512(), "rsa-sha2-256": hashes.SHA256()}[kind]
        public.verify(raw, signed, padding.PKCS1v15(), algorithm)
    elif isinstance(public, ec.EllipticCurvePublicKey) and kind == named:
        r, s = (int.from_bytes(n, "big", signed=True) for n in _exactly(raw, 2))
        public.verify(
            encode_dss_signature(r, s), signed, ec.ECDSA(_CURVES[kind.rpartition("-")[2]])
        )
    else:
        raise InvalidSignature


def _signed(message: bytes, namespace: str, algorithm: str) -> bytes:
    told = _HASHES[algorithm](message).digest()
    return (
        _MAGIC + _string(namespace.encode()) + _string(b"") + _string(algorithm.encode())
        + _string(told)
    )  # fmt: skip


def _string(data: bytes) -> bytes:
    return struct.pack(">I", len(data)) + data


def _mpint(number: int) -> bytes:
    return number.to_bytes(number.bit_length() // 8 + 1, "big")


def _fields(data: bytes) -> Iterator[bytes]:
    at = 0
    while at < len(data):
        (length,) = struct.unpack(">I", data[at : at + 4])
        if at + 4 + length > len(data):
            raise ValueError("cut off")
        yield data[at + 4 : at + 4 + length]
        at += 4 + length


def _exactly(data: bytes, count: int) -> list[bytes]:
    found = list(_fields(data))
    if len(found) != count:
        raise ValueError("another number of fields")
    return found


def _text(fields: Iterator[bytes]) -> str:
    return next(fields, b"").decode("ascii")


def _blob(line: bytes) -> bytes:
    return base64.b64decode(line.split()[1])


# --- allowed_signers ---------------------------------------------------------------------


def signers_of(signature: Signature, path: Path, now: dt.datetime) -> list[str]:
    """Whom an allowed_signers file names for this key, in this namespace, at this time.

    InputError where the file can't be read. Lines of certificate authorities and lines that
    can't be understood name nobody.
    """
    try:
        if not path.is_file():
            raise InputError(f"--signers {path}: there is no such file")
        text = path.read_text("utf-8")
    except (OSError, UnicodeDecodeError):
        raise InputError(f"--signers {path}: can't be read as UTF-8 text") from None
    found: list[str] = []
    for line in text.splitlines():
        if line.strip() and not line.lstrip().startswith("#"):
            found += _named(line, signature, now)
    return list(dict.fromkeys(found))


_OPTION: Final = re.compile(r'([a-z-]+)(?:="((?:[^"\\]|\\.)*)")?(?:,|$)')


def _named(line: str, signature: Signature, now: dt.datetime) -> list[str]:
    try:
        lexer = shlex.shlex(line, posix=False)
        lexer.whitespace_split, lexer.commenters = True, ""
        words = list(lexer)
    except ValueError:
        return []
    kinds = [i for i, w in enumerate(words) if re.match(r"(sk-)?(ssh|ecdsa)-", w)]
    if not kinds or kinds[0] not in (1, 2) or kinds[0] + 1 >= len(words):
        return []
    at = kinds[0]
    try:
        if base64.b64decode(words[at + 1], validate=True) != signature.blob:
            return []
    except (ValueError, binascii.Error):
        return []
    given = words[1] if at == 2 else ""
    options = {m[1]: m[2] or "" for m in _OPTION.finditer(given)}
    if "".join(m[0] for m in _OPTION.finditer(given)) != given:
        return []
    tests: dict[str, Callable[[str], bool]] = {
        "namespaces": lambda v: any(fnmatchcase(NAMESPACE, p) for p in v.split(",")),
        "valid-after": lambda v: _moment(v) <= now,
        "valid-before": lambda v: now <= _moment(v),
    }
    try:
        if all(k in tests and tests[k](v) for k, v in options.items()):
            return [p for p in words[0].strip('"').split(",") if p]
    except ValueError:
        pass
    return []


def _moment(text: str) -> dt.datetime:
    """YYYYMMDD[HHMM[SS]][Z]; without Z in the zone of the machine, as ssh-keygen has it."""
    zone = dt.UTC if text.endswith("Z") else None
    digits = text.removesuffix("Z")
    form = {8: "%Y%m%d", 12: "%Y%m%d%H%M", 14: "%Y%m%d%H%M%S"}[len(digits)] if digits else ""
    read = dt.datetime.strptime(digits, form)  # noqa: DTZ007 - the zone follows
    return read.replace(tzinfo=zone) if zone else read.astimezone()
