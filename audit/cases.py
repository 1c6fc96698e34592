"""Cases: findings of one cause with one thing to do, in the order in which they are to be done.

Pure: from findings, what the rules say of them (`About`), and a `Setting` that knows places,
people, buildings and doors. Every finding is in exactly one case.
"""

from __future__ import annotations

import hashlib
import re
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Final, Literal, Protocol

from audit.record import PRIORITIES, Case, CaseTotals, Finding, Priority

ALIKE_FROM: Final = 5
TRADES: Final = ("door fitter", "panel technician", "office")
EFFECTS: Final = ("free", "cut", "fit", "record")
JOINABLE: Final = ("person", "card", "unknown", "pin", "dwelling", "station")
HIDDEN_PIN: Final = "pin, not shown"
NEVER_ALIKE: Final = ("zone-without-way-out", "interlock-cannot-open")


class StepLike(Protocol):
    """One thing to do: `audit.contract.Step`."""

    @property
    def text(self) -> str: ...
    @property
    def who(self) -> str: ...
    @property
    def does(self) -> str: ...


class AboutLike(Protocol):
    """What a finding is grouped by and what is to be done: `audit.engine.About`."""

    @property
    def kind(self) -> str: ...
    @property
    def key(self) -> str: ...
    @property
    def steps(self) -> Sequence[StepLike]: ...


@dataclass(frozen=True)
class Setting:
    """What places, order and joins need to know of the site; plain dictionaries.

    `holder`: (card or pin, id) -> person; `dwelling_of`: (card, pin or person, id) -> dwelling;
    `last_day`: departed person -> ISO day or "" where not recorded; `entitled`: people;
    `people_of`: dwelling -> entitled people who live there; `place`: (subject key, id) -> place
    texts (building, core, floor, own); `door_like`: door -> (building, kind of the inside zone,
    entry, "fire" or "", locks); `at_door`, `in_zone`: people as the register gives them;
    `occupants`: zone -> its own, None not recorded; `unknown_people`: ids of people that live
    cards or PINs name and no table has; `titles`: rule -> title.
    """

    holder: Mapping[tuple[str, str], str] = field(default_factory=dict)
    dwelling_of: Mapping[tuple[str, str], str] = field(default_factory=dict)
    last_day: Mapping[str, str] = field(default_factory=dict)
    entitled: frozenset[str] = frozenset()
    people_of: Mapping[str, frozenset[str]] = field(default_factory=dict)
    place: Mapping[tuple[str, str], tuple[str, str, str, str]] = field(default_factory=dict)
    door_like: Mapping[str, tuple[str, str, str, str, tuple[str, ...]]] = field(
        default_factory=dict
    )
    at_door: Mapping[str, int] = field(default_factory=dict)
    in_zone: Mapping[str, int] = field(default_factory=dict)
    occupants: Mapping[str, int | None] = field(default_factory=dict)
    unknown_people: frozenset[str] = frozenset()
    titles: Mapping[str, str] = field(default_factory=dict)


Cause = tuple[str, str]


def case_id(kind: str, key: str) -> str:
    """The first 16 hex digits of the SHA-256 of `case`, kind and key, a line each."""
    text = f"case\n{kind}\n{key}"
    return hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest()[:16]


def natural(text: str) -> tuple[tuple[int, int, str], ...]:
    """A key by which digit runs sort as numbers."""
    parts = re.findall(r"\d+|\D+", text)
    return tuple((0, int(p), "") if p.isdigit() else (1, 0, p) for p in parts)


def cases(
    findings: Sequence[Finding], about: Mapping[str, AboutLike], setting: Setting
) -> list[Case]:
    """The cases of these findings, the most urgent first."""
    grouped: dict[Cause, list[Finding]] = defaultdict(list)
    for finding, cause in zip(findings, causes(findings, about, setting), strict=True):
        grouped[cause].append(finding)
    made = [
        _case(kind, key, members, about, setting)
        for (kind, key), members in _alike(grouped, setting).items()
    ]
    return sorted(made, key=urgency)


