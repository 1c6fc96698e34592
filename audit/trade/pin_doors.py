"""The codes at each door that opens by PIN alone, and what a stranger's tries come to there.

Sources: data.md (tries in a visit; codes are the distinct live digits valid at the door; where
lengths differ, the worst length decides), access.md 1.4 and 7.
"""

from __future__ import annotations

from functools import cache
from typing import NamedTuple

import numpy as np
import numpy.typing as npt
import pandas as pd

from audit.contract import Dataset
from audit.trade.pin_guessing import distinct
from audit.trade.pin_holders import live_pins
from audit.trade.pin_risk import Odds, crowded, odds_of_a_hit, tries_in_a_visit
from audit.trade.plain import places
from audit.trade.reach import pins_by_door
from audit.trade.standing import by_id, lookup

Ints = npt.NDArray[np.int64]
Bools = npt.NDArray[np.bool_]

PIN_ALONE = ("pin", "card-or-pin")


class DoorCodes(NamedTuple):
    """Doors that open, or may open, by PIN alone, and how many codes of each length they take.

    sure, possible: one row a door, one column a length (`lengths`); different codes, counted
    once. unread: codes at the door that can't be read, or live PINs that may be valid there.
    """

    doors: pd.DataFrame  # index: labels of the doors table; columns door, entry
    lengths: list[int]
    sure: Ints
    possible: Ints
    unread: Bools


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


def _count(counts: Ints, door: Ints, label: Ints, use: Bools, code: Ints, digits: Ints) -> None:
    """Adds the different codes of each length to the counts of their doors."""
    width = int(code.max(initial=0)) + 1
    pairs = distinct(door[use] * width + code[label[use]])
    length = np.zeros(width, np.int64)
    length[code[code >= 0]] = digits[code >= 0]
    np.add.at(counts, (pairs // width, length[pairs % width]), 1)


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


def _unbound(pins: pd.DataFrame) -> pd.Series:
    """PINs that, without any permissions in the register, may open any door."""
    return pins["door_id"].isna() & pins["station_id"].isna()


def crowded_doors(data: Dataset) -> pd.DataFrame:
    """More than one code per 1,000 possible ones of the shortest length at the door.

    The doors with `codes`, `digits` (the shortest), `over`, and `may_be_over`.
    """
    at = door_codes(data)
    sure, shortest = at.sure.sum(axis=1), _shortest(at.sure, at.lengths)
    possible, least = at.possible.sum(axis=1), _shortest(at.possible, at.lengths)
    over = [crowded(n, d) for n, d in zip(sure.tolist(), shortest.tolist(), strict=True)]
    may = [crowded(n, d) for n, d in zip(possible.tolist(), least.tolist(), strict=True)]
    return _answer(at, over, may).assign(
        codes=sure, digits=pd.array(np.where(sure > 0, shortest, 0), dtype="Int64")
    )


def _shortest(counts: Ints, lengths: list[int]) -> Ints:
    """The shortest length of each row's codes; 18 where it has none."""
    if not lengths:
        return np.full(len(counts), 18)
    there = counts > 0
    first = np.asarray(lengths)[there.argmax(axis=1)]
    return np.where(there.any(axis=1), first, 18)


def guessed_doors(data: Dataset) -> pd.DataFrame:
    """Where one of a visitor's tries succeeds with a chance above the site's limit.

    The doors with `codes`, `digits` and `chance` of the worst length, `tries`, `over`, and
    `may_be_over`.
    """
    at, policy = door_codes(data), data.policy
    tries = tries_in_a_visit(
        policy.pin_attempts_before_lockout,
        policy.pin_lockout_minutes,
        policy.pin_attack_visit_minutes,
    )

    @cache
    def odds(digits: int, codes: int) -> Odds:
        return odds_of_a_hit(10**digits, codes, tries)

    def worst(counts: list[int]) -> tuple[Odds, int, int]:
        each = [(odds(d, n), n, d) for d, n in zip(at.lengths, counts, strict=True) if n]
        return max(each, key=lambda e: e[0].chance, default=(Odds(0, 1), 0, 0))

    sure = [worst(counts) for counts in at.sure.tolist()]
    over = [o.exceeds(policy.pin_guess_risk) for o, _, _ in sure]
    may = [worst(counts)[0].exceeds(policy.pin_guess_risk) for counts in at.possible.tolist()]
    return _answer(at, over, may).assign(
        codes=[n for _, n, _ in sure],
        digits=[d for _, _, d in sure],
        chance=[round(o.chance, 6) for o, _, _ in sure],
        tries=tries,
    )


def _answer(at: DoorCodes, over: list[bool], may: list[bool]) -> pd.DataFrame:
    alone = at.doors["entry"].notna().to_numpy()
    return at.doors.assign(
        over=pd.array(np.array(over, bool) & alone, dtype="boolean"),
        may_be_over=pd.array(np.array(over, bool) | np.array(may, bool) | at.unread, "boolean"),
    )
