"""What is proposed and not done: for a person to confirm, or to do at a door or panel."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from audit.arithmetic.cover import Need, fewest
from audit.arithmetic.guessing import series_length
from audit.contract import Dataset
from audit.mend.actions import CHANGE_PIN
from audit.record import PRIORITIES, Finding
from audit.report.tables import place_of

BIND: Final = ("card-without-dwelling", "card-without-person", "card-holder-elsewhere")
AT_DOORS: Final = (
    "card-withdrawn-still-working",
    "loaded-for-departed",
    "loaded-unknown",
    "loaded-validity-differs",
    "loaded-without-permission",
    "permitted-not-loaded",
)
"""Closed by sending the register to a door's controller, or one credential to all of them."""


@dataclass(frozen=True)
class Proposal:
    """One action for a person, and the findings that it closes or helps to close."""

    words: str
    where: str
    findings: tuple[Finding, ...]

    @property
    def priority(self) -> str:
        """The most urgent of its findings."""
        return min((f.priority for f in self.findings), key=PRIORITIES.index)


def proposed(findings: Sequence[Finding], data: Dataset) -> list[Proposal]:
    """The fewest actions that would close these findings, the most urgent and widest first.

    Life-safety findings, and those under a decision in force, are no business of this list.
    """
    pins = data["pins"]
    duress = frozenset(pins.loc[pins["kind"].isin(["duress"]).to_numpy(bool), "pin_id"])
    words: dict[str, tuple[str, str]] = {}
    needs: list[tuple[Finding, Need]] = []
    for f in findings:
        if f.life_safety or f.silenced:
            continue
        choices, least = _choices(f, duress)
        words.update(choices)
        needs.append((f, Need(frozenset(choices), least)))
    chosen = fewest([n for _, n in needs])
    closes: dict[str, list[Finding]] = defaultdict(list)
    for f, need in needs:
        for key in need.members & chosen:
            closes[key].append(f)
    found = [Proposal(*words[key], tuple(fs)) for key, fs in closes.items()]
    return sorted(
        found,
        key=lambda p: (PRIORITIES.index(p.priority), -len(p.findings), p.where, p.words),
    )


def _choices(f: Finding, duress: frozenset[str]) -> tuple[dict[str, tuple[str, str]], int]:
    """The actions that would close a finding (key -> words, place), and how many are needed."""
    subjects = f.subjects
    if f.rule in CHANGE_PIN:
        pins = subjects["pin"]
        keep = {"pin-reused": 1, "pin-series": series_length(f.evidence.get("digits") or 4) - 1}
        if f.rule == "pin-duress-not-distinct":
            pins = sorted(duress.intersection(pins)) or pins
        found = {f"pin {p}": (f"Change PIN {p}", f"pin {p}") for p in pins}
        return found, max(1, len(found) - keep.get(f.rule, 0))
    if f.rule in BIND:
        (card,) = subjects["card"]
        text = f"Bind card {card} to the dwelling and the person it belongs to, or withdraw it"
        return {f"bind {card}": (text, f"card {card}")}, 1
    if f.rule in AT_DOORS:
        found = {}
        for kind in ("card", "pin"):
            for ident in subjects.get(kind, []):
                name = "card" if kind == "card" else "PIN"
                text = (
                    f"Set {name} {ident} right at every controller as the register now has it,"
                    " and read back"
                )
                found[f"{kind} {ident} at doors"] = (text, f"{kind} {ident}")
        for door in subjects.get("door", []):
            text = f"Send the register to the controller of door {door} anew, and read back"
            found[f"door {door} anew"] = (text, f"door {door}")
        return found, 1
    if f.rule == "permission-not-applied":
        text = "Send the permissions that wait to the controllers, and note the day"
        return {"send": (text, "every controller")}, 1
    place = place_of(f)
    return {f"{place}: {f.remedy}": (f.remedy, place)}, 1
