"""What a pack is, and what of it can be proved here. Nothing is written, and no link followed."""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

from audit.attest import files
from audit.attest.agreement import disagreements
from audit.attest.files import shown
from audit.attest.key import commitment, key_mark, site_key
from audit.attest.signatures import checked, signers_of
from audit.attest.stamp import read_stamp
from audit.attest.statement import (
    MOST_BYTES,
    NAME,
    PREVIOUS,
    SIGNATURE,
    STAMP,
    Input,
    Statement,
    read_statement,
)  # fmt: skip
from audit.faults import InputError
from audit.report.pack import safe_name
from audit.report.parts import expected

MOST_RECORD: Final = 1 << 30
OWN: Final = "decisions.csv"
"""The reviewer's own file, which may lie in a pack's folder without being part of it."""


@dataclass
class Verdict:
    """What is said of a pack. `wrong`: not as its manifest says; `open`: not proved here.

    `missed` is set where something was asked that could not be proved.
    """

    statement: Statement
    signed: str = "nobody"
    stamped: str | None = None
    proved: list[str] = field(default_factory=list)
    open: list[str] = field(default_factory=list)
    wrong: list[str] = field(default_factory=list)
    missed: bool = False

    @property
    def ok(self) -> bool:
        """Whether all that was asked is proved."""
        return not self.wrong and not self.missed


def verified(
    folder: Path, *, signers: Path | None = None, site: Path | None = None,
    again: bool = False, now: dt.datetime,
) -> Verdict:  # fmt: skip
    """Everything that can be proved of a pack here; InputError where it is no pack."""
    manifest = _manifest(folder)
    verdict = Verdict(read_statement(manifest))
    _signature(folder, manifest, signers, now, verdict)
    _stamp(folder, manifest, verdict)
    _files(folder, verdict)
    raw = _record(folder, verdict)
    place = site or site_beside(folder, verdict.statement)
    _chain(folder, place, verdict)
    same = place is not None and _data(place, verdict, folder, asked=site is not None)
    if again:
        from audit.attest.again import audited_again, drawn_again

        if raw is not None:
            drawn_again(raw, verdict)
        if site is not None and same:
            audited_again(site, earlier_record(site, verdict, folder), verdict)
        elif site is not None:
            verdict.missed = True
            verdict.open.append("the audit was not run again: the data is not what was audited")
    if place is None:
        verdict.open.append(
            "the data: no folder of this site lies around or beside the pack; name it with --site"
        )
    return verdict


def _manifest(folder: Path) -> bytes:
    try:
        if not folder.is_dir():
            raise InputError(f"{shown(folder)}: there is no such folder; name a report pack")
        data = files.read(folder / NAME, MOST_BYTES)
    except (OSError, ValueError) as e:
        reason = getattr(e, "strerror", None) or "no usable path"
        raise InputError(f"{shown(folder)}: can't be read ({reason})") from None
    if data is None:
        raise InputError(
            f"{shown(folder)}: has no {NAME} that can be read, so it is not a complete report pack"
        )
    return data


# --- who says so, and when ---------------------------------------------------------------


def _signature(
    folder: Path, manifest: bytes, signers: Path | None, now: dt.datetime, verdict: Verdict
) -> None:
    there = SIGNATURE in set(_names(folder))
    data = files.read(folder / SIGNATURE, MOST_BYTES)
    if not there:
        if signers is not None:
            verdict.missed = True
        verdict.open.append(
            "nobody signed it: anyone who changed a file could have written the manifest again"
        )
        return
    signature = checked(manifest, data.decode("utf-8", "replace")) if data is not None else None
    if signature is None:
        verdict.signed = "nobody whose signature holds"
        verdict.wrong.append(f"{SIGNATURE}: is not a signature of this manifest")
        return
    verdict.signed = f"key {signature.fingerprint}"
    if signers is None:
        verdict.open.append(f"whose key {signature.fingerprint} is: name --signers")
        return
    named = signers_of(signature, signers, now)
    if named:
        verdict.signed = f"{shown(', '.join(named))} (key {signature.fingerprint})"
        verdict.proved.append(f"signed by {shown(', '.join(named))}")
    else:
        verdict.wrong.append(
            f"{SIGNATURE}: key {signature.fingerprint} is not that of a signer in"
            f" {shown(signers.name)}"
        )