def urgency(case: Case) -> tuple[Any, ...]:
    """The order of cases (cases.md 4)."""
    return (case.rank, -case.people, not case.place, natural(case.place), case.id)


def causes(
    findings: Sequence[Finding], about: Mapping[str, AboutLike], setting: Setting
) -> list[Cause]:
    """The kind and key of each finding's case, before alike ones are joined."""
    found = [_own_cause(f, about[f.id]) for f in findings]
    leavers = {key for kind, key in found if kind == "leaver"}
    withdrawn = {
        key
        for (kind, key), f in zip(found, findings, strict=True)
        if kind == "card" and f.rule.startswith("card-withdrawn-")
    }
    cards_of: dict[str, list[str]] = defaultdict(list)
    for (kind, card), person in setting.holder.items():
        if kind == "card" and card in withdrawn:
            cards_of[person].append(card)
    joined: list[Cause] = []
    for cause, finding in zip(found, findings, strict=True):
        leaver = _leaver_of(cause, finding, setting, leavers)
        if leaver is not None:
            cause = ("leaver", leaver)
        elif finding.rule == "resident-without-credential":
            own = cards_of.get(finding.subjects["person"][0])
            if own:
                cause = ("card", min(own))
        joined.append(cause)
    # a card whose case has become its leaver's takes the resident's with it
    moved = {c: j for c, j in zip(found, joined, strict=True) if c != j and c[0] == "card"}
    return [moved.get(j, j) for j in joined]


def _own_cause(finding: Finding, about: AboutLike) -> Cause:
    if about.kind == "unknown":
        number = finding.subjects["number"][0]
        if number == HIDDEN_PIN:
            number = f"pin {finding.subjects['door'][0]}"
        return "unknown", number
    return about.kind, about.key


def _leaver_of(cause: Cause, finding: Finding, setting: Setting, leavers: set[str]) -> str | None:
    """The leaver whose case the finding joins, None where there is none."""
    kind, key = cause
    if kind in ("card", "pin"):
        person = setting.holder.get((kind, key.split(" ")[0]))
        return person if person in leavers else None
    if kind == "dwelling" and finding.rule == "vacant-with-credentials":
        gone = [p for p in leavers if setting.dwelling_of.get(("person", p)) == key]
        latest = sorted(gone, key=lambda p: (_reversed(setting.last_day.get(p, "")), p))
        return latest[0] if latest else None
    return None


def _reversed(day: str) -> tuple[int, ...]:
    """Sorts the latest day first, one that is not recorded before all that are never."""
    return (1,) if not day else (0, *(-ord(c) for c in day))


# --- alike -------------------------------------------------------------------------------


def _alike(grouped: Mapping[Cause, list[Finding]], setting: Setting) -> dict[Cause, list[Finding]]:
    """Five or more alike as one."""
    keys: dict[Cause, Cause | None] = {c: _likeness(c, f, setting) for c, f in grouped.items()}
    size: dict[Cause, int] = defaultdict(int)
    for like in keys.values():
        if like is not None:
            size[like] += 1
    joined: dict[Cause, list[Finding]] = defaultdict(list)
    for cause, members in grouped.items():
        like = keys[cause]
        whole = like if like is not None and size[like] >= ALIKE_FROM else cause
        joined[whole] += members
    return joined


def _likeness(cause: Cause, members: list[Finding], setting: Setting) -> Cause | None:
    """Kind and key of the case that it would make with others alike; None: it joins none."""
    kind, key = cause
    rules = sorted({f"{f.rule} {f.priority}" for f in members})
    if kind == "door":
        like = setting.door_like.get(key)
        if like is None or any(f.rule in NEVER_ALIKE for f in members):
            return None
        building, zone_kind, entry, fire, locks = like
        parts = (building, ",".join(rules), zone_kind, entry, fire, ";".join(locks))
        return "doors", "/".join(parts)
    return ("alike", rules[0]) if kind in JOINABLE and len(rules) == 1 else None


