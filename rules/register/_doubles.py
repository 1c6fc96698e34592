"""People who stand in the register twice, in groups."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from audit.arithmetic.names import apart, close_pairs, fold_names, fold_phones, same_key, word_marks
from audit.arithmetic.plain import codes, given, listed, lists
from audit.arithmetic.three import Ints
from audit.contract import Dataset
from audit.facts.standing import entitled

LETTERS: Final = 2


IN_ONE_DWELLING: Final = "the same name in one dwelling"


AT_ONE_PHONE: Final = "one telephone, and names alike"


_SMALL: Final = 30
"""Telephones of more people than this are compared name by name, not pair by pair."""


_READ: Final = ("person_id", "name", "dwelling_id", "phone", "start_date")


_BLANK: Final = -(2**40)


_UNREAD: Final = -(2**41)


@dataclass
class _Found:
    """Links between people (by position), and people of whom it can't be said."""

    links: list[tuple[int, int, str]] = field(default_factory=list)
    unclear: set[int] = field(default_factory=set)


def listed_twice(data: Dataset) -> pd.DataFrame:
    """People who are entitled, or may be: a row each, those who seem to be one person together.

    Columns: `person` (a list of ids),
    `twice` (bool), `unclear` (bool: a name, a telephone, a start date or the entitlement that
    decides is not given or not readable), `alike` (list of reasons), `sources`.

    Two who share the dwelling and differ in the start date are two. Where only one of the dates
    is given, nobody can say.
    """
    people, here = data["people"], entitled(data)
    rows = people.loc[here.fillna(True).to_numpy(bool), list(_READ)]
    sure = here[rows.index].fillna(False).to_numpy(dtype=bool)
    names = fold_names(rows["name"].where(sure) if not sure.all() else rows["name"])
    numbers = fold_phones(rows["phone"])
    phone, _ = codes(numbers.mask(numbers == ""))
    home, _ = codes(rows["dwelling_id"])
    start = _start(data, rows)
    named = given(names) & np.asarray((names != "").fillna(False), bool)
    found = _Found()
    _by_dwelling(found, names, np.where(named, home, -1), start)
    _by_phone(found, names, np.where(named, phone, -1), home, start)
    unclear = ~sure | ~named | (phone < 0)
    unclear[list(found.unclear)] = True
    return _rows(rows, found, unclear)


def _words(names: pd.Series, at: Ints) -> dict[int, tuple[str, ...]]:
    """The words of the folded names at these positions."""
    return {i: tuple(name.split()) for i, name in zip(at.tolist(), names.iloc[at], strict=True)}


def _start(data: Dataset, rows: pd.DataFrame) -> Ints:
    """Days as whole numbers; _BLANK and _UNREAD are none."""
    dates = rows["start_date"]
    days = np.where(dates.isna(), _BLANK, dates.to_numpy(dtype="datetime64[D]").astype(np.int64))
    days = np.where(data.unread("people", "start_date")[rows.index], _UNREAD, days)
    return np.asarray(days, dtype=np.int64)


def _by_dwelling(found: _Found, names: pd.Series, home: Ints, start: Ints) -> None:
    at = _shared(home)
    alike = pd.factorize(word_marks(names.iloc[at]))[0]  # as good as never by chance
    at = at[_shared(home[at] * (int(alike.max(initial=0)) + 1) + alike)]
    words = _words(names, at)
    keys = pd.factorize(np.array([same_key(words[i]) for i in at.tolist()], dtype=object))[0]
    both = home[at] * (keys.max(initial=0) + 1) + keys
    for group in _groups(at, both):
        _same_household(found, group, start, IN_ONE_DWELLING)


def _by_phone(found: _Found, names: pd.Series, phone: Ints, home: Ints, start: Ints) -> None:
    at = _shared(phone)
    words = _words(names, at)
    size = np.bincount(phone[at])[phone[at]] if len(at) else at
    left, right = _pairs(at[size <= _SMALL], phone)
    near = apart([words[i] for i in left], [words[j] for j in right], LETTERS) <= LETTERS
    for i, j in zip(left[near], right[near], strict=True):
        _judge(found, [i, j], home, start)
    for group in _groups(at[size > _SMALL], phone[at[size > _SMALL]]):
        by_name: dict[tuple[str, ...], list[int]] = {}
        for i in group:
            by_name.setdefault(words[i], []).append(i)
        alike = list(by_name.values())
        for members in alike:
            _judge(found, members, home, start)
        for one, other in close_pairs(list(by_name), LETTERS):
            _judge(found, alike[one] + alike[other], home, start)


