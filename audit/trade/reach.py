"""Who opens what and when: permissions, groups, credentials and schedules put together.

What other parts use (data.md, "reach of a person"):

- `reach(data)`            everything below, computed once a dataset
- `person_doors(data, doors)`      who reaches which of these doors, and when
- `credential_doors(data, "cards" | "pins", doors)`  at which of these doors a card or PIN works
- `codes_at_doors(data)`   the live PINs that open each door, by permission or bound to it
- `permissions.grants_of(data, person)`  why: credential, permission, path of groups, schedule
- `permissions.roll(data)` the access roll: entitled person, door group, hours, through what
- `way_home.ways_home(data)`       when each resident gets home

It thinks in classes: people with the same permissions and the same kinds of credential are
one class, and doors and hours are worked out for classes. Hours are whole numbers of
`schedules.Year`. Two answers are kept side by side, `sure` and `possible`: a status, an
entry or a schedule that is not given makes a door possible, never sure.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final, Literal, NamedTuple

import numpy as np
import numpy.typing as npt
import pandas as pd

from audit.contract import TEXT, Dataset
from audit.trade.plain import codes, given, places, word_codes
from audit.trade.schedules import Hours, Year, year
from audit.trade.standing import by_id, in_force, live, stands

Whole = npt.NDArray[np.int64]
Small = npt.NDArray[np.int8]
Flags = npt.NDArray[np.bool_]
Credential = Literal["cards", "pins"]

NONE, PERHAPS, SURE = 0, 1, 2
ROLES: Final = ("resident", "staff", "contractor", "visitor", "agent", "responder")
ENTRIES: Final = ("none", "card", "pin", "card-or-pin", "card-and-pin", "key", "closed")
ASKED: Final = ("card", "pin", "card-or-pin", "card-and-pin")
"""The entries that ask for a credential."""


# --- what other parts ask -----------------------------------------------------------------


def reach(data: Dataset) -> Reach:
    """The site's reach, computed once a dataset."""
    return data.once(_reach)


def person_doors(data: Dataset, doors: pd.Series | Flags) -> pd.DataFrame:
    """Who reaches which of these doors: columns person_id, door_id, person, door, sure, hours.

    `doors` is a boolean mask over `by_id(data, "doors")`, NA counts as no. Every person of
    the people table is judged, entitled or not, their credentials as live as they are.
    `person` and `door` are their places in `by_id(data, "people")` and `by_id(data, "doors")`.
    `sure` is False where a value that is not given decides; `hours` numbers the sets of
    hours of the answer (`attrs["sure"]`, `attrs["possible"]`). A door without an open
    minute is not reached.
    """
    r = reach(data)
    pairs = r.pairs(r.people, _mask(doors))
    start = np.searchsorted(pairs.of, np.arange(r.people.size + 1))
    classes = r.people.of[: len(r.person_ids)]
    count = start[classes + 1] - start[classes]
    at = spans(start[classes], count)
    frame = pd.DataFrame(
        {
            "person_id": r.person_ids.repeat(count).astype(TEXT),
            "door_id": r.door_ids[pairs.door[at]].astype(TEXT),
            "person": np.repeat(np.arange(len(classes)), count),
            "door": pairs.door[at],
            "sure": pairs.certain[at],
            "hours": pairs.hours[at],
        }
    )
    frame.attrs = {"sure": pairs.sure, "possible": pairs.possible}
    return frame


def credential_doors(
    data: Dataset, table: Credential, doors: pd.Series | Flags | None = None
) -> pd.DataFrame:
    """At which of these doors each card or PIN works: columns label, door_id, sure.

    `label` is the index label of the row in `data[table]`; only rows that are live, or of
    which it can't be known, are there. A card works where a permission in force is given to
    the card, its person, their role or (residents) dwelling, and the entry takes a card:
    `card`, `card-or-pin`, or `card-and-pin` where the holder has a PIN too. A PIN
    likewise; one bound to a door (`door_id`) opens that door.
    """
    r = reach(data)
    access, labels = r.credentials(table)
    mask = np.ones(len(r.door_ids), bool) if doors is None else _mask(doors)
    pairs = r.pairs(access, mask)
    start = np.searchsorted(pairs.of, np.arange(access.size + 1))
    count = start[access.of + 1] - start[access.of]
    at = spans(start[access.of], count)
    frame = pd.DataFrame(
        {
            "label": labels.repeat(count),
            "door_id": r.door_ids[pairs.door[at]].astype(TEXT),
            "sure": pairs.certain[at],
        }
    )
    if table == "pins":
        bound = r.bound[mask[r.bound["door"]]]
        own = pd.DataFrame(
            {
                "label": bound["label"],
                "door_id": r.door_ids[bound["door"]].astype(TEXT),
                "sure": bound["sure"],
            }
        )
        if len(own):
            both = pd.concat([frame, own], ignore_index=True)
            frame = both.sort_values("sure", ascending=False, kind="stable")
            frame = frame.drop_duplicates(["label", "door_id"]).sort_values(["label", "door_id"])
            frame = frame.reset_index(drop=True)
    return frame


