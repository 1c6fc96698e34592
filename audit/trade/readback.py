"""What the controllers hold, against what the register says they should.

Every row that was read back is judged as of the day it was read (blank: the as-of day), every
door as of its latest reading. A permission at a door is looked up by holder and target in
sorted arrays; whoever holds it, the day decides. Two answers are kept side by side, sure and
possible, so that an unreadable cell makes a verdict unclear and never good or bad.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Final, Literal

import numpy as np
import numpy.typing as npt
import pandas as pd

from audit.contract import TEXT, Dataset
from audit.trade import card_numbers
from audit.trade.matching import NOT_SHOWN, Match, cards_named, gravest, pins_named
from audit.trade.plain import (
    NO,
    UNCLEAR,
    YES,
    given,
    nullable,
    places,
    taken,
    texts,
    unread,
    word_codes,
)
from audit.trade.reach import ROLES, bits_to_places, groups
from audit.trade.standing import by_id

Credential = Literal["cards", "pins"]
NONE, PERHAPS, SURE = 0, 1, 2
MANY: Final = 100
"""A code that more rows of the register explain says nothing of any one of them."""
LONG_AGO, FAR_AHEAD = -1_000_000, 4_000_000
"""Days before and after every date that a register holds; ends of open periods."""

_Ints = npt.NDArray[np.int64]
_Mask = npt.NDArray[np.bool_]


# --- periods -------------------------------------------------------------------------


@dataclass(frozen=True)
class Periods:
    """Periods of whole days by key, sorted; asks whether a key has one that covers a day."""

    place: _Ints
    reach: _Ints

    SPAN = FAR_AHEAD - LONG_AGO + 1

    @classmethod
    def of(cls, key: _Ints, start: _Ints, end: _Ints) -> Periods:
        """From parallel arrays: key (not negative), first and last day, both included."""
        order = np.lexsort((start, key))
        base = key[order] * cls.SPAN
        # of the periods that began by a day the one that ends last decides
        ends = np.maximum.accumulate(base + (end[order] - LONG_AGO))
        return cls(base + (start[order] - LONG_AGO), ends)

    def cover(self, key: _Ints, day: _Ints) -> _Mask:
        """Whether a period of each key covers the day."""
        if not len(self.place):
            return np.zeros(len(key), bool)
        asked = key * self.SPAN + (day - LONG_AGO)
        at = np.searchsorted(self.place, asked, "right") - 1
        inside = np.maximum(at, 0)
        return np.asarray(
            (at >= 0) & (self.place[inside] >= key * self.SPAN) & (self.reach[inside] >= asked)
        )


def day_numbers(dates: pd.Series, blank: int) -> _Ints:
    """Dates as days since 1970, `blank` where none is given."""
    days = dates.to_numpy("datetime64[D]").view(np.int64)
    return np.where(days == np.iinfo(np.int64).min, blank, days)


def spans(start: _Ints, count: _Ints) -> _Ints:
    """The positions start, start + 1, … of each span, one after another."""
    before = np.cumsum(count) - count
    return np.repeat(start - before, count) + np.arange(int(count.sum()))


# --- permissions ---------------------------------------------------------------------


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
    holder: _Ints
    target: _Ints
    start: _Ints
    end: _Ints
    sure: _Mask
    applied: _Ints  # first day by which the controllers had it; FAR_AHEAD: never sent
    applied_sure: _Mask
    pairs: _Ints
    pairs_sure: _Ints


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
    columns: list[list[_Ints]] = [[] for _ in range(7)]
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
        pairs=np.sort(pairs),
        pairs_sure=np.sort(pairs_sure),
    )


def keys(data: Dataset, table: Credential) -> tuple[_Ints, _Ints, _Mask]:
    """Under which holders each card or PIN may have permissions: (row, holder code, sure).

    Itself; its person, that person's role and, of a resident, their dwelling; and of a
    credential that no person holds, its dwelling, as its residents'. A person whose role is
    not known may have any, surely none.
    """
    return data.once(_KEYS[table])


def _keys_of(table: Credential) -> Callable[[Dataset], tuple[_Ints, _Ints, _Mask]]:
    def found(data: Dataset) -> tuple[_Ints, _Ints, _Mask]:
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
_KEYS: dict[Credential, Callable[[Dataset], tuple[_Ints, _Ints, _Mask]]] = {
    "cards": _keys_of("cards"),
    "pins": _keys_of("pins"),
}


def permission_at(data: Dataset, table: Credential, row: _Ints, door: _Ints, day: _Ints) -> _Ints:
    """Whether each credential has a permission at the door on the day: NONE, PERHAPS, SURE.

    `row` is a position in the table, `door` one in `doors_named(data)`, `day` counts from
    1970. A PIN bound to the door, or to a station of it, needs no permission there.
    """
    right = rights(data)
    at, code, sure = keys(data, table)
    order = np.argsort(at, kind="stable")
    at, code, sure = at[order], code[order], sure[order]
    first = np.searchsorted(at, row)
    count = np.searchsorted(at, row, "right") - first
    ask = np.repeat(np.arange(len(row)), count)
    entry = spans(first, count)
    level = _levels(right, code[entry], np.maximum(door, 0)[ask], day[ask])
    level = np.where(sure[entry], level, np.minimum(level, PERHAPS))
    best = np.zeros(len(row), np.int64)
    np.maximum.at(best, ask, level)
    best[door < 0] = PERHAPS  # of a door that is not in its table nobody knows the groups
    if table == "pins":
        best[((_bound_door(data)[row] == door[:, None]) & (door >= 0)[:, None]).any(axis=1)] = SURE
    return best


def _levels(right: Rights, holder: _Ints, door: _Ints, day: _Ints) -> _Ints:
    """NONE, PERHAPS or SURE for each (holder, door, day); each distinct one worked out once."""
    if not len(holder):
        return np.zeros(0, np.int64)
    asked, back = np.unique(np.stack([holder, door, day], axis=1), axis=0, return_inverse=True)
    holder, door, day = asked.T
    n = len(right.doors)
    width = max(n, int(right.target.max(initial=0)) + 1)
    own = right.holder * width + right.target
    both = (Periods.of(own, right.start, right.end), _some(right, own, right.sure))
    level = np.zeros(len(asked), np.int64)
    for periods, word in zip(both, (PERHAPS, SURE), strict=True):
        level[periods.cover(holder * width + door, day)] = word
    # through groups: those that the holder has any permission for, and the door is in
    distinct = np.unique(own[right.target >= n])
    first = np.searchsorted(distinct, holder * width)
    count = np.searchsorted(distinct, (holder + 1) * width) - first
    ask = np.repeat(np.arange(len(asked)), count)
    key = distinct[spans(first, count)]
    member = (key % width - n) * n + door[ask]
    for periods, pairs, word in zip(
        both, (right.pairs, right.pairs_sure), (PERHAPS, SURE), strict=True
    ):
        holds = _among(pairs, member) & periods.cover(key, day[ask])
        hit = ask[holds]
        level[hit] = np.maximum(level[hit], word)
    return np.asarray(level[back.reshape(-1)], np.int64)


def _some(right: Rights, key: _Ints, mask: _Mask) -> Periods:
    return Periods.of(key[mask], right.start[mask], right.end[mask])


def _among(ordered: _Ints, values: _Ints) -> _Mask:
    if not len(ordered):
        return np.zeros(len(values), bool)
    at = np.minimum(np.searchsorted(ordered, values), len(ordered) - 1)
    return np.asarray(ordered[at] == values)


def _bound_door(data: Dataset) -> _Ints:
    """The places of the doors that each PIN is bound to: its own, its station's; -1: none."""
    return data.once(_bound_doors)


