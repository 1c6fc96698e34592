"""Time stamps made by OpenSSL, an authority of the test's own."""

from __future__ import annotations

import datetime as dt
import shutil
import subprocess
from pathlib import Path

import pytest

from audit.attest.stamp import read_stamp

pytestmark = pytest.mark.skipif(shutil.which("openssl") is None, reason="openssl is not installed")

CONFIG = """
[tsa]
default_tsa = own
[own]
serial = serial
signer_digest = sha256
default_policy = 1.2.3.4.1
digests = sha256, sha512
[req]
distinguished_name = name
x509_extensions = ext
prompt = no
[name]
CN = time stamps of a test
[ext]
extendedKeyUsage = critical,timeStamping
"""


def _openssl(folder: Path, *options: str) -> None:
    subprocess.run(["openssl", *options], cwd=folder, check=True, capture_output=True)


@pytest.mark.parametrize("digest", ["sha256", "sha512"])
def test_a_stamp_is_told_and_held_against_the_manifest(tmp_path: Path, digest: str) -> None:
    (tmp_path / "conf").write_text(CONFIG)
    (tmp_path / "serial").write_text("01\n")
    (tmp_path / "manifest.json").write_bytes(b'{"a": 1}\n')
    key = ["-newkey", "rsa:2048", "-nodes", "-keyout", "key.pem", "-out", "cert.pem"]
    _openssl(tmp_path, "req", "-x509", "-config", "conf", "-days", "1", *key)
    ask = ["-data", "manifest.json", f"-{digest}", "-cert", "-out", "asked.tsq"]
    _openssl(tmp_path, "ts", "-query", *ask)
    reply = ["-config", "conf", "-section", "own", "-queryfile", "asked.tsq"]
    sign = ["-inkey", "key.pem", "-signer", "cert.pem", "-out", "manifest.json.tsr"]
    _openssl(tmp_path, "ts", "-reply", *reply, *sign)
    token = (tmp_path / "manifest.json.tsr").read_bytes()
    stamp = read_stamp(token, (tmp_path / "manifest.json").read_bytes())
    assert stamp is not None
    assert stamp.of_this
    assert abs(stamp.time - dt.datetime.now(dt.UTC)) < dt.timedelta(minutes=5)
    other = read_stamp(token, b'{"a": 2}\n')
    assert other is not None
    assert not other.of_this
    assert read_stamp(token[:-40], b'{"a": 1}\n') is None
    assert read_stamp(b"", b"") is None