def pins_by_door(
    data: Dataset, doors: pd.Series | Flags, others: pd.DataFrame, at_once: int = 2_000_000
) -> Iterator[tuple[Whole, Whole, Flags]]:
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


def codes_at_doors(data: Dataset) -> pd.DataFrame:
    """The live PINs valid at doors that open by PIN alone (`pin`, `card-or-pin`).

    Columns label (row of `data["pins"]`), door_id, sure: `credential_doors` for those doors.
    """
    return data.once(_codes_at_doors)


def _codes_at_doors(data: Dataset) -> pd.DataFrame:
    alone = by_id(data, "doors")["entry"].isin(["pin", "card-or-pin"])
    return credential_doors(data, "pins", alone)


def opened(data: Dataset) -> Small:
    """For each door of `by_id(data, "doors")`: NONE, PERHAPS or SURE, whether any live

    card or PIN opens it at any minute.
    """
    return data.once(_opened)


class Grant(NamedTuple):
    """One reason why a person opens doors.

    `through` says to whom the permission is given (`person P1`, `card C7`, `role staff`);
    `path` the groups from the permission to the door, outermost first.
    """

    door_id: str
    permission_id: str
    through: str
    path: tuple[str, ...]
    schedule_id: str | None
    sure: bool


# --- inside -------------------------------------------------------------------------------


class Family(NamedTuple):
    """Sets of items: `of` gives each entity's set, `start`/`items` the distinct sets (CSR).

    Set 0 is the empty set. An item is grant × 2 + 1 when sure, grant × 2 when possible.
    """

    of: Whole
    start: Whole
    items: Whole


@dataclass(frozen=True, eq=False)
class Access:
    """Classes of entities with the same items and the same kinds of credential."""

    of: Whole  # each entity's class
    card: Small  # each class: whether they have a card, NONE / PERHAPS / SURE
    pin: Small
    start: Whole
    items: Whole
    fits: Small  # entry × card × pin -> whether such a holder gets in

    @property
    def size(self) -> int:
        """The number of classes."""
        return len(self.card)


class Pairs(NamedTuple):
    """Class × door, ordered; `hours` numbers the sets `sure` and `possible`."""

    of: Whole
    door: Whole
    hours: Whole
    certain: Flags  # an open minute is sure
    sure: list[Hours]
    possible: list[Hours]


@dataclass(frozen=True, eq=False)
class Targets:
    """What permissions open: door positions of each target (CSR), and which are sure."""

    start: Whole
    doors: Whole
    sure: Flags


@dataclass(frozen=True, eq=False)
class Groups:
    """The door groups, flattened.

    `possible` and `sure` map a group to its doors as a bit set over `places` (the doors of
    the table first, then others that groups name); `circles` lists groups that contain each
    other, `perhaps_circles` those that may; `dangling` names groups that hold a group which
    is not in the table.
    """

    places: Mapping[str, int]
    possible: Mapping[str, int]
    sure: Mapping[str, int]
    circles: tuple[tuple[str, ...], ...]
    perhaps_circles: tuple[tuple[str, ...], ...]
    dangling: frozenset[str]
    members: Mapping[str, tuple[str, ...]]  # group -> groups in it
    own: Mapping[str, frozenset[str]]  # group -> door ids that stand in it