def _bound_doors(data: Dataset) -> _Ints:
    pins, stations = data["pins"], by_id(data, "stations")
    doors = doors_named(data)
    through = np.append(places(doors, stations["door_id"]), -1)
    station = places(stations.index, pins["station_id"])
    return np.stack([places(doors, pins["door_id"]), through[station]], axis=1)


# --- holders and credentials on a day ------------------------------------------------


def departed_on(
    data: Dataset, person: _Ints, day: _Ints, *, undated: bool = True
) -> npt.NDArray[np.int8]:
    """Whether each person had departed before the day: YES, NO, UNCLEAR.

    `person` is a place in `by_id(data, "people")`; -1, a person who is not there, is unclear.
    By the last day and the grace; whoever is marked as departed has no grace, and had departed
    by the as-of day at the latest, on a day that may not be given. `undated`: where the table
    has no last days at all, whoever is not marked is unclear, else not departed.
    """
    people = by_id(data, "people")
    status = word_codes(people["status"], ("departed", "current", "expected"))
    marked = status == 0
    end = day_numbers(people["end_date"], FAR_AHEAD)
    labels = people["_label"].to_numpy()
    vague = np.zeros(len(people), bool)
    for column in ("end_date", "status"):
        mask = unread(data, "people", column)
        if isinstance(mask, np.ndarray):
            vague |= mask[labels]
    if undated and not data.has("people", "end_date"):
        vague |= status < 0  # "from the dates", and there are none
    vague |= marked & (end == FAR_AHEAD)
    grace = np.where(marked, 0, data.policy.departure_grace_days)
    last = np.append(end + grace, FAR_AHEAD)[person]
    gone = (last < day) | (np.append(marked, False)[person] & (day >= _today(data)))
    unclear = ~gone & np.append(vague, True)[person]
    return np.where(unclear, UNCLEAR, np.where(gone, YES, NO)).astype(np.int8)