def _stamp(folder: Path, manifest: bytes, verdict: Verdict) -> None:
    if STAMP not in set(_names(folder)):
        return
    data = files.read(folder / STAMP, MOST_BYTES)
    stamp = read_stamp(data, manifest) if data is not None else None
    if stamp is None or not stamp.of_this:
        verdict.wrong.append(f"{STAMP}: is not a time stamp of this manifest")
        return
    verdict.stamped = f"{stamp.time:%Y-%m-%d %H:%M:%S} UTC"
    verdict.open.append(f"who issued the time stamp: check {STAMP} with openssl ts -verify")


# --- the files ---------------------------------------------------------------------------


def _names(folder: Path) -> list[str]:
    try:
        return list(files.entries(folder))
    except OSError as e:
        raise InputError(f"{shown(folder)}: can't be read ({e.strerror})") from None


def _files(folder: Path, verdict: Verdict) -> None:
    statement, before = verdict.statement, len(verdict.wrong)
    listed = statement.files()
    if len(listed) != len(statement.subject):
        verdict.wrong.append(f"{NAME}: lists a file twice")
    for name, digest in sorted(listed.items()):
        verdict.wrong += _differs(folder, name, digest)
    own = {NAME, SIGNATURE, STAMP, *([OWN] if statement.predicate.kind == "pack" else [])}
    for name in _names(folder):
        if name not in listed and name not in own:
            verdict.wrong.append(f"{shown(name)}: is not part of the pack; it was added later")
    told = statement.predicate
    for name in sorted(expected(told.kind, told.formats, told.audience) - listed.keys()):
        verdict.wrong.append(f"{name}: belongs to a pack of these formats and is not listed")
    if len(verdict.wrong) == before:
        verdict.proved.append(f"all {len(listed)} files are as the manifest lists them")


def _differs(folder: Path, name: str, digest: str) -> list[str]:
    if not safe_name(name):
        return [f"{shown(name)}: lies outside the pack; it was not read"]
    path = folder
    for part in name.split("/")[:-1]:
        path = path / part
        if path.is_symlink():
            return [f"{shown(name)}: is behind a link; it was not read"]
    try:
        found = files.sha256(folder / name)
    except OSError as e:
        return [f"{shown(name)}: can't be read ({e.strerror})"]
    if found is None:
        linked = (folder / name).is_symlink()
        return [f"{shown(name)}: {'is a link' if linked else 'the file is missing'}"]
    return [] if found == digest else [f"{shown(name)}: was changed since the pack was made"]


def _record(folder: Path, verdict: Verdict) -> dict[str, Any] | None:
    """findings.json where it is the one listed and says what the manifest says; else None."""
    listed = verdict.statement.files().get("findings.json")
    if listed is None:
        verdict.open.append("what was found: the pack holds no findings.json")
        return None
    data = files.read(folder / "findings.json", MOST_RECORD)
    if data is None:
        return None  # said already
    try:
        raw = json.loads(data)
        wrong = disagreements(raw, verdict.statement)
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError):
        verdict.wrong.append("findings.json: is not a record of this program")
        return None
    verdict.wrong += wrong
    if not wrong:
        verdict.proved.append("totals, verdict and scope agree with the findings")
    return raw if isinstance(raw, dict) else None


# --- earlier packs -----------------------------------------------------------------------


def _chain(folder: Path, site: Path | None, verdict: Verdict) -> None:
    """Follows the digests of previous manifests as far as those packs lie here."""
    wanted = verdict.statement.predicate.previous
    if wanted is None:
        return
    lying = _manifests(folder, site)
    day, days = verdict.statement.predicate.as_of, []
    while wanted is not None and wanted in lying:
        place, data = lying.pop(wanted)
        try:
            earlier = read_statement(data)
        except InputError:
            break
        told = earlier.predicate
        here = shown(told.as_of)
        if _other_site(told, verdict.statement) or told.as_of > day:
            verdict.wrong.append(f"the earlier pack of {here} is not one before this one")
            return
        changed = [w for n, d in earlier.files().items() for w in _differs(place, n, d)]
        verdict.wrong += [f"the earlier pack of {here}: {w}" for w in changed]
        days.append(here)
        day, wanted = told.as_of, told.previous
    if days:
        verdict.proved.append(f"it follows the pack of {', then '.join(days)}")
    if wanted is not None:
        verdict.open.append("earlier packs are not here")