@dataclass(frozen=True, eq=False)
class Reach:
    """A site's reach. `people` classes the people of the table, then others that are named."""

    year: Year
    door_ids: pd.Index
    entry: Small  # each door: its place in ENTRIES, len(ENTRIES) where not given
    person_ids: pd.Index
    people: Access
    cards: Access
    pins: Access
    card_labels: Whole
    pin_labels: Whole
    bound: pd.DataFrame  # label, door, sure: PINs bound to a door that takes them
    grant_target: Whole
    grant_schedule: Whole
    schedules: Sequence[str | None]
    targets: Targets

    def credentials(self, table: Credential) -> tuple[Access, Whole]:
        """The classes of a table's credentials, and their row labels."""
        return (self.cards, self.card_labels) if table == "cards" else (self.pins, self.pin_labels)

    def pairs(self, access: Access, doors: Flags, classes: Whole | None = None) -> Pairs:
        """Which classes open which of the doors (a mask), and when."""
        size = np.diff(access.start)
        if classes is None:
            item_class, items = np.repeat(np.arange(access.size), size), access.items
        else:
            item_class = np.repeat(classes, size[classes])
            items = access.items[spans(access.start[classes], size[classes])]
        grant, certain = items >> 1, (items & 1).astype(bool)
        # only the doors asked for
        keep = doors[self.targets.doors]
        start = np.concatenate([[0], np.cumsum(keep)])[self.targets.start]
        target_doors, target_sure = self.targets.doors[keep], self.targets.sure[keep]
        target = self.grant_target[grant]
        count = start[target + 1] - start[target]
        at = spans(start[target], count)
        door = target_doors[at]
        of = np.repeat(item_class, count)
        level = access.fits[self.entry[door], access.card[of], access.pin[of]]
        surely = np.repeat(certain, count) & target_sure[at] & (level == SURE)
        word = np.repeat(self.grant_schedule[grant], count) * 2 + surely
        seen = level > NONE
        key = of[seen] * len(self.door_ids) + door[seen]
        distinct, entity = np.unique(key, return_inverse=True)
        sets = family(entity.reshape(-1), word[seen], len(distinct))
        each = [self.year.hours_of(s) for s in self.schedules]
        sure: list[Hours] = []
        possible: list[Hours] = []
        for a, b in zip(sets.start[:-1].tolist(), sets.start[1:].tolist(), strict=True):
            lower = upper = 0
            for w in sets.items[a:b].tolist():
                upper |= each[w >> 1][1]
                if w & 1:
                    lower |= each[w >> 1][0]
            sure.append(lower)
            possible.append(upper)
        open_at_all = np.array([h != 0 for h in possible], bool)
        real = open_at_all[sets.of]
        hours = sets.of[real]
        return Pairs(
            distinct[real] // max(len(self.door_ids), 1),
            distinct[real] % max(len(self.door_ids), 1),
            hours,
            np.array([h != 0 for h in sure], bool)[hours],
            sure,
            possible,
        )


def family(entity: Whole, item: Whole, n: int) -> Family:
    """The distinct sets of items that n entities have; rows (entity, item) in any order."""
    if not len(entity):
        return Family(np.zeros(n, np.int64), np.array([0, 0]), np.empty(0, np.int64))
    width = int(item.max()) + 1
    key = distinct(entity.astype(np.int64) * width + item)
    entity, item = key // width, key % width
    size = np.bincount(entity, minlength=n)
    start = np.concatenate([[0], np.cumsum(size)])
    # a set's hash is the sum of its items' random words: 64 bits, fixed so that runs agree
    weight = np.random.default_rng(60839).integers(1, 2**63, width, dtype=np.uint64)
    total = np.concatenate([np.zeros(1, np.uint64), np.cumsum(weight[item])])
    mark = total[start[1:]] - total[start[:-1]]
    of, first = classes(np.concatenate([np.zeros(1, np.uint64), mark]))  # the empty set first
    of, first = of[1:], np.maximum(first - 1, 0)
    chosen = size[first]
    chosen[0] = 0
    items = item[spans(start[first], chosen)]
    starts = np.concatenate([[0], np.cumsum(chosen)])
    if (size != chosen[of]).any() or (item != items[spans(starts[of], size)]).any():
        raise AssertionError("two sets of permissions share a hash")
    return Family(of, starts, items)


def classes(code: npt.NDArray[Any]) -> tuple[Whole, Whole]:
    """Each one's class, numbered as they appear, and the first member of each class."""
    of, each = pd.factorize(code)
    first = np.zeros(len(each), np.int64)
    first[of[::-1]] = np.arange(len(of))[::-1]
    return of.astype(np.int64), first