def _today(data: Dataset) -> int:
    return int(np.datetime64(data.as_of, "D").astype(np.int64))


def valid_levels(
    data: Dataset, table: Credential, row: _Ints, day: _Ints, *, from_issue: bool = False
) -> _Ints:
    """Whether each credential is live on the day: NONE, PERHAPS or SURE.

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
    level = np.where(np.broadcast_to(vague, len(frame)), PERHAPS, SURE)
    level = np.minimum(level, status)
    inside = (start[row] <= day) & (day <= end[row])
    return np.where(inside, level[row], NONE)


def _active(data: Dataset, table: Credential) -> _Ints:
    """SURE where the status is active, PERHAPS where it can't be read."""
    status = data[table]["status"]
    active = word_codes(status, ("active",)) == 0
    return np.where(active, SURE, np.where(given(status), NONE, PERHAPS))


# --- what was read back --------------------------------------------------------------


@dataclass(frozen=True)
class ReadBack:
    """The loaded table as numbers: each row's door, its day, and what it names.

    `door` is a place in `doors`, the doors of the table in order of appearance, `place` of
    each of those the place in `doors_named(data)`; `day` counts from 1970; `dated` is False
    where the day can't be read.
    """

    door: _Ints
    doors: pd.Series
    place: _Ints
    day: _Ints
    dated: _Mask
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
    numbers, written = card_numbers.loaded(data), rows["number"]
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


