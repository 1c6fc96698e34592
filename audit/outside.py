"""A record for people outside: no name, telephone or address of a person in it.

A finding speaks in references (person R017, card C204); those stay, for the agent must find
them again. A reference that itself gives a person away (it holds a part of the name, the
telephone number, or an @) is replaced by a stand-in. The stand-in is a keyed digest of what
stands in the register about that person; the pack holds nothing from which it could be
computed, and it stays the same from review to review while name and start date do.
"""

from __future__ import annotations

import hashlib
import hmac
import re
import unicodedata
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

import pandas as pd

from audit.contract import Dataset
from audit.record import Decision, Finding, Past, Record
from audit.schema import REFERENCE_SUBJECTS, TABLES

NAMES_PEOPLE = {"person_id", "holder_id"}
UNSHOWN = "a reference that is not shown"


@dataclass(frozen=True)
class Standins:
    """What is shown for a reference or a name; empty for readers inside."""

    shown: Mapping[str, str] = field(default_factory=dict)
    outside: bool = False
    names: Mapping[tuple[str, ...], str] = field(default_factory=dict)

    def of(self, text: str) -> str:
        """The stand-in for a reference, or the reference where it gives nobody away."""
        return self.shown.get(text, text)

    def scrubbed(self, text: str) -> str:
        """Free text (a reason, a door's name) without the full name of anyone in the register."""
        if not self.names:
            return text
        found = [(m.start(), m.end(), _plain(m[0])) for m in re.finditer(r"[^\W\d_]+", text)]
        i = len(found)
        while i > 0:
            for n in (4, 3, 2):
                part = found[max(i - n, 0) : i]
                standin = self.names.get(tuple(sorted(w for _, _, w in part)))
                if standin is not None and len(part) == n:
                    text = text[: part[0][0]] + standin + text[part[-1][1] :]
                    i -= n - 1
                    break
            i -= 1
        return text


def standins(data: Dataset) -> Standins:
    """Stand-ins for every reference of the site that gives a person away."""
    people = data["people"]
    words: dict[str, str] = {}
    keys: dict[str, bytes] = {}
    names: dict[tuple[str, ...], str] = {}
    for person, name, phone, start in zip(
        people["person_id"], people["name"], people["phone"], people["start_date"], strict=True
    ):
        person = str(person)
        key = "\x1f".join(str(v) for v in (person, name, start) if not pd.isna(v))
        keys[person] = hashlib.sha256(key.encode("utf-8", "replace")).digest()
        for part in _parts(name, phone):
            words.setdefault(part, person)
        if not pd.isna(name) and len(_words(str(name))) > 1:
            names.setdefault(tuple(sorted(_words(str(name)))), person)
    shown: dict[str, str] = {}
    for table, key_word in REFERENCE_SUBJECTS.items():
        column = TABLES[table].row_id or TABLES[table].columns[0].name
        for value in data[table][column].dropna().unique():
            owner = _given_away(str(value), words)
            if owner is not None:
                own = str(value) if str(value) in keys else owner
                digest = hmac.new(keys[own], str(value).encode("utf-8", "replace"), hashlib.sha256)
                shown[str(value)] = f"{key_word}-{digest.hexdigest()[:10]}"
    return Standins(shown, True, {n: f"person {shown.get(p, p)}" for n, p in names.items()})


def _parts(name: Any, phone: Any) -> list[str]:
    parts = [] if pd.isna(name) else [w for w in _words(str(name)) if len(w) >= 3]
    digits = "" if pd.isna(phone) else re.sub(r"\D", "", str(phone))
    return [*parts, *([digits[-7:]] if len(digits) >= 7 else [])]


def _words(text: str) -> list[str]:
    return re.findall(r"[^\W\d_]+", _plain(text))


def _plain(text: str) -> str:
    decomposed = unicodedata.normalize("NFKD", text.casefold())
    return "".join(c for c in decomposed if not unicodedata.combining(c))


def _given_away(value: str, words: Mapping[str, str]) -> str | None:
    for word in _words(value):
        if word in words:
            return words[word]
    digits = re.sub(r"\D", "", value)
    for end in range(7, len(digits) + 1):
        if digits[end - 7 : end] in words:
            return words[digits[end - 7 : end]]
    return next(iter(words.values()), None) if "@" in value else None


def veiled(record: Record, hidden: Standins) -> Record:
    """The record with every reference that gives a person away replaced by its stand-in."""
    if not hidden.outside:
        return record
    replace = _replacer(hidden.shown)

    def finding(f: Finding) -> Finding:
        subjects = {k: [hidden.of(v) for v in vs] for k, vs in f.subjects.items()}
        summary, evidence = f.summary, f.evidence
        named = evidence.get("named")
        if isinstance(named, str) and set(f.subjects.get("column", ())) & NAMES_PEOPLE:
            # a reference that no register explains may itself be somebody's name
            summary = summary.replace(named, UNSHOWN)
            evidence = {**evidence, "named": UNSHOWN}
        return f.model_copy(
            update={
                "subjects": subjects,
                "summary": replace(summary),
                "evidence": deep(evidence, replace),
                "decision": _decision(f, hidden),
            }
        )

    def past(p: Past) -> Past:
        return p.model_copy(
            update={"subjects": {k: [hidden.of(v) for v in vs] for k, vs in p.subjects.items()}}
        )

    return record.model_copy(
        update={
            "findings": [finding(f) for f in record.findings],
            "mended": [past(p) for p in record.mended],
            "not_reassessed": [past(p) for p in record.not_reassessed],
            "notices": [replace(n) for n in record.notices],
        }
    )


def _decision(f: Finding, hidden: Standins) -> Decision | None:
    if f.decision is None:
        return None
    texts = {"reason": f.decision.reason, "document": f.decision.document}
    return f.decision.model_copy(update={k: v and hidden.scrubbed(v) for k, v in texts.items()})


def _replacer(shown: Mapping[str, str]) -> Callable[[str], str]:
    if not shown:
        return lambda text: text
    longest_first = sorted(shown, key=len, reverse=True)
    pattern = re.compile("|".join(rf"(?<!\w){re.escape(k)}(?!\w)" for k in longest_first))
    return lambda text: pattern.sub(lambda m: shown[m[0]], text)


def deep(value: Any, replace: Callable[[str], str]) -> Any:
    """The value with every text in it replaced."""
    if isinstance(value, str):
        return replace(value)
    if isinstance(value, list):
        return [deep(v, replace) for v in value]
    if isinstance(value, dict):
        return {k: deep(v, replace) for k, v in value.items()}
    return value