# --- one case ----------------------------------------------------------------------------


def is_open(finding: Finding) -> bool:
    """Open unless a `keep` is in force."""
    decision = finding.decision
    return not (
        decision is not None and decision.decision == "keep" and decision.state == "in force"
    )


def _case(
    kind: str,
    key: str,
    members: list[Finding],
    about: Mapping[str, AboutLike],
    setting: Setting,
) -> Case:
    open_ = [f for f in members if is_open(f)]
    speaking = open_ or members
    steps = _steps(speaking, about)
    return Case(
        id=case_id(kind, key),
        kind=kind,
        title=_title(kind, key, members, setting),
        cause=_cause_words(kind, key, members, setting),
        priority=_highest(speaking),
        life_safety=any(f.life_safety for f in members),
        rank=rank(open_),
        people=_people(members, setting),
        place=_place(kind, members, setting),
        findings=[f.id for f in members],
        open=len(open_),
        do=[s.text for s in steps],
        who=[w for w in TRADES if any(s.who == w for s in steps)],
        change=_change(members),
    )


def _highest(findings: Iterable[Finding]) -> Priority:
    return min((f.priority for f in findings), key=PRIORITIES.index)


def rank(open_: Sequence[Finding]) -> int:
    """1 trapped, 2 immediate life safety, 3 immediate, 4 planned life safety, 5 planned, 6
    advisory, 7 none open."""
    if not open_:
        return 7
    ranks = []
    for f in open_:
        if f.rule == "zone-without-way-out":
            ranks.append(1)
        elif f.priority == "immediate":
            ranks.append(2 if f.life_safety else 3)
        elif f.priority == "planned":
            ranks.append(4 if f.life_safety else 5)
        else:
            ranks.append(6)
    return min(ranks)


def _steps(findings: Sequence[Finding], about: Mapping[str, AboutLike]) -> list[StepLike]:
    """Equal texts once: what frees a way out, then what cuts off a way in, hardware, records."""
    seen: dict[str, StepLike] = {}
    for finding in findings:
        for step in about[finding.id].steps:
            seen.setdefault(step.text, step)
    return sorted(seen.values(), key=lambda s: EFFECTS.index(s.does))


def _change(members: Sequence[Finding]) -> Literal["new", "standing", "changed"] | None:
    changes = {f.change for f in members}
    if None in changes:
        return None
    if changes == {"new"}:
        return "new"
    return "standing" if changes == {"standing"} else "changed"


def _people(members: Sequence[Finding], setting: Setting) -> int:
    """How many people the case concerns (cases.md 4)."""
    if any(f.life_safety for f in members):
        zones = {z for f in members if f.rule == "zone-without-way-out" for z in f.subjects["zone"]}
        counts = [setting.occupants.get(z) for z in zones]
        trapped = sum(1 if n is None else n for n in counts)
        doors = [setting.at_door.get(d, 0) for f in members for d in f.subjects.get("door", ())]
        inside = [setting.in_zone.get(z, 0) for f in members for z in f.subjects.get("zone", ())]
        return max([trapped, *doors, *inside])
    found: set[str] = set()
    for f in members:
        if f.rule == "reference-unknown":
            found |= setting.unknown_people & set(f.subjects.get("id", ())) or _unknown(f, setting)
        for kind, ids in f.subjects.items():
            for own in ids:
                if kind == "person":
                    found.add(own)
                elif kind in ("card", "pin"):
                    found |= {p for p in (setting.holder.get((kind, own)),) if p}
                elif kind == "dwelling":
                    found |= setting.people_of.get(own, frozenset())
    return len(found)


def _unknown(finding: Finding, setting: Setting) -> set[str]:
    missing = finding.evidence.get("missing") or finding.evidence.get("value")
    return {missing} & setting.unknown_people if isinstance(missing, str) else set()


