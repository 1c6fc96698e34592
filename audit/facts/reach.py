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

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Final, NamedTuple

import numpy as np
import pandas as pd

from audit.arithmetic.columns import Family, bits_to_places, classes, distinct, family, spans
from audit.arithmetic.graphs import knots
from audit.arithmetic.plain import codes, given, places, word_codes
from audit.arithmetic.three import NO, UNCLEAR, YES, Bools, Credential, Ints, Small
from audit.arithmetic.weeks import Hours
from audit.contract import TEXT, Dataset
from audit.facts.hours import Year, year
from audit.facts.standing import by_id, in_force, live, stands

ROLES: Final = ("resident", "staff", "contractor", "visitor", "agent", "responder")


ENTRIES: Final = ("none", "card", "pin", "card-or-pin", "card-and-pin", "key", "closed")


ASKED: Final = ("card", "pin", "card-or-pin", "card-and-pin")
"""The entries that ask for a credential."""


def reach(data: Dataset) -> Reach:
    """The site's reach, computed once a dataset."""
    return data.once(_reach)


def person_doors(data: Dataset, doors: pd.Series | Bools) -> pd.DataFrame:
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
    data: Dataset, table: Credential, doors: pd.Series | Bools | None = None
) -> pd.DataFrame:
    """At which of these doors each card or PIN works: columns label, door_id, sure, and the
    hours (`sure_hours`, `possible_hours`).

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
            "sure_hours": [pairs.sure[h] for h in pairs.hours[at].tolist()],
            "possible_hours": [pairs.possible[h] for h in pairs.hours[at].tolist()],
        }
    )
    if table == "pins":
        bound = r.bound[mask[r.bound["door"]]]
        own = pd.DataFrame(
            {
                "label": bound["label"],
                "door_id": r.door_ids[bound["door"]].astype(TEXT),
                "sure": bound["sure"],
                "sure_hours": [r.year.always] * len(bound["label"]),
                "possible_hours": [r.year.always] * len(bound["label"]),
            }
        )
        if len(own):
            both = pd.concat([frame, own], ignore_index=True)
            frame = both.sort_values("sure", ascending=False, kind="stable")
            frame = frame.drop_duplicates(["label", "door_id"]).sort_values(["label", "door_id"])
            frame = frame.reset_index(drop=True)
    return frame


def codes_at_doors(data: Dataset) -> pd.DataFrame:
    """The live PINs valid at doors that open by PIN alone (`pin`, `card-or-pin`).

    Columns label (row of `data["pins"]`), door_id, sure: `credential_doors` for those doors.
    """
    return data.once(_codes_at_doors)


def _codes_at_doors(data: Dataset) -> pd.DataFrame:
    alone = by_id(data, "doors")["entry"].isin(["pin", "card-or-pin"])
    return credential_doors(data, "pins", alone)


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


@dataclass(frozen=True, eq=False)
class Access:
    """Classes of entities with the same items and the same kinds of credential."""

    of: Ints  # each entity's class
    card: Small  # each class: whether they have a card, NO / UNCLEAR / YES
    pin: Small
    start: Ints
    items: Ints
    fits: Small  # entry × card × pin -> whether such a holder gets in

    @property
    def size(self) -> int:
        """The number of classes."""
        return len(self.card)


class Pairs(NamedTuple):
    """Class × door, ordered; `hours` numbers the sets `sure` and `possible`."""

    of: Ints
    door: Ints
    hours: Ints
    certain: Bools  # an open minute is sure
    sure: list[Hours]
    possible: list[Hours]


@dataclass(frozen=True, eq=False)
class Targets:
    """What permissions open: door positions of each target (CSR), and which are sure."""

    start: Ints
    doors: Ints
    sure: Bools


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
    card_labels: Ints
    pin_labels: Ints
    bound: pd.DataFrame  # label, door, sure: PINs bound to a door that takes them
    grant_target: Ints
    grant_schedule: Ints
    schedules: Sequence[str | None]
    targets: Targets

    def credentials(self, table: Credential) -> tuple[Access, Ints]:
        """The classes of a table's credentials, and their row labels."""
        return (self.cards, self.card_labels) if table == "cards" else (self.pins, self.pin_labels)

    def pairs(self, access: Access, doors: Bools, classes: Ints | None = None) -> Pairs:
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
        surely = np.repeat(certain, count) & target_sure[at] & (level == YES)
        word = np.repeat(self.grant_schedule[grant], count) * 2 + surely
        seen = level > NO
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


