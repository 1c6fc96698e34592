"""Granted uses of known cards and PINs against the permissions of the day and the hour."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from audit.arithmetic.columns import distinct, spans
from audit.arithmetic.plain import given, listed, places, taken, texts, word_codes
from audit.arithmetic.three import NO, UNCLEAR, YES, Bools, Credential, Ints, Small, nullable
from audit.contract import TEXT, Dataset
from audit.facts.holders import holder
from audit.facts.hours import open_at
from audit.facts.log import CODE, log
from audit.facts.matching import Match
from audit.facts.readback import ROW_ID, _bound_door, keys, rights
from audit.facts.standing import by_id, live, unread
from rules.events._misuse import after_departure, after_withdrawal, while_suspended
from rules.events._shared import clock, granted, uses

MANY_OPENED: Final = 3
"""Credentials that opened a door which no permission names: its permissions are elsewhere."""


@dataclass(frozen=True)
class Judged:
    """Granted uses of the known cards, or PINs, that are in scope.

    Parallel: `event` the position in the log, `pair` the credential and door. `right`: had it a
    permission there that day; `hour`: was one of them open at the moment. `row` and `door` of
    each pair: the register row that answers, and the door's place in the log.
    """

    event: Ints
    pair: Ints
    right: Small
    hour: Small
    row: Ints
    door: Ints


def judged(data: Dataset, table: Credential) -> Judged:
    """Every use in scope, computed once."""
    return data.once(_JUDGED[table])


def _judge(data: Dataset, table: Credential) -> Judged:
    book, found = log(data), uses(data, table)
    rows, _ = granted(data, table)
    answers, of = _answering(data, table, found)
    rows = rows[_in_scope(data, table, found, answers, of)[found.code[rows]]]
    wall = _wall(data, book.time[rows])
    unlocked, unsaid = _unlocked(data, book.doors, book.door[rows], wall)
    rows, wall, unsaid = rows[unlocked != YES], wall[unlocked != YES], unsaid[unlocked != YES]
    vague = (unlocked[unlocked != YES] == UNCLEAR) | unsaid
    width = len(book.doors) + 1
    pairs, pair = np.unique(found.code[rows] * width + book.door[rows], return_inverse=True)
    pair = pair.reshape(-1)
    code, door = pairs // width, pairs % width
    first = np.searchsorted(of, code)
    whose = answers[np.minimum(first, max(len(answers) - 1, 0))] if len(answers) else code
    right, hour = _levels(data, table, (answers, of), code, door, pair, wall)
    right = np.where(vague, np.maximum(right, UNCLEAR), right).astype(np.int8)
    hour = np.where(vague, np.maximum(hour, UNCLEAR), hour).astype(np.int8)
    elsewhere = _unnamed_but_used(data, door, code)
    right[elsewhere[pair] & (right == NO)] = UNCLEAR
    return Judged(rows, pair, right, hour, whose, door)


_JUDGED = {
    "cards": lambda data: _judge(data, "cards"),
    "pins": lambda data: _judge(data, "pins"),
}


def _wall(data: Dataset, time: Ints) -> pd.DatetimeIndex:
    utc = pd.DatetimeIndex(time.view("datetime64[us]")).tz_localize("UTC")
    return utc.tz_convert(data.zone).tz_localize(None)


def _answering(data: Dataset, table: Credential, found: Match) -> tuple[Ints, Ints]:
    """Register rows and the codes that they answer for, by code and id: the active ones, if any."""
    if not data.has(table):
        return found.row, found.of
    active = word_codes(data[table]["status"], ("active",)) == 0
    heard = np.zeros(found.size, bool)
    heard[found.of[active[found.row]]] = True
    speaks = active[found.row] | ~heard[found.of]
    row, of = found.row[speaks], found.of[speaks]
    _, rank = np.unique(data[table][ROW_ID[table]].to_numpy(object)[row], return_inverse=True)
    order = np.lexsort((row, rank.reshape(-1), of))
    return row[order], of[order]


def _in_scope(data: Dataset, table: Credential, found: Match, answers: Ints, of: Ints) -> Bools:
    """Which codes are asked about: known, no master card, told by no graver rule."""
    known = np.zeros(found.size + 1, bool)
    known[of] = True
    told = [while_suspended(data), after_departure(data)]
    if table == "cards":
        told.append(after_withdrawal(data))
        master = word_codes(data["cards"]["kind"], ("master",)) == 0
        known[of[master[answers]]] = False
    key = ROW_ID[table].removesuffix("_id")
    for frame in told:
        if key in frame:
            failing = frame[key][frame["fails"].fillna(False).to_numpy(bool)].dropna()
            bad = places(failing.astype(TEXT), data[table][ROW_ID[table]]) >= 0
            known[of[bad[answers]]] = False
    return known


def _unlocked(
    data: Dataset, doors: pd.Series, door: Ints, wall: pd.DatetimeIndex
) -> tuple[Small, Bools]:
    """Whether each door stood open to all at the moment, and where its entry is not known."""
    register = by_id(data, "doors")
    at = places(register.index, doors)
    entry = pd.Series(taken(register["entry"], at))
    free = (word_codes(entry, ("none",)) == 0)[door]
    schedule = pd.Series(taken(register["unlock_schedule"], at))
    level = np.full(len(door), NO, np.int8)
    timed = given(schedule)[door]
    if timed.any():
        level[timed] = open_at(data, schedule.iloc[door[timed]], wall[timed])
    blank = data.blank("doors", "unlock_schedule")
    unsaid = pd.Series(taken(blank[register["_label"]], at)).isna().to_numpy(bool)
    level[unsaid[door]] = UNCLEAR
    level[free] = YES
    return level, ~given(entry)[door]


def _levels(
    data: Dataset,
    table: Credential,
    answering: tuple[Ints, Ints],
    code: Ints,
    door: Ints,
    pair: Ints,
    wall: pd.DatetimeIndex,
) -> tuple[npt.NDArray[np.int8], npt.NDArray[np.int8]]:
    """Of each use: a permission in force that day; one that was open at the moment."""
    right, book = rights(data), log(data)
    place = places(right.doors, book.doors)[door]
    whom, entry, sure = _entries(data, table, answering, code, place)
    order = np.argsort(whom, kind="stable")
    whom, entry, sure = whom[order], entry[order], sure[order]
    first = np.searchsorted(whom, pair)
    count = np.searchsorted(whom, pair, "right") - first
    use = np.repeat(np.arange(len(pair)), count)
    each = spans(first, count)
    day = wall.normalize().to_numpy("datetime64[D]").astype(np.int64)
    at = entry[each]
    force = (right.start[at] <= day[use]) & (day[use] <= right.end[at])
    use, each, at = use[force], each[force], at[force]
    level = np.where(sure[each] & right.sure[at], YES, UNCLEAR)
    schedule = data["permissions"]["schedule_id"]
    hours = np.where(
        np.isin(right.label[at], np.flatnonzero(unread(data, "permissions", "schedule_id"))),
        UNCLEAR,
        open_at(data, schedule.iloc[right.label[at]], wall[use]),
    )
    most, open_ = np.full(len(pair), NO, np.int8), np.full(len(pair), NO, np.int8)
    np.maximum.at(most, use, level.astype(np.int8))
    np.maximum.at(open_, use, np.minimum(level, hours).astype(np.int8))
    vague = ((place < 0) | _unknown(data, table, answering, code))[pair]
    bound = _bound(data, table, answering, code, place)[pair]
    for verdict in (most, open_):
        verdict[vague] = np.maximum(verdict[vague], UNCLEAR)
        verdict[bound] = YES
    return most, open_


def _entries(
    data: Dataset, table: Credential, answering: tuple[Ints, Ints], code: Ints, place: Ints
) -> tuple[Ints, Ints, Bools]:
    """(pair, entry of `rights`, sure): the permissions that a pair's credential has at its door."""
    right = rights(data)
    at, holder, certain = keys(data, table)
    row, of = answering
    # the holders of each code
    order = np.argsort(at, kind="stable")
    at, holder, certain = at[order], holder[order], certain[order]
    first = np.searchsorted(at, row)
    count = np.searchsorted(at, row, "right") - first
    mine = spans(first, count)
    code_of, holder, certain = np.repeat(of, count), holder[mine], certain[mine]
    # the entries of each holder
    by_holder = np.argsort(right.holder, kind="stable")
    held = right.holder[by_holder]
    first = np.searchsorted(held, holder)
    count = np.searchsorted(held, holder, "right") - first
    entry = by_holder[spans(first, count)]
    code_of, certain = np.repeat(code_of, count), np.repeat(certain, count)
    # and of these, for each pair, those that lead to its door
    order = np.argsort(code_of, kind="stable")
    code_of, entry, certain = code_of[order], entry[order], certain[order]
    first = np.searchsorted(code_of, code)
    count = np.searchsorted(code_of, code, "right") - first
    whom, each = np.repeat(np.arange(len(code)), count), spans(first, count)
    entry, certain, door = entry[each], certain[each], place[whom]
    n = len(right.doors)
    target = right.target[entry]
    member = (target - n) * n + door
    here = (target == door) | ((target >= n) & np.isin(member, right.pairs))
    sure = (target == door) | ((target >= n) & np.isin(member, right.pairs_sure))
    here &= door >= 0
    return whom[here], entry[here], (certain & sure)[here]


