"""What the controllers hold, against what the register says they should.

Every row that was read back is judged as of the day it was read (blank: the as-of day), every
door as of its latest reading. A permission at a door is looked up by holder and target in
sorted arrays; whoever holds it, the day decides. Two answers are kept side by side, sure and
possible, so that an unreadable cell makes a verdict unclear and never good or bad.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from audit.arithmetic import card_numbers
from audit.arithmetic.columns import (
    FAR_AHEAD,
    LONG_AGO,
    Periods,
    _among,
    bits_to_places,
    day_numbers,
    spans,
)
from audit.arithmetic.plain import given, places, word_codes
from audit.arithmetic.three import NO, UNCLEAR, YES, Bools, Credential, Ints
from audit.contract import TEXT, Dataset
from audit.facts import card_register
from audit.facts.matching import Match, cards_named, pins_named
from audit.facts.reach import ROLES, groups
from audit.facts.standing import by_id, unread


@dataclass(frozen=True)
class Rights:
    """The site's permissions as (holder, target, first day, last day, sure).

    Holders and targets are codes: `holders[kind]` lists the ids of one kind, `base[kind]` the
    code of its first; doors are the targets 0..n-1, groups follow. `pairs` are the (group,
    door) members as group × n + door, sorted, `pairs_sure` those that are certain.
    """

    holders: dict[str, pd.Series]
    base: dict[str, int]
    doors: pd.Index
    holder: Ints
    target: Ints
    start: Ints
    end: Ints
    sure: Bools
    applied: Ints  # first day by which the controllers had it; FAR_AHEAD: never sent
    applied_sure: Bools
    label: Ints  # the row of the permissions table
    pairs: Ints
    pairs_sure: Ints


def doors_named(data: Dataset) -> pd.Index:
    """The doors of the doors table; where there is none, those that other tables name."""
    return data.once(_doors_named)


def _doors_named(data: Dataset) -> pd.Index:
    if data.has("doors"):
        of_table: pd.Index = by_id(data, "doors").index
        return of_table
    tables = ("loaded", "permissions", "pins", "stations", "events")
    ids = [pd.Series(list(groups(data).places), dtype=TEXT), *(data[t]["door_id"] for t in tables)]
    named: pd.Index = pd.Index(pd.concat(ids).dropna().unique(), dtype=TEXT)
    return named


def rights(data: Dataset) -> Rights:
    """Every permission of the table, whatever its dates, computed once a dataset."""
    return data.once(_rights)


def _rights(data: Dataset) -> Rights:
    table = data["permissions"]
    doors = doors_named(data)
    n = len(doors)
    flat = groups(data)
    group, ids = pd.factorize(table["door_group"])
    names = ids.tolist()
    members, certain = [], []
    told = data.has("door_groups")  # else nobody knows what they open
    for code, name in enumerate(names):
        may = bits_to_places(flat.possible.get(name, 0), n) if told else np.arange(n)
        members.append(code * n + may)
        certain.append(code * n + bits_to_places(flat.sure.get(name, 0), n))
    nothing = np.empty(0, np.int64)
    pairs, pairs_sure = np.concatenate([nothing, *members]), np.concatenate([nothing, *certain])

    first = day_numbers(table["valid_from"], LONG_AGO)
    last = day_numbers(table["valid_to"], FAR_AHEAD)
    vague = unread(data, "permissions", "valid_from") | unread(data, "permissions", "valid_to")
    readable = np.broadcast_to(~vague, len(table))
    unsent = np.broadcast_to(unread(data, "permissions", "applied_on"), len(table))
    kept = bool(table["applied_on"].notna().any() or unsent.any())
    applied = day_numbers(table["applied_on"], FAR_AHEAD if kept else LONG_AGO)
    applied = np.where(unsent, LONG_AGO, applied)

    holders: dict[str, pd.Series] = {}
    base: dict[str, int] = {}
    columns: list[list[Ints]] = [[] for _ in range(8)]
    total = 0
    kind, holder = word_codes(table["holder_kind"], KINDS), table["holder_id"].array
    unknown_kind = kind < 0
    at_door = places(doors, table["door_id"])
    for number, word in enumerate(KINDS):
        rows = np.flatnonzero((kind == number) | unknown_kind)
        codes, ids = pd.factorize(holder.take(rows))
        holders[word], base[word] = pd.Series(ids, dtype=TEXT), total
        for place, shift in ((at_door, 0), (group, n)):
            some = place[rows] >= 0
            at = rows[some]
            parts = (
                codes[some] + total,
                place[at] + shift,
                first[at],
                last[at],
                readable[at] & ~unknown_kind[at],
                applied[at],
                ~unsent[at],
                at,
            )
            for column, part in zip(columns, parts, strict=True):
                column.append(np.asarray(part))
        total += len(ids)
    joined = [np.concatenate([nothing, *c]) for c in columns]
    return Rights(
        holders=holders,
        base=base,
        doors=doors,
        holder=joined[0].astype(np.int64),
        target=joined[1].astype(np.int64),
        start=joined[2].astype(np.int64),
        end=joined[3].astype(np.int64),
        sure=joined[4].astype(bool),
        applied=joined[5].astype(np.int64),
        applied_sure=joined[6].astype(bool),
        label=joined[7].astype(np.int64),
        pairs=np.sort(pairs),
        pairs_sure=np.sort(pairs_sure),
    )


def keys(data: Dataset, table: Credential) -> tuple[Ints, Ints, Bools]:
    """Under which holders each card or PIN may have permissions: (row, holder code, sure).

    Itself; its person, that person's role and, of a resident, their dwelling; and of a
    credential that no person holds, its dwelling, as its residents'. A person whose role is
    not known may have any, surely none.
    """
    return data.once(_KEYS[table])


def _keys_of(table: Credential) -> Callable[[Dataset], tuple[Ints, Ints, Bools]]:
    def found(data: Dataset) -> tuple[Ints, Ints, Bools]:
        right, rows, people = rights(data), data[table], by_id(data, "people")
        alone = ~given(rows["person_id"])
        person = places(people.index, rows["person_id"])
        role = np.append(word_codes(people["role"], ROLES), -1)[person]
        role[alone] = RESIDENT
        unclear = role < 0
        own = places(right.holders[_ITSELF[table]], rows[ROW_ID[table]])
        named = places(right.holders["person"], rows["person_id"])
        lives = np.append(places(right.holders["dwelling"], people["dwelling_id"]), -1)[person]
        lives[(role != RESIDENT) & ~unclear] = -1
        home = np.where(alone, places(right.holders["dwelling"], rows["dwelling_id"]), lives)
        roles = places(right.holders["role"], pd.Series(ROLES, dtype=TEXT))
        parts = [
            (right.base[_ITSELF[table]], own, ~alone | alone),
            (right.base["person"], named, ~alone),
            (right.base["dwelling"], home, ~unclear),
            (right.base["role"], np.append(roles, -1)[role], ~unclear),
        ]
        if unclear.any():
            # whoever has a role that can't be read may have any
            parts += [(right.base["role"], np.where(unclear, r, -1), ~unclear) for r in roles]
        at = [np.flatnonzero(code >= 0) for _, code, _ in parts]
        return (
            np.concatenate(at),
            np.concatenate([b + c[i] for i, (b, c, _) in zip(at, parts, strict=True)]),
            np.concatenate([s[i] for i, (_, _, s) in zip(at, parts, strict=True)]),
        )

    return found


KINDS: Final = ("person", "card", "pin", "dwelling", "role")


ROW_ID: Final[dict[Credential, str]] = {"cards": "card_id", "pins": "pin_id"}


RESIDENT: Final = ROLES.index("resident")


_ITSELF: Final[dict[Credential, str]] = {"cards": "card", "pins": "pin"}


_KEYS: dict[Credential, Callable[[Dataset], tuple[Ints, Ints, Bools]]] = {
    "cards": _keys_of("cards"),
    "pins": _keys_of("pins"),
}


def _levels(right: Rights, holder: Ints, door: Ints, day: Ints) -> Ints:
    """NO, UNCLEAR or YES for each (holder, door, day); each distinct one worked out once."""
    if not len(holder):
        return np.zeros(0, np.int64)
    asked, back = np.unique(np.stack([holder, door, day], axis=1), axis=0, return_inverse=True)
    holder, door, day = asked.T
    n = len(right.doors)
    width = max(n, int(right.target.max(initial=0)) + 1)
    own = right.holder * width + right.target
    both = (Periods.of(own, right.start, right.end), _some(right, own, right.sure))
    level = np.zeros(len(asked), np.int64)
    for periods, word in zip(both, (UNCLEAR, YES), strict=True):
        level[periods.cover(holder * width + door, day)] = word
    # through groups: those that the holder has any permission for, and the door is in
    distinct = np.unique(own[right.target >= n])
    first = np.searchsorted(distinct, holder * width)
    count = np.searchsorted(distinct, (holder + 1) * width) - first
    ask = np.repeat(np.arange(len(asked)), count)
    key = distinct[spans(first, count)]
    member = (key % width - n) * n + door[ask]
    for periods, pairs, word in zip(
        both, (right.pairs, right.pairs_sure), (UNCLEAR, YES), strict=True
    ):
        holds = _among(pairs, member) & periods.cover(key, day[ask])
        hit = ask[holds]
        level[hit] = np.maximum(level[hit], word)
    return np.asarray(level[back.reshape(-1)], np.int64)


def _some(right: Rights, key: Ints, mask: Bools) -> Periods:
    return Periods.of(key[mask], right.start[mask], right.end[mask])


def _bound_door(data: Dataset) -> Ints:
    """The places of the doors that each PIN is bound to: its own, its station's; -1: none."""
    return data.once(_bound_doors)


