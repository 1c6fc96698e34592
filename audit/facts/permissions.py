"""Permissions as such: circles of groups, empty groups, repeated permissions, the access roll.

What people reach with them is in `reach`.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
import numpy.typing as npt
import pandas as pd

from audit.arithmetic.columns import family, spans
from audit.arithmetic.plain import given, listed, lists, sorted_places
from audit.arithmetic.three import NO, UNCLEAR, YES, Ints, nullable
from audit.arithmetic.weeks import Hours
from audit.contract import TEXT, Dataset
from audit.facts.hours import year
from audit.facts.reach import PERSON_FITS, ROLES, Grant, groups, path_to, reach
from audit.facts.standing import by_id, entitled, in_force, live


class _Worth(NamedTuple):
    """What one permission gives: doors (bits) and hours, sure and possible, and its end."""

    text: tuple[str, str, str]
    doors: tuple[int, int]
    hours: tuple[Hours, Hours]
    end: int
    certain: bool


def repeated(data: Dataset) -> pd.DataFrame:
    """Permissions in force, and beside each the one of the same holder that covers it.

    Index: rows of the permissions table. Columns `permission` (list: the one that covers,
    if any, and this one), `repeated` (nullable boolean: this one adds neither door nor hour,
    nor a later last day) and `sources`. Of two that give the same, the one with the
    smaller id is kept.
    """
    table = data["permissions"]
    force = in_force(data)
    chosen = force.fillna(True).to_numpy(dtype=bool) & given(table["permission_id"])
    labels = sorted_places(table["permission_id"], np.flatnonzero(chosen))
    certain = np.asarray(force.fillna(False), bool)[labels]
    known = given(table["holder_kind"])[labels]
    with_whom = np.full(len(labels), -1)
    verdict = np.where(known, NO, UNCLEAR).astype(np.int8)
    # only a holder of several permissions can have one that adds nothing
    some = _with_others(table, labels)
    with_whom[some], verdict[some] = _covers(data, table.iloc[labels[some]], certain[some])
    covered = with_whom >= 0
    with_whom[covered] = some[with_whom[covered]]
    size = 1 + covered
    both = np.repeat(np.arange(len(labels)), size)
    both[np.cumsum(size) - size] = np.where(covered, with_whom, np.arange(len(labels)))
    sources = {
        i: [("permissions", int(labels[w])), ("permissions", int(labels[i]))]
        for i, w in zip(np.flatnonzero(covered).tolist(), with_whom[covered].tolist(), strict=True)
    }
    return pd.DataFrame(
        {
            "permission": lists(table["permission_id"], labels[both], size),
            "repeated": nullable(verdict),
            "sources": listed(len(labels), sources),
        },
        index=pd.Index(labels),
    )


def _with_others(table: pd.DataFrame, rows: Ints) -> Ints:
    """Places in `rows` of the permissions of a holder who has several."""
    kind, holder = (
        pd.factorize(table[c].array.take(rows), use_na_sentinel=False)[0]
        for c in ("holder_kind", "holder_id")
    )
    one = kind.astype(np.int64) * (int(holder.max(initial=0)) + 1) + holder
    return np.flatnonzero(np.bincount(one)[one] > 1) if len(one) else one


def _covers(
    data: Dataset, rows: pd.DataFrame, certain: npt.NDArray[np.bool_]
) -> tuple[Ints, npt.NDArray[np.int8]]:
    """For each row the place of the one that covers it (-1: none), and the verdict."""
    known = given(rows["holder_kind"])
    columns = ["door_group", "door_id", "schedule_id", "valid_to"]
    item = _numbered(rows.assign(certain=certain), [*columns, "certain"])
    holder = _numbered(rows, ["holder_kind", "holder_id"])
    worths = _worths(data, rows, columns, item, certain)

    size = int(holder.max()) + 1 if len(holder) else 0
    sets = family(holder[known], item[known], size)
    by: list[tuple[int, int, int, bool]] = []  # set, item, the item that covers it, sure
    for number, (a, b) in enumerate(
        zip(sets.start[:-1].tolist(), sets.start[1:].tolist(), strict=True)
    ):
        if b - a > 1:
            by += [(number, *found) for found in _covered(sets.items[a:b].tolist(), worths)]
    width = len(worths) + 1
    mine = np.where(known, sets.of[holder] if size else 0, 0) * width + item
    keys = np.array([n * width + i for n, i, _, _ in by], np.int64)
    order = np.argsort(keys)
    at = np.searchsorted(keys[order], mine)
    at = np.minimum(at, max(len(keys) - 1, 0))
    covered = known & (keys[order][at] == mine) if len(keys) else np.zeros(len(rows), bool)
    cover = np.array([c for _, _, c, _ in by], np.int64)[order][at] if len(keys) else item
    sure = np.array([s for _, _, _, s in by], bool)[order][at] if len(keys) else known

    # the first of a holder's permissions with an item stands for it
    key = holder * width + item
    each, first = np.unique(key, return_index=True)
    lead = first[np.searchsorted(each, key)]
    again = known & (lead != np.arange(len(rows)))
    with_whom = np.full(len(rows), -1)
    with_whom[again] = lead[again]
    only = np.flatnonzero(covered & ~again)
    with_whom[only] = first[np.searchsorted(each, holder[only] * width + cover[only])]
    real = np.array([bool(worth.doors[1]) for worth in worths], bool)
    with_whom[~real[item]] = -1
    verdict = np.where(with_whom >= 0, YES, NO).astype(np.int8)
    doubtful = (with_whom >= 0) & (
        ~certain | ~certain[np.maximum(with_whom, 0)] | (~again & covered & ~sure)
    )
    verdict[doubtful | ~known] = UNCLEAR
    return with_whom, verdict


def _numbered(rows: pd.DataFrame, columns: Sequence[str]) -> Ints:
    """A number for each distinct row of these columns, in their order; blanks count, as last."""
    number = np.zeros(len(rows), np.int64)
    for column in columns:
        code, values = pd.factorize(rows[column], sort=True)
        number = number * (len(values) + 1) + np.where(code < 0, len(values), code)
        number = np.unique(number, return_inverse=True)[1].reshape(-1)
    return number


def _worths(
    data: Dataset,
    rows: pd.DataFrame,
    columns: Sequence[str],
    item: Ints,
    certain: npt.NDArray[np.bool_],
) -> list[_Worth]:
    g = groups(data)
    hours = year(data)
    places = dict(g.places)
    _, first = np.unique(item, return_index=True)
    found = []
    chosen = rows.iloc[first]
    for cell, sure in zip(
        zip(*(chosen[c].tolist() for c in columns), strict=True),
        certain[first].tolist(),
        strict=True,
    ):
        group, door, schedule, end = (None if pd.isna(c) else c for c in cell)
        may = g.possible.get(group, 0) if group is not None else 0
        must = g.sure.get(group, 0) if group is not None else 0
        if door is not None:
            bit = 1 << places.setdefault(door, len(places))
            may, must = may | bit, must | bit
        found.append(
            _Worth(
                (group or "", door or "", schedule or ""),
                (must, may),
                hours.hours_of(schedule),
                end.toordinal() if end is not None else 10**9,
                sure,
            )
        )
    return found


def _covered(items: Sequence[int], worths: Sequence[_Worth]) -> list[tuple[int, int, bool]]:
    """(item, the one that covers it, sure) among the items of one holder."""
    if len(items) <= 8:
        few = [(i, [j for j in items if j != i]) for i in items if worths[i].doors[1]]
        covers = [_cover(i, others, worths) for i, others in few]
        return [cover for cover in covers if cover is not None]
    by_door: dict[int, list[int]] = {}
    lowest: dict[int, list[int]] = {}
    for i in items:
        bits = worths[i].doors[1]
        doors = []
        while bits:
            low = bits & -bits
            doors.append(low.bit_length())
            bits ^= low
        lowest[i] = doors
        for d in doors:
            by_door.setdefault(d, []).append(i)
    found = []
    for i in items:
        if not lowest[i]:
            continue
        rare = min((by_door[d] for d in lowest[i]), key=len)
        cover = _cover(i, [j for j in rare if j != i], worths)
        if cover is not None:
            found.append(cover)
    return found


def _cover(i: int, others: Sequence[int], worths: Sequence[_Worth]) -> tuple[int, int, bool] | None:
    """(item, the one of the others that covers it best, sure); None where none does."""
    q = worths[i]
    best: tuple[bool, int, tuple[str, str, str], int] | None = None
    for j in others:
        p = worths[j]
        if p.end < q.end or not _within(q, p, perhaps=True):
            continue
        if (
            p.end == q.end
            and _within(p, q, perhaps=True)
            and (not p.certain, p.text, j) > (not q.certain, q.text, i)
        ):
            continue  # the same worth: the first is kept
        sure = _within(q, p, perhaps=False)
        rank = (not sure, -p.doors[1].bit_count(), p.text, j)
        if best is None or rank < best:
            best = rank
    return None if best is None else (i, best[3], not best[0])


def _within(q: _Worth, p: _Worth, *, perhaps: bool) -> bool:
    """Whether q gives nothing beyond p: possibly, or surely."""
    of_q, of_p = (0, 1) if perhaps else (1, 0)
    return not (q.doors[of_q] & ~p.doors[of_p]) and not (q.hours[of_q] & ~p.hours[of_p])


def holders(data: Dataset, chosen: pd.Series, among: pd.Index | None = None) -> pd.DataFrame:
    """Whose permissions these are: columns label, person_id, through, sure.

    `chosen` is a boolean mask over the permissions table; permissions not in force are left
    out, and where `among` is given, people who are not in it. A permission is a person's when
    it is given to them, to a live credential of theirs, to their role, or (residents) to
    their dwelling or a credential of it that no person holds. `through` says which
    (`card C7`); `sure` is False where a value that is not given decides.
    """
    table = data["permissions"]
    force = in_force(data)
    kept = np.flatnonzero(chosen.astype("boolean").fillna(False) & force.fillna(True))
    kind = table["holder_kind"].iloc[kept]
    holder = pd.Index(table["holder_id"].iloc[kept])
    certain = (force.iloc[kept].fillna(False) & kind.notna()).to_numpy(dtype=bool)
    people = by_id(data, "people")
    ids = people.index
    ours = ids.notna() if among is None else among.get_indexer(ids) >= 0
    role = people["role"]
    known = role.notna().to_numpy(dtype=bool)
    found: list[tuple[Ints, Ints, npt.NDArray[np.bool_], str]] = []

    def joined(
        word: str, keys: pd.Index, person: Ints, sure: npt.NDArray[np.bool_], says: str
    ) -> None:
        """Permissions of this kind of holder, whose key is in `keys`, are that person's."""
        mine = np.flatnonzero((kind == word).fillna(True))
        good = np.flatnonzero(ours[person]) if len(person) else person
        if len(mine) and len(good):
            left, right = _matches(holder[mine], keys[good])
            left, right = mine[left], good[right]
            found.append((left, person[right], certain[left] & sure[right], says))

    everyone = np.arange(len(ids))
    joined("person", ids, everyone, np.ones(len(ids), bool), "person")
    joined("role", pd.Index(role), everyone, known, "role")
    unclear = everyone[~known]
    for word in ROLES if len(unclear) else ():  # a role that can't be read may be any
        joined("role", pd.Index([word] * len(unclear)), unclear, known[unclear], "role")
    lives = people["dwelling_id"]
    at_home = everyone[((role == "resident").fillna(True) & lives.notna()).to_numpy(dtype=bool)]
    homes = pd.Index(lives.iloc[at_home])
    joined("dwelling", homes, at_home, known[at_home], "dwelling")
    for name, key, word, says in (
        ("cards", "card_id", "card", "card"),
        ("pins", "pin_id", "pin", "PIN"),
    ):
        if not (kind == word).fillna(True).any():
            continue
        state = live(data, name)
        rows = np.flatnonzero(state.fillna(True))
        held = data[name][[key, "person_id", "dwelling_id"]].iloc[rows]
        sure = state.iloc[rows].fillna(False).to_numpy(dtype=bool)
        whose = held["person_id"]
        place = ids.get_indexer(pd.Index(whose))
        own = np.flatnonzero((place >= 0) & whose.notna().to_numpy())
        joined(word, pd.Index(held[key].iloc[own]), place[own], sure[own], says)
        flat = np.flatnonzero(whose.isna())
        left, right = _matches(pd.Index(held["dwelling_id"].iloc[flat]), homes)
        joined(
            word,
            pd.Index(held[key].iloc[flat[left]]),
            at_home[right],
            sure[flat[left]] & known[at_home[right]],
            says,
        )
    size = [len(left) for left, *_ in found]
    none = np.empty(0, np.int64)
    left = np.concatenate([none, *(one[0] for one in found)])
    words: list[str] = list(np.repeat([one[3] for one in found], size)) if found else []
    through = pd.Series(words, dtype=TEXT) + " " + pd.Series(holder[left].array, dtype=TEXT)
    frame = pd.DataFrame(
        {
            "label": table.index.to_numpy()[kept[left]],
            "person_id": ids[np.concatenate([none, *(one[1] for one in found)])].astype(TEXT),
            "through": through,
            "sure": np.concatenate([none.astype(bool), *(one[2] for one in found)]),
        }
    )
    frame = frame.sort_values(
        ["label", "person_id", "sure", "through"], ascending=[True, True, False, True]
    )
    return frame.drop_duplicates(["label", "person_id", "through"], ignore_index=True)


