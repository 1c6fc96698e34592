"""Stations: what hangs on what, and which numbers and addresses occur twice.

Everything here is linear in the number of stations (sorting aside), whatever the shape: a
line of 5,000 controllers and a circle of them cost no more than a flat list. Stations whose
kind is not given stay in scope as unclear, for they may be of the kind a rule speaks of.
"""

from __future__ import annotations

import ipaddress
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from audit.contract import TEXT, Dataset
from audit.schema import TABLES
from audit.trade.plain import (
    NO,
    UNCLEAR,
    YES,
    given,
    listed,
    nullable,
    places,
    taken,
    texts,
    word_codes,
)
from audit.trade.standing import by_id

START = -1
"""In `follow`: the chain ends here."""
UNKNOWN = -2
"""In `follow`: the chain goes on to something that is not known."""

_Ints = npt.NDArray[np.int64]
_Mask = npt.NDArray[np.bool_]


def follow(above: npt.ArrayLike) -> tuple[_Ints, _Mask, _Mask]:
    """Lengths of the chains that start at each of n members.

    `above[i]` is the member that i hangs on (0..n-1), or START, or UNKNOWN. Returns the number
    of distinct members from i to the end of its chain, itself included (in a circle: those
    before it and all of it); whether that length is certain (the chain ends at a START); and
    whether i is on a circle. By pointer doubling: log2(n) passes over arrays.
    """
    step = np.asarray(above, dtype=np.int64)
    count, jump = _doubled(step)
    looped = jump >= 0
    circle = np.zeros(len(step), np.int64)
    if looped.any():
        circle = _circles(step, jump)
        # opened before its circle, a chain's length is that of its tail and one of the circle
        tail, _ = _doubled(np.where(circle > 0, START, step))
        count[looped] = (tail - 1)[looped] + circle[jump[looped]]
    return count, jump == START, circle > 0


def _doubled(step: _Ints) -> tuple[_Ints, _Ints]:
    count = np.ones(len(step), np.int64)
    jump = step.copy()
    for _ in range(len(step).bit_length() + 1):
        on = np.flatnonzero(jump >= 0)
        if not on.size:
            break
        then = jump[on]
        more, further = count[then], jump[then]
        count[on] += more
        jump[on] = further
    return count, jump


def _circles(step: _Ints, jump: _Ints) -> _Ints:
    """The size of the circle each member is on, 0 where it is on none."""
    size = np.zeros(len(step), np.int64)
    # having gone on at least n times, the `jump` of a looped member lies on its circle
    for start in np.unique(jump[jump >= 0]).tolist():
        if size[start]:
            continue
        ring = [start]
        while (following := int(step[ring[-1]])) != start:
            ring.append(following)
        size[ring] = len(ring)
    return size


def pairs_of(first: _Ints, second: _Ints) -> tuple[_Ints, int]:
    """A code for each pair of codes, -1 where either is -1; and the number of pairs."""
    known = (first >= 0) & (second >= 0)
    key = first * (int(second.max(initial=0)) + 1) + second
    distinct, found = np.unique(key[known], return_inverse=True)
    codes = np.full(len(key), -1, np.int64)
    codes[known] = found.reshape(-1)
    return codes, len(distinct)


def stations(data: Dataset) -> pd.DataFrame:
    """The stations table, the first row of a repeated id only; labels are the table's."""
    return data.once(_stations)


def _stations(data: Dataset) -> pd.DataFrame:
    frame = data["stations"]
    return frame if frame["station_id"].is_unique else frame.drop_duplicates("station_id")


@dataclass(frozen=True)
class Board:
    """The stations as plain arrays: places in the table, codes of texts, -1 for none."""

    frame: pd.DataFrame
    kind: _Ints  # a place in KINDS
    controller: _Ints  # where the controller it hangs on stands; -1: nowhere, or not given
    main: _Ints  # where the unit or panel stands that it extends
    home: _Ints  # a place in `homes`
    homes: pd.Series
    port: _Ints  # a place in `ports`
    ports: list[str]
    number: _Ints  # a place in `numbers`
    numbers: list[str]

    def of_kind(self, kind: str) -> _Ints:
        """Stations of that kind, and those whose kind is not given (may be, may not)."""
        return np.flatnonzero((self.kind == KINDS.index(kind)) | (self.kind < 0))

    def told(self, at: _Ints, **columns: Any) -> pd.DataFrame:
        """A row a station: its id and kind, and the columns; the labels are the table's."""
        named = {c: self.frame[c].array.take(at) for c in ("station_id", "kind")}
        return pd.DataFrame({**named, **columns}, index=self.frame.index.take(at))