def distinct(values: Whole) -> Whole:
    """The distinct values in order; by sorting, which no pattern of values can slow down."""
    values = np.sort(values)
    return values[np.concatenate([[True], values[1:] != values[:-1]])] if len(values) else values


def spans(start: Whole, count: Whole) -> Whole:
    """The positions start, start + 1, … of each span, count of them, one after another."""
    total = int(count.sum())
    shift = np.repeat(start - np.concatenate([[0], np.cumsum(count)[:-1]]), count)
    places: Whole = np.arange(total) + shift
    return places


def _mask(doors: pd.Series | Flags) -> Flags:
    if isinstance(doors, np.ndarray):
        return doors.astype(bool)
    return doors.astype("boolean").fillna(False).to_numpy(dtype=bool)


def _tables() -> tuple[Small, Small, Small]:
    """(person, card, PIN) × entry × card level × PIN level: whether one gets in."""
    shape = (len(ENTRIES) + 1, 3, 3)
    person, card, pin = (np.zeros(shape, np.int8) for _ in range(3))
    levels = range(3)
    for c in levels:
        for p in levels:
            ways = (SURE, c, p, max(c, p), min(c, p), NONE, NONE)
            person[:, c, p] = (*ways, PERHAPS)  # an entry that is not given: perhaps
            card[:, c, p] = (NONE, c, NONE, c, min(c, p), NONE, NONE, min(c, PERHAPS))
            pin[:, c, p] = (NONE, NONE, p, p, min(c, p), NONE, NONE, min(p, PERHAPS))
    return person, card, pin


PERSON_FITS, CARD_FITS, PIN_FITS = _tables()


# --- groups -------------------------------------------------------------------------------


def groups(data: Dataset) -> Groups:
    """The door groups of the site, flattened, computed once a dataset."""
    return data.once(_groups)


def _groups(data: Dataset) -> Groups:
    rows = data["door_groups"]
    places = {d: i for i, d in enumerate(by_id(data, "doors").index) if not pd.isna(d)}
    members: dict[str, dict[str, bool]] = {}
    doors: dict[str, dict[str, bool]] = {}
    named = set(rows["door_group"].dropna())
    columns = ("door_group", "member_kind", "member_id")
    for group, kind, member in zip(*(rows[c].tolist() for c in columns), strict=True):
        if pd.isna(group):
            continue
        inner, own = members.setdefault(group, {}), doors.setdefault(group, {})
        if pd.isna(member):
            continue
        unread = pd.isna(kind)
        kind = None if unread else kind
        if (unread and member in named) or kind == "door_group":
            inner[member] = inner.get(member, False) or not unread
        if (unread and member not in named) or kind == "door":
            own[member] = own.get(member, False) or not unread
            places.setdefault(member, len(places))

    def flat(surely: bool) -> tuple[dict[str, int], list[tuple[str, ...]]]:
        bits = {
            g: sum(
                1 << places[d] for d, sure in own.items() if d in places and (sure or not surely)
            )
            for g, own in doors.items()
        }
        inside = {
            g: [m for m, sure in inner.items() if m in bits and (sure or not surely)]
            for g, inner in members.items()
        }
        circles = []
        for knot in knots(inside):  # innermost first
            total = 0
            for g in knot:
                total |= bits[g]
                for m in inside[g]:
                    total |= bits[m]
            for g in knot:
                bits[g] = total
            if len(knot) > 1 or knot[0] in inside[knot[0]]:
                circles.append(tuple(sorted(knot)))
        return bits, circles

    possible, perhaps = flat(False)
    sure, circles = flat(True)
    if not data.has("door_groups"):  # nobody knows what the groups of permissions open
        used = data["permissions"]["door_group"].dropna().unique()
        whole = (1 << len(by_id(data, "doors"))) - 1
        possible, sure = dict.fromkeys(used, whole), dict.fromkeys(used, 0)
    return Groups(
        places,
        possible,
        sure,
        tuple(sorted(circles)),
        tuple(sorted(c for c in perhaps if c not in circles)),
        frozenset(g for g, inner in members.items() if any(m not in members for m in inner)),
        {g: tuple(m for m in inner if m in members) for g, inner in members.items()},
        {g: frozenset(own) for g, own in doors.items()},
    )