def _bound_doors(data: Dataset) -> Ints:
    pins, stations = data["pins"], by_id(data, "stations")
    doors = doors_named(data)
    through = np.append(places(doors, stations["door_id"]), -1)
    station = places(stations.index, pins["station_id"])
    return np.stack([places(doors, pins["door_id"]), through[station]], axis=1)


def _today(data: Dataset) -> int:
    return int(np.datetime64(data.as_of, "D").astype(np.int64))


def valid_levels(
    data: Dataset, table: Credential, row: Ints, day: Ints, *, from_issue: bool = False
) -> Ints:
    """Whether each credential is live on the day: NO, UNCLEAR or YES.

    Status `active` and the day within its validity; with `from_issue` a blank `valid_from`
    begins on the day of issue (of a PIN: the day it was set).
    """
    frame = data[table]
    start = day_numbers(frame["valid_from"], LONG_AGO)
    vague = unread(data, table, "valid_from") | unread(data, table, "valid_to")
    if from_issue:
        issued = "issued_on" if table == "cards" else "set_on"
        blank = (start == LONG_AGO) & ~unread(data, table, "valid_from")
        start = np.where(blank, day_numbers(frame[issued], LONG_AGO), start)
        vague = vague | (blank & unread(data, table, issued))
    end = day_numbers(frame["valid_to"], FAR_AHEAD)
    status = _active(data, table)
    level = np.where(np.broadcast_to(vague, len(frame)), UNCLEAR, YES)
    level = np.minimum(level, status)
    inside = (start[row] <= day) & (day <= end[row])
    return np.where(inside, level[row], NO)


