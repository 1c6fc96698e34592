"""What the controllers hold, against what the register says they should.

Every row that was read back is judged as of the day it was read (blank: the as-of day), every
door as of its latest reading. A permission at a door is looked up by holder and target in
sorted arrays; whoever holds it, the day decides. Two answers are kept side by side, sure and
possible, so that an unreadable cell makes a verdict unclear and never good or bad.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
import numpy.typing as npt
import pandas as pd

from audit.contract import TEXT, Dataset
from audit.trade import card_numbers
from audit.trade.lines import named
from audit.trade.matching import (
    NOT_SHOWN,
    UNCLEAR,
    YES,
    Match,
    cards_named,
    gravest,
    pins_named,
)
from audit.trade.reach import ROLES, groups
from audit.trade.standing import by_id, lookup

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
    return np.where(dates.isna().to_numpy(bool), blank, days)


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

    holders: dict[str, pd.Index]
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


def rights(data: Dataset) -> Rights:
    """Every permission of the table, whatever its dates, computed once a dataset."""
    return data.once(_rights)


def _rights(data: Dataset) -> Rights:
    table = data["permissions"]
    doors = by_id(data, "doors").index
    n = len(doors)
    flat = groups(data)
    names = pd.Index(pd.unique(table["door_group"].dropna()), dtype=TEXT)
    members, certain = [], []
    for code, name in enumerate(names):
        members.append(code * n + _places_of(flat.possible.get(name, 0), n))
        certain.append(code * n + _places_of(flat.sure.get(name, 0), n))
    nothing = np.empty(0, np.int64)
    pairs, pairs_sure = np.concatenate([nothing, *members]), np.concatenate([nothing, *certain])

    first = day_numbers(table["valid_from"], LONG_AGO)
    last = day_numbers(table["valid_to"], FAR_AHEAD)
    vague = data.unread("permissions", "valid_from") | data.unread("permissions", "valid_to")
    readable = ~vague.to_numpy(bool)
    kept = bool(table["applied_on"].notna().any() or data.unread("permissions", "applied_on").any())
    applied = day_numbers(table["applied_on"], FAR_AHEAD if kept else LONG_AGO)
    unsent = data.unread("permissions", "applied_on").to_numpy(bool)
    applied = np.where(unsent, LONG_AGO, applied)

    holders: dict[str, pd.Index] = {}
    base: dict[str, int] = {}
    columns: list[list[_Ints]] = [[] for _ in range(7)]
    total = 0
    kind, holder = table["holder_kind"], table["holder_id"]
    unknown_kind = kind.isna().to_numpy(bool)
    at_door = pd.Index(doors).get_indexer(pd.Index(table["door_id"]))
    at_door[table["door_id"].isna().to_numpy(bool)] = -1
    at_group = names.get_indexer(pd.Index(table["door_group"]))
    for word in ("person", "card", "pin", "dwelling", "role"):
        mine = (kind == word).fillna(True).to_numpy(bool)
        rows = np.flatnonzero(mine)
        codes, ids = pd.factorize(holder.iloc[rows])
        holders[word], base[word] = pd.Index(ids), total
        for place, shift in ((at_door, 0), (at_group, n)):
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


def _places_of(bits: int, n: int) -> _Ints:
    raw = np.frombuffer(bits.to_bytes(-(-n // 8) or 1, "little"), np.uint8)
    return np.flatnonzero(np.unpackbits(raw, bitorder="little", count=n)).astype(np.int64)


def keys(data: Dataset, table: Credential) -> tuple[_Ints, _Ints, _Mask]:
    """Under which holders each card or PIN may have permissions: (row, holder code, sure).

    Itself; its person, that person's role and, of a resident, their dwelling; and of a
    credential that no person holds, its dwelling, as its residents'. A person whose role is
    not known may have any, surely none.
    """
    return data.once(_KEYS[table])


def _keys_of(table: Credential) -> Callable[[Dataset], tuple[_Ints, _Ints, _Mask]]:
    def found(data: Dataset) -> tuple[_Ints, _Ints, _Mask]:
        right, rows = rights(data), data[table]
        own = rows["card_id" if table == "cards" else "pin_id"]
        person = rows["person_id"]
        alone = person.isna()
        role = lookup(data, "people", person, "role").mask(alone, "resident")
        home = lookup(data, "people", person, "dwelling_id")
        resident = (role == "resident").fillna(True)
        home = home.where(resident).mask(alone, rows["dwelling_id"])
        known = role.notna().to_numpy(bool)
        parts: list[tuple[_Ints, _Ints, _Mask]] = []

        def add(word: str, ids: pd.Series, sure: _Mask) -> None:
            code = right.holders[word].get_indexer(pd.Index(ids))
            at = np.flatnonzero((code >= 0) & ids.notna().to_numpy(bool))
            parts.append((at, code[at] + right.base[word], sure[at]))

        yes = np.ones(len(rows), bool)
        add("card" if table == "cards" else "pin", own, yes)
        add("person", person, yes)
        add("dwelling", home, known)
        add("role", role, known)
        if not known.all():
            for word in ROLES:
                add("role", pd.Series(word, index=rows.index, dtype=TEXT).mask(known), ~yes)
        at, code, sure = (np.concatenate([p[i] for p in parts]) for i in range(3))
        return at.astype(np.int64), code.astype(np.int64), sure.astype(bool)

    return found


_KEYS: dict[Credential, Callable[[Dataset], tuple[_Ints, _Ints, _Mask]]] = {
    "cards": _keys_of("cards"),
    "pins": _keys_of("pins"),
}


def permission_at(data: Dataset, table: Credential, row: _Ints, door: _Ints, day: _Ints) -> _Ints:
    """Whether each credential has a permission at the door on the day: NONE, PERHAPS, SURE.

    `row` is a position in the table, `door` one in `by_id(data, "doors")`, `day` counts from
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
    pins = data["pins"]
    doors = by_id(data, "doors").index
    through = lookup(data, "stations", pins["station_id"], "door_id")
    return np.stack([doors.get_indexer(pd.Index(d)) for d in (pins["door_id"], through)], axis=1)


