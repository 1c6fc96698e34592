"""Local codes as data: what each sets, on which documents it rests, and how sure that is.

A threshold that a jurisdiction sets stands in one of the TOML files beside this module and nowhere
in code. A site may set each in its [policy] under the name that NAMES gives.
"""

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from difflib import get_close_matches
from functools import cache
from importlib.resources import files
from types import MappingProxyType
from typing import Any

from audit.arithmetic.thresholds import Case

SURE = ("read", "quoted", "from memory", "common practice, no source")


@dataclass(frozen=True, slots=True)
class Cited:
    """One document that a value rests on; `sure` is a word of SURE."""

    document: str
    edition: str
    clause: str
    says: str
    sure: str

    def __str__(self) -> str:
        """Document, edition and clause title, as a report prints them."""
        return ", ".join(part for part in (self.document, self.edition, self.clause) if part)


@dataclass(frozen=True, slots=True)
class Pack:
    """A local code: values by policy name, and the documents behind each value."""

    name: str
    title: str
    note: str
    values: Mapping[str, Any]
    references: Mapping[str, tuple[Cited, ...]]


@dataclass(frozen=True, slots=True)
class Threshold:
    """How a site may override a pack's value in [policy].

    `kind` is "whole" (an integer of at least `least`), "decimal" (a number or its text, above
    `least`), "bands" (a list of [from mm, people], both rising), "yesno" (true or false),
    "word" (one of `words`) or "storeys" (how many of the fullest storeys count, by evacuation).
    """

    value: str
    kind: str
    least: int
    help: str
    words: tuple[str, ...] = ()


SEVERAL_EXITS = ("all-but-the-widest", "half-without-the-widest")


def _whole(value: str, help: str, least: int = 0) -> tuple[str, Threshold]:  # noqa: A002
    return f"pack_{value}", Threshold(value, "whole", least, help)


NAMES: Mapping[str, Threshold] = MappingProxyType(
    dict(
        (
            _whole("one_way_out_people", "most people in a zone with one way out"),
            _whole("opens_against_people", "most people served by a door that opens inwards"),
            _whole("exit_delay_s", "longest delay at an escape door, seconds"),
            _whole("narrowest_escape_door_mm", "narrowest clear width of an escape door, mm"),
            _whole("narrowest_from_people", "from how many people at a door that width counts"),
            _whole("panic_hardware_people", "most people at a door without bar or pad"),
            _whole("fire_door_check_months", "fire doors of the common parts checked every", 1),
            _whole("dwelling_door_check_months", "fire doors of dwellings checked every", 1),
            _whole("escape_door_test_months", "escape doors opened on test every", 1),
        )
    )
    | {
        "pack_width_bands": Threshold(
            "width_bands",
            "bands",
            0,
            "people that a clear width passes: [[750, 60], [850, 110], [1050, 220]] reads:"
            " under 750 mm nobody, from 750 mm 60 people, and so on; [] where only the division"
            " counts",
        ),
        "pack_mm_per_person": Threshold(
            "mm_per_person",
            "decimal",
            0,
            "clear width for each person where a door is as wide as the last band or wider, mm"
            ' ("5.08")',
        ),
        "pack_several_exits": Threshold(
            "several_exits",
            "word",
            0,
            "two or more exits: with the widest out of use the others pass all, or half",
            SEVERAL_EXITS,
        ),
        "pack_people_counted": Threshold(
            "people_counted",
            "storeys",
            1,
            "how many of the fullest storeys count: { stay-put = 1, phased = 2 }; all where not"
            " named",
        ),
        "pack_leaf_switch_needs_alarm": Threshold(
            "leaf_switch_needs_alarm",
            "yesno",
            0,
            "a lock released by a switch on the leaf needs alarm link and manual release",
        ),
        "pack_kept_locked_needs_closer": Threshold(
            "kept_locked_needs_closer",
            "yesno",
            0,
            "a fire door kept locked shut needs a closer",
        ),
    }
)
"""The [policy] names by which a site overrides what its pack sets: its own number stands for every
use and height. Every other policy key is overridden under its own name."""

USES = ("flats", "student-hall", "sheltered", "hotel", "office", "shop")


def names() -> tuple[str, ...]:
    """The packs there are, in alphabetical order."""
    here = files(__name__).iterdir()
    return tuple(sorted(p.name.removesuffix(".toml") for p in here if p.name.endswith(".toml")))


@cache
def load(name: str) -> Pack:
    """The pack of that name; ValueError names the nearest ones where there is none."""
    known = names()
    if name not in known:
        near = get_close_matches(name, known, n=1, cutoff=0.4)
        nearest = f"; the nearest is {near[0]}" if near else ""
        raise ValueError(f"no pack is called {name!r}{nearest}; there are {', '.join(known)}")
    raw = tomllib.loads((files(__name__) / f"{name}.toml").read_text(encoding="utf-8"))
    title, note = raw.pop("title"), raw.pop("note")
    base = load(raw.pop("based_on")) if "based_on" in raw else None
    values = dict(base.values) if base else {}
    references = dict(base.references) if base else {}
    for key, entry in raw.items():
        values |= _values(key, entry)
        references[key] = tuple(Cited(**cited) for cited in entry["references"])
    return Pack(name, title, note, MappingProxyType(values), MappingProxyType(references))


def _values(key: str, entry: Mapping[str, Any]) -> dict[str, Any]:
    """What an entry of a pack's file sets; neither value nor cases: the code is silent."""
    if "cases" in entry:
        return {key: tuple(_case(case) for case in entry["cases"])}
    if "bands" in entry:
        bands = tuple((int(width), int(people)) for width, people in entry["bands"])
        return {key: bands, "capacity_uses": tuple(entry["uses"])}
    for form in ("value", "text", "yes"):
        if form in entry:
            return {key: entry[form]}
    return {key: dict(entry["storeys"]) if "storeys" in entry else None}


def _case(entry: Mapping[str, Any]) -> Case:
    given: dict[str, Any] = {k: tuple(v) if isinstance(v, list) else v for k, v in entry.items()}
    return Case(**given)