def _active(data: Dataset, table: Credential) -> Ints:
    """YES where the status is active, UNCLEAR where it can't be read."""
    status = data[table]["status"]
    active = word_codes(status, ("active",)) == 0
    return np.where(active, YES, np.where(given(status), NO, UNCLEAR))


@dataclass(frozen=True)
class ReadBack:
    """The loaded table as numbers: each row's door, its day, and what it names.

    `door` is a place in `doors`, the doors of the table in order of appearance, `place` of
    each of those the place in `doors_named(data)`; `day` counts from 1970; `dated` is False
    where the day can't be read.
    """

    door: Ints
    doors: pd.Series
    place: Ints
    day: Ints
    dated: Bools
    cards: Match
    pins: Match
    card_texts: pd.Series

    def match(self, table: Credential) -> Match:
        """What the rows name in one register."""
        return self.cards if table == "cards" else self.pins


def read_back(data: Dataset) -> ReadBack:
    """The rows that were read back, coded once."""
    return data.once(_read_back)


def _read_back(data: Dataset) -> ReadBack:
    rows = data["loaded"]
    door, ids = pd.factorize(rows["door_id"])
    doors = pd.Series(ids, dtype=TEXT)
    kind = word_codes(rows["credential_kind"], ("card", "pin"))
    numbers, written = card_register.loaded(data), rows["number"]
    unsaid = kind < 0
    if unsaid.any():  # a row that does not say what it is may be either
        hidden = pd.Series(unsaid) & rows["secret"].notna()
        written = written.mask(hidden, rows["secret"])
        either = card_numbers.canonical(written[unsaid])["canonical"]
        numbers = numbers.fillna(either.reindex(rows.index))
    key = numbers
    odd = given(numbers) | (kind == 1)
    if not odd.all():
        key = numbers.fillna("? " + written.mask(odd))
    code, distinct = pd.factorize(key)
    of_code = pd.Series(distinct, dtype=TEXT)
    if not odd.all():
        of_code = of_code.mask(of_code.str.startswith("? "))
    cards = cards_named(data, code.astype(np.int64), of_code, written)
    not_card = kind != 0
    label, secret = rows["number"], rows["secret"]
    if not not_card.all():
        label, secret = label.where(not_card), secret.where(not_card)
    dated = ~np.broadcast_to(unread(data, "loaded", "read_on"), len(rows))
    return ReadBack(
        door.astype(np.int64),
        doors,
        places(doors_named(data), doors),
        day_numbers(rows["read_on"], _today(data)),
        dated,
        cards,
        pins_named(data, label, secret),
        written,
    )