def knots(inside: Mapping[str, Sequence[str]]) -> list[list[str]]:
    """The strongly connected parts of a graph, each after those it points to.

    Tarjan 1972, without recursion: a chain of groups may be thousands deep.
    """
    number: dict[str, int] = {}
    low: dict[str, int] = {}
    held: dict[str, None] = {}
    found: list[list[str]] = []
    for root in inside:
        if root in number:
            continue
        number[root] = low[root] = len(number)
        held[root] = None
        work = [(root, iter(inside[root]))]
        while work:
            at, rest = work[-1]
            for to in rest:
                if to not in number:
                    number[to] = low[to] = len(number)
                    held[to] = None
                    work.append((to, iter(inside[to])))
                    break
                if to in held:
                    low[at] = min(low[at], number[to])
            else:
                work.pop()
                if work:
                    low[work[-1][0]] = min(low[work[-1][0]], low[at])
                if low[at] == number[at]:
                    knot = []
                    while True:
                        member, _ = held.popitem()
                        knot.append(member)
                        if member == at:
                            break
                    found.append(knot)
    return found


def path_to(data: Dataset, group: str, door: str) -> tuple[str, ...]:
    """The shortest path of groups from `group` to one that holds the door; empty: none."""
    g = groups(data)
    before: dict[str, str | None] = {group: None}
    layer = [group] if group in g.members else []
    while layer:
        for at in layer:
            if door in g.own[at]:
                path = []
                step: str | None = at
                while step is not None:
                    path.append(step)
                    step = before[step]
                return tuple(reversed(path))
        after = []
        for at in layer:
            for to in g.members[at]:
                if to not in before:
                    before[to] = at
                    after.append(to)
        layer = after
    return ()


# --- building -----------------------------------------------------------------------------


