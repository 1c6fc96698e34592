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

from audit.contract import Dataset
from audit.trade.pin_guessing import Ints, by_length, distinct
from audit.trade.pin_risk import Dated, birth_dates
from audit.trade.standing import by_id, live

Bools = npt.NDArray[np.bool_]

AT_HOME_ELSEWHERE: Final = ("staff", "contractor", "agent", "responder", "visitor")
"""Roles of people who need no dwelling here: where none is given, they have none."""
STEPS: Final = range(1, 11)
"""rules.md, pin-series: equal steps of 1 to 10."""


def series_length(digits: int) -> int:
    """How many PINs make a series: three; four where chance alone makes threes (four digits)."""
    return 3 if digits > 4 else 4


def live_pins(data: Dataset) -> pd.DataFrame:
    """The PINs that are not surely dead, with `live` (NA: can't be told), `pin` and `digits`."""
    return data.once(_live_pins)


def _live_pins(data: Dataset) -> pd.DataFrame:
    pins = data["pins"]
    alive = live(data, "pins")
    digits = pins["secret"].str.len().astype("Int64")
    pins = pins.assign(live=alive, pin=pins["pin_id"], digits=digits)
    return pins[alive.fillna(True)]


def of_person(data: Dataset, column: str) -> pd.Series:
    """A column of the people table for the person of each of `live_pins`; NA: none, unknown."""
    values = by_id(data, "people")[column].array.take(data.once(_people_at), allow_fill=True)
    return pd.Series(values, index=live_pins(data).index, copy=False)


def _people_at(data: Dataset) -> Ints:
    ids = pd.Index(live_pins(data)["person_id"])
    at = np.asarray(by_id(data, "people").index.get_indexer(ids), np.int64)
    return np.where(ids.isna(), -1, at)


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


def holders(data: Dataset) -> Holders:
    """The holder of each of `live_pins`."""
    return data.once(_holders)


def _holders(data: Dataset) -> Holders:
    pins = live_pins(data)
    person, door, station = (
        _numbered(pins[column]) for column in ("person_id", "door_id", "station_id")
    )
    houses = _numbered(pd.concat([pins["dwelling_id"], of_person(data, "dwelling_id")]))
    dwelling, home = houses[: len(pins)], houses[len(pins) :]
    dwelling = np.where(person < 0, dwelling, -1)
    place = np.where(door >= 0, door, np.where(station >= 0, station + len(pins), -1))
    place = np.where((person < 0) & (dwelling < 0), place, -1)
    elsewhere = of_person(data, "role").isin(AT_HOME_ELSEWHERE).to_numpy(bool)
    return Holders(person, dwelling, home, place, (person >= 0) & (home < 0) & ~elsewhere)


def _numbered(values: pd.Series) -> Ints:
    return np.asarray(pd.factorize(values)[0], np.int64)


def different_holders(group: Ints, held: Holders, groups: int) -> tuple[Ints, Ints]:
    """For each group 0..groups-1 of PINs: how many different holders at least, and at most.

    A member is a row of `group` and `held`; group -1 is no group. A dwelling is not counted
    beside a person whose home it is; a PIN without holder may be anybody's.
    """
    people = _different(group, held.person, groups)[0]
    places = _different(group, held.place, groups)[0]
    homes = _different(group, held.home, groups)[1]
    own = group * (held.dwelling.max(initial=-1) + held.home.max(initial=-1) + 3)
    at_home = np.isin(own + held.dwelling, own[homes] + held.home[homes])
    strange = np.where(at_home, -1, held.dwelling)
    houses = _different(group, strange, groups)[0]
    unclear = _different(group, np.where(held.home_unclear, held.person, -1), groups)[0]
    nobody = (held.person < 0) & (held.dwelling < 0) & (held.place < 0) & (group >= 0)
    unheld = np.bincount(group[nobody], minlength=groups)
    sure = people + places
    return sure + np.maximum(houses - unclear, 0), sure + houses + unheld