def unreadable_pins_at(data: Dataset) -> pd.Index:
    """Doors at which unknown digits may be a live PIN that the register holds unreadable.

    Such a PIN has a permission at that very door, or is bound to it, and the door's read-back
    does not list it by its id.
    """
    return data.once(_unreadable_pins_at)


def _unreadable_pins_at(data: Dataset) -> pd.Index:
    right, back = rights(data), read_back(data)
    n, today = len(right.doors), _today(data)
    if not n:
        return right.doors
    hidden = ~given(data["pins"]["secret"])
    at, code, certain = keys(data, "pins")
    order = np.argsort(code, kind="stable")
    order = order[hidden[at[order]]]
    whole = np.arange(n)
    row, door, _ = _on_day(
        data, "pins", right, whole, today, at[order], code[order], certain[order]
    )
    bound, where, _ = _bound_pairs(data, np.ones(n, bool), np.full(n, today))
    row = np.concatenate([row, bound[hidden[bound]]])
    door = np.concatenate([door, where[hidden[bound]]])
    return right.doors[np.unique(door[~_held(back, back.pins, row, door)])]


def _first_texts(written: pd.Series, code: Ints, size: int) -> npt.NDArray[np.object_]:
    """For each code the first of its texts in order of letters."""
    first = np.empty(size + 1, object)
    for at, text in zip(code.tolist(), written.tolist(), strict=True):
        if first[at] is None or text < first[at]:
            first[at] = text
    return first


@dataclass(frozen=True)
class Explained:
    """Rows that were read back with the register rows that answer for them.

    Parallel arrays: `loaded` and `row` are positions in their tables. Of several rows for one
    code only the active ones answer, where there are any.
    """

    loaded: Ints
    row: Ints
    crowded: Ints  # loaded rows that too MANY explain, or all where the register is absent


@dataclass(frozen=True)
class Judged:
    """Verdicts on loaded rows of both registers: `row` −1 where no one row answers."""

    table: Ints  # 0: cards, 1: pins
    loaded: Ints
    row: Ints
    verdict: npt.NDArray[np.int8]


def _same(ids: pd.Series) -> Ints:
    """The position of each row's id where it stands first, and -1 for no row at all."""
    first = np.arange(len(ids)) if ids.is_unique else places(ids, ids)
    return np.append(first, -1)


def _any(group: Ints, mask: Bools) -> Bools:
    """Whether the mask holds anywhere in each row's group."""
    held = np.zeros(int(group.max(initial=-1)) + 1, bool)
    held[group[mask]] = True
    return held[group]


_TIES: Final[dict[Credential, tuple[str, ...]]] = {
    "cards": ("dwelling_id",),
    "pins": ("dwelling_id", "door_id", "station_id"),
}
"""What says whose a credential is where no person is named."""


def _dates(days: Ints) -> npt.NDArray[np.datetime64]:
    dates = days.view("datetime64[D]").astype("datetime64[s]")
    dates[days == FAR_AHEAD] = np.datetime64("NaT")
    return np.asarray(dates)


TAKES: Final[dict[Credential, tuple[str, ...]]] = {
    "cards": ("card", "card-or-pin", "card-and-pin"),
    "pins": ("pin", "card-or-pin", "card-and-pin"),
}