def bits_to_places(bits: int, n: int) -> Whole:
    """The positions below n of the bits that are set."""
    bits &= (1 << n) - 1  # doors that are not in the table stand beyond it
    raw = np.frombuffer(bits.to_bytes(-(-n // 8) or 1, "little"), np.uint8)
    return np.flatnonzero(np.unpackbits(raw, bitorder="little", count=n)).astype(np.int64)


def _targets(data: Dataset, names: Sequence[tuple[str, str]], door_ids: pd.Index) -> Targets:
    """The doors of each target, named (`door_group` or `door_id`, id)."""
    flat = groups(data) if any(k == "door_group" for k, _ in names) else None
    places = {d: i for i, d in enumerate(door_ids) if not pd.isna(d)}
    n = len(door_ids)
    doors, sure, count = [], [], []
    for kind, name in names:
        if kind == "door_id":
            own = np.array([places[name]] if name in places else [], np.int64)
            certain = np.ones(len(own), bool)
        else:
            assert flat is not None
            possible, surely = flat.possible.get(name, 0), flat.sure.get(name, 0)
            own = bits_to_places(possible | surely, n)
            certain = (
                np.ones(len(own), bool)
                if possible == surely
                else np.isin(own, bits_to_places(surely, n))
            )
        doors.append(own)
        sure.append(certain)
        count.append(len(own))
    empty = np.empty(0, np.int64)
    return Targets(
        np.concatenate([[0], np.cumsum(np.array(count, np.int64))]).astype(np.int64),
        np.concatenate([empty, *doors]),
        np.concatenate([np.empty(0, bool), *sure]),
    )


def _codes(values: pd.Series, words: Sequence[str]) -> Small:
    """Each word's place in `words`, len(words) for NA."""
    at = word_codes(values, tuple(words))
    return np.where(at < 0, len(words), at).astype(np.int8)


class _Held(NamedTuple):
    """The credentials of one table that may be live: whose they are."""

    label: Whole
    id: pd.Series
    level: Small  # PERHAPS or SURE
    person: Whole  # entity among the people, -1: none
    dwelling: Whole  # place among the dwellings, of those held by no person; -1: none


class _Roster(NamedTuple):
    """Names that have a number: those of a table, then others that only references give."""

    known: pd.Index
    others: pd.Index

    @property
    def size(self) -> int:
        return len(self.known) + len(self.others)

    def places(self, ids: pd.Series, at: Whole | None = None) -> Whole:
        """The number of each id, -1 for none; `at`: their places among the known, if at hand."""
        at = places(self.known, ids) if at is None else at
        lost = np.flatnonzero((at < 0) & given(ids)) if len(self.others) else at[:0]
        if len(lost):
            other = places(self.others, ids.iloc[lost])
            at = at.copy()
            at[lost] = np.where(other < 0, -1, len(self.known) + other)
        return at


def _roster(known: pd.Index, *references: tuple[pd.Series, Whole]) -> _Roster:
    """The known names and those that these references (ids, places among the known) add."""
    lost = [ids.iloc[np.flatnonzero((at < 0) & given(ids))] for ids, at in references]
    return _Roster(known, pd.Index(pd.concat(lost).unique(), dtype=TEXT))


def _held(
    data: Dataset, table: Credential, people: _Roster, dwellings: _Roster, homes: Whole
) -> _Held:
    rows = data[table]
    state = live(data, table)
    at = np.flatnonzero(state.fillna(True).to_numpy(dtype=bool))
    level = np.where(state.fillna(False).to_numpy(dtype=bool)[at], SURE, PERHAPS)
    person = people.places(rows["person_id"], stands(data, table, "person_id", "people"))[at]
    dwelling = dwellings.places(rows["dwelling_id"], homes)[at]
    return _Held(
        rows.index.to_numpy(dtype=np.int64)[at],
        rows["card_id" if table == "cards" else "pin_id"].iloc[at],
        level.astype(np.int8),
        person,
        np.where(person < 0, dwelling, -1),
    )


_KINDS: Final = ("person", "card", "pin", "role", "dwelling")
_GRANTS: Final = ("holder_kind", "holder_id", "door_group", "door_id", "schedule_id")


def _reach(data: Dataset) -> Reach:
    doors = by_id(data, "doors")
    entry = _codes(doors["entry"], ENTRIES)
    table = by_id(data, "people")
    force = in_force(data)
    may = force.fillna(True).to_numpy(dtype=bool)
    permissions = data["permissions"][[*_GRANTS]]
    permissions = permissions if may.all() else permissions[may]
    certain = force.fillna(False).to_numpy(dtype=bool)[may]
    kind = word_codes(permissions["holder_kind"], _KINDS)
    holder = permissions["holder_id"]
    asked = {word: np.flatnonzero((kind == at) | (kind < 0)) for at, word in enumerate(_KINDS)}

    # people of the table first, then others that something names; dwellings likewise
    owned = {name: data[name][["person_id", "dwelling_id"]] for name in ("cards", "pins")}
    to_people = [
        (owned[name]["person_id"], stands(data, name, "person_id", "people")) for name in owned
    ]
    live_in, lodged = codes(table["dwelling_id"])
    to_homes = {n: (c["dwelling_id"], places(lodged, c["dwelling_id"])) for n, c in owned.items()}

    def named(word: str, known: pd.Index) -> tuple[pd.Series, Whole]:
        ids = holder.iloc[np.flatnonzero(kind == _KINDS.index(word))]
        return ids, places(known, ids)

    people = _roster(table.index, *to_people, named("person", table.index))
    dwellings = _roster(lodged, *to_homes.values(), named("dwelling", lodged))
    n = people.size
    lives = np.append(live_in, np.full(n - len(table), -1))
    role = np.concatenate(
        [_codes(table["role"], ROLES), np.full(n - len(table), len(ROLES), np.int8)]
    ).astype(np.int64)
    cards = _held(data, "cards", people, dwellings, to_homes["cards"][1])
    pins = _held(data, "pins", people, dwellings, to_homes["pins"][1])

    # one grant: a target at a schedule
    numbers: dict[tuple[str, str, str | None], int] = {}
    names: dict[tuple[str, str], int] = {}
    schedules: dict[str | None, int] = {}
    rows_of, grants = [], []
    coded, levels = pd.factorize(permissions["schedule_id"])
    for column in ("door_group", "door_id"):
        target, ids = pd.factorize(permissions[column])
        at = np.flatnonzero(target >= 0)
        key = target[at].astype(np.int64) * (len(levels) + 1) + coded[at] + 1
        kept, inverse = np.unique(key, return_inverse=True)
        number = np.empty(len(kept), np.int64)
        for i, k in enumerate(kept.tolist()):
            t, s = divmod(k, len(levels) + 1)
            schedule = None if s == 0 else str(levels[s - 1])
            schedules.setdefault(schedule, len(schedules))
            names.setdefault((column, str(ids[t])), len(names))
            number[i] = numbers.setdefault((column, str(ids[t]), schedule), len(numbers))
        rows_of.append(at)
        grants.append(number[inverse.reshape(-1)])
    at = np.concatenate(rows_of)
    grant = np.concatenate(grants)
    item = grant * 2 + certain[at]

    item = np.where(kind[at] < 0, item & ~1, item)  # a kind that can't be read may be any

    def to(word: str, known: Callable[[pd.Series], Whole]) -> tuple[Whole, Whole]:
        """(entity, item) of the permissions given to this kind of holder."""
        entity = np.full(len(holder), -1)
        entity[asked[word]] = known(holder.iloc[asked[word]])
        chosen = entity[at] >= 0
        return entity[at][chosen], item[chosen]

    to_person = to("person", people.places)
    to_dwelling = to("dwelling", dwellings.places)
    to_role = to("role", lambda ids: word_codes(ids, ROLES))
    to_card = to("card", lambda ids: places(cards.id, ids))
    to_pin = to("pin", lambda ids: places(pins.id, ids))

    # what a credential opens, its holder opens with it
    own_person, own_dwelling = [to_person], [to_dwelling]
    for held, (which, items) in ((cards, to_card), (pins, to_pin)):
        weak = np.where(held.level[which] == SURE, items, items & ~1)
        for owner, into in ((held.person, own_person), (held.dwelling, own_dwelling)):
            mine = owner[which] >= 0
            into.append((owner[which][mine], weak[mine]))
    person_sets = family(*_joined(own_person), n)
    dwelling_sets = family(*_joined(own_dwelling), dwellings.size + 1)
    # a role that can't be read may be any
    anyone = (np.full(len(to_role[1]), len(ROLES)), to_role[1] & ~1)
    role_sets = family(*_joined([to_role, anyone]), len(ROLES) + 1)

    resident = role == 0
    unclear = role == len(ROLES)
    homes = np.where((resident | unclear) & (lives >= 0), lives, dwellings.size)
    person_card = _level(cards, n, lives, dwellings.size, data.has("cards"))
    person_pin = _level(pins, n, lives, dwellings.size, data.has("pins"))
    access = _access(
        [
            (person_sets, np.arange(n), np.ones(n, bool)),
            (dwelling_sets, homes, ~unclear),
            (role_sets, role, np.ones(n, bool)),
        ],
        person_card,
        person_pin,
        PERSON_FITS,
    )

    # a credential by itself: its own permissions, its person's, their role's and dwelling's
    self_sets = family(*to_person, n + 1)
    home_sets = family(*to_dwelling, dwellings.size + 1)
    levels_of = {
        "cards": np.append(person_card, NONE if data.has("cards") else PERHAPS).astype(np.int8),
        "pins": np.append(person_pin, NONE if data.has("pins") else PERHAPS).astype(np.int8),
    }
    # beside a dwelling's own credential stands whatever its people carry
    flat_level = {}
    for name, held, own in (("cards", cards, person_card), ("pins", pins, person_pin)):
        flat = _flat_level(held, dwellings.size, data.has(name))
        np.maximum.at(flat, lives[lives >= 0], own[lives >= 0])
        flat_level[name] = np.append(flat, NONE)

    def credential(held: _Held, sets: Family, which: Credential) -> Access:
        other: Credential = "pins" if which == "cards" else "cards"
        whose = np.where(held.person >= 0, held.person, n)
        lodging = np.where(
            held.dwelling >= 0, held.dwelling, np.append(homes, dwellings.size)[whose]
        )
        # a dwelling's own credential serves its residents
        as_role = np.where(held.dwelling >= 0, 0, np.append(role, -1)[whose])
        of_role = np.where(as_role >= 0, as_role, len(ROLES) + 1)
        beside = np.where(
            held.dwelling >= 0, flat_level[other][held.dwelling], levels_of[other][whose]
        ).astype(np.int8)
        yes = np.ones(len(whose), bool)
        no_role = Family(
            np.append(role_sets.of, 0),
            role_sets.start,
            role_sets.items,
        )
        parts = [
            (sets, np.arange(len(whose)), yes),
            (self_sets, whose, yes),
            (home_sets, lodging, (as_role != len(ROLES)) | (held.dwelling >= 0)),
            (no_role, of_role, yes),
        ]
        if which == "cards":
            return _access(parts, held.level, beside, CARD_FITS)
        return _access(parts, beside, held.level, PIN_FITS)

    card_access = credential(cards, family(*to_card, len(cards.label)), "cards")
    pin_access = credential(pins, family(*to_pin, len(pins.label)), "pins")

    target_names = list(names)
    grant_names = list(numbers)
    door_of = places(doors.index, data["pins"]["door_id"])[pins.label]
    takes = PIN_FITS[
        np.append(entry, len(ENTRIES))[door_of], pin_access.card[pin_access.of], pins.level
    ]
    tied = (door_of >= 0) & (takes > NONE)
    bound = pd.DataFrame(
        {"label": pins.label[tied], "door": door_of[tied], "sure": takes[tied] == SURE}
    )
    return Reach(
        year(data),
        doors.index,
        entry,
        table.index,
        access,
        card_access,
        pin_access,
        cards.label,
        pins.label,
        bound,
        np.array([names[(k, t)] for k, t, _ in grant_names], np.int64),
        np.array([schedules[s] for _, _, s in grant_names], np.int64),
        list(schedules),
        _targets(data, target_names, doors.index),
    )


def _joined(parts: Sequence[tuple[Whole, Whole]]) -> tuple[Whole, Whole]:
    return np.concatenate([a for a, _ in parts]), np.concatenate([b for _, b in parts])


def _level(held: _Held, n: int, lives: Whole, dwellings: int, given: bool) -> Small:
    """Whether each person has such a credential, their own or their dwelling's."""
    own = np.full(n, NONE if given else PERHAPS, np.int8)
    mine = held.person >= 0
    np.maximum.at(own, held.person[mine], held.level[mine])
    home = np.append(_flat_level(held, dwellings, given), NONE)
    return np.maximum(own, np.where(lives >= 0, home[lives], NONE)).astype(np.int8)


def _flat_level(held: _Held, dwellings: int, given: bool) -> Small:
    home = np.full(dwellings, NONE if given else PERHAPS, np.int8)
    theirs = held.dwelling >= 0
    np.maximum.at(home, held.dwelling[theirs], held.level[theirs])
    return home


def _access(
    parts: Sequence[tuple[Family, Whole, Flags]], card: Small, pin: Small, fits: Small
) -> Access:
    """Classes of entities: parts are (sets, the entity each one's set belongs to, sure)."""
    code = card.astype(np.int64) * 3 + pin
    columns = []
    for sets, entity, sure in parts:
        number = sets.of[entity] * 2 + sure
        columns.append(number)
        code = classes(code)[0] * (2 * len(sets.start)) + number
    of, first = classes(code)
    whose, items = [], []
    for (sets, _, _), column in zip(parts, columns, strict=True):
        number = column[first]
        size = np.diff(sets.start)[number >> 1]
        taken = sets.items[spans(sets.start[number >> 1], size)]
        items.append(np.where(np.repeat((number & 1).astype(bool), size), taken, taken & ~1))
        whose.append(np.repeat(np.arange(len(first)), size))
    every = np.concatenate(items)
    width = int(every.max()) + 1 if len(every) else 1
    key = distinct(np.concatenate(whose) * width + every)
    return Access(
        of,
        card[first],
        pin[first],
        np.searchsorted(key // width, np.arange(len(first) + 1)).astype(np.int64),
        key % width,
        fits,
    )


def _opened(data: Dataset) -> Small:
    r = reach(data)
    best = np.zeros(len(r.door_ids), np.int8)
    for access in (r.cards, r.pins):
        # a grant held with one mix of credentials opens the same doors whoever holds it
        size = np.diff(access.start)
        mix = np.repeat(access.card.astype(np.int64) * 3 + access.pin, size)
        kept = distinct(access.items * 9 + mix)
        grants = Access(
            np.arange(len(kept)),
            (kept % 9 // 3).astype(np.int8),
            (kept % 3).astype(np.int8),
            np.arange(len(kept) + 1),
            kept // 9,
            access.fits,
        )
        pairs = r.pairs(grants, np.ones(len(r.door_ids), bool))
        np.maximum.at(best, pairs.door, np.where(pairs.certain, SURE, PERHAPS).astype(np.int8))
    bound = r.bound
    np.maximum.at(best, bound["door"], np.where(bound["sure"], SURE, PERHAPS).astype(np.int8))
    # a table of credentials that is not there: perhaps one of them opens it
    for table, words in (("cards", (1, 3, 4, 7)), ("pins", (2, 3, 4, 7))):
        if not data.has(table):
            best[np.isin(r.entry, words) & (best == NONE)] = PERHAPS
    return best
