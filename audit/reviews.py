"""The reviews that a site keeps: SITE/reviews/AS-OF with record, decisions and manifest."""

from __future__ import annotations

import datetime as dt
import json
import os
import re
import secrets
from pathlib import Path
from typing import TYPE_CHECKING

from audit.attest import files, statement
from audit.attest.key import site_key
from audit.faults import InputError
from audit.report import pack

if TYPE_CHECKING:
    from audit.check import Audit
    from audit.record import Record

FOLDER = "reviews"
DECISIONS = "decisions.csv"
MOST_DECISIONS = 64 << 20


def home_of(site: Path) -> Path:
    """The site's folder; InputError of a ZIP, which keeps nothing."""
    folder = site.parent if site.name == "site.toml" and site.is_file() else site
    if not folder.is_dir():
        raise InputError(f"{site}: a ZIP keeps no review; unpack it and name the folder")
    return folder


def latest(site: Path, before: dt.date) -> Path | None:
    """The record of the latest review before a day; None where there is none."""
    home = (site.parent if site.name == "site.toml" else site) / FOLDER
    if not home.is_dir():
        return None
    days = [
        p.name
        for p in home.iterdir()
        if re.fullmatch(r"[0-9]{4}-[0-9]{2}-[0-9]{2}", p.name)
        and p.name < before.isoformat()
        and (p / "findings.json").is_file()
    ]
    return home / max(days) / "findings.json" if days else None


def prepared(site: Path) -> None:
    """Writes [site] id and the site's key where they are missing, before the data is read.

    InputError where the folder can't be written.
    """
    folder = home_of(site)
    site_key(folder, make=True)
    from audit.site import read_site

    path = folder / "site.toml"
    if read_site(path).id is not None:
        return
    import tomlkit

    document = tomlkit.parse(path.read_text("utf-8-sig"))
    document["site"].add("id", secrets.token_hex(8))
    fresh = path.with_name(f".site.toml-{os.getpid()}")
    try:
        fresh.write_text(tomlkit.dumps(document), "utf-8", newline="")
        fresh.chmod(path.stat().st_mode & 0o777)
        fresh.replace(path)
    except OSError as e:
        raise InputError(
            f"site.toml: the site's id cannot be written into it ({e.strerror}); make the site"
            " folder writable"
        ) from None


def check_recordable(site: Path, as_of: dt.date) -> Path:
    """Where the review of a day will stand; InputError where a signed one stands there."""
    place = home_of(site) / FOLDER / as_of.isoformat()
    if os.path.lexists(place / statement.SIGNATURE):
        raise InputError(
            f"{FOLDER}/{place.name}: is signed, so it is not replaced; choose another --as-of"
        )
    return place


def without_names(record: Record) -> Record:
    """The record as a review keeps it."""
    return record.model_copy(update={"people": {}})


def record(audit: Audit, site: Path) -> Path:
    """Keeps the audit as the site's review of its day: ids and no names; returns its folder."""
    place = check_recordable(site, audit.data.as_of)
    kept = without_names(audit.record).to_json()
    content = {"findings.json": kept.encode()}
    decided = files.read(home_of(site) / DECISIONS, MOST_DECISIONS)
    if decided is not None:
        content[DECISIONS] = decided
    manifest = statement.stated(
        json.loads(kept),
        content,
        kind="review",
        formats=("json",),
        key=audit.key,
        inputs=statement.inputs_of(
            audit.key,
            [(i.table, i.file, i.sha256) for i in audit.data.inputs],
            audit.data.other_inputs,
            audit.previous,
            told=True,
        ),
        previous=statement.beside(audit.previous),
    )
    pack.write(place, content, manifest.to_json())
    return place
