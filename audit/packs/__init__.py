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
    `least`) or "bands" (a list of [from mm, people], both rising).
    """

    value: str
    kind: str
    least: int
    help: str


NAMES: Mapping[str, Threshold] = MappingProxyType(
    {
        "pack_one_way_out_people": Threshold(
            "one_way_out_people", "whole", 0, "most people in a zone with one way out"
        ),
        "pack_opens_against_people": Threshold(
            "opens_against_people", "whole", 0, "most people served by a door that opens inwards"
        ),
        "pack_exit_delay_s": Threshold(
            "exit_delay_s", "whole", 0, "longest delay at an escape door, seconds"
        ),
        "pack_narrowest_escape_door_mm": Threshold(
            "narrowest_escape_door_mm", "whole", 0, "narrowest clear width of an escape door, mm"
        ),
        "pack_width_bands": Threshold(
            "width_bands",
            "bands",
            0,
            "people that a clear width passes: [[750, 60], [850, 110], [1050, 220]] reads: under"
            " 750 mm nobody, from 750 mm 60 people, and so on; [] where only the division counts",
        ),
        "pack_mm_per_person": Threshold(
            "mm_per_person",
            "decimal",
            0,
            "clear width for each person where a door is as wide as the last band or wider, mm"
            ' ("5.08")',
        ),
    }
)
"""The [policy] names by which a site overrides what its pack sets. `door_test_every_months` and
every other policy key are overridden under their own names."""


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
        value = entry["value"]
        if isinstance(value, list):
            value = tuple((int(width), int(people)) for width, people in value)
        values[key] = value
        references[key] = tuple(Cited(**cited) for cited in entry["references"])
    return Pack(name, title, note, MappingProxyType(values), MappingProxyType(references))
