"""What the rules on the read-back ask: which loaded row which register row explains."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from audit.arithmetic.columns import FAR_AHEAD, MANY, day_numbers, gravest, spans
from audit.arithmetic.plain import given, places, taken, word_codes
from audit.arithmetic.three import NO, UNCLEAR, YES, Bools, Credential, Ints, nullable
from audit.contract import Dataset
from audit.facts.readback import ROW_ID, Explained, Judged, _active, _same, _today, read_back
from audit.facts.standing import by_id, unread


def departed_on(
    data: Dataset, person: Ints, day: Ints, *, undated: bool = True
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
        active = (_active(data, table) > NO)[match.row]
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


def _judged(data: Dataset, judge: Callable[[Credential, Explained], tuple[Bools, Any]]) -> Judged:
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


def _told(data: Dataset, judged: Judged, *more: Ints) -> tuple[pd.DataFrame, Ints]:
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


def _holders(
    data: Dataset, table: Credential, found: Explained, *, undated: bool
) -> tuple[Bools, Any]:
    """Whether a person holds each explaining row, and had departed by the day of reading."""
    back, person = read_back(data), data[table]["person_id"]
    held = given(person)[found.row]
    at = places(by_id(data, "people").index, person)[found.row]
    gone = departed_on(data, at, back.day[found.loaded], undated=undated)
    gone[~back.dated[found.loaded]] = UNCLEAR
    gone[~held] = NO
    return held, gone
