import numpy as np
import numpy.typing as npt
import pandas as pd

from audit.arithmetic.moments import MINUTE, NEVER, apart
from audit.arithmetic.plain import listed, places, taken, word_codes
from audit.arithmetic.three import NO, UNCLEAR, YES, Bools, Ints, nullable
from audit.contract import Cause, Dataset, Step, rule
from audit.facts.log import log
from audit.facts.standing import by_id
from rules.events._shared import clock, granted, uses


@rule(
    title="Same card in two places at once",
    finds="One card that opened two doors with no zone in common, closer together in time than"
    " the site considers possible.",
    priority="planned",
    needs={
        "events": ("card_number",),
        "cards": (),
        "doors": ("inside_zone", "outside_zone"),
    },
    policy=("travel_seconds_minimum",),
    subjects=("card",),
    cause=Cause("card", ("card",)),
    summary="Card {card} opened {doors:door %|doors %} too close together in time, with no zone in"
    " common: {times}.",
    evidence=("doors", "times"),
    do=(
        Step(
            "Check whether there is a copy of the card. Replace it with one that cannot be"
            " copied, then withdraw this one.",
            who="office",
            does="cut",
        ),
    ),
    cites=(
        "en-60839-11-1-2013-table-7-line-19-2",
        "nist-sp-800-53-rev-5-1-1-pe-6",
    ),
)
def one_card_two_places(data: Dataset) -> pd.DataFrame:
    """Nobody can walk that fast. Either there are two cards with one number, or a controller's
    clock is wrong.

    Not judged where no time of the file tells seconds.
    """
    return two_places(data, data.policy.travel_seconds_minimum)


_SITE = """
        cards
        card_id | number
        C1      | 1001
        C2      | 1002
        C3      | 1003
        C4      | 1004
        C5      | 1005
        C6      | 1006

        doors
        door_id | inside_zone | outside_zone
        D1      | hall        | street
        D2      | garage      | ramp
        D3      | stair       | hall
        D4      |             | ramp
"""


def two_places(data: Dataset, seconds: float) -> pd.DataFrame:
    """Cards granted at two doors that share no zone, nearer in time than `seconds`.

    A row for each number that the register explains, under its (first active) card. Columns:
    `card`, `fails` (NA: a door's zones are not given, or no time of the file tells seconds),
    `doors` (the two of the first such pair), `times`, `sources`.
    """
    book, found = log(data), uses(data, "cards")
    rows, last = granted(data, "cards")
    cards = data["cards"]
    idle = word_codes(cards["status"], ("active",)) < 0
    scope = last[found.of] > NEVER
    row, code = found.row[scope], found.of[scope]
    if (np.bincount(code) > 1).any():
        ids = pd.factorize(cards["card_id"].array.take(row), sort=True)[0]
        order = np.lexsort((ids, idle[row], code))
        order = order[np.append(True, np.diff(code[order]) != 0)]
        row, code = row[order], code[order]
    verdict = np.full(found.size, NO, np.int8)
    pairs: dict[int, tuple[int, int]] = {}
    if not (book.time[:1000] % MINUTE).any() and not (book.time % MINUTE).any():
        verdict[:] = UNCLEAR
    else:
        pairs = _far_pairs(data, rows, int(seconds * 1_000_000), verdict)
    n = len(row)
    met = {at: pairs[code[at]] for at in np.flatnonzero(verdict[code] == YES).tolist()}
    where, labels = book.doors.tolist(), data["events"].index
    return pd.DataFrame(
        {
            "card": taken(cards["card_id"], row),
            "fails": nullable(verdict[code]),
            "doors": listed(n, {at: [where[book.door[e]] for e in m] for at, m in met.items()}),
            "times": listed(n, {at: clock(data, book.time[[*m]]) for at, m in met.items()}),
            "sources": listed(
                n, {at: [("events", int(labels[e])) for e in m] for at, m in met.items()}
            ),
        }
    )


def _far_pairs(
    data: Dataset, rows: Ints, window: int, verdict: npt.NDArray[np.int8]
) -> dict[int, tuple[int, int]]:
    """Writes each code's verdict (YES, UNCLEAR) and returns a pair of events for each YES."""
    book, found = log(data), uses(data, "cards")
    code, time = found.code[rows], book.time[rows]
    order = np.lexsort((rows, time, code))
    rows, code, time = rows[order], code[order], time[order]
    near = (code[1:] == code[:-1]) & (time[1:] - time[:-1] < window)
    close = np.zeros(len(rows), bool)
    close[1:] |= near
    close[:-1] |= near
    rows, code, time = rows[close], code[close], time[close]
    zones, known = _zones(data)
    door = book.door[rows]
    # a side that is not given is a zone of its own: what may be apart, then what surely is
    verdict[code[apart(code, time, zones[door], window)]] = UNCLEAR
    sure = known[door]
    rows, code, time, door = rows[sure], code[sure], time[sure], door[sure]
    at = np.flatnonzero(apart(code, time, zones[door], window))
    verdict[code[at]] = YES
    pairs = {}
    for begin in at[np.unique(code[at], return_index=True)[1]].tolist():
        here = zones[door[begin]]
        other = begin + 1
        while (zones[door[other]][:, None] == here).any():
            other += 1
        pairs[int(code[begin])] = (int(rows[begin]), int(rows[other]))
    return pairs


def _zones(data: Dataset) -> tuple[Ints, Bools]:
    """The two zones of each door of the file as codes, and whether both are given."""
    doors = by_id(data, "doors")
    at = places(doors.index, log(data).doors)
    n = len(doors)
    codes, distinct = pd.factorize(pd.concat([doors["inside_zone"], doors["outside_zone"]]))
    sides = codes.astype(np.int64)
    both = np.stack([np.append(side, -1)[at] for side in (sides[:n], sides[n:])], axis=1)
    lacking = both < 0
    both[lacking] = len(distinct) + np.arange(int(lacking.sum()))
    known = np.asarray(~lacking.any(axis=1), bool)
    return both, known