def _matches(wanted: pd.Index, keys: pd.Index) -> tuple[Ints, Ints]:
    """Every (place in `wanted`, place in `keys`) of equal values; blanks equal nothing."""
    codes, values = pd.factorize(keys)
    order = np.argsort(codes, kind="stable")
    start = np.searchsorted(codes[order], np.arange(len(values) + 1))
    at = pd.Index(values).get_indexer(wanted)
    left = np.flatnonzero((at >= 0) & wanted.notna())
    first = start[at[left]]
    count = start[at[left] + 1] - first
    return np.repeat(left, count), order[spans(first, count)]


def grants_of(data: Dataset, person: str) -> list[Grant]:
    """Why a person opens doors: one line a permission and door, ordered by both.

    Only doors of the table whose entry their live credentials satisfy, perhaps where it is
    not given.
    """
    r = reach(data)
    if person not in r.person_ids:
        return []
    of = int(r.people.of[r.person_ids.get_indexer(pd.Index([person], dtype=TEXT))[0]])
    card, pin = int(r.people.card[of]), int(r.people.pin[of])
    rows = data["permissions"]
    mine = holders(data, pd.Series(True, index=rows.index), pd.Index([person], dtype=TEXT))
    g = groups(data)
    names = [str(d) for d in r.door_ids]
    places = {name: i for i, name in enumerate(names)}
    found = []
    for label, through, sure in zip(mine["label"], mine["through"], mine["sure"], strict=True):
        cell = rows.loc[label]
        group, door = cell["door_group"], cell["door_id"]
        schedule = None if pd.isna(cell["schedule_id"]) else str(cell["schedule_id"])
        opens: list[tuple[str, bool]] = []
        if not pd.isna(group):
            may, must = g.possible.get(group, 0), g.sure.get(group, 0)
            opens += [(names[i], bool(must >> i & 1)) for i in range(len(names)) if may >> i & 1]
        if not pd.isna(door) and door in places:
            opens.append((str(door), True))
        for name, certain in opens:
            level = int(PERSON_FITS[r.entry[places[name]], card, pin])
            if level == NO:
                continue
            path = () if pd.isna(group) else path_to(data, str(group), name)
            found.append(
                Grant(
                    name,
                    str(cell["permission_id"]),
                    str(through),
                    path,
                    schedule,
                    bool(sure) and certain and level == YES,
                )
            )
    return sorted(found, key=lambda one: (one.door_id, one.permission_id, one.through))