def _place(kind: str, members: Sequence[Finding], setting: Setting) -> str:
    """Building, core, floor, then door, else dwelling, else station, else table: the least."""
    found = []
    for f in members:
        for word in ("door", "zone", "dwelling", "person", "card", "pin", "station", "table"):
            ids = f.subjects.get(word, ())
            if ids:
                found += [_place_of(word, own, setting) for own in ids]
                break
        else:
            found += f.subjects.get("building", ())
    given = [p for p in found if p]
    return min(given, key=natural) if given else ""


def _place_of(word: str, own: str, setting: Setting) -> str:
    if word == "table":
        return own
    parts = setting.place.get((word, own))
    if parts is None:
        return own if word in ("door", "dwelling", "station") else ""
    return " / ".join(p for p in parts if p)


# --- words -------------------------------------------------------------------------------

NOUNS: Final[Mapping[str, tuple[str, str]]] = {
    "form": ("Table", "tables"),
    "column": ("Column", "columns"),
    "leaver": ("Person who has left:", "people who have left"),
    "person": ("Person", "people"),
    "card": ("Card", "cards"),
    "pin": ("PIN", "PINs"),
    "unknown": ("Unknown card or PIN", "unknown cards or PINs"),
    "dwelling": ("Dwelling", "dwellings"),
    "schedule": ("Schedule", "schedules"),
    "watch": ("Door", "doors"),
    "building": ("Building", "buildings"),
    "zone": ("Zone", "zones"),
    "door": ("Door", "doors"),
    "station": ("Device", "devices"),
}
PLURAL: Final = {
    "person": "people",
    "card": "cards",
    "pin": "PINs",
    "dwelling": "dwellings",
    "station": "devices",
    "door": "doors",
    "number": "cards or PINs",
}


def _title(kind: str, key: str, members: Sequence[Finding], setting: Setting) -> str:
    first = setting.titles.get(members[0].rule, members[0].rule)
    rules = {f.rule for f in members}
    n = len(members)
    if kind == "doors":
        doors = {d for f in members for d in f.subjects["door"]}
        worst = min(members, key=lambda f: PRIORITIES.index(f.priority))
        return f"{len(doors)} doors alike: {lowered(setting.titles.get(worst.rule, worst.rule))}"
    if kind == "alike":
        word = next((w for w in PLURAL if w in members[0].subjects), "")
        ids = {i for f in members for i in f.subjects.get(word, ())}
        return f"{len(ids) or n} {PLURAL.get(word, 'rows')}: {lowered(first)}"
    if kind in ("rule", "codes", "column", "form", "round"):
        return f"{first} ({n})" if n > 1 else first
    noun = NOUNS[kind][0]
    name = key or "not recorded"
    if len(rules) == 1:
        return f"{noun} {name}: {lowered(first)}"
    return f"{noun} {name}: {n} findings"


def lowered(title: str) -> str:
    """A title within a sentence."""
    return title if title[:2].isupper() else title[:1].lower() + title[1:]


CAUSES: Final = {
    "leaver": "This person has left, and their access is still there.",
    "codes": "The site's PINs are too few digits, or too many to the door, for its panels.",
    "doors": "These doors are in one building and have the same locks and the same faults.",
    "alike": "The same fault on each of these.",
    "round": "One round of checks is due.",
    "column": "One column of the register has the same gap or fault on each of these rows.",
    "form": "Numbers are written in another form than in the register.",
}


def _cause_words(kind: str, key: str, members: Sequence[Finding], setting: Setting) -> str:
    if kind in CAUSES:
        return CAUSES[kind]
    worst = min(members, key=lambda f: (PRIORITIES.index(f.priority), f.rule, f.id))
    return worst.summary


def totals_of(found: Iterable[Case]) -> CaseTotals:
    """Open cases by priority."""
    counts = dict.fromkeys(PRIORITIES, 0)
    for case in found:
        if case.open:
            counts[case.priority] += 1
    return CaseTotals(**counts)