KINDS: Final = TABLES["stations"].column("kind").words


def board(data: Dataset) -> Board:
    """The stations, coded once."""
    return data.once(_board)


def _board(data: Dataset) -> Board:
    frame = stations(data)
    home, homes = pd.factorize(frame["dwelling_id"])
    port, ports = _plain_codes(frame["port"])
    number, numbers = _plain_codes(frame["number"])
    return Board(
        frame,
        word_codes(frame["kind"], KINDS),
        places(frame["station_id"], frame["controller_id"]),
        places(frame["station_id"], frame["main_id"]),
        home.astype(np.int64),
        pd.Series(homes, dtype=TEXT),
        port,
        ports,
        number,
        numbers,
    )


def plain_number(text: str) -> str:
    """A port or dial number as people mean it: case, leading zeros and `.0` aside."""
    plain = text.casefold()
    if plain.endswith(".0") and plain[:-2].isdecimal():
        plain = plain[:-2]
    bare = plain.lstrip("0")
    return bare if bare[:1].isdecimal() else "0" + bare if plain[:1] == "0" else plain


def _plain_codes(column: pd.Series) -> tuple[_Ints, list[str]]:
    codes, distinct = pd.factorize(column)
    plain: dict[str, int] = {}
    meant = [plain.setdefault(plain_number(t), len(plain)) for t in distinct.tolist()]
    return np.array([*meant, -1], np.int64)[codes], list(plain)


def beyond(count: pd.Series, limit: int | None) -> pd.Series:
    """Whether the count is above the limit; NA everywhere where no limit is given."""
    if limit is None:
        return pd.Series(pd.NA, index=count.index, dtype="boolean")
    return (count > limit).astype("boolean")


def named(faults: Mapping[str, pd.Series]) -> list[str]:
    """Which of the faults surely hold in each row, in words: "too many units; …"."""
    words: list[list[str]] = [[] for _ in range(len(next(iter(faults.values()))))]
    for word, holds in faults.items():
        for at in np.flatnonzero(holds.to_numpy(bool, na_value=False)).tolist():
            words[at].append(word)
    return ["; ".join(w) for w in words]


# --- controllers ---------------------------------------------------------------------


def controllers(data: Dataset) -> pd.DataFrame:
    """Every controller (and station of unknown kind) with what hangs on it.

    Columns: `station_id`, `kind`; `units` (Int64: stations with this controller_id and a port;
    NA where the table has no ports), `shared` (list of ports with two units or more),
    `doubled` (boolean), `in_line` (Int64: controllers in its line up to and with it),
    `last` (boolean: no controller hangs on it), `certain` (bool: the whole line is known).
    """
    return data.once(_controllers)