def roll(data: Dataset) -> pd.DataFrame:
    """The access roll: every entitled person, door group (or single door), hours, through what.

    Columns person_id, door_group, door_id (one of the two), hours (in words), through
    (texts, joined by commas), sure (all of it is known). One row a person and group or door,
    ordered by both; the hours are the union over the permissions that give it.
    """
    rows = data["permissions"]
    mine = holders(data, pd.Series(True, index=rows.index))
    right = entitled(data)
    people = by_id(data, "people")
    stands = right.reindex(people["_label"]).set_axis(people.index).astype("boolean")
    keep = stands.reindex(pd.Index(mine["person_id"])).fillna(True).to_numpy(dtype=bool)
    mine = mine[keep].reset_index(drop=True)
    cells = rows.loc[mine["label"], ["door_group", "door_id", "schedule_id"]].reset_index(drop=True)
    both = pd.concat([mine, cells], axis=1)
    split = []
    for column, other in (("door_group", "door_id"), ("door_id", "door_group")):
        part = both[both[column].notna()].copy()
        part[other] = pd.NA
        split.append(part)
    both = pd.concat(split, ignore_index=True)
    both["door_group"] = both["door_group"].astype(TEXT)
    both["door_id"] = both["door_id"].astype(TEXT)
    keys = ["person_id", "door_group", "door_id"]
    entity = _numbered(both, keys)
    code, schedules = pd.factorize(both["schedule_id"])
    hours = year(data)
    sets = family(
        entity, np.asarray(code, np.int64) + 1, int(entity.max()) + 1 if len(entity) else 0
    )
    words = []
    for a, b in zip(sets.start[:-1].tolist(), sets.start[1:].tolist(), strict=True):
        total = 0
        for c in sets.items[a:b].tolist():
            total |= hours.hours_of(None if c == 0 else str(schedules[c - 1]))[1]
        words.append(hours.text(total))
    known = both["schedule_id"].isna() | both["schedule_id"].isin(list(hours.sure))
    through = both.drop_duplicates([*keys, "through"]).groupby(keys, dropna=False, sort=True)
    out = through["through"].agg(", ".join).reset_index()
    out["sure"] = (
        (both["sure"] & known).groupby(entity).all().reindex(range(len(out))).to_numpy(dtype=bool)
    )
    out["hours"] = pd.array([words[n] for n in sets.of.tolist()], dtype=TEXT)
    return out[["person_id", "door_group", "door_id", "hours", "through", "sure"]]