def _mask(doors: pd.Series | Bools) -> Bools:
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
            ways = (YES, c, p, max(c, p), min(c, p), NO, NO)
            person[:, c, p] = (*ways, UNCLEAR)  # an entry that is not given: perhaps
            card[:, c, p] = (NO, c, NO, c, min(c, p), NO, NO, min(c, UNCLEAR))
            pin[:, c, p] = (NO, NO, p, p, min(c, p), NO, NO, min(p, UNCLEAR))
    return person, card, pin


PERSON_FITS, CARD_FITS, PIN_FITS = _tables()


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

    label: Ints
    id: pd.Series
    level: Small  # UNCLEAR or YES
    person: Ints  # entity among the people, -1: none
    dwelling: Ints  # place among the dwellings, of those held by no person; -1: none


class _Roster(NamedTuple):
    """Names that have a number: those of a table, then others that only references give."""

    known: pd.Index
    others: pd.Index

    @property
    def size(self) -> int:
        return len(self.known) + len(self.others)

    def places(self, ids: pd.Series, at: Ints | None = None) -> Ints:
        """The number of each id, -1 for none; `at`: their places among the known, if at hand."""
        at = places(self.known, ids) if at is None else at
        lost = np.flatnonzero((at < 0) & given(ids)) if len(self.others) else at[:0]
        if len(lost):
            other = places(self.others, ids.iloc[lost])
            at = at.copy()
            at[lost] = np.where(other < 0, -1, len(self.known) + other)
        return at


def _roster(known: pd.Index, *references: tuple[pd.Series, Ints]) -> _Roster:
    """The known names and those that these references (ids, places among the known) add."""
    lost = [ids.iloc[np.flatnonzero((at < 0) & given(ids))] for ids, at in references]
    return _Roster(known, pd.Index(pd.concat(lost).unique(), dtype=TEXT))


def _held(
    data: Dataset, table: Credential, people: _Roster, dwellings: _Roster, homes: Ints
) -> _Held:
    rows = data[table]
    state = live(data, table)
    at = np.flatnonzero(state.fillna(True).to_numpy(dtype=bool))
    level = np.where(state.fillna(False).to_numpy(dtype=bool)[at], YES, UNCLEAR)
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

    def named(word: str, known: pd.Index) -> tuple[pd.Series, Ints]:
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

    def to(word: str, known: Callable[[pd.Series], Ints]) -> tuple[Ints, Ints]:
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
        weak = np.where(held.level[which] == YES, items, items & ~1)
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
        "cards": np.append(person_card, NO if data.has("cards") else UNCLEAR).astype(np.int8),
        "pins": np.append(person_pin, NO if data.has("pins") else UNCLEAR).astype(np.int8),
    }
    # beside a dwelling's own credential stands whatever its people carry
    flat_level = {}
    for name, held, own in (("cards", cards, person_card), ("pins", pins, person_pin)):
        flat = _flat_level(held, dwellings.size, data.has(name))
        np.maximum.at(flat, lives[lives >= 0], own[lives >= 0])
        flat_level[name] = np.append(flat, NO)

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
    tied = (door_of >= 0) & (takes > NO)
    bound = pd.DataFrame(
        {"label": pins.label[tied], "door": door_of[tied], "sure": takes[tied] == YES}
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


def _joined(parts: Sequence[tuple[Ints, Ints]]) -> tuple[Ints, Ints]:
    return np.concatenate([a for a, _ in parts]), np.concatenate([b for _, b in parts])


def _level(held: _Held, n: int, lives: Ints, dwellings: int, given: bool) -> Small:
    """Whether each person has such a credential, their own or their dwelling's."""
    own = np.full(n, NO if given else UNCLEAR, np.int8)
    mine = held.person >= 0
    np.maximum.at(own, held.person[mine], held.level[mine])
    home = np.append(_flat_level(held, dwellings, given), NO)
    return np.maximum(own, np.where(lives >= 0, home[lives], NO)).astype(np.int8)


def _flat_level(held: _Held, dwellings: int, given: bool) -> Small:
    home = np.full(dwellings, NO if given else UNCLEAR, np.int8)
    theirs = held.dwelling >= 0
    np.maximum.at(home, held.dwelling[theirs], held.level[theirs])
    return home


def _access(
    parts: Sequence[tuple[Family, Ints, Bools]], card: Small, pin: Small, fits: Small
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