# --- holders and credentials on a day ------------------------------------------------


def departed_on(data: Dataset, person: pd.Series, day: _Ints) -> pd.Series:
    """Whether each person had departed before the day (nullable; NA: unknown person, no date).

    By the last day and the grace; whoever is marked as departed has no grace, and had
    departed by the as-of day at the latest, on a day that may not be given.
    """
    people = by_id(data, "people")
    at = people.index.get_indexer(pd.Index(person))
    at[person.isna().to_numpy(bool)] = -1
    marked = people["status"].eq("departed").fillna(False).to_numpy(bool)
    end = day_numbers(people["end_date"], FAR_AHEAD)
    labels = people["_label"]
    vague = data.unread("people", "end_date").loc[labels].to_numpy(bool)
    unsaid = data.unread("people", "status").loc[labels].to_numpy(bool)
    if not data.has("people", "end_date"):
        unsaid = people["status"].isna().to_numpy(bool)  # "from the dates", and there are none
    if not len(people):
        return pd.Series(pd.NA, index=person.index, dtype="boolean")
    today = _today(data)
    grace = np.where(marked, 0, data.policy.departure_grace_days)
    gone = end[at] + grace[at] < day
    gone |= marked[at] & (day >= today)
    silent = marked & (end == FAR_AHEAD)
    unclear = (at < 0) | (~gone & (silent | vague | unsaid)[at])
    return pd.Series(gone, index=person.index).astype("boolean").mask(unclear)


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
    issued = "issued_on" if table == "cards" else "set_on"
    begin = frame["valid_from"]
    vague = data.unread(table, "valid_from") | data.unread(table, "valid_to")
    if from_issue:
        lacking = begin.isna() & ~data.unread(table, "valid_from")
        vague |= lacking & data.unread(table, issued)
        begin = begin.fillna(frame[issued].where(lacking))
    inside = (day_numbers(begin, LONG_AGO)[row] <= day) & (
        day <= day_numbers(frame["valid_to"], FAR_AHEAD)[row]
    )
    status = frame["status"]
    active = status.eq("active").fillna(True).to_numpy(bool)[row]
    sure = status.notna().to_numpy(bool)[row] & ~vague.to_numpy(bool)[row]
    return np.where(active & inside, np.where(sure, SURE, PERHAPS), NONE).astype(np.int64)


# --- what was read back --------------------------------------------------------------


@dataclass(frozen=True)
class ReadBack:
    """The loaded table as numbers: each row's door, its day, and what it names.

    `door` is a place in `doors`, the doors of the table in order of appearance; `day` counts
    from 1970; `dated` is False where the day can't be read.
    """

    door: _Ints
    doors: pd.Index
    day: _Ints
    dated: _Mask
    cards: Match
    pins: Match
    card_texts: pd.Series


def read_back(data: Dataset) -> ReadBack:
    """The rows that were read back, coded once."""
    return data.once(_read_back)