def unexplained(data: Dataset) -> pd.DataFrame:
    """Every credential that was read back, by door and number: does the register explain it?

    Columns: `door`, `number`, `fails` (nullable), `sources`. A PIN that no row explains is
    NOT_SHOWN, one that a row explains goes by its id; a card's number written in two ways is
    one, named as the first in order of letters.
    """
    back, rows = read_back(data), data["loaded"]
    by_card, by_pin = back.cards.states(), back.pins.states()
    card, pin = back.cards.code, back.pins.code
    verdict = np.full(len(rows), YES, np.int8)
    digits = (by_pin == UNCLEAR) & given(rows["secret"])
    if digits.any() and data.has("pins"):
        by_pin[digits & ~rows["door_id"].isin(unreadable_pins_at(data)).to_numpy(bool)] = NO
    vague = (by_card == UNCLEAR) | (by_pin == UNCLEAR) | ((card < 0) & (pin < 0))
    verdict[vague] = UNCLEAR
    verdict[(by_card == YES) | (by_pin == YES)] = NO
    # what is said of it: a card by its number, a PIN by the id of the row that explains it
    as_card = (card >= 0) & ((pin < 0) | (by_card == YES))
    as_pin = ~as_card & (by_pin == YES)
    holder = np.full(back.pins.size + 1, -1)
    holder[back.pins.of[::-1]] = back.pins.row[::-1]
    subject = np.select(
        [as_card, as_pin, card >= 0], [card, holder[pin], card], back.cards.size
    ) + np.where(as_pin, back.cards.size + 1, 0)
    at, sources = gravest(verdict, rows.index.to_numpy(), "loaded", back.door, subject)
    number = pd.Series(texts([NOT_SHOWN] * len(at)))
    cards_here, pins_here = as_card[at], as_pin[at]
    if pins_here.any():
        ids = taken(data["pins"]["pin_id"], holder[pin[at]])
        number = number.mask(pins_here, pd.Series(ids))
    if cards_here.any():
        shown = np.flatnonzero(as_card | ((card >= 0) & given(rows["number"])))
        first = _first_texts(rows["number"].iloc[shown], card[shown], back.cards.size)
        number = number.mask(
            cards_here | (~pins_here & (card[at] >= 0)), pd.Series(first[card[at]])
        )
    return pd.DataFrame(
        {
            "door": taken(rows["door_id"], at),
            "number": number,
            "fails": nullable(verdict[at]),
            "sources": sources,
        }
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


def _first_texts(written: pd.Series, code: _Ints, size: int) -> npt.NDArray[np.object_]:
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

    loaded: _Ints
    row: _Ints
    crowded: _Ints  # loaded rows that too MANY explain, or all where the register is absent


def explained(data: Dataset, table: Credential) -> Explained:
    """The rows of the register that answer for what was read back."""
    return data.once(_EXPLAINED[table])


def _explained_of(table: Credential) -> Callable[[Dataset], Explained]:
    def found(data: Dataset) -> Explained:
        match = read_back(data).match(table)
        seen = np.flatnonzero(match.code >= 0)
        if not data.has(table):
            nothing = np.zeros(0, np.int64)
            return Explained(nothing, nothing, seen)
        active = (_active(data, table) > NONE)[match.row]
        some = np.zeros(match.size, bool)
        some[match.of[active]] = True
        speaks = active | ~some[match.of]
        row, of = match.row[speaks], match.of[speaks]
        order = np.lexsort((row, of))
        row, of = row[order], of[order]
        first = np.searchsorted(of, match.code[seen])
        count = np.searchsorted(of, match.code[seen], "right") - first
        crowded = seen[count > MANY]
        few = count <= MANY
        seen, first, count = seen[few], first[few], count[few]
        return Explained(np.repeat(seen, count), row[spans(first, count)], crowded)

    return found


_EXPLAINED: dict[Credential, Callable[[Dataset], Explained]] = {
    "cards": _explained_of("cards"),
    "pins": _explained_of("pins"),
}


@dataclass(frozen=True)
class Judged:
    """Verdicts on loaded rows of both registers: `row` −1 where no one row answers."""

    table: _Ints  # 0: cards, 1: pins
    loaded: _Ints
    row: _Ints
    verdict: npt.NDArray[np.int8]


def _judged(data: Dataset, judge: Callable[[Credential, Explained], tuple[_Mask, Any]]) -> Judged:
    """`judge` gives a mask of what is in scope and the verdicts, for each register in turn."""
    parts: list[list[Any]] = [[], [], [], []]
    for number, table in enumerate(ROW_ID):
        found = explained(data, table)
        scope, verdict = judge(table, found)
        more = len(found.crowded)
        size = int(scope.sum()) + more
        parts[0].append(np.full(size, number))
        parts[1] += [found.loaded[scope], found.crowded]
        parts[2] += [found.row[scope], np.full(more, -1)]
        parts[3] += [verdict[scope], np.full(more, UNCLEAR, np.int8)]
    which, loaded, row, verdicts = (np.concatenate(p) for p in parts)
    return Judged(which, loaded, row, verdicts.astype(np.int8))


def _told(data: Dataset, judged: Judged, *more: _Ints) -> tuple[pd.DataFrame, _Ints]:
    """A row a door and credential (and whatever else): its gravest verdict; and where it stood."""
    back, loaded = read_back(data), data["loaded"]
    registers = [data[table][ROW_ID[table]] for table in ROW_ID]
    # rows of one repeated id are one subject
    rows = [np.where(judged.table == number, judged.row, -1) for number in range(2)]
    ids = [_same(column)[row] for column, row in zip(registers, rows, strict=True)]
    subject = np.where(judged.table == 0, *ids)
    at, sources = gravest(
        judged.verdict,
        loaded.index.to_numpy()[judged.loaded],
        "loaded",
        back.door[judged.loaded],
        judged.table,
        subject,
        *more,
    )
    columns = {
        name: taken(column, row[at])
        for name, column, row in zip(("card", "pin"), registers, rows, strict=True)
    }
    frame = pd.DataFrame(
        {
            "door": taken(back.doors, back.door[judged.loaded[at]]),
            **columns,
            "fails": nullable(judged.verdict[at]),
            "read_on": back.day[judged.loaded[at]].view("datetime64[D]").astype("datetime64[s]"),
            "sources": sources,
        }
    )
    return frame, at


def _same(ids: pd.Series) -> _Ints:
    """The position of each row's id where it stands first, and -1 for no row at all."""
    first = np.arange(len(ids)) if ids.is_unique else places(ids, ids)
    return np.append(first, -1)


def _any(group: _Ints, mask: _Mask) -> _Mask:
    """Whether the mask holds anywhere in each row's group."""
    held = np.zeros(int(group.max(initial=-1)) + 1, bool)
    held[group[mask]] = True
    return held[group]


def _holders(
    data: Dataset, table: Credential, found: Explained, *, undated: bool
) -> tuple[_Mask, Any]:
    """Whether a person holds each explaining row, and had departed by the day of reading."""
    back, person = read_back(data), data[table]["person_id"]
    held = given(person)[found.row]
    at = places(by_id(data, "people").index, person)[found.row]
    gone = departed_on(data, at, back.day[found.loaded], undated=undated)
    gone[~back.dated[found.loaded]] = UNCLEAR
    gone[~held] = NO
    return held, gone


def held_by_departed(data: Dataset) -> pd.DataFrame:
    """What was read back and a person holds: had they departed by then?

    A row a door, card or pin, and person. Columns: those, `fails` (nullable; False too where
    another row explains it whose holder had not departed), `read_on`, `sources`.
    """

    def judge(table: Credential, found: Explained) -> tuple[_Mask, Any]:
        held, gone = _holders(data, table, found, undated=True)
        if not data.has(table, "person_id"):  # it may be anybody's
            held[:], gone[:] = True, UNCLEAR
        late = gone != NO
        gone[late & _any(found.loaded, gone == UNCLEAR)] = UNCLEAR
        gone[late & _any(found.loaded, gone == NO)] = NO
        return held, gone

    judged = _judged(data, judge)
    people = [data[table]["person_id"] for table in ROW_ID]
    ids = pd.concat(people, ignore_index=True)
    code = np.append(pd.factorize(ids)[0], -1).astype(np.int64)
    where = np.where(judged.row < 0, -1, judged.row + judged.table * len(people[0]))
    frame, at = _told(data, judged, code[where])
    return frame.assign(person=taken(ids, where[at]))


_TIES: Final[dict[Credential, tuple[str, ...]]] = {
    "cards": ("dwelling_id",),
    "pins": ("dwelling_id", "door_id", "station_id"),
}
"""What says whose a credential is where no person is named."""


def without_right(data: Dataset) -> pd.DataFrame:
    """What was read back of holders who had not departed: is it live, with a permission there?

    A row a door and card or pin. Columns: those, `fault` (in words), `fails` (nullable; False
    too where another row explains it that is), `read_on`, `sources`.
    """
    back = read_back(data)
    to_people = data["permissions"]["holder_kind"].eq("person").any()
    faults = np.array(
        [
            "it is not live, and its holder has no permission there",
            "it is not live",
            "its holder has no permission there",
            "",
        ],
        object,
    )
    said: list[npt.NDArray[np.object_]] = []

    def judge(table: Credential, found: Explained) -> tuple[_Mask, Any]:
        _, gone = _holders(data, table, found, undated=False)
        day = back.day[found.loaded]
        live = valid_levels(data, table, found.row, day)
        may = permission_at(data, table, found.row, back.place[back.door[found.loaded]], day)
        if to_people and not data.has(table, "person_id"):
            register, others = data[table], _TIES[table]
            tied = np.any([given(register[column]) for column in others], axis=0)
            may = np.where(tied[found.row], may, np.maximum(may, PERHAPS))
        level = np.where(back.dated[found.loaded], np.minimum(live, may), PERHAPS)
        verdict = np.where(level == NONE, YES, NO).astype(np.int8)
        verdict[(gone == UNCLEAR) | _any(found.loaded, (level > NONE) & (gone != YES))] = UNCLEAR
        verdict[_any(found.loaded, (level == SURE) & (gone == NO))] = NO
        told = faults[(live > NONE) + 2 * (may > NONE).astype(np.int64)]
        scope = gone != YES
        said.extend([told[scope], np.full(len(found.crowded), "", object)])
        return scope, verdict

    frame, at = _told(data, _judged(data, judge))
    return frame.assign(fault=np.concatenate(said)[at])


def validity_differs(data: Dataset) -> pd.DataFrame:
    """What was read back: is the end of validity the register's? A blank end is an open one.

    A row a door and card or pin. Columns: those, `fails`, `at_door`, `in_register` (dates),
    `sources`.
    """
    loaded = data["loaded"]
    there = day_numbers(loaded["valid_to"], FAR_AHEAD)
    odd = np.broadcast_to(unread(data, "loaded", "valid_to"), len(loaded))
    ends: list[_Ints] = []

    def judge(table: Credential, found: Explained) -> tuple[_Mask, Any]:
        register = data[table]
        here = day_numbers(register["valid_to"], FAR_AHEAD)
        vague = np.broadcast_to(unread(data, table, "valid_to"), len(register))
        unclear = odd[found.loaded] | vague[found.row]
        if not data.has(table, "valid_to"):
            unclear[:] = True
        same = there[found.loaded] == here[found.row]
        verdict = np.where(same, NO, YES).astype(np.int8)
        verdict[_any(found.loaded, unclear)] = UNCLEAR
        verdict[_any(found.loaded, same & ~unclear)] = NO
        ends.extend([here[found.row], np.full(len(found.crowded), FAR_AHEAD)])
        return np.ones(len(found.row), bool), verdict

    judged = _judged(data, judge)
    frame, at = _told(data, judged)
    return frame.assign(
        at_door=_dates(there[judged.loaded[at]]), in_register=_dates(np.concatenate(ends)[at])
    )


def _dates(days: _Ints) -> npt.NDArray[np.datetime64]:
    dates = days.view("datetime64[D]").astype("datetime64[s]")
    dates[days == FAR_AHEAD] = np.datetime64("NaT")
    return np.asarray(dates)


# --- what is lacking -----------------------------------------------------------------

TAKES: Final[dict[Credential, tuple[str, ...]]] = {
    "cards": ("card", "card-or-pin", "card-and-pin"),
    "pins": ("pin", "card-or-pin", "card-and-pin"),
}


def permitted(data: Dataset, table: Credential) -> tuple[_Ints, _Ints, _Mask]:
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
    doors: _Ints,
    day: int,
    at: _Ints,
    code: _Ints,
    certain: _Mask,
) -> tuple[_Ints, _Ints, _Mask]:
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
    alive = level > NONE
    at, code, certain = at[alive], code[alive], certain[alive] & (level[alive] == SURE)
    first = np.searchsorted(code, whom)
    count = np.searchsorted(code, whom, "right") - first
    member = spans(first, count)
    return at[member], np.repeat(where, count), np.repeat(how, count) & certain[member]


