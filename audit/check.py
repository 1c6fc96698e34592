"""One audit from files to record: what `check` does, and every command that audits on the way."""

from __future__ import annotations

import datetime as dt
import hashlib
import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import pandas as pd

import rules
from audit import cases, ingest, ledger, packs, reviews
from audit.arithmetic.thresholds import Case
from audit.attest import statement
from audit.attest.key import commitment, site_key
from audit.contract import Dataset, InputError, Rule, collect
from audit.decisions import DecisionRow, decided
from audit.engine import Judged, run
from audit.facts import setting
from audit.insurer import insurer, recorded
from audit.insurer_record import InsurerRecord
from audit.outside import Veil, outside, plan_outside, veil
from audit.program import catalogue_digest, version
from audit.record import (
    Differs,
    InputRow,
    PreviousRecord,
    ProgramFacts,
    Record,
    Scope,
    SiteFacts,
    TableScope,
    order,
    read_record,
    totals,
)
from audit.report import pack
from audit.schema import TABLES
from audit.verdict import verdict

Progress = Callable[[str], None]


@dataclass(frozen=True)
class Audit:
    """A record with what the reports need beside it: the site's picture and earlier roll.

    For other audiences `record` stays that of the full one; what they get is `outside` or
    `insurer`, and the plan is veiled by `hidden`.
    """

    record: Record
    data: Dataset
    judged: Sequence[Judged] = ()
    previous_roll: Sequence[Mapping[str, str]] | None = None
    hidden: Veil | None = None
    key: bytes | None = None
    previous: Path | None = None
    outside: Record | None = None
    insurer: InsurerRecord | None = None

    @property
    def told(self) -> Record | InsurerRecord:
        """The record for the pack's audience."""
        return self.insurer or self.outside or self.record


def all_rules() -> tuple[Rule, ...]:
    """The whole catalogue; without a single rule a site would pass unseen, so that raises."""
    found = collect(rules)
    if not found:
        raise RuntimeError("the installation has lost its rules")
    return found


def audited(
    site: Path,
    *,
    as_of: dt.date | None = None,
    stage: str = "review",
    previous: Path | None = None,
    audience: str = "full",
    out: Path | None = None,
    make_key: bool = False,
    with_latest: bool = False,
    progress: Progress | None = None,
) -> Audit:
    """Audits a site folder; InputError where the input, or the place for the pack, is unusable.

    The site's key is made where it is missing and there is a place for the pack, or `make_key`.
    `with_latest`: without `previous`, compares with the latest recorded review before as-of.
    """
    if out is not None:
        pack.check_place(out, site)
    earlier = _earlier(previous) if previous is not None else None
    if progress is not None:
        progress("reading the tables")
    data = ingest.load_site(site, as_of)
    if previous is None and with_latest:
        previous = reviews.latest(site, data.as_of)
        earlier = _earlier(previous) if previous is not None else None
    if earlier is not None:
        _comparable(earlier, data)
    key = site_key(site, make=make_key or out is not None)
    decisions = ingest.read_decisions(site)
    course = (
        recorded(site, data.as_of, lambda r: bool(r["site"]["name"] == data.site.name))
        if audience == "insurer"
        else []
    )
    audit = of_dataset(data, decisions, stage, earlier, audience, progress, key=key, course=course)
    roll = _roll_beside(previous) if previous is not None else None
    return replace(audit, previous_roll=roll, previous=previous)


def of_dataset(
    data: Dataset,
    decisions: Sequence[DecisionRow] = (),
    stage: str = "review",
    earlier: Record | None = None,
    audience: str = "full",
    progress: Progress | None = None,
    *,
    key: bytes | None = None,
    course: Sequence[Mapping[str, Any]] = (),
) -> Audit:
    """Audits a dataset that is already there; `key` is its site's, `course` its earlier records
    as the insurer's course takes them.
    """
    # a second audit of the same day, as of a corrected copy, looks at the same events
    if earlier is not None and earlier.as_of < data.as_of.isoformat():
        data.reviewed = dt.date.fromisoformat(earlier.as_of)
    judged = run(all_rules(), data, stage, progress)
    if progress is not None:
        progress("")
    against = ledger.compared(judged, data, earlier)
    findings, notices = decided(
        against.findings,
        decisions,
        data.as_of,
        data.site.date_order,
        {p.id for p in against.mended},
        {p.id for p in against.not_reassessed},
        {s for s in (data.site.id, data.site.name) if s},
    )
    findings = order(findings)
    about = {against.moved.get(i, i): a for j in judged for i, a in j.about.items()}
    found = cases.cases(findings, about, _setting(data, judged))
    of_case = {f: c.id for c in found for f in c.findings}
    findings = [
        f.model_copy(update={"case": of_case[f.id], "first_seen": f.first_seen or _day(data)})
        for f in findings
    ]
    record = Record(
        program=ProgramFacts(version=version(), catalogue=catalogue_digest()),
        site=SiteFacts(
            id=data.site.id,
            name=data.site.name,
            timezone=data.site.timezone,
            local_code=data.site.local_code,
        ),
        as_of=data.as_of.isoformat(),
        stage="upload" if stage == "upload" else "review",
        audience="full",
        inputs=[
            InputRow(
                table=i.table,
                file=i.file,
                commitment=commitment(key, i.sha256) if i.sha256 else None,
                rows=i.rows,
                set_aside=i.set_aside,
            )
            for i in data.inputs
        ],
        outcomes=[j.outcome for j in judged],
        findings=findings,
        cases=found,
        case_totals=cases.totals_of(found),
        verdict=verdict(judged, found, findings, setting.exits_listed(data), stage),
        scope=_scope(data, earlier),
        previous=(
            None
            if earlier is None
            else PreviousRecord(
                site=earlier.site.name, as_of=earlier.as_of, digest=_digest(earlier)
            )
        ),
        mended=against.mended,
        not_reassessed=against.not_reassessed,
        totals=totals(findings),
        notices=[*data.notes, *notices],
    )
    if audience == "full":
        return Audit(record, data, judged, key=key)
    if key is None:
        raise InputError(
            f"--audience {audience} needs the site's key, which --out makes in the site folder"
            " (a ZIP cannot keep one: unpack it and name the folder)"
        )
    hidden = veil(data, key)
    if audience == "insurer":
        named = {j.rule.name: (j.rule.family, j.rule.title) for j in judged}
        public = {kind: hidden.public.get(kind, frozenset()) for kind in ("door", "zone")}
        told = insurer(record, named, lambda kind, name: name in public[kind], course)
        return Audit(record, data, judged, hidden=hidden, key=key, insurer=told)
    veiled = outside(record, data, {j.rule.name: j.rule for j in judged}, hidden)
    return Audit(record, data, judged, hidden=hidden, key=key, outside=veiled)


