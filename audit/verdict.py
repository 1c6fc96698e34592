"""The verdict: one function for every output, over all rules of the stage and over its parts.

Pure: from judgements and cases. The first state of cases.md 5 that holds is the verdict.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from typing import Final

from audit.cases import is_open, rank
from audit.engine import DOES_NOT_APPLY, NOT_THIS_STAGE, PACK_SILENT, Judged
from audit.record import (
    Case,
    Coverage,
    Finding,
    Next,
    NotRun,
    Part,
    Silent,
    Verdict,
    VerdictState,
)

WAYS_IN: Final = (
    "register",
    "cards",
    "people",
    "permissions",
    "schedules",
    "readback",
    "events",
)
DEVICES: Final = ("pins", "stations")
MOST_NEXT: Final = 5
WALK: Final = (
    " by the doors in the list; walk the building today: is there an exit that is not in it?"
)


def plural(n: int, one: str, many: str) -> str:
    """`1 case` or `2 cases`: the count with its noun."""
    return f"{n} {one if n == 1 else many}"


UPLOADED: Final = (
    "register",
    "pins",
    "cards",
    "people",
    "permissions",
    "schedules",
    "stations",
)


def upload_words(
    judged: Sequence[Judged], found: Sequence[Case], findings: Sequence[Finding]
) -> str:
    """Stop or go for the upload, by the data alone; the doors' hardware no upload mends.

    Stop: a case with an open finding of these families at or above planned, or an entrance that
    counts on a card or PIN of the fire service which the data does not give it.
    """
    family = {j.rule.name: j.rule.family for j in judged}
    stops = {
        f.id
        for f in findings
        if is_open(f)
        and (
            (family[f.rule] in UPLOADED and f.priority != "advisory")
            or (
                f.rule == "responder-cannot-enter"
                and f.evidence.get("recorded", "").startswith("recorded as by ")
            )
        )
    }
    n = sum(any(f in stops for f in c.findings) for c in found)
    if n:
        return f"Stop: {plural(n, 'case', 'cases')} to put right in the data before the upload."
    stage = [j for j in judged if j.outcome.reason != NOT_THIS_STAGE]
    missing = [
        j for j in stage if j.rule.family in UPLOADED and j.rule.important and not j.fully_run
    ]
    if missing:
        rules = plural(len(missing), "important rule", "important rules")
        were = "was" if len(missing) == 1 else "were"
        return f"Not enough was run to say go: {rules} {were} not fully run."
    return "Go: nothing in the data stands against the upload."


def part_of(judged: Judged) -> str:
    """The part of the verdict that a rule belongs to."""
    rule = judged.rule
    if rule.life_safety or rule.family in ("doors", "escape"):
        return "getting out"
    return "PINs and devices" if rule.family in DEVICES else "who can get in"


def verdict(
    judged: Sequence[Judged],
    found: Sequence[Case],
    findings: Sequence[Finding],
    exits: Mapping[str, bool],
    stage_: str = "review",
) -> Verdict:
    """The verdict of these judgements; `exits`: zone -> every exit of its building is listed."""
    stage = [j for j in judged if j.outcome.reason != NOT_THIS_STAGE]
    rule_of = {f.id: f.rule for f in findings}
    by_id = {f.id: f for f in findings}
    state, words, missing = _state(stage, found, by_id, exits)
    parts = []
    for name in ("who can get in", "PINs and devices", "getting out"):
        own = [j for j in stage if part_of(j) == name]
        rules = {j.rule.name for j in own}
        cases_ = [c for c in found if any(rule_of[f] in rules for f in c.findings)]
        narrowed = [_narrowed(c, rules, by_id) for c in cases_]
        part_state, part_words, part_missing = _state(own, narrowed, by_id, exits)
        if name == "getting out" and not any(j.outcome.checked for j in own):
            part_words = "getting out: not checked"
        parts.append(
            Part(
                name=name,
                state=part_state,
                words=part_words,
                coverage=coverage(own),
                important_not_run=len(part_missing),
            )
        )
    in_force = [f.decision for f in findings if f.decision and f.decision.state == "in force"]
    return Verdict(
        state=state,
        words=words,
        coverage=coverage(stage),
        important_not_run=[NotRun(rule=j.rule.name, missing=_why(j)) for j in missing],
        pack_silent=[
            Silent(rule=j.rule.name, threshold=s.removeprefix(PACK_SILENT))
            for j in stage
            for s in j.pack_silent
        ],
        parts=parts,
        next=what_next(missing),
        kept=sum(d.decision == "keep" for d in in_force),
        promised=sum(d.decision == "later" for d in in_force),
        upload=upload_words(judged, found, findings) if stage_ == "upload" else None,
    )


def _narrowed(case: Case, rules: Collection[str], by_id: Mapping[str, Finding]) -> Case:
    """The case with the findings of these rules alone: its rank among them."""
    own = [by_id[f] for f in case.findings if by_id[f].rule in rules]
    open_ = [f for f in own if is_open(f)]
    return case.model_copy(
        update={"findings": [f.id for f in own], "rank": rank(open_), "open": len(open_)}
    )


def coverage(judged: Sequence[Judged]) -> Coverage:
    """How many of these rules are assessed, partly, not, not applicable, failed."""
    counts = dict.fromkeys(("assessed", "partly", "not_assessed", "not_applicable", "failed"), 0)
    for j in judged:
        reason = j.outcome.reason or ""
        word = j.outcome.state.replace("-", "_")
        counts["not_applicable" if reason.startswith(DOES_NOT_APPLY) else word] += 1
    return Coverage(**counts)


def _state(
    judged: Sequence[Judged],
    found: Sequence[Case],
    by_id: Mapping[str, Finding],
    exits: Mapping[str, bool],
) -> tuple[VerdictState, str, list[Judged]]:
    """State, words, and the important rules that were not fully run."""
    missing = [j for j in judged if j.rule.important and not j.fully_run]
    failed = sum(j.outcome.state == "failed" for j in judged)
    state, words = _without_failures(found, by_id, exits, len(missing))
    if failed:
        first = f"{plural(failed, 'rule', 'rules')} failed (program error): this audit is not"
        return "incomplete", f"{first} complete. {words[:1].upper()}{words[1:]}", missing
    return state, words, missing


def _without_failures(
    found: Sequence[Case], by_id: Mapping[str, Finding], exits: Mapping[str, bool], not_run: int
) -> tuple[VerdictState, str]:
    by_rank = {rank: sum(c.rank == rank and c.open > 0 for c in found) for rank in range(1, 8)}
    if by_rank[1]:
        zones = {
            z
            for c in found
            if c.rank == 1
            for f in c.findings
            if by_id[f].rule == "zone-without-way-out"
            for z in by_id[f].subjects["zone"]
        }
        walk = "" if all(exits.get(z, False) for z in zones) else WALK
        return (
            "trapped",
            f"people may not get out of {plural(len(zones), 'zone', 'zones')}"
            + (f":{walk}" if walk else ""),
        )
    if act := by_rank[2] + by_rank[3]:
        return "act-now", f"{plural(act, 'case', 'cases')}: act today"
    if due := by_rank[4] + by_rank[5]:
        return "work-due", f"{plural(due, 'case', 'cases')} to put right before the next review"
    worth = f" ({plural(by_rank[6], 'case', 'cases')} worth checking)" if by_rank[6] else ""
    if not_run:
        were = "was" if not_run == 1 else "were"
        return (
            "not-enough-run",
            (
                "nothing found that must be put right, but"
                f" {plural(not_run, 'important rule', 'important rules')} {were} not run or"
                f" only partly run{worth}"
            ),
        )
    return "in-order", f"nothing that must be put right{worth}"


def _why(judged: Judged) -> str:
    if judged.missing:
        return "; ".join(dict.fromkeys(m.words for m in judged.missing))
    return judged.outcome.reason or "the rule failed (program error)"


# --- what to record next ------------------------------------------------------------------

ADVICE: Final[Mapping[str, tuple[str, int]]] = {
    "permissions": (
        (
            "Record who may open what: one row in permissions, such as role resident and the"
            " door group of the entrances, before a row per fob."
        ),
        1,
    ),
    "people": ("Add a list of who lives and works here now, with dwelling and last day.", 1),
    "cards": ("Add the list of cards and fobs, with number, person and status.", 1),
    "pins": ('Add the list of PINs, or write without = ["pins"] in site.toml.', 1),
    "doors": ("Add a list of doors: id, name, both sides, and what it takes to go in.", 1),
    "zones": ("Add a list of zones, with kind and the number of people.", 1),
    "dwellings": ("Add a list of dwellings, with the zone before the door of each.", 1),
    "stations": (
        'Add the list of panels and units, or write without = ["stations"] in site.toml.',
        1,
    ),
    "schedules": ("Add the schedules that permissions and doors refer to.", 1),
    "doors.lock": (
        (
            "In one visit, record for each door: lock, power_loss, exit_input, mechanical_exit,"
            " emergency_release."
        ),
        0,
    ),
    "building.evacuation": ("Write in site.toml how the building is evacuated: evacuation.", 1),
    "building.communal_alarm": (
        "Write in site.toml whether a fire alarm sounds in the common parts: communal_alarm.",
        1,
    ),
    "building.use": ("Write in site.toml what the building is used for: use.", 1),
    "zones.occupants": ("Record the number of people in each zone: occupants.", 0),
    "zones.kind": ("Record what each zone is: kind.", 0),
    "doors.escape_route": ("Record for each door whether it is on an escape route.", 0),
    "loaded": ("Where the controllers allow it, add what was read back from them.", 0),
    "events": ("Where the controllers allow it, add the event log.", 0),
}
ONE_VISIT: Final = frozenset(
    f"doors.{c}"
    for c in (
        *("lock", "power_loss", "exit_input", "mechanical_exit", "exit_reader"),
        *("emergency_release", "alarm_release"),
    )
)
LAST: Final = ("loaded", "events")
FURTHER_DOORS: Final = "Add the doors that are missing: some zones have none in the list of doors."


def _lacks(judged: Judged, item: str) -> bool:
    return any(m.what and _item(m.what) == item for m in judged.missing)


def what_next(missing: Sequence[Judged]) -> list[Next]:
    """What to record, at most five: most important rules for a row first, read-back and log last.

    A rule counts for an item where all that it lacks is recorded with it and those above it.
    """
    lacks: dict[str, set[str]] = {}
    rows: dict[str, int] = {}
    for judged in missing:
        wanted = {_item(m.what) for m in judged.missing if m.what} or {""}
        lacks[judged.rule.name] = wanted
        for m in judged.missing:
            if m.what:
                item = _item(m.what)
                rows[item] = max(rows.get(item, 0), m.rows, 1)
    rows = {item: ADVICE[item][1] or n if item in ADVICE else n for item, n in rows.items()}
    chosen: list[Next] = []
    have: set[str] = set()
    while len(chosen) < MOST_NEXT:
        best = None
        for item in sorted(rows.keys() - have):
            freed = sorted(r for r, w in lacks.items() if w <= have | {item} and item in w)
            opens = sorted(r for r, w in lacks.items() if item in w)
            score = (item in LAST, -len(freed) / rows[item], -len(opens) / rows[item], item)
            if opens and (best is None or score < best[0]):
                best = (score, item, freed or opens)
        if best is None:
            break
        _, item, rules = best
        have.add(item)
        if item in LAST and any(n.record in LAST for n in chosen):
            continue
        words = ADVICE[item][0] if item in ADVICE else f"Record {item.replace('.', ', column ')}."
        if item == "doors" and any(j.outcome.state == "partly" for j in missing if _lacks(j, item)):
            words = FURTHER_DOORS
        chosen.append(Next(record=item, words=words, rules=rules, rows=rows[item]))
    return chosen


def _item(what: str) -> str:
    return "doors.lock" if what in ONE_VISIT else what