def _unknown(data: Dataset, table: Credential, answering: tuple[Ints, Ints], code: Ints) -> Bools:
    """Whose permissions nobody can tell: holder not in the list, or the columns not there.

    And those that are out of use by now: what they were permitted may have been deleted since.
    """
    register, people = data[table], by_id(data, "people")
    kinds = set(data["permissions"]["holder_kind"].dropna())
    person = given(register["person_id"])
    lost = person & (places(people.index, register["person_id"]) < 0)
    lost |= person & (not data.has("people", "dwelling_id")) & ("dwelling" in kinds)
    gone = holder(data, table)["departed"].fillna(False).to_numpy(dtype=bool)
    lost |= gone | ~live(data, table).fillna(False).to_numpy(dtype=bool)
    if not data.has(table, "person_id"):
        lost |= bool(kinds & {"person", "role"})
    if not data.has(table, "dwelling_id"):
        lost |= ~person & ("dwelling" in kinds)
    row, of = answering
    vague = np.zeros(int(max(of.max(initial=-1), code.max(initial=-1))) + 1, bool)
    vague[of[lost[row]]] = True
    return vague[code]


def _bound(
    data: Dataset, table: Credential, answering: tuple[Ints, Ints], code: Ints, place: Ints
) -> Bools:
    """A PIN that is set at the door, or at a station of it, needs no permission there."""
    if table != "pins":
        return np.zeros(len(code), bool)
    row, of = answering
    sides = _bound_door(data)[row]
    n = len(rights(data).doors) + 1
    there = [of[side >= 0] * n + side[side >= 0] for side in sides.T]
    return np.isin(code * n + place, np.concatenate(there)) & (place >= 0)


