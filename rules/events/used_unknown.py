from typing import Any

import numpy as np
import pandas as pd

from audit.arithmetic.plain import given, places
from audit.arithmetic.three import NO, UNCLEAR, YES, Bools, Ints
from audit.contract import TEXT, Cause, Dataset, Step, rule
from audit.facts.log import log
from audit.facts.matching import NOT_SHOWN
from audit.facts.readback import unreadable_pins_at
from rules.events._shared import _names_credentials, clock, granted, uses


@rule(
    title="Door opened by an unregistered card or PIN",
    finds="A door opened by a card or PIN that is not in the register.",
    priority="immediate",
    needs={"events": ()},
    uses=("cards", "pins", "permissions", "people", "door_groups", "doors", "stations", "loaded"),
    subjects=("door", "number"),
    cause=Cause("unknown", ("door", "number")),
    summary="Door {door} was opened by a card or PIN that is not in the register ({number}):"
    " {uses:once, on|% times, most recently on} {last}.",
    evidence=("uses", "last", "times"),
    do=(
        Step(
            "Find out who holds it. Delete it from the controllers, or, if you find the"
            " holder, add it to the register.",
            who="panel technician",
            does="cut",
        ),
    ),
    cites=(
        "en-60839-11-1-2013-test-of-table-4-lines-14-to-1",
        "nist-sp-800-53-rev-5-1-1-pe-2-2",
    ),
)
def used_unknown(data: Dataset) -> pd.DataFrame:
    """Someone has a way in, and nobody can say who."""
    return unknown_uses(data)


def unknown_uses(data: Dataset) -> pd.DataFrame:
    """Granted events whose card or PIN no register row explains, by door and number.

    Columns: `door`, `number`, `fails` (True: unexplained; NA: can't be said), `uses` (int),
    `last`, `times` (list), `sources`; and for each door's other granted events one row without
    number (False; NA where the register of the kind is absent). A number written in two ways
    is one, named as the first in order of letters; the PINs of one door are one row, NOT_SHOWN.
    """
    book = log(data)
    rest: dict[str, bool | None] = {}
    told: list[tuple[str | None, str | None, bool | None, list[str], list[tuple[str, int]]]] = []
    for table in ("cards", "pins"):
        found = uses(data, table)
        rows, _ = granted(data, table)
        state = found.explained[found.code[rows]]
        if table == "pins" and (state == UNCLEAR).any() and data.has("pins"):
            digits = (state == UNCLEAR) & given(data["events"]["secret"])[rows]
            possible = places(pd.Series(unreadable_pins_at(data)), book.doors) >= 0
            state[digits & ~possible[book.door[rows]]] = NO
        present = data.has(table)
        there = np.zeros(len(book.doors), bool)
        there[book.door[rows[(state == YES) | (not present)]]] = True
        for door in book.doors[there].tolist():
            known = rest.get(door, False) is False and present
            rest[door] = False if known else None
        if present:
            told += _odd(data, table, rows[state != YES], state[state != YES] == NO)
    told = _hidden_once(told)
    told += [(door, None, verdict, [], []) for door, verdict in rest.items()]
    if not _names_credentials(data):
        told = [(None, None, None, [], [])]
    columns = list(zip(*told, strict=True)) if told else [()] * 5
    return pd.DataFrame(
        {
            "door": pd.Series(columns[0], dtype=TEXT),
            "number": pd.Series(columns[1], dtype=TEXT),
            "fails": pd.Series(columns[2], dtype="boolean"),
            "uses": np.array([len(t) for t in columns[3]], np.int64),
            "last": np.array([t[-1] if t else None for t in columns[3]], object),
            "times": pd.Series(columns[3], dtype=object),
            "sources": pd.Series(columns[4], dtype=object),
        }
    )


def _hidden_once(told: list[Any]) -> list[Any]:
    """Codes at a door as one row, whether they stood as PINs or in the place of a card's number."""
    shown = [row for row in told if row[1] != NOT_SHOWN]
    merged: dict[str, Any] = {}
    for door, number, verdict, times, sources in (row for row in told if row[1] == NOT_SHOWN):
        other = merged.get(door)
        if other is None or (verdict and not other[2]):
            merged[door] = (door, number, verdict, times, sources)
        elif bool(verdict) == bool(other[2]):
            both = sorted(zip([*other[3], *times], [*other[4], *sources], strict=True))
            merged[door] = (door, number, verdict, [t for t, _ in both], [s for _, s in both])
    return [*shown, *merged.values()]


def _odd(data: Dataset, table: str, rows: Ints, sure: Bools) -> list[Any]:
    """A tuple (door, number, fails, times, sources) for each door and unexplained number."""
    if not rows.size:
        return []
    book, found = log(data), uses(data, table)
    doors, door = book.doors.tolist(), book.door[rows]
    if table == "pins":
        group = np.zeros(len(rows), np.int64)
        heard = np.zeros(len(book.doors), bool)
        heard[door[sure]] = True
        keep = sure | ~heard[door]  # at one door, what is certain goes before what is unclear
        rows, sure, door, group = rows[keep], sure[keep], door[keep], group[keep]
        texts = [NOT_SHOWN] * len(rows)
    else:
        group = found.code[rows]
        texts = data["events"]["card_number"].iloc[rows].tolist()
    order = np.lexsort((rows, book.time[rows], group, door))
    rows, group, door, sure = rows[order], group[order], door[order], sure[order]
    cut = np.flatnonzero((np.diff(door) != 0) | (np.diff(group) != 0)) + 1
    starts = [0, *cut.tolist()]
    ends = [*cut.tolist(), len(rows)]
    places = order.tolist()
    times, labels = clock(data, book.time[rows]), data["events"].index[rows].tolist()
    return [
        (
            doors[door[a]],
            min(texts[p] for p in places[a:b]),
            True if sure[a] else None,
            times[a:b],
            [("events", label) for label in labels[a:b]],
        )
        for a, b in zip(starts, ends, strict=True)
    ]