def _read_back(data: Dataset) -> ReadBack:
    rows = data["loaded"]
    door, doors = pd.factorize(rows["door_id"])
    kind = rows["credential_kind"]
    unsaid = kind.isna()
    # a row that does not say what it is may be either
    texts = (
        rows["number"]
        .where((kind == "card") | unsaid)
        .mask(unsaid & (rows["number"] == NOT_SHOWN), rows["secret"])
    )
    numbers = card_numbers.loaded(data)
    if unsaid.any():
        numbers = numbers.fillna(
            card_numbers.canonical(texts[unsaid])["canonical"].reindex(rows.index)
        )
    key = numbers.fillna("? " + texts)
    code, distinct = pd.factorize(key)
    of_code = pd.Series(distinct, dtype=TEXT)
    cards = cards_named(
        data, code.astype(np.int64), of_code.mask(of_code.str.startswith("? ")), texts
    )
    is_pin = (kind == "pin").fillna(True)
    pins = pins_named(data, rows["number"].where(is_pin), rows["secret"].where(is_pin))
    return ReadBack(
        door.astype(np.int64),
        pd.Index(doors),
        day_numbers(rows["read_on"], _today(data)),
        ~data.unread("loaded", "read_on").to_numpy(bool),
        cards,
        pins,
        texts,
    )


def unexplained(data: Dataset) -> pd.DataFrame:
    """Every credential that was read back, by door and number: does the register explain it?

    Columns: `door`, `number`, `fails` (nullable), `sources`. A PIN that no row explains is
    NOT_SHOWN, one that a row explains goes by its id.
    """
    back, rows = read_back(data), data["loaded"]
    states = []
    for found in (back.cards, back.pins):
        states.append(found.states())
    named = (back.cards.code >= 0) | (back.pins.code >= 0)
    yes = (states[0] == YES) | (states[1] == YES)
    unclear = ~named | ((states[0] == UNCLEAR) | (states[1] == UNCLEAR))
    fails = pd.array(~yes, dtype="boolean")
    fails[~yes & unclear] = pd.NA
    label = rows["number"].mask((back.pins.code >= 0) & (back.cards.code < 0) & ~yes, NOT_SHOWN)
    told = np.flatnonzero((states[1] == YES) & (label == NOT_SHOWN).fillna(False).to_numpy(bool))
    if told.size:
        pin = np.zeros(back.pins.size, np.int64)
        pin[back.pins.of[::-1]] = back.pins.row[::-1]
        ids = data["pins"]["pin_id"].iloc[pin[back.pins.code[told]]]
        label = label.mask(
            pd.Series(np.isin(np.arange(len(label)), told), index=label.index),
            pd.Series(ids.array, index=label.index[told]).reindex(label.index),
        )
    code = np.where(back.cards.code >= 0, back.cards.code, -1)
    if (code >= 0).any():
        # a number written in two ways is one: the first in order of letters names it
        first = label.where(code >= 0).groupby(code).min()
        label = label.mask(code >= 0, pd.Series(code, index=label.index).map(first).astype(TEXT))
    frame = pd.DataFrame(
        {
            "door": rows["door_id"],
            "number": label,
            "fails": pd.Series(fails, index=rows.index),
            "label": rows.index,
        }
    )
    return gravest(frame, "loaded", ["door", "number"])


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
        back = read_back(data)
        match = back.cards if table == "cards" else back.pins
        seen = np.flatnonzero(match.code >= 0)
        if not data.has(table):
            nothing = np.zeros(0, np.int64)
            return Explained(nothing, nothing, seen)
        active = (data[table]["status"] == "active").fillna(True).to_numpy(bool)
        some = np.zeros(match.size, bool)
        some[match.of[active[match.row]]] = True
        speaks = active[match.row] | ~some[match.of]
        row, of = match.row[speaks], match.of[speaks]
        order = np.lexsort((row, of))
        row, of = row[order], of[order]
        first = np.searchsorted(of, match.code[seen])
        count = np.searchsorted(of, match.code[seen], "right") - first
        crowded = seen[count > MANY]
        few = count <= MANY
        seen, first, count = seen[few], first[few], count[few]
        at = np.repeat(seen, count)
        return Explained(at, row[spans(first, count)], crowded)

    return found


_EXPLAINED: dict[Credential, Callable[[Dataset], Explained]] = {
    "cards": _explained_of("cards"),
    "pins": _explained_of("pins"),
}


