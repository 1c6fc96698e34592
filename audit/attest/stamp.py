"""A time stamp beside a manifest (RFC 3161): whether it is of this manifest, and when it was made.

Who made it is not judged: that needs the issuer's certificates and belongs to `openssl ts`.
"""

from __future__ import annotations

import datetime as dt
import hashlib
from dataclasses import dataclass


@dataclass(frozen=True)
class Stamp:
    """What a token says; `time` is in UTC."""

    time: dt.datetime
    of_this: bool


def read_stamp(token: bytes, message: bytes) -> Stamp | None:
    """The stamp in a response of a time stamp authority; None where it is none."""
    from rfc3161_client import decode_timestamp_response

    try:
        told = decode_timestamp_response(token).tst_info
        name = {
            "2.16.840.1.101.3.4.2.1": "sha256",
            "2.16.840.1.101.3.4.2.2": "sha384",
            "2.16.840.1.101.3.4.2.3": "sha512",
        }.get(told.message_imprint.hash_algorithm.dotted_string)
        same = (
            name is not None and told.message_imprint.message == hashlib.new(name, message).digest()
        )
        return Stamp(told.gen_time.astimezone(dt.UTC), same)
    except ValueError:
        return None