def _manifests(folder: Path, site: Path | None) -> dict[str, tuple[Path, bytes]]:
    """Every manifest beside the pack and among the site's reviews, by its sha256."""
    from audit.attest.statement import digest

    homes = [folder.resolve().parent, *([site / "reviews"] if site is not None else [])]
    found: dict[str, tuple[Path, bytes]] = {}
    for home in homes:
        for place in _folders(home):
            try:
                data = files.read(place / NAME, MOST_BYTES)
            except OSError:
                continue
            if data is not None:
                found[digest(data)] = (place, data)
    return found


def _folders(home: Path) -> list[Path]:
    try:
        return sorted(p for p in home.iterdir() if p.is_dir())
    except OSError:
        return []


# --- the data ----------------------------------------------------------------------------


def _data(site: Path, verdict: Verdict, folder: Path, *, asked: bool) -> bool:
    """Whether the data there is what was audited; says what is, and what is not."""
    told = verdict.statement.predicate
    named = _site(site)
    wrong = verdict.wrong if asked else verdict.open
    if named is None:
        raise InputError(f"--site {shown(site)}: has no site.toml that can be used")
    if _other(named, (told.site.id, told.site.name)):
        wrong.append(
            f"the data in {shown(site)} is of another site ({shown(named[1])}), not of"
            f" {shown(told.site.name)}"
        )
        return False
    key = site_key(site)
    if key is None or told.key is None or key_mark(key) != told.key:
        verdict.missed |= asked
        verdict.open.append(
            "the data: this pack was made without the site's key" if told.key is None
            else f"the data: {shown(site)} has no key" if key is None
            else f"the data: the key in {shown(site)} is not the one this pack was made with"
        )  # fmt: skip
        return False
    differs = [d for i in told.inputs for d in _input_differs(site, folder, i, key)]
    if differs and len(differs) == len(told.inputs) > 1:
        differs = [f"none of the {len(differs)} data files is as it was audited"]
    wrong += differs
    if not differs:
        verdict.proved.append(f"all {len(told.inputs)} data files are those that were audited")
    return not differs


def _input_differs(site: Path, folder: Path, told: Input, key: bytes) -> list[str]:
    if told.commitment is None:
        return []
    if told.table == PREVIOUS:
        lying = _earlier(site, folder)
        what = "the previous record: is not here"
    elif told.file is not None:
        lying, what = [site / told.file], f"{shown(told.file)}: was changed since the audit"
        if not safe_name(told.file):
            return [f"{shown(told.file)}: lies outside the site folder; it was not read"]
        if not (site / told.file).is_file():
            return [f"{shown(told.file)}: the data file is missing"]
    else:
        lying = [site / name for name in _names(site) if not name.startswith("reviews/")]
        what = f"{shown(told.table)}: no file there is the one that was audited"
    return [] if _committed(lying, told, key) is not None else [what]


def _committed(lying: Iterable[Path], told: Input, key: bytes) -> Path | None:
    """The first of these files that the commitment is of."""
    for path in lying:
        try:
            found = files.sha256(path)
        except OSError:
            continue
        if found is not None and commitment(key, found) == told.commitment:
            return path
    return None


def _earlier(site: Path, folder: Path) -> list[Path]:
    """Records that lie among the site's reviews and beside the pack."""
    homes = (site / "reviews", folder.resolve().parent)
    return [place / "findings.json" for home in homes for place in _folders(home)]


def earlier_record(site: Path, verdict: Verdict, folder: Path) -> Path | None:
    """The record that the pack was compared with, where it lies here."""
    key = site_key(site)
    told = next((i for i in verdict.statement.predicate.inputs if i.table == PREVIOUS), None)
    return None if told is None or key is None else _committed(_earlier(site, folder), told, key)