def _frame(data: Dataset, table: Credential, found: Explained, **columns: object) -> pd.DataFrame:
    """A row a pair with its subjects; the crowded ones follow, unclear and without holder."""
    loaded = data["loaded"]
    key = "card" if table == "cards" else "pin"
    frame = pd.DataFrame(
        {
            "door": loaded["door_id"].iloc[found.loaded].array,
            key: data[table]["card_id" if table == "cards" else "pin_id"].iloc[found.row].array,
            "label": loaded.index[found.loaded],
            **columns,
        }
    )
    if len(found.crowded):
        more = pd.DataFrame(
            {
                "door": loaded["door_id"].iloc[found.crowded].array,
                "label": loaded.index[found.crowded],
                "fails": pd.array([pd.NA] * len(found.crowded), dtype="boolean"),
            }
        )
        frame = pd.concat([frame, more], ignore_index=True)
    return frame


def _holders_gone(data: Dataset, table: Credential, found: Explained) -> pd.Series:
    back = read_back(data)
    person = data[table]["person_id"].iloc[found.row].reset_index(drop=True)
    gone = departed_on(data, person, back.day[found.loaded])
    gone = gone.mask(~pd.Series(back.dated[found.loaded]))
    return gone.mask(person.isna(), False)


def held_by_departed(data: Dataset, table: Credential) -> pd.DataFrame:
    """What was read back and a person holds: had they departed by then?

    A row a door, card or pin, and person. Columns: those, `fails` (nullable; False too where
    another row explains it whose holder had not departed), `read_on`, `sources`.
    """
    found, back = explained(data, table), read_back(data)
    gone = _holders_gone(data, table, found)
    person = data[table]["person_id"].iloc[found.row]
    rightful, perhaps = (
        _any(found.loaded, gone.eq(False).fillna(False)),
        _any(found.loaded, gone.isna()),
    )
    fails = gone.mask(gone.fillna(True) & perhaps).mask(gone.fillna(True) & rightful, False)
    frame = _frame(
        data, table, found, person=person.array, fails=fails.array, read_on=_dates(back, found)
    )
    frame = frame[frame["person"].notna() | (frame.index >= len(found.row))]
    key = "card" if table == "cards" else "pin"
    return gravest(frame, "loaded", ["door", key, "person"])


def without_right(data: Dataset, table: Credential) -> pd.DataFrame:
    """What was read back of holders who had not departed: is it live, with a permission there?

    A row a door and card or pin. Columns: those, `fault` (in words), `fails` (nullable; False
    too where another row explains it that is), `read_on`, `sources`.
    """
    found, back = explained(data, table), read_back(data)
    gone = _holders_gone(data, table, found)
    places = by_id(data, "doors").index.get_indexer(back.doors)
    door, day = places[back.door[found.loaded]], back.day[found.loaded]
    live = valid_levels(data, table, found.row, day)
    permitted = permission_at(data, table, found.row, door, day)
    level = np.minimum(live, permitted)
    level = np.where(back.dated[found.loaded], level, PERHAPS)
    right = pd.Series(level == SURE) & gone.eq(False).fillna(False)
    maybe = pd.Series(level > NONE) & ~gone.fillna(False)
    bad = pd.Series(pd.array(level == NONE, dtype="boolean"))
    fails = bad.mask(gone.isna() | _any(found.loaded, maybe)).mask(_any(found.loaded, right), False)
    faults = {
        "it is not live": pd.Series(live == NONE),
        "its holder has no permission there": pd.Series(permitted == NONE),
    }
    frame = _frame(
        data,
        table,
        found,
        fails=fails.array,
        fault=named(faults).array,
        read_on=_dates(back, found),
    )
    departed = gone.fillna(False).reindex(range(len(frame)), fill_value=False)
    key = "card" if table == "cards" else "pin"
    return gravest(frame[~departed.to_numpy(bool)], "loaded", ["door", key])


def validity_differs(data: Dataset, table: Credential) -> pd.DataFrame:
    """What was read back: is the end of validity the register's? A blank end is an open one.

    A row a door and card or pin. Columns: those, `fails`, `at_door`, `in_register` (dates),
    `sources`.
    """
    found = explained(data, table)
    loaded, register = data["loaded"], data[table]
    there = loaded["valid_to"].iloc[found.loaded].reset_index(drop=True)
    here = register["valid_to"].iloc[found.row].reset_index(drop=True)
    same = (there == here) | (there.isna() & here.isna())
    unclear = pd.Series(
        data.unread("loaded", "valid_to").to_numpy(bool)[found.loaded]
        | data.unread(table, "valid_to").to_numpy(bool)[found.row]
    )
    if not data.has(table, "valid_to"):
        unclear[:] = True
    fails = (~same).astype("boolean")
    fails = fails.mask(_any(found.loaded, unclear)).mask(_any(found.loaded, same & ~unclear), False)
    frame = _frame(
        data, table, found, fails=fails.array, at_door=there.array, in_register=here.array
    )
    key = "card" if table == "cards" else "pin"
    return gravest(frame, "loaded", ["door", key])