def _bound_pairs(data: Dataset, wanted: _Mask, day_of: _Ints) -> tuple[_Ints, _Ints, _Mask]:
    # an administrator's code belongs to a panel and opens nothing
    admin = data["pins"]["kind"].eq("admin").fillna(False).to_numpy(bool)
    bound = np.where(admin[:, None], -1, _bound_door(data))
    row, side = np.nonzero(bound >= 0)
    door = bound[row, side]
    row, door = row[wanted[door]], door[wanted[door]]
    level = valid_levels(data, "pins", row, day_of[door], from_issue=True)
    return row[level > NONE], door[level > NONE], (level == SURE)[level > NONE]


def lacking(data: Dataset) -> pd.DataFrame:
    """Credentials that should be at the doors that were read back: are they?

    A row a door and card or pin. Columns: those, `fails` (nullable), `sources`. Where there is
    neither a card nor a PIN register, one row without subject says that it is unclear.
    """
    if not data.has("cards") and not data.has("pins"):
        return pd.DataFrame({"door": [None], "fails": pd.array([pd.NA], dtype="boolean")})
    frames = []
    others: dict[Credential, str] = {"cards": "pin", "pins": "card"}
    for table, other in others.items():
        row, door, verdict = _lacking(data, table)
        ids, labels = data[table][ROW_ID[table]], data[table].index.to_numpy()
        at, sources = gravest(verdict, labels[row], table, _same(ids)[row], door)
        frames.append(
            pd.DataFrame(
                {
                    "door": by_id(data, "doors").index.array.take(door[at]),
                    table[:-1]: taken(ids, row[at]),
                    other: texts([None] * len(at)),
                    "fails": nullable(verdict[at]),
                    "sources": sources,
                }
            )
        )
    some = [frame for frame in frames if len(frame)] or frames[:1]
    return some[0] if len(some) == 1 else pd.concat(some, ignore_index=True)


