"""The live PINs, who holds them and at which doors they are valid, for the rules on PINs."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pandas as pd

from audit.arithmetic.columns import distinct, spans
from audit.arithmetic.plain import places
from audit.arithmetic.three import Bools, Ints
from audit.contract import Dataset
from audit.facts.pin_doors import PIN_ALONE, DoorCodes, _count, _unbound
from audit.facts.pin_holders import (
    AT_HOME_ELSEWHERE,
    KINDS_OF_MANY,
    Holders,
    _different,
    _duress_like_ordinary,
    _numbered,
    gathered,
)
from audit.facts.reach import _mask, reach
from audit.facts.standing import by_id, live, lookup


def door_codes(data: Dataset) -> DoorCodes:
    """The codes at every door that opens, or may open, by PIN alone."""
    return data.once(_door_codes)


def _door_codes(data: Dataset) -> DoorCodes:
    doors = by_id(data, "doors")
    entry = doors["entry"]
    scope = (entry.isin(PIN_ALONE) | entry.isna()).to_numpy(bool)
    pins = live_pins(data)
    code = np.full(len(data["pins"]), -1)
    digits, alive = np.zeros(len(code), np.int64), np.zeros(len(code), bool)
    code[pins.index] = pd.factorize(pins["secret"])[0]
    digits[pins.index] = pins["digits"].fillna(0).to_numpy(np.int64)
    alive[pins.index] = pins["live"].fillna(False).to_numpy(bool)
    sure = np.zeros((len(doors), int(digits.max(initial=0)) + 1), np.int64)
    possible = np.zeros_like(sure)
    unread = np.zeros(len(doors), bool)
    for label, door, certain in pins_by_door(data, scope, _at_stations(data)):
        read = code[label] >= 0
        unread[door[~read]] = True
        _count(sure, door, label, read & certain & alive[label], code, digits)
        _count(possible, door, label, read, code, digits)
    if not data.has("permissions"):
        unread |= _unbound(pins).any()
    lengths = np.flatnonzero(possible.any(axis=0))
    listed = doors[scope].reset_index().set_index("_label")
    return DoorCodes(
        pd.DataFrame({"door": listed["door_id"], "entry": listed["entry"]}),
        lengths.tolist(),
        sure[scope][:, lengths],
        possible[scope][:, lengths],
        unread[scope],
    )


def _at_stations(data: Dataset) -> pd.DataFrame:
    """PINs of a station, at its door: columns label, door, sure. Admin codes open nothing."""
    pins = live_pins(data)
    pins = pins[pins["station_id"].notna() & pins["door_id"].isna()]
    pins = pins[pins["kind"].ne("admin").fillna(True)]
    door = places(
        by_id(data, "doors").index, lookup(data, "stations", pins["station_id"], "door_id")
    )
    found = pd.DataFrame({"label": pins.index, "door": door, "sure": True})
    return found[door >= 0]


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


def pins_by_door(
    data: Dataset, doors: pd.Series | Bools, others: pd.DataFrame, at_once: int = 2_000_000
) -> Iterator[tuple[Ints, Ints, Bools]]:
    """The PINs that open these doors, as numbers: (labels, doors, sure), a few doors at a time.

    As `credential_doors(data, "pins", doors)`, with the pairs of `others` (label, door, sure)
    among them; a pair may come twice. Where everyone opens every door the pairs are too many
    to be held at once.
    """
    r = reach(data)
    mask = _mask(doors)
    pairs = r.pairs(r.pins, mask)
    members = np.argsort(r.pins.of, kind="stable")
    start = np.searchsorted(r.pins.of[members], np.arange(r.pins.size + 1))
    own = pd.concat([r.bound, others])
    own = own[mask[own["door"].to_numpy(np.int64)]]
    size = np.diff(start)[pairs.of]
    total = np.bincount(pairs.door, weights=size, minlength=len(mask))
    block = np.cumsum(total).astype(np.int64) // at_once
    for number in distinct(block):
        mine = np.flatnonzero(block[pairs.door] == number)
        at = spans(start[pairs.of[mine]], size[mine])
        rest = own[block[own["door"].to_numpy(np.int64)] == number]
        yield (
            np.concatenate([r.pin_labels[members[at]], rest["label"].to_numpy(np.int64)]),
            np.concatenate(
                [np.repeat(pairs.door[mine], size[mine]), rest["door"].to_numpy(np.int64)]
            ),
            np.concatenate(
                [np.repeat(pairs.certain[mine], size[mine]), rest["sure"].to_numpy(bool)]
            ),
        )