def _judge(found: _Found, group: Sequence[int], home: Ints, start: Ints) -> None:
    """People whose names are all alike, at one telephone."""
    homes = {int(home[i]) for i in group}
    if len(homes) > 1 or -1 in homes:
        # Whoever shares a dwelling is linked through somebody who does not.
        found.links += [(int(group[0]), int(i), AT_ONE_PHONE) for i in group[1:]]
    else:
        _same_household(found, group, start, AT_ONE_PHONE)


def _same_household(found: _Found, group: Sequence[int], start: Ints, reason: str) -> None:
    """People alike in one dwelling: one person where the start dates agree."""
    by_start: dict[int, list[int]] = {}
    for i in group:
        by_start.setdefault(int(start[i]), []).append(int(i))
    for day, members in by_start.items():
        if day != _UNREAD:
            found.links += [(members[0], i, reason) for i in members[1:]]
    if len(group) > 1 and (_UNREAD in by_start or (_BLANK in by_start and len(by_start) > 1)):
        found.unclear.update(int(i) for i in group)


def _shared(code: Ints) -> Ints:
    """Positions whose code, not -1, stands at another position too."""
    dense = pd.factorize(code)[0]
    return np.flatnonzero((np.bincount(dense, minlength=1)[dense] > 1) & (code >= 0))


def _groups(at: Ints, code: Ints) -> Iterable[list[int]]:
    """Positions with the same code, where there are several."""
    order = np.argsort(code, kind="stable")
    at, code = at[order], code[order]
    begin = np.flatnonzero(np.r_[True, code[1:] != code[:-1]]) if len(at) else at
    size = np.diff(np.r_[begin, len(at)])
    for first, many in zip(begin[size > 1], size[size > 1], strict=True):
        yield at[first : first + many].tolist()


def _pairs(at: Ints, code: Ints) -> tuple[Ints, Ints]:
    """All pairs of positions with the same code, in small groups."""
    at = at[np.argsort(code[at], kind="stable")]
    left, right = [at[:0]], [at[:0]]
    for step in range(1, min(_SMALL, len(at))):
        same = code[at[:-step]] == code[at[step:]]
        if not same.any():
            break
        left.append(at[:-step][same])
        right.append(at[step:][same])
    return np.concatenate(left), np.concatenate(right)


def _rows(rows: pd.DataFrame, found: _Found, unclear: npt.NDArray[np.bool_]) -> pd.DataFrame:
    ids, labels = rows["person_id"].array, rows.index.to_numpy()
    group = _joined(found, _same_id(rows["person_id"]))
    members: dict[int, list[int]] = {}
    for i, root in sorted(group.items()):
        members.setdefault(root, []).append(i)
    reasons: dict[int, set[str]] = {}
    for i, _, reason in found.links:
        reasons.setdefault(group[i], set()).add(reason)
    alone = np.ones(len(rows), dtype=bool)
    alone[list(group)] = False
    single = np.flatnonzero(alone)
    groups = list(members.items())
    ids_of = [{str(ids[i]): i for i in group_members} for _, group_members in groups]
    shown = [[at for _, at in sorted(one.items())] for one in ids_of]
    n = len(single)
    size = np.concatenate([np.ones(n, np.int64), np.array([len(one) for one in shown], np.int64)])
    flat = np.concatenate([single, np.array([i for one in shown for i in one], np.int64)])
    several = np.array([bool(unclear[g].any()) for _, g in groups], dtype=bool)
    return pd.DataFrame(
        {
            "person": lists(rows["person_id"], flat, size),
            "twice": size > 1,
            "unclear": np.concatenate([unclear[alone], several]),
            "alike": listed(
                len(size), {n + i: sorted(reasons.get(r, ())) for i, (r, _) in enumerate(groups)}
            ),
            "sources": listed(
                len(size),
                {n + i: [("people", int(labels[j])) for j in g] for i, (_, g) in enumerate(groups)},
            ),
        }
    )


def _same_id(ids: pd.Series) -> list[tuple[int, int, str]]:
    """Links between rows of one id: they are one subject, whatever else they are."""
    code, _ = codes(ids)
    at = _shared(code)
    return [(g[0], i, "") for g in _groups(at, code[at]) for i in g[1:]]


def _joined(found: _Found, same_id: list[tuple[int, int, str]]) -> dict[int, int]:
    """Each linked position's group, named by its least position."""
    root: dict[int, int] = {}

    def top(i: int) -> int:
        root.setdefault(i, i)
        while root[i] != i:
            root[i] = root[root[i]]
            i = root[i]
        return i

    for i, j, _ in found.links + same_id:
        a, b = top(i), top(j)
        root[max(a, b)] = min(a, b)
    return {i: top(i) for i in list(root)}