def _different(group: Ints, key: Ints, groups: int) -> tuple[Ints, Bools]:
    """How many different keys (from 0) each group holds, and which rows have group and key."""
    there = (group >= 0) & (key >= 0)
    width = int(key.max(initial=0)) + 1
    pairs = distinct(group[there] * width + key[there])
    return np.bincount(pairs // width, minlength=groups), there


# --- one code, several holders ----------------------------------------------------------


def reused_codes(data: Dataset, *, duress: bool) -> pd.DataFrame:
    """Codes in several hands, as a rule returns them.

    duress=False: the same digits held by different holders, duress PINs aside.
    duress=True: a duress PIN with the digits of an ordinary one; whoever holds them.
    A row each code that fails, with all its PINs; else a row each PIN.
    """
    pins, held = live_pins(data), holders(data)
    surely = pins["live"].fillna(False).to_numpy(bool)
    kind = pins["kind"]
    if not duress:
        chosen = kind.ne("duress").fillna(True).to_numpy(bool)
        surely &= ~data.unread("pins", "kind").to_numpy(bool)[pins.index]
        pins, held, surely = pins[chosen], held.of(chosen), surely[chosen]
    code = _numbered(pins["secret"])
    size = np.bincount(code[code >= 0], minlength=1)
    several = (code >= 0) & (size[code] > 1)
    bad = np.zeros(len(pins), bool)
    unsure = code < 0
    if several.any():
        group = np.unique(code[several], return_inverse=True)[1]
        one = kind[pins.index].fillna("").to_numpy(object)[several]
        few, sure = held.of(several), surely[several]

        def test(members: Ints, certain: bool) -> Bools:
            groups = int(group.max()) + 1
            if duress:
                return _duress_like_ordinary(one, members, groups, certain)
            least, most = different_holders(members, few, groups)
            return (least if certain else most) > 1

        surely_bad = test(np.where(sure, group, -1), True)[group]
        perhaps = test(group, False)[group]
        bad[several] = surely_bad & sure
        unsure[several] = perhaps & ~(surely_bad & sure)
    fails = pd.Series(pd.arrays.BooleanArray(bad, unsure), index=pins.index)
    answer = gathered(pins, [np.flatnonzero(bad)], [code], fails)
    if not duress:
        return answer
    of_duress = kind.eq("duress").fillna(True)[answer.index].to_numpy(bool)
    chosen_rows: pd.DataFrame = answer[of_duress | answer["fails"].fillna(False).to_numpy(bool)]
    return chosen_rows


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


# --- codes in a row ----------------------------------------------------------------------


def series(data: Dataset) -> pd.DataFrame:
    """PINs of different holders whose codes are in equal steps, as a rule returns them.

    A row each series, none within another, with its `step`; else a row each PIN.
    """
    pins = live_pins(data)
    surely = pins["live"].fillna(False).to_numpy(bool)
    held = holders(data)
    members: list[Ints] = []
    groups: list[Ints] = []
    steps: list[int] = []
    unsure = pins["secret"].isna().to_numpy() | ~surely
    bad = np.zeros(len(pins), bool)
    for digits, at, codes in by_length(pins["secret"]):
        need = series_length(digits)
        if len(at) < need:
            continue
        for certain in (True, False):
            if not certain and surely[at].all() and not _holders_missing(held, at).any():
                continue
            use = at[surely[at]] if certain else at
            values = codes[surely[at]] if certain else codes
            for step, chain in rows_of_codes(values, need):
                row, where = chain[chain >= 0], use[chain >= 0]
                least, most = different_holders(row, held.of(where), int(row.max()) + 1)
                fit = ((least if certain else most) >= need)[row]
                if not certain:
                    unsure[where[fit]] = True
                    continue
                group = np.full(len(pins), -1, np.int64)
                group[where] = row
                members.append(where[fit])
                groups.append(group)
                steps.append(step)
                bad[where[fit]] = True
    fails = pd.Series(bad, pins.index, dtype="boolean").mask(unsure & ~bad)
    answer = gathered(pins, members, groups, fails)
    taken = pd.array([*steps, pd.NA], dtype="Int64").take(answer["grouping"].to_numpy())
    return answer.assign(step=taken)


def _holders_missing(held: Holders, at: Ints) -> Bools:
    nobody = (held.person[at] < 0) & (held.dwelling[at] < 0) & (held.place[at] < 0)
    return nobody | held.home_unclear[at]


def rows_of_codes(codes: Ints, need: int) -> list[tuple[int, Ints]]:
    """(step, chain of each code or -1): the longest rows of codes in equal steps of 1 to 10.

    A row has `need` different codes or more, and lies within no row of a smaller step.
    """
    distinct, place = np.unique(codes, return_inverse=True)
    found: dict[int, Ints] = {}
    for step in STEPS:
        order = np.argsort(distinct % step, kind="stable")
        ordered = distinct[order]
        chain = np.concatenate(([0], np.cumsum(np.diff(ordered) != step)))
        length = np.bincount(chain)
        first = np.flatnonzero(np.diff(chain, prepend=-1))
        last = first + length - 1
        keep = length >= need
        for smaller, earlier in found.items():
            if step % smaller == 0:
                one, other = earlier[order[first]], earlier[order[last]]
                keep &= ~((one >= 0) & (one == other))
        number = np.where(keep, np.cumsum(keep) - 1, -1)
        if keep.any():
            of_code = np.empty(len(distinct), np.int64)
            of_code[order] = number[chain]
            found[step] = of_code
    return [(step, chain[place]) for step, chain in found.items()]


# --- nobody's PIN ------------------------------------------------------------------------

KINDS_OF_MANY: Final = ("shared", "delivery", "unit-release")


def unheld(data: Dataset) -> pd.DataFrame:
    """The live PINs that need a holder, with `unheld`: nobody and nothing stands beside them.

    A personal PIN needs a person or a dwelling; one of KINDS_OF_MANY a dwelling, a door or a
    station. A column that the source lacks, and a kind that is not given, give NA.
    """
    pins = live_pins(data)
    kind = pins["kind"]
    pins = pins[kind.isin(("personal", *KINDS_OF_MANY)) | kind.isna()]
    person, dwelling, door, station = (
        data.blank("pins", column).reindex(pins.index)
        for column in ("person_id", "dwelling_id", "door_id", "station_id")
    )
    many = pins["kind"].isin(KINDS_OF_MANY)
    alone = (person & dwelling).where(~many, dwelling & door & station)
    return pins.assign(unheld=alone.mask(pins["kind"].isna()))


# --- birth dates --------------------------------------------------------------------------


def birth_dated(data: Dataset) -> Dated:
    """Which live PINs read as a birth date in the site's date order, against chance.

    `reads` is NA where the digits can't be read, or it can't be told whether the PIN is live.
    """
    pins = live_pins(data)
    source = data.site.sources.get("pins")
    order = (source.date_order if source else None) or data.site.date_order
    codes = pins["secret"].mask(pins["live"].isna())
    return birth_dates(codes, data.as_of, order, data.policy.pin_guesses_minimum)


def in_one_finding(pins: pd.DataFrame, fails: pd.Series) -> pd.DataFrame:
    """A rule's answer in which all the PINs that fail are one finding."""
    every = np.zeros(len(pins), np.int64)
    return gathered(pins, [np.flatnonzero(fails.fillna(False))], [every], fails)


# --- a panel's PINs -----------------------------------------------------------------------


def panel_pins(data: Dataset, limit: int) -> pd.DataFrame:
    """The stations that PINs name: how many live PINs each surely holds, and possibly.

    Admin codes aside; a kind that is not given may be one. The index is that of a PIN of the
    station, `sources` names all of them where there may be more than the limit.
    """
    pins = live_pins(data)
    pins = pins[pins["station_id"].notna() & pins["kind"].ne("admin").fillna(True)]
    sure = pins["live"].fillna(False).to_numpy(bool) & pins["kind"].notna().to_numpy()
    at = _numbered(pins["station_id"])
    many = np.bincount(at)
    by_station = np.split(pins.index.to_numpy()[np.argsort(at, kind="stable")], np.cumsum(many))
    sources = [
        [("pins", int(label)) for label in (labels if len(labels) > limit else labels[:1])]
        for labels in by_station[: len(many)]
    ]
    first = pd.Index([rows[0][1] for rows in sources], dtype="int64")
    return pd.DataFrame(
        {
            "station": pins["station_id"].loc[first],
            "sure": np.bincount(at, sure, minlength=len(many)).astype(np.int64),
            "possible": many,
            "sources": pd.Series(sources, index=first, dtype=object),
        }
    )
