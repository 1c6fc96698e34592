"""Who holds which PIN, and which different holders stand behind one code or a row of codes.

The holder of a PIN is the person, else the dwelling, else the door or station; a person and
their own dwelling count as one (data.md, words used by the rules). Digits stay inside: what
comes out are ids, counts and verdicts.
"""

from __future__ import annotations

from typing import Final, NamedTuple

import numpy as np
import numpy.typing as npt
import pandas as pd

from audit.arithmetic.pin_guessing import distinct
from audit.arithmetic.three import Bools, Ints

AT_HOME_ELSEWHERE: Final = ("staff", "contractor", "agent", "responder", "visitor")
"""Roles of people who need no dwelling here: where none is given, they have none."""


class Holders(NamedTuple):
    """Holders as numbers, a row each PIN; -1 where there is none."""

    person: Ints
    dwelling: Ints  # of PINs held by a dwelling
    home: Ints  # of PINs held by a person: that person's own dwelling
    place: Ints  # of PINs held by a door or station
    home_unclear: Bools

    def of(self, chosen: Bools | Ints) -> Holders:
        """The holders of these PINs only."""
        return Holders(
            self.person[chosen],
            self.dwelling[chosen],
            self.home[chosen],
            self.place[chosen],
            self.home_unclear[chosen],
        )


def _numbered(values: pd.Series) -> Ints:
    return np.asarray(pd.factorize(values)[0], np.int64)


def _different(group: Ints, key: Ints, groups: int) -> tuple[Ints, Bools]:
    """How many different keys (from 0) each group holds, and which rows have group and key."""
    there = (group >= 0) & (key >= 0)
    width = int(key.max(initial=0)) + 1
    pairs = distinct(group[there] * width + key[there])
    return np.bincount(pairs // width, minlength=groups), there


def _duress_like_ordinary(
    kind: npt.NDArray[np.object_], group: Ints, groups: int, certain: bool
) -> Bools:
    """Which groups hold a duress PIN and an ordinary one; a kind not given ("") may be either."""
    unknown = kind == ""
    duress = np.where(unknown, not certain, kind == "duress").astype(bool)
    ordinary = np.where(unknown, not certain, kind != "duress").astype(bool)
    there = (group >= 0) & ~(unknown & certain)

    def count(which: Bools) -> Ints:
        return np.bincount(group[there & which], minlength=groups)

    return (count(duress) > 0) & (count(ordinary) > 0) & (count(there) > 1)


def gathered(
    pins: pd.DataFrame, members: list[Ints], groups: list[Ints], fails: pd.Series
) -> pd.DataFrame:
    """A rule's answer with `pin`, as a list where it fails, as its plural subject.

    members, groups: positions of the PINs that fail, and for every PIN its group; several
    pairs where a PIN may fail in several groupings. A row each group, its PINs as a list, then
    a row each PIN that does not fail. Evidence: `count`, `digits` of the group's first PIN, and
    `grouping`: which of the pairs.
    """
    ids = pins["pin"].to_numpy(object)
    labels = pins.index.to_numpy()
    found: dict[tuple[str, ...], list[int]] = {}
    grouping: list[int] = []
    for turn, (at, group) in enumerate(zip(members, groups, strict=True)):
        ordered = at[np.argsort(group[at], kind="stable")]
        for part in np.split(ordered, np.flatnonzero(np.diff(group[ordered])) + 1):
            key = tuple(sorted(set(ids[part])))
            if key and key not in found:
                found[key] = part.tolist()
                grouping.append(turn)
    rest = ~fails.fillna(False).to_numpy(bool)
    left = pins[rest]
    named = left["pin"].to_numpy(object, copy=True)
    for i in np.flatnonzero(fails[rest].isna()):
        named[i] = [named[i]]
    good = pd.DataFrame(
        {"pin": pd.Series(named, left.index, dtype=object), "fails": fails[rest].astype("boolean")}
    ).assign(count=1, grouping=-1, digits=left["digits"])
    if not left["pin"].is_unique:  # an id on two rows: once, and unclear before in order
        order = good["fails"].notna().sort_values(kind="stable").index
        good = good.loc[order][~left["pin"].loc[order].duplicated()]
    if not found:
        return good.assign(sources=None)
    firsts = [part[0] for part in found.values()]
    bad = pd.DataFrame(
        {
            "pin": pd.Series([list(k) for k in found], dtype=object),
            "fails": pd.array([True] * len(found), dtype="boolean"),
            "count": [len(k) for k in found],
            "grouping": grouping,
            "digits": pins["digits"].iloc[firsts].array,
            "sources": pd.Series(
                [[("pins", int(labels[i])) for i in part] for part in found.values()], dtype=object
            ),
        }
    ).set_axis(labels[firsts])
    return pd.concat([bad, good])


def _holders_missing(held: Holders, at: Ints) -> Bools:
    nobody = (held.person[at] < 0) & (held.dwelling[at] < 0) & (held.place[at] < 0)
    return nobody | held.home_unclear[at]


KINDS_OF_MANY: Final = ("shared", "delivery", "unit-release")


def in_one_finding(pins: pd.DataFrame, fails: pd.Series) -> pd.DataFrame:
    """A rule's answer in which all the PINs that fail are one finding."""
    every = np.zeros(len(pins), np.int64)
    return gathered(pins, [np.flatnonzero(fails.fillna(False))], [every], fails)
