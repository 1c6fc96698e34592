"""One site of many: audited, or the reason why not, or its earlier result where still true.

What is compared across sites are card numbers, the patterns of guessable PINs and contractors'
names. PIN digits take no part in it: a digest of six digits is as good as the digits.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import importlib.util
import json
import os
import secrets
from collections import Counter
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Final, Literal, NamedTuple
from zoneinfo import ZoneInfo

from pydantic import BaseModel, ConfigDict, ValidationError

from audit.faults import InputError, without_data
from audit.ingest import inside
from audit.portfolio.places import FINDINGS, RESULT, drop, shown, within
from audit.record import PRIORITIES
from audit.site import Site, read_site

if TYPE_CHECKING:
    from audit.check import Audit

FORMAT: Final = "door-audit portfolio 1"
State = Literal["audited", "failed inside", "unusable"]


class Task(NamedTuple):
    """One site to audit; `program` is the digest of the program that hands it out."""

    folder: str
    name: str
    as_of: str | None
    stage: str
    out: str | None
    program: str


class Result(BaseModel):
    """What is summed up of one site, and what may repeat in others.

    `fingerprint` is of all that the result is a function of; `findings` is the sha256 of its
    findings.json; `contractors` maps a folded name to the name as it is written.
    """

    model_config = ConfigDict(extra="forbid", frozen=True)

    site: str
    title: str
    as_of: str | None = None
    state: State
    why: str | None = None
    fingerprint: str | None = None
    findings: str | None = None
    open: dict[str, int] = dict.fromkeys(PRIORITIES, 0)
    rules: dict[str, int] = {}
    not_assessed: int = 0
    cards: list[str] = []
    pin_patterns: list[str] = []
    contractors: dict[str, str] = {}


def audit_one(task: Task) -> Result:
    """One site's result; a site that can't be audited says why instead of raising.

    With `task.out`, its findings.json is written there, and a result that is still true is
    taken from there.
    """
    try:
        place = None if task.out is None else within(Path(task.out), task.name)
        try:
            return _audited(task, Path(task.folder), place)
        except BaseException:
            if place is not None:
                drop(place)
            raise
    except InputError as e:
        return not_audited(task.name, str(e))
    except OSError as e:
        return not_audited(task.name, f"can't be read or kept ({e.strerror or type(e).__name__})")
    except MemoryError:
        return not_audited(task.name, "not enough memory for this site", "failed inside")
    except Exception as e:
        why = f"a fault of this program, not of the data: {without_data(e)}"
        return not_audited(task.name, why, "failed inside")


def not_audited(name: str, why: str, state: State = "unusable") -> Result:
    """The result of a site that was not audited."""
    return Result(site=shown(name), title=shown(name), state=state, why=shown(why))


def _audited(task: Task, site: Path, place: Path | None) -> Result:
    facts = read_site(inside(site, "site.toml", missing_ok=True))
    zone = ZoneInfo(facts.timezone)
    day = dt.date.fromisoformat(task.as_of) if task.as_of else dt.datetime.now(zone).date()
    fingerprint = _fingerprint(task, site, facts, day)
    if place is not None and (kept := _kept(place, fingerprint)) is not None:
        return kept
    # Only now the frames and the rules: a run that goes on with what it has needs neither.
    import pyarrow

    from audit import check

    pyarrow.set_cpu_count(1)  # the other cores have sites of their own
    audit = check.audited(site, as_of=day, stage=task.stage)
    record, text = audit.record, audit.record.to_json().encode()
    failed = [o.rule for o in record.outcomes if o.state == "failed"]
    result = Result(
        site=shown(task.name),
        title=record.site.name,
        as_of=record.as_of,
        state="failed inside" if failed else "audited",
        why=f"a fault of this program in {', '.join(failed)}" if failed else None,
        fingerprint=fingerprint,
        findings=hashlib.sha256(text).hexdigest(),
        open={
            p: sum(f.priority == p and not f.silenced for f in record.findings) for p in PRIORITIES
        },
        rules=dict(sorted(Counter(f.rule for f in record.findings).items())),
        not_assessed=sum(o.state == "not-assessed" for o in record.outcomes),
        cards=_cards(audit),
        pin_patterns=sorted(
            {
                str(f.evidence["pattern"])
                for f in record.findings
                if f.rule == "pin-guessable" and f.evidence.get("pattern")
            }
        ),
        contractors=_contractors(audit),
    )
    if place is not None:
        _write(place, text, result)
    return result


def _cards(audit: Audit) -> list[str]:
    """The canonical numbers of the cards that work."""
    from audit.facts.card_register import register
    from audit.facts.standing import live

    alive = live(audit.data, "cards").fillna(False).to_numpy(bool)
    return sorted(set(register(audit.data)["canonical"][alive].dropna().astype(str)))


def _contractors(audit: Audit) -> dict[str, str]:
    """Those entitled as contractors: folded name -> name as written."""
    from audit.arithmetic.names import fold_name
    from audit.facts.standing import entitled

    people = audit.data["people"]
    theirs = (entitled(audit.data) & (people["role"] == "contractor")).fillna(False)
    names = sorted(people["name"][theirs.to_numpy(bool)].dropna().astype(str), reverse=True)
    folded = {" ".join(fold_name(name)): name for name in names}
    return {key: folded[key] for key in sorted(folded) if key}


# --- results that are kept ----------------------------------------------------------------


@cache
def program() -> str:
    """sha256 of the program's own files: another version may judge otherwise."""
    total = hashlib.sha256(FORMAT.encode())
    for package in ("audit", "rules"):
        spec = importlib.util.find_spec(package)
        for home in (spec.submodule_search_locations or ()) if spec else ():
            for path in sorted(Path(home).rglob("*")):
                if path.suffix in (".py", ".toml", ".json"):
                    data = path.read_bytes().replace(b"\r\n", b"\n")
                    total.update(f"{path.relative_to(home).as_posix()} {len(data)} ".encode())
                    total.update(data)
    return total.hexdigest()


def _fingerprint(task: Task, site: Path, facts: Site, day: dt.date) -> str:
    """sha256 of program, day, stage, the folder's names, and every file the audit may read."""
    total = hashlib.sha256(f"{task.program} {day} {task.stage}".encode())
    named = {s.file for s in facts.sources.values() if s.file is not None}
    for name in sorted({*os.listdir(site), *named}):
        text = name.encode("utf-8", "surrogatepass")
        total.update(b"%d %s " % (len(text), text))
        try:
            with inside(site, name).open("rb") as file:
                total.update(hashlib.file_digest(file, "sha256").digest())
        except (InputError, OSError):
            total.update(b"-")  # a folder, or nothing that an audit can read
    return total.hexdigest()


def _kept(place: Path, fingerprint: str) -> Result | None:
    try:
        kept = Result.model_validate_json((place / RESULT).read_bytes())
        if kept.fingerprint != fingerprint or kept.state != "audited":
            return None
        findings = hashlib.sha256((place / FINDINGS).read_bytes()).hexdigest()
    except (OSError, ValidationError):
        return None
    return kept if findings == kept.findings else None


def _write(place: Path, findings: bytes, result: Result) -> None:
    """findings.json first, the result last: a result that is there is whole."""
    place.mkdir(parents=True, exist_ok=True)
    summary = (json.dumps(result.model_dump(), indent=1) + "\n").encode()
    for name, text in ((FINDINGS, findings), (RESULT, summary)):
        part = place / f".{name}.{secrets.token_hex(4)}.part"
        part.write_bytes(text)
        part.replace(place / name)