def _unnamed_but_used(data: Dataset, door: Ints, code: Ints) -> Bools:
    """Pairs at doors that no permission names and MANY_OPENED known credentials opened."""
    right, book = rights(data), log(data)
    n = len(right.doors)
    named = np.zeros(n + 1, bool)
    named[right.target[right.target < n]] = True
    groups = distinct(right.target[right.target >= n] - n)
    named[right.pairs[np.isin(right.pairs // max(n, 1), groups)] % max(n, 1)] = True
    named[-1] = False
    opened = np.zeros(len(book.doors), np.int64)
    for table in ("cards", "pins"):
        found = uses(data, table)
        rows = np.flatnonzero((book.event == CODE["granted"]) & (found.code >= 0))
        known = rows[found.explained[found.code[rows]] == YES]
        pairs = distinct(book.door[known] * (found.size + 1) + found.code[known])
        opened += np.bincount(pairs // (found.size + 1), minlength=len(book.doors))
    place = places(right.doors, book.doors)
    lacking = ~named[place] & (opened >= MANY_OPENED)
    return np.asarray(lacking[door], bool)


def told(data: Dataset, *, hours: bool) -> pd.DataFrame:
    """A row a credential and door: used there without permission, or outside its hours?

    Columns: `door`, `card` or `pin`, `fails` (nullable), `uses` (int), `first`, `last` (site
    times), `sources`.
    """
    frames = [_told(data, "cards", hours=hours), _told(data, "pins", hours=hours)]
    some = [frame for frame in frames if len(frame)] or frames[:1]
    return some[0] if len(some) == 1 else pd.concat(some, ignore_index=True)


def _told(data: Dataset, table: Credential, *, hours: bool) -> pd.DataFrame:
    book, here = log(data), judged(data, table)
    size = len(here.row)
    # outside hours: of the uses that had a permission that day
    asked = here.right != NO if hours else np.ones(len(here.event), bool)
    level = np.where(here.right == UNCLEAR, np.maximum(here.hour, UNCLEAR), here.hour)
    level = np.where(asked, level if hours else here.right, YES)
    best = np.full(size, YES, np.int8)
    np.minimum.at(best, here.pair, level.astype(np.int8))
    scope = np.zeros(size, bool)
    scope[here.pair[asked]] = True
    bad = np.flatnonzero(level == NO)
    bad = bad[np.lexsort((here.event[bad], book.time[here.event[bad]], here.pair[bad]))]
    pair, event = here.pair[bad], here.event[bad]
    at = np.unique(pair)
    start, end = np.searchsorted(pair, at), np.searchsorted(pair, at, "right")
    labels = data["events"].index.to_numpy()[event].tolist()
    count = np.bincount(pair, minlength=size)
    first, last = np.full(size, None, object), np.full(size, None, object)
    first[at], last[at] = (
        clock(data, book.time[event[i]]) for i in (start, np.maximum(end - 1, 0))
    )
    rows = zip(at.tolist(), start.tolist(), end.tolist(), strict=True)
    key = ROW_ID[table].removesuffix("_id")
    frame = pd.DataFrame(
        {
            "door": taken(book.doors, here.door),
            key: taken(data[table][ROW_ID[table]], here.row),
            ("pin" if key == "card" else "card"): texts([None] * size),
            "fails": nullable(np.where(best == NO, YES, np.where(best == YES, NO, UNCLEAR))),
            "uses": count,
            "first": first,
            "last": last,
            "sources": listed(size, {d: [("events", r) for r in labels[a:b]] for d, a, b in rows}),
        }
    )
    frame = frame.iloc[np.flatnonzero(scope)[np.argsort(best[scope], kind="stable")]]
    return frame.drop_duplicates(["door", key]).reset_index(drop=True)