def _lacking(data: Dataset, table: Credential) -> tuple[_Ints, _Ints, npt.NDArray[np.int8]]:
    """(row, place of door, verdict) of every credential that should be there."""
    back = read_back(data)
    row, door, sure = permitted(data, table)
    held = _held(back, back.match(table), row, door)
    verdict = np.where(held, NO, YES).astype(np.int8)
    verdict[~held & (~sure | _unreadable(data, table, row, door))] = UNCLEAR
    return row, door, verdict


def _held(back: ReadBack, match: Match, row: _Ints, door: _Ints) -> _Mask:
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


def _unreadable(data: Dataset, table: Credential, row: _Ints, door: _Ints) -> _Mask:
    """Credentials of which the read-back could hold an unrecognised copy at that door."""
    back, rows = read_back(data), data["loaded"]
    if table == "cards":
        unread_number = ~given(card_numbers.register(data)["canonical"])
        odd = back.cards.states() == UNCLEAR
        if odd.any():
            unread_number |= places(back.card_texts[odd], data["cards"]["number"]) >= 0
        return unread_number[row]
    digits = np.zeros(len(by_id(data, "doors")) + 1, bool)
    hidden = word_codes(rows["number"], (NOT_SHOWN,)) == 0
    digits[back.place[back.door[hidden]]] = True
    return ~given(data["pins"]["secret"])[row] & digits[door]