def permitted(data: Dataset, table: Credential) -> tuple[Ints, Ints, Bools]:
    """Who should be at the doors that were read back: (row, place of door, sure).

    Credentials live on the day of the door's reading that have a permission there by then,
    sent to the controllers by then, at doors whose entry asks for their kind.
    """
    right, back = rights(data), read_back(data)
    doors = by_id(data, "doors")
    place = back.place
    read = np.full(len(back.doors), LONG_AGO)
    dates = given(data["loaded"]["read_on"])
    np.maximum.at(read, back.door[dates], back.day[dates])
    read[read == LONG_AGO] = _today(data)
    entry = doors["entry"]
    unsaid = ~given(entry)
    doubt = np.append(unsaid, True)
    doubt[place[back.door[~back.dated]]] = True
    wanted = np.zeros(len(doors), bool)
    real = place >= 0
    wanted[place[real]] = True
    wanted &= (word_codes(entry, TAKES[table]) >= 0) | unsaid
    day_of = np.full(len(doors), LONG_AGO)
    day_of[place[real]] = read[real]
    at, code, certain = keys(data, table)
    order = np.argsort(code, kind="stable")
    at, code, certain = at[order], code[order], certain[order]
    found = [
        _on_day(
            data,
            table,
            right,
            np.flatnonzero(wanted & (day_of == day)),
            int(day),
            at,
            code,
            certain,
        )
        for day in np.unique(day_of[wanted])
    ]
    row, door, sure = (
        np.concatenate([np.empty(0, np.int64), *(f[i] for f in found)]).astype(np.int64)
        for i in range(3)
    )
    n = max(len(doors), 1)
    pair, back_to = np.unique(row * n + door, return_inverse=True)
    best = np.zeros(len(pair), bool)
    np.logical_or.at(best, back_to.reshape(-1), sure.astype(bool))
    return pair // n, pair % n, best & ~doubt[pair % n]


def _on_day(
    data: Dataset,
    table: Credential,
    right: Rights,
    doors: Ints,
    day: int,
    at: Ints,
    code: Ints,
    certain: Bools,
) -> tuple[Ints, Ints, Bools]:
    n = len(right.doors)
    force = (right.start <= day) & (day <= right.end) & (right.applied <= day)
    key = right.holder[force] * (int(right.target.max(initial=0)) + 1) + right.target[force]
    sure = right.sure[force] & right.applied_sure[force]
    width = int(right.target.max(initial=0)) + 1
    distinct, back = np.unique(key, return_inverse=True)
    best = np.zeros(len(distinct), bool)
    np.logical_or.at(best, back.reshape(-1), sure)
    holder, target = distinct // width, distinct % width
    # each target's doors among those asked for
    asked = np.zeros(n, bool)
    asked[doors] = True
    pairs = right.pairs[asked[right.pairs % n]] if n else right.pairs
    certain_pair = _among(right.pairs_sure, pairs)
    group = target - n
    first = np.where(group < 0, 0, np.searchsorted(pairs, group * n))
    count = np.where(group < 0, 0, np.searchsorted(pairs, (group + 1) * n) - first)
    inside = spans(first, count)
    single = (group < 0) & asked[np.where(group < 0, target, 0)] if n else group < 0
    whom = np.concatenate([np.repeat(holder, count), holder[single]])
    where = np.concatenate([pairs[inside] % max(n, 1), target[single]])
    how = np.concatenate([np.repeat(best, count) & certain_pair[inside], best[single]])
    # and each holder's credentials that are live on the day
    level = valid_levels(data, table, at, np.full(len(at), day), from_issue=True)
    alive = level > NO
    at, code, certain = at[alive], code[alive], certain[alive] & (level[alive] == YES)
    first = np.searchsorted(code, whom)
    count = np.searchsorted(code, whom, "right") - first
    member = spans(first, count)
    return at[member], np.repeat(where, count), np.repeat(how, count) & certain[member]


def _bound_pairs(data: Dataset, wanted: Bools, day_of: Ints) -> tuple[Ints, Ints, Bools]:
    # an administrator's code belongs to a panel and opens nothing
    admin = data["pins"]["kind"].eq("admin").fillna(False).to_numpy(bool)
    bound = np.where(admin[:, None], -1, _bound_door(data))
    row, side = np.nonzero(bound >= 0)
    door = bound[row, side]
    row, door = row[wanted[door]], door[wanted[door]]
    level = valid_levels(data, "pins", row, day_of[door], from_issue=True)
    return row[level > NO], door[level > NO], (level == YES)[level > NO]


def _held(back: ReadBack, match: Match, row: Ints, door: Ints) -> Bools:
    """Whether the read-back of each door (its place) lists the register's row."""
    seen = match.code >= 0
    width = match.size + 1
    at = back.place[back.door[seen]]
    there = np.unique((at * width + match.code[seen])[at >= 0])
    order = np.lexsort((match.of, match.row))
    of, whose = match.of[order], match.row[order]
    first = np.searchsorted(whose, row)
    count = np.searchsorted(whose, row, "right") - first
    ask = np.repeat(np.arange(len(row)), count)
    held = np.zeros(len(row), bool)
    held[ask[_among(there, door[ask] * width + of[spans(first, count)])]] = True
    return held