def _site(folder: Path) -> tuple[str | None, str] | None:
    """Id and name of the site in a folder; None where there is none."""
    from audit.site import read_site

    try:
        path = folder / "site.toml"
        if not path.is_file() or path.is_symlink():
            return None
        site = read_site(path)
    except (InputError, OSError):
        return None
    return site.id, site.name


def _other(one: tuple[str | None, str], two: tuple[str | None, str]) -> bool:
    """Whether two are different sites: by id where both have one, else by name."""
    return one[0] != two[0] if one[0] and two[0] else one[1] != two[1]


def _other_site(told: Any, statement: Statement) -> bool:
    this = statement.predicate.site
    return _other((told.site.id, told.site.name), (this.id, this.name))


def site_beside(folder: Path, statement: Statement) -> Path | None:
    """The folder of the pack's site: around it, or beside it; None where there is none."""
    told = statement.predicate.site
    around = folder.resolve().parent
    for place in (around, around.parent, *_folders(around)):
        named = _site(place)
        if named is not None and not _other(named, (told.id, told.name)):
            return place
    return None


# --- the telling -------------------------------------------------------------------------

MOST_LINES: Final = 60


def told(verdict: Verdict, folder: Path) -> list[str]:
    """The verdict as lines: what the pack is first, then what is proved and what is not."""
    of = verdict.statement.predicate
    what = {"pack": "Report pack", "review": "Recorded review", "corrected copy": "Corrected copy"}
    lines = [
        f"{what[of.kind]} of {shown(of.site.name)}"
        + (f" (site {shown(of.site.id)})" if of.site.id else ""),
        f"as of {shown(of.as_of)}, stage {shown(of.stage)}, audience {shown(of.audience)}",
    ]
    if of.verdict is not None:
        lines.append(f"verdict: {shown(of.verdict.get('words') or of.verdict.get('state'))}")
    if not of.complete:
        lines.append("NOT COMPLETE: a rule failed (program error)")
    lines.append(f"coverage: {_coverage(of.coverage)}")
    lines.append(f"policy that differs from that of the regulations: {_policy(of.scope)}")
    lines.append(f"signed by: {verdict.signed}")
    if verdict.stamped is not None:
        lines.append(f"time stamp: {verdict.stamped}")
    lines += _listed("Proved here", verdict.proved)
    lines += _listed("Not proved here", verdict.open)
    lines += _listed("NOT as the manifest says", verdict.wrong)
    count = len(verdict.wrong)
    end = (
        f"{count} thing{'' if count == 1 else 's'} differ{'s' if count == 1 else ''}" if count
        else "not all that was asked could be proved" if verdict.missed
        else "complete and unchanged"
    )  # fmt: skip
    return [*lines, f"{shown(folder)}: {end}"]


def _listed(title: str, what: Iterable[str]) -> list[str]:
    lines = [f"  {line}" for line in what]
    if not lines:
        return []
    more = len(lines) - MOST_LINES
    return [f"{title}:", *lines[:MOST_LINES], *([f"  and {more} more"] if more > 0 else [])]


_STATES: Final = {
    "assessed": "run", "partly": "partly run", "not-assessed": "not run", "failed": "failed",
}  # fmt: skip


def _coverage(families: Mapping[str, Mapping[str, int]]) -> str:
    counts = {s: sum(f.get(s, 0) for f in families.values()) for s in _STATES}
    told = [f"{n} {_STATES[s]}" for s, n in counts.items() if n]
    return f"of {sum(counts.values())} rules {', '.join(told)}" if told else "no rule was run"


def _policy(scope: Mapping[str, Any] | None) -> str:
    changed = (scope or {}).get("policy")
    if isinstance(changed, Mapping):
        told = [f"{shown(k)} {shown(json.dumps(v))}" for k, v in sorted(changed.items())]
    elif isinstance(changed, list):
        told = [shown(json.dumps(v)) for v in changed]
    else:
        return "not recorded" if changed is None else shown(changed)
    more = len(told) - MOST_LINES
    return "; ".join(told[:MOST_LINES]) + (f"; and {more} more" if more > 0 else "") or "none"
