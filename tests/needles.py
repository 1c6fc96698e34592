"""Every byte of a pack as text, streams unpacked: where needles are looked for."""

from __future__ import annotations

import base64
import io
import re
import zipfile
import zlib
from collections.abc import Iterator, Mapping
from pathlib import Path


def texts(files: Mapping[str, bytes]) -> dict[str, str]:
    """Each file's whole content as casefolded text, by name."""
    return {
        name: "\n".join(_decoded(part) for part in _parts(name, data)).casefold()
        for name, data in files.items()
    }


def texts_of(folder: Path) -> dict[str, str]:
    """The same of a folder."""
    return texts({p.name: p.read_bytes() for p in folder.iterdir() if p.is_file()})


def _decoded(data: bytes) -> str:
    return data.decode("utf-8", "replace") + "\n" + data.decode("utf-16-be", "replace")


def _parts(name: str, data: bytes) -> Iterator[bytes]:
    yield data
    if data.startswith(b"PK"):
        with zipfile.ZipFile(io.BytesIO(data)) as inner:
            for member in inner.namelist():
                yield member.encode()
                yield from _parts(member, inner.read(member))
    if data.startswith(b"%PDF"):
        yield from _pdf(data)
    for found in re.finditer(rb"base64,([A-Za-z0-9+/=]{16,})", data):
        yield base64.b64decode(found[1] + b"=" * (-len(found[1]) % 4))


def _pdf(data: bytes) -> Iterator[bytes]:
    import pypdf

    for found in re.finditer(rb"stream\r?\n(.*?)endstream", data, re.DOTALL):
        try:
            yield zlib.decompress(found[1])
        except zlib.error:
            continue
    reader = pypdf.PdfReader(io.BytesIO(data))
    for page in reader.pages:
        yield page.extract_text().encode()
        yield re.sub(r"\s+", " ", page.extract_text()).encode()
    for name, contents in reader.attachments.items():
        yield name.encode()
        for content in contents:
            yield from _parts(name, content)