def _comparable(earlier: Record, data: Dataset) -> None:
    """InputError where the earlier record is another site's, or of a later day."""
    site, other = data.site, earlier.site
    if (site.id != other.id) if site.id and other.id else (site.name != other.name):
        raise InputError(
            f"--previous is of another site ({other.name}), not of {site.name}; name an earlier"
            " findings.json of this site"
        )
    if earlier.as_of > data.as_of.isoformat():
        raise InputError(
            f"--previous is as of {earlier.as_of}, later than this audit ({data.as_of}); name"
            " an earlier findings.json"
        )


def _earlier(path: Path) -> Record:
    """The record to compare with: one of the full audience, as ids of others are pseudonyms."""
    earlier = read_findings(path)
    if earlier.audience != "full":
        raise InputError(
            f"--previous {path}: is made for readers outside, who know no id of the register;"
            " name the findings.json of the full audience"
        )
    return earlier


def _day(data: Dataset) -> str:
    return data.as_of.isoformat()


def _digest(record: Record) -> str:
    return hashlib.sha256(record.to_json().encode()).hexdigest()


def _setting(data: Dataset, judged: Sequence[Judged]) -> cases.Setting:
    """What cases need to know of the site; of a site without findings nothing is looked up."""
    titles = {j.rule.name: j.rule.title for j in judged}
    if not any(j.findings for j in judged):
        return cases.Setting(titles=titles)
    at_doors = any(j.findings and j.rule.life_safety for j in judged)
    return cases.Setting(
        holder=setting.holders(data),
        dwelling_of=setting.dwellings_of(data),
        last_day=setting.last_days(data),
        entitled=setting.entitled_people(data),
        people_of=setting.people_of(data),
        place=setting.places(data),
        door_like=setting.likeness(data) if at_doors or len(data["doors"]) else {},
        at_door=setting.people_at_doors(data) if at_doors else {},
        in_zone=setting.people_in_zones(data) if at_doors else {},
        occupants=setting.own_occupants(data),
        unknown_people=setting.unknown_people(data),
        titles=titles,
    )


def _scope(data: Dataset, earlier: Record | None) -> Scope:
    """What the audit rests on: policy that differs from the pack, what is mapped, the tables."""
    pack = packs.load(data.site.local_code).values
    differs = [
        Differs(key=key, site=_told(value), pack=_told(pack.get(key)))
        for key, value in data.policy
        if value != pack.get(key)
    ]
    before: dict[str, int] = {}
    for row in earlier.inputs if earlier is not None else ():
        before[row.table] = before.get(row.table, 0) + row.rows
    rows: dict[str, int] = {}
    for given in data.inputs:
        rows[given.table] = rows.get(given.table, 0) + given.rows
    return Scope(
        policy=differs,
        mapped_columns=sum(len(s.columns) for s in data.site.sources.values()),
        mapped_words=sum(len(w) for s in data.site.sources.values() for w in s.values.values()),
        mapped=_mapped(data),
        missing_tables=[t for t in TABLES if t not in data.tables],
        tables=[
            TableScope(
                table=t,
                rows=n,
                previous_rows=before.get(t, 0) if earlier is not None else None,
                newest=_newest(data, t),
            )
            for t, n in rows.items()
            if t in TABLES
        ],
    )