def _controllers(data: Dataset) -> pd.DataFrame:
    b = board(data)
    at = b.of_kind("controller")
    n, size = len(at), len(b.kind)
    own = np.full(size + 1, -1, np.int64)
    own[at] = np.arange(n)
    on = own[b.controller]  # which of the controllers each station hangs on
    hangs = on >= 0

    unit = hangs & (b.port >= 0)
    width = len(b.ports) + 1
    key, counts = np.unique(on[unit] * width + b.port[unit], return_counts=True)
    shared: dict[int, list[str]] = {}
    for twice in key[counts > 1].tolist():
        shared.setdefault(twice // width, []).append(b.ports[twice % width])
    for ports in shared.values():
        ports.sort()
    doubled = np.zeros(n, np.int8)
    doubled[list(shared)] = YES
    units = pd.array(np.bincount(on[unit], minlength=n), dtype="Int64")
    if not data.has("stations", "port"):
        doubled[:], units[:] = UNCLEAR, pd.NA

    controller = b.kind[at] == KINDS.index("controller")
    above = on[at]
    # on nothing, or on a station that is no controller: a line begins here
    begins = ~given(b.frame["controller_id"])[at] | ((b.controller[at] >= 0) & (above < 0))
    sure_above = (above >= 0) & np.append(controller, False)[above]
    through = np.where(sure_above, above, np.where(begins, START, UNKNOWN))
    in_line, certain, circle = follow(through)

    last = np.full(n, YES, np.int8)
    last[above[~controller & (above >= 0)]] = UNCLEAR
    last[above[controller & (above >= 0)]] = NO
    last[circle] = UNCLEAR  # a circle has no last one: nothing can be said of those on it
    return b.told(
        at,
        units=units,
        shared=listed(n, shared),
        doubled=nullable(doubled),
        in_line=pd.array(in_line, dtype="Int64"),
        last=nullable(last),
        certain=certain,
    )


def line_too_long(rows: pd.DataFrame, limit: int | None) -> pd.Series:
    """Whether each controller ends a line of more than `limit` (boolean, NA unclear).

    A line whose beginning is not known is too long for certain when its known part is, and
    never surely short enough. `rows` are those of `controllers`.
    """
    over = beyond(rows["in_line"], limit)
    return over.mask(~over.fillna(True) & ~rows["certain"]) & rows["last"]


# --- main units and panels -----------------------------------------------------------


def extensions(data: Dataset) -> pd.DataFrame:
    """Every extension unit (and station of unknown kind) with its main unit and its number.

    Columns: `station_id`, `kind`; `main` (boolean: it has its main unit; NA where `main_id`
    names no known station, or neither a main unit nor a dwelling is given), `own_number`
    (Int64; -1: given, but no whole number), `repeated` (boolean: another extension of the same
    main unit bears the number).
    """
    return data.once(_extensions)


def _extensions(data: Dataset) -> pd.DataFrame:
    b = board(data)
    at = b.of_kind("extension-unit")
    answers = b.kind == KINDS.index("answering-unit")
    housed = np.bincount(b.home[answers & (b.home >= 0)], minlength=len(b.homes))
    perhaps = np.zeros(len(b.homes) + 1, bool)
    perhaps[b.home[b.kind < 0]] = True
    perhaps[-1] = True  # no dwelling is given
    home, named = b.home[at], given(b.frame["main_id"])[at]
    by_home = np.where(np.append(housed, 0)[home] > 0, YES, np.where(perhaps[home], UNCLEAR, NO))
    main_kind = np.where(b.main[at] >= 0, b.kind[b.main[at]], -1)
    by_name = np.where(
        main_kind < 0, UNCLEAR, np.where(main_kind == KINDS.index("answering-unit"), YES, NO)
    )
    main = np.where(named, by_name, by_home).astype(np.int8)

    # the main unit itself where it is certain which; else the dwelling, or the name, speaks
    size = len(b.kind)
    only = np.full(len(b.homes) + 1, -1, np.int64)
    only[b.home[answers]] = np.flatnonzero(answers)
    only[:-1][housed > 1] = -1
    only[-1] = -1
    of_home = np.where(only[home] >= 0, only[home], np.where(home >= 0, size + home, -1))
    gone = places(b.frame["main_id"], b.frame["main_id"])[at] + size + len(b.homes)
    of_name = np.where(b.main[at] >= 0, b.main[at], gone)
    whose = np.where(b.kind[at] < 0, -1, np.where(named, of_name, of_home))
    whole = np.array([int(t) if t.isdecimal() and len(t) < 10 else -1 for t in b.numbers] + [-2])
    number = whole[b.number[at]]
    codes, groups = pairs_of(whose, np.where(number < 0, -1, number))
    repeated = np.append(np.bincount(codes[codes >= 0], minlength=groups), 0)[codes] > 1
    own_number = pd.arrays.IntegerArray(number, number == -2)
    return b.told(
        at, main=nullable(main), own_number=own_number, repeated=nullable(repeated.astype(np.int8))
    )


def panels(data: Dataset) -> pd.DataFrame:
    """Every entrance panel (and station of unknown kind) with its secondary panels.

    Columns: `station_id`, `kind`, `secondary` (Int64: those that surely extend it), `perhaps`
    (Int64: those too that may). A secondary panel without `main_id` extends the site's one
    entrance panel; where there are several, it may extend any.
    """
    return data.once(_panels)


def _panels(data: Dataset) -> pd.DataFrame:
    b = board(data)
    at = b.of_kind("entrance-panel")
    surely = b.kind == KINDS.index("secondary-panel")
    size = len(b.kind)
    secondary = np.bincount(b.main[surely & (b.main >= 0)], minlength=size)[at]
    maybe = np.bincount(b.main[(b.kind < 0) & (b.main >= 0)], minlength=size)[at]
    loose = int((surely & ~given(b.frame["main_id"])).sum())
    perhaps = secondary + maybe + loose
    if len(at) == 1 and b.kind[at[0]] >= 0:
        secondary = secondary + loose
    return b.told(
        at,
        secondary=pd.array(secondary, dtype="Int64"),
        perhaps=pd.array(perhaps, dtype="Int64"),
    )


def panel_ports(data: Dataset) -> pd.DataFrame:
    """Every entrance panel (and station of unknown kind) with its port.

    Columns: `station_id`, `kind`, `controller_id`, `port` (as plain_number), `elsewhere`
    (boolean: not on the equipment's panel port; NA where either is not given), `second`
    (boolean: another panel of the same controller has the better claim: first the one on the
    equipment's panel port, then the lower id; NA where the controller is not given).
    """
    return data.once(_panel_ports)


def _panel_ports(data: Dataset) -> pd.DataFrame:
    b = board(data)
    at = b.of_kind("entrance-panel")
    port = b.port[at]
    wanted = str(data.equipment.panel_port)
    right = np.array([t == wanted for t in b.ports] + [False], bool)[port]
    elsewhere = np.where(right, NO, YES).astype(np.int8)
    elsewhere[(port < 0) | (data.equipment.panel_port is None)] = UNCLEAR
    controller, _ = pd.factorize(b.frame["controller_id"].array.take(at))
    claims: dict[int, list[tuple[bool, str, int]]] = {}
    ids = b.frame["station_id"].array.take(at).tolist()
    for i in np.flatnonzero((controller >= 0) & (b.kind[at] >= 0)).tolist():
        claims.setdefault(int(controller[i]), []).append((bool(elsewhere[i] != NO), ids[i], i))
    second = np.where(controller < 0, UNCLEAR, NO).astype(np.int8)
    for claim in claims.values():
        second[[i for _, _, i in sorted(claim)[1:]]] = YES
    return b.told(
        at,
        controller_id=b.frame["controller_id"].array.take(at),
        port=texts([b.ports[p] if p >= 0 else None for p in port.tolist()]),
        elsewhere=nullable(elsewhere),
        second=nullable(second),
    )


# --- numbers and addresses -----------------------------------------------------------


def call_numbers(data: Dataset) -> pd.DataFrame:
    """Answering units by building and the number a caller dials; a row for each.

    Columns: `station` (list of ids), `building`, `number`, `dwellings` (sorted list of the
    dwellings it rings at), `homes` (Int64: how many they are; NA where building, number or
    dwelling is not given), `sources`.
    The index is that of each row's first station.
    """
    return data.once(_call_numbers)


def _call_numbers(data: Dataset) -> pd.DataFrame:
    b = board(data)
    at = b.of_kind("answering-unit")
    dwellings = by_id(data, "dwellings")
    building, _ = pd.factorize(dwellings["building"])
    home = b.home[at]
    place = np.append(places(dwellings.index, b.homes), -1)[home]
    of = np.append(building, -1).astype(np.int64)[place]
    number = np.where(b.kind[at] < 0, -1, b.number[at])
    codes, groups = pairs_of(of, number)
    members, first = _members(codes, groups)
    homes = b.homes.tolist()
    rings = [
        sorted({homes[home[m]] for m in row}) if i < groups else [] for i, row in enumerate(members)
    ]
    rows = _one_row_each(b, at, members, first)
    return rows.assign(
        building=taken(dwellings["building"], place[first]),
        number=b.frame["number"].array.take(at[first]),
        dwellings=pd.Series(rings, index=rows.index, dtype=object),
        homes=pd.array([len(r) or None for r in rings], dtype="Int64"),
    )


def addresses(data: Dataset) -> pd.DataFrame:
    """Stations by network and IP address; a row for each pair, and for each unclear station.

    Columns: `station` (list of ids), `address` (canonical; NA: blank or no IP address),
    `network` (blank: the one network), `sources`. The index is that of the first station.
    """
    return data.once(_addresses)


def _addresses(data: Dataset) -> pd.DataFrame:
    b = board(data)
    codes, distinct = pd.factorize(b.frame["address"])
    known: dict[str, int] = {}
    meant = [
        -1 if plain is None else known.setdefault(plain, len(known))
        for plain in map(canonical_address, distinct.tolist())
    ]
    address = np.array([*meant, -1], np.int64)[codes]
    network = pd.factorize(b.frame["network"])[0].astype(np.int64) + 1  # 0: the one network
    codes, groups = pairs_of(network, address)
    at = np.arange(len(b.frame))
    members, first = _members(codes, groups)
    rows = _one_row_each(b, at, members, first)
    spelt = [*known, None]
    return rows.assign(
        address=texts([spelt[i] for i in address[first].tolist()]),
        network=b.frame["network"].array.take(first),
        count=[len(row) for row in members],
    )


def canonical_address(text: str) -> str | None:
    """An IPv4 or IPv6 address in its one spelling (RFC 5952); None where it is none.

    Leading zeros of dotted numbers (a spreadsheet's habit) are read as decimal; a prefix
    length (`/24`) is left aside.
    """
    plain = text.strip().partition("/")[0].strip("[]")
    if plain.count(".") == 3 and ":" not in plain:
        plain = ".".join(p.lstrip("0") or "0" if p.isdecimal() else p for p in plain.split("."))
    try:
        return str(ipaddress.ip_address(plain))
    except ValueError:
        return None


def answering(data: Dataset) -> pd.DataFrame:
    """Every dwelling, `unit` saying whether an answering unit hangs there.

    NA where none does for certain and a station of unknown kind may be one. A repeated
    dwelling's first row only.
    """
    return data.once(_answering)


def _answering(data: Dataset) -> pd.DataFrame:
    b, homes = board(data), by_id(data, "dwellings")
    unit = np.full(len(b.homes) + 1, NO, np.int8)
    unit[b.home[b.kind < 0]] = UNCLEAR
    unit[b.home[b.kind == KINDS.index("answering-unit")]] = YES
    unit[-1] = NO
    at = places(b.homes, homes.index)
    return pd.DataFrame(
        {
            "dwelling_id": homes.index.array,
            "occupied": homes["occupied"].array,
            "unit": nullable(unit[at]),
        },
        index=homes["_label"].array,
    )


def _members(codes: _Ints, groups: int) -> tuple[list[list[int]], _Ints]:
    """The members of each group, then each of those in no group (code -1); and the first."""
    members: list[list[int]] = [[] for _ in range(groups)]
    for at, code in enumerate(codes.tolist()):
        if code >= 0:
            members[code].append(at)
        else:
            members.append([at])
    return members, np.array([row[0] for row in members], np.int64)


def _one_row_each(b: Board, at: _Ints, members: list[list[int]], first: _Ints) -> pd.DataFrame:
    """A row for each list of members: their ids, sorted, and their rows as sources."""
    ids = b.frame["station_id"].array.take(at).tolist()
    labels = b.frame.index.take(at)
    rows = labels.tolist()
    index = labels.take(first)
    return pd.DataFrame(
        {
            "station": pd.Series([sorted(ids[m] for m in row) for row in members], index, object),
            "sources": pd.Series(
                [[("stations", rows[m]) for m in row] for row in members], index, object
            ),
        }
    )
