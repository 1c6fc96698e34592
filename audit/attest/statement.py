"""manifest.json: an in-toto Statement (v1) of what a pack is and of every byte in it.

Its subjects are the pack's files; its predicate says what was audited, by which program, under
which policy, and with what verdict. https://in-toto.io/Statement/v1, read 2026-11; the bindings
published for it are protocol buffers, and four keys of JSON need none.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Annotated, Any, Final, Literal

from pydantic import BaseModel, ConfigDict, Field, StringConstraints, ValidationError

from audit.attest.key import commitment, key_mark
from audit.faults import InputError
from audit.program import catalogue_digest, version

NAME: Final = "manifest.json"
SIGNATURE: Final = f"{NAME}.sig"
STAMP: Final = f"{NAME}.tsr"
PREVIOUS: Final = "previous record"
"""What stands for the table of the earlier record among the inputs."""
STATEMENT: Final = "https://in-toto.io/Statement/v1"
PREDICATE: Final = "https://door-audit.example/pack/v2"
MOST_BYTES: Final = 32 << 20

Hex = Annotated[str, StringConstraints(pattern=r"^[0-9a-f]{64}$")]
Kind = Literal["pack", "review", "corrected copy"]


class _Model(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, populate_by_name=True, strict=True)


class Digest(_Model):
    """A digest set of in-toto; this program writes sha256 alone."""

    sha256: Hex


class Subject(_Model):
    """One file of the pack."""

    name: Annotated[str, StringConstraints(min_length=1)]
    digest: Digest


class SiteTold(_Model):
    """Which site it is."""

    id: str | None = None
    name: str


class Program(_Model):
    """What made it; the digest is of the rules' own files."""

    version: str
    catalogue: Hex


class Input(_Model):
    """One input file by its commitment; `file` in the full audience only."""

    table: str
    file: str | None = None
    commitment: Hex | None


class Predicate(_Model):
    """What the pack says of itself: `record_facts` of its findings.json, and how it was made.

    `previous` is the sha256 of the previous manifest; `key` tells the site's key from another.
    """

    kind: Kind
    site: SiteTold
    as_of: str
    stage: str
    audience: str
    formats: list[str]
    program: Program
    complete: bool
    scope: dict[str, Any] | None = None
    verdict: dict[str, Any] | None = None
    coverage: dict[str, dict[str, int]] = {}
    previous: Hex | None = None
    key: Hex | None = None
    inputs: list[Input] = []


class Statement(_Model):
    """The whole of manifest.json."""

    type: Literal["https://in-toto.io/Statement/v1"] = Field(STATEMENT, alias="_type")
    subject: list[Subject]
    predicate_type: Literal["https://door-audit.example/pack/v2"] = Field(
        PREDICATE, alias="predicateType"
    )
    predicate: Predicate

    def to_json(self) -> str:
        """The file's text, always the same for the same content."""
        return self.model_dump_json(by_alias=True, indent=2) + "\n"

    def files(self) -> dict[str, str]:
        """sha256 of each file of the pack."""
        return {s.name: s.digest.sha256 for s in self.subject}


def digest(data: bytes) -> str:
    """sha256 as hex."""
    return hashlib.sha256(data).hexdigest()


def subjects(files: Mapping[str, bytes]) -> list[Subject]:
    """A subject a file, by name."""
    return [Subject(name=n, digest=Digest(sha256=digest(d))) for n, d in sorted(files.items())]


def inputs_of(
    key: bytes | None,
    tables: Iterable[tuple[str, str, str]],
    others: Mapping[str, str],
    earlier: Path | None,
    *,
    told: bool,
) -> list[Input]:
    """Every input by its commitment: (table, file, sha256) of tables, other files, and the
    findings.json that was compared with.

    Files' names are free text: only where they are `told`.
    """
    found = [(table, file, sha256) for table, file, sha256 in tables if sha256]
    found += [(name, name, sha256) for name, sha256 in others.items()]
    inputs = [
        Input(table=t, file=f if told else None, commitment=commitment(key, d))
        for t, f, d in sorted(found)
    ]
    if earlier is not None:
        record = earlier / "findings.json" if earlier.is_dir() else earlier
        mark = commitment(key, digest(record.read_bytes()))
        inputs.append(Input(table=PREVIOUS, file=None, commitment=mark))
    return inputs


def beside(record: Path | None) -> str | None:
    """The sha256 of the manifest beside an earlier record; None where there is none."""
    if record is None:
        return None
    path = (record if record.is_dir() else record.parent) / NAME
    return digest(path.read_bytes()) if path.is_file() else None


def stated(
    raw: Mapping[str, Any],
    files: Mapping[str, bytes],
    *,
    kind: Kind,
    formats: Sequence[str],
    inputs: list[Input],
    key: bytes | None,
    previous: str | None = None,
) -> Statement:
    """The statement of a pack, from its findings.json (`raw`) and its files."""
    predicate = Predicate(
        kind=kind,
        formats=list(formats),
        inputs=inputs,
        previous=previous,
        key=key_mark(key),
        **record_facts(raw),
    )
    fixed: dict[str, Any] = {"_type": STATEMENT, "predicateType": PREDICATE}
    return Statement(subject=subjects(files), predicate=predicate, **fixed)


def record_facts(raw: Mapping[str, Any]) -> dict[str, Any]:
    """What a manifest repeats of its findings.json."""
    program = raw.get("program") or {}
    site = raw["site"]
    return {
        "site": SiteTold(id=site.get("id"), name=site["name"]),
        "as_of": raw["as_of"],
        "stage": raw["stage"],
        "audience": raw["audience"],
        "program": Program(
            version=program.get("version") or version(),
            catalogue=program.get("catalogue") or catalogue_digest(),
        ),
        "complete": not any(o["state"] == "failed" for o in raw.get("outcomes", ())),
        "scope": raw.get("scope"),
        "verdict": raw.get("verdict"),
        "coverage": coverage(raw.get("outcomes", ())),
    }


def coverage(outcomes: Iterable[Mapping[str, Any]]) -> dict[str, dict[str, int]]:
    """How many rules of each family were run, partly run, not run, or failed."""
    from audit import catalogue

    family = {e["rule"]: e["family"] for e in catalogue.entries()}
    counts: dict[str, dict[str, int]] = {}
    for outcome in outcomes:
        of = counts.setdefault(family.get(outcome["rule"], "unknown"), {})
        of[outcome["state"]] = of.get(outcome["state"], 0) + 1
    return {f: dict(sorted(c.items())) for f, c in sorted(counts.items())}


def read_statement(data: bytes) -> Statement:
    """The statement in a manifest's bytes; InputError where it is none of this program."""
    try:
        raw = json.loads(data.decode("utf-8"), object_pairs_hook=_once)
        if isinstance(raw, dict) and str(raw.get("format", "")).startswith("door-audit pack"):
            raise InputError(
                f"{NAME}: is of an earlier version of this program, which this one does not read"
            )
        return Statement.model_validate_json(data)
    except (ValueError, RecursionError, ValidationError):
        raise InputError(f"{NAME}: is not a manifest of this program") from None


def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    """An object, whose keys stand once: of two, another program may read the other one."""
    found = dict(pairs)
    if len(found) != len(pairs):
        raise ValueError("a key stands twice")
    return found