def _any(group: _Ints, mask: pd.Series) -> pd.Series:
    """Whether the mask holds anywhere in each row's group."""
    held = np.zeros(int(group.max(initial=-1)) + 1, bool)
    held[group[mask.to_numpy(bool)]] = True
    return pd.Series(held[group])


def _dates(back: ReadBack, found: Explained) -> pd.Series:
    return pd.Series(back.day[found.loaded].view("datetime64[D]").astype("datetime64[s]"))


# --- what is lacking -----------------------------------------------------------------

TAKES: Final = {
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
    places = doors.index.get_indexer(back.doors)
    read = np.full(len(back.doors), LONG_AGO)
    given = data["loaded"]["read_on"].notna().to_numpy(bool)
    np.maximum.at(read, back.door[given], back.day[given])
    read[read == LONG_AGO] = _today(data)
    doubt = np.zeros(len(doors), bool)
    doubt[places[back.door[~back.dated]]] = True
    entry = doors["entry"]
    asks = entry.isin(TAKES[table]).to_numpy(bool)
    doubt |= entry.isna().to_numpy(bool)
    wanted = np.zeros(len(doors), bool)
    real = places >= 0
    wanted[places[real]] = True
    wanted &= asks | entry.isna().to_numpy(bool)
    day_of = np.full(len(doors), LONG_AGO)
    day_of[places[real]] = read[real]
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
    if table == "pins":
        found.append(_bound_pairs(data, wanted, day_of))
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


def lacking(data: Dataset, table: Credential) -> pd.DataFrame:
    """Credentials that should be at the doors that were read back: are they?

    A row a door and card or pin. Columns: those, `fails` (nullable), `sources`. Where there is
    neither a card nor a PIN register, one row without subject says that it is unclear.
    """
    if table == "cards" and not data.has("cards") and not data.has("pins"):
        return pd.DataFrame({"door": [None], "fails": pd.array([pd.NA], dtype="boolean")})
    back = read_back(data)
    match = back.cards if table == "cards" else back.pins
    row, door, sure = permitted(data, table)
    doors = by_id(data, "doors").index
    places = doors.get_indexer(back.doors)
    seen = match.code >= 0
    width = match.size + 1
    there = np.unique(places[back.door[seen]] * width + match.code[seen])
    order = np.lexsort((match.of, match.row))
    of, whose = match.of[order], match.row[order]
    first = np.searchsorted(whose, row)
    count = np.searchsorted(whose, row, "right") - first
    ask = np.repeat(np.arange(len(row)), count)
    held = np.zeros(len(row), bool)
    held[ask[_among(there, door[ask] * width + of[spans(first, count)])]] = True
    fails = pd.array(~held, dtype="boolean")
    fails[~held & (~sure | _unreadable(data, table, row, door, places))] = pd.NA
    key = "card_id" if table == "cards" else "pin_id"
    frame = pd.DataFrame(
        {
            "door": doors[door].astype(TEXT),
            key[:-3]: data[table][key].iloc[row].array,
            "fails": fails,
            "label": data[table].index[row],
        }
    )
    return gravest(frame, table, ["door", key[:-3]])


def _unreadable(data: Dataset, table: Credential, row: _Ints, door: _Ints, places: _Ints) -> _Mask:
    """Credentials of which the read-back could hold an unrecognised copy at that door."""
    back, rows = read_back(data), data["loaded"]
    if table == "cards":
        found = back.cards
        unclear = found.states() == UNCLEAR
        mixed = data["cards"]["number"].isin(back.card_texts[unclear])
        unread = card_numbers.register(data)["canonical"].isna() | mixed
        return np.asarray(unread.to_numpy(bool)[row])
    digits = np.zeros(len(by_id(data, "doors")) + 1, bool)
    digits[places[back.door[(rows["number"] == NOT_SHOWN).fillna(False).to_numpy(bool)]]] = True
    return np.asarray(data["pins"]["secret"].isna().to_numpy(bool)[row] & digits[door])