def _mapped(data: Dataset) -> list[str]:
    """Every column and word that site.toml maps, in words: a word mapped may silence a rule."""
    found = []
    for table, source in sorted(data.site.sources.items()):
        found += [f"{table}.{c} is {h!r}" for c, h in sorted(source.columns.items())]
        found += [
            f"{table}.{c} {word!r} is {value}"
            for c, words in sorted(source.values.items())
            for word, value in sorted(words.items())
        ]
    return found


def _told(value: object) -> str:
    if isinstance(value, tuple) and value and all(isinstance(c, Case) for c in value):
        return "; ".join("no value" if c.value is None else str(c.value) for c in value)
    return "not set" if value is None else str(value)


def _newest(data: Dataset, table: str) -> str | None:
    """The newest day, not after as-of, that any date column of the table holds."""
    frame = data[table]
    days = [
        day
        for c in TABLES[table].columns
        if c.kind in ("date", "moment") and c.name in frame
        for day in [frame[c.name][frame[c.name] < data.today + pd.Timedelta(days=1)].max()]
        if not pd.isna(day)
    ]
    return max(days).date().isoformat() if days else None


def read_findings(path: Path) -> Record:
    """An earlier findings.json, or that of a pack's folder; InputError where it is none."""
    if path.is_dir():
        path = path / "findings.json"
    try:
        if path.exists() and not path.is_file():  # a pipe would be waited for
            raise InputError(f"{path}: is not a file; name an earlier findings.json")
        text = path.read_text("utf-8-sig")
    except FileNotFoundError:
        raise InputError(f"{path}: there is no such file") from None
    except (OSError, UnicodeDecodeError):
        raise InputError(f"{path}: can't be read as UTF-8 text") from None
    return read_record(text, path.name)


def _roll_beside(previous: Path) -> list[dict[str, str]] | None:
    """The access roll of the earlier pack, which lies beside its findings.json."""
    import csv

    folder = previous if previous.is_dir() else previous.parent
    path = folder / "access-roll.csv"
    if not path.is_file():
        return None
    with path.open(encoding="utf-8-sig", newline="") as file:
        return list(csv.DictReader(file))


def write_pack(
    audit: Audit, out: Path, formats: Sequence[str], progress: Progress | None = None
) -> None:
    """Draws the wanted formats and moves the pack into its place whole."""
    files = drawn(audit, formats, progress)
    manifest = statement.stated(
        json.loads(audit.told.to_json()),
        files,
        kind="pack",
        formats=formats,
        key=audit.key,
        inputs=statement.inputs_of(
            audit.key,
            [(i.table, i.file, i.sha256) for i in audit.data.inputs],
            audit.data.other_inputs,
            audit.previous,
            told=audit.told.audience == "full",
        ),
        previous=statement.beside(audit.previous),
    )
    pack.write(out, files, manifest.to_json())


def drawn(
    audit: Audit, formats: Sequence[str], progress: Progress | None = None
) -> dict[str, bytes]:
    """The pack's files but its manifest, by name."""
    from audit.report import tables

    say = progress or (lambda _: None)
    if audit.insurer is not None:
        return _drawn_for_insurer(audit.insurer, formats, say)
    record = audit.outside or audit.record
    files: dict[str, bytes] = {}
    whole = record.to_json()
    if "json" in formats:
        files["findings.json"] = whole.encode()
    if not {"csv", "xlsx", "html", "pdf"}.intersection(formats):
        return files
    say("drawing the site's picture")
    plan = _plan(audit)
    raw: dict[str, Any] = json.loads(whole)
    if "csv" in formats:
        say("writing findings.csv")
        files["findings.csv"] = tables.findings_csv(record)
        files["worklist.csv"] = tables.worklist_csv(record)
        files["access-roll.csv"] = tables.roll_csv(plan.get("roll", []))
    if "xlsx" in formats:
        say("writing findings.xlsx")
        from audit.report import workbook

        files["findings.xlsx"] = workbook.render(record, plan)
    if "html" in formats:
        say("writing report.html")
        from audit.report import html

        files["report.html"] = html.render(raw, plan).encode()
    if "pdf" in formats:
        say("writing report.pdf")
        from audit.report import pdf

        files["report.pdf"] = pdf.render(record, plan)
    say("")
    return files


def _drawn_for_insurer(
    record: InsurerRecord, formats: Sequence[str], say: Progress
) -> dict[str, bytes]:
    from audit.report import insurer as report

    whole = record.to_json()
    raw = json.loads(whole)
    files: dict[str, bytes] = {}
    if "json" in formats:
        files["findings.json"] = whole.encode()
    if "html" in formats:
        files["report.html"] = report.html(raw).encode()
    if "pdf" in formats:
        say("writing report.pdf")
        files["report.pdf"] = report.pdf(raw, whole)
        say("")
    return files


def _plan(audit: Audit) -> dict[str, Any]:
    from audit import picture

    plan = picture.plan(audit.data, audit.record, audit.previous_roll)
    if audit.hidden is not None:
        plan = plan_outside(plan, audit.hidden)
    plan["rules"] = {
        j.rule.name: {
            "title": j.rule.title,
            "priority": j.rule.priority,
            "life_safety": j.rule.life_safety,
            "family": j.rule.family,
        }
        for j in audit.judged
    }
    return plan
