"""Cards by technology: which can be copied, and what they would open."""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from audit.arithmetic.columns import among, spans
from audit.arithmetic.three import Ints
from audit.contract import Dataset
from audit.facts.grades import inside_grade
from audit.facts.reach import Access, reach
from audit.facts.standing import by_id, live

COPYABLE: Final = ("lf-open", "hf-uid", "hf-broken")


GRADE: Final = 3


def technologies(data: Dataset) -> pd.DataFrame:
    """Technologies of cards that are live, or may be: a row each.

    Columns: `technology` (`unknown` where it is not given or not readable), nullable booleans
    `copyable` (NA of `unknown`) and `live` (True, or NA where no card surely is), `cards` (ids
    of the live ones, of copyable technologies), `doors` (of those that lead into a zone of
    GRADE or higher, the ones they surely open), `sources`.
    """
    cards, alive = data["cards"], live(data, "cards")
    words = cards["technology"].fillna("unknown")
    high = _high(data)
    rows = []
    for word, part in alive[alive.fillna(True)].groupby(words):
        sure = part.index[part.fillna(False)]
        known = word in COPYABLE
        ids = sorted(set(cards.loc[sure, "card_id"])) if known else []
        rows.append(
            {
                "technology": word,
                "live": True if len(sure) else pd.NA,
                "cards": ids,
                "doors": _guarded(data, high, sure.to_numpy(dtype=np.int64)) if known else [],
                "sources": [("cards", int(label)) for label in sure[:1]],
            }
        )
    frame = pd.DataFrame(rows, columns=["technology", "live", "cards", "doors", "sources"])
    frame["live"] = frame["live"].astype("boolean")
    kind = frame["technology"]
    frame["copyable"] = among(kind.mask(kind == "unknown"), *COPYABLE)
    return frame


def _high(data: Dataset) -> npt.NDArray[np.bool_]:
    """Which doors (of `by_id`) surely lead into a zone of GRADE or higher."""
    if not (data.has("doors") and data.has("permissions")):
        return np.zeros(0, dtype=bool)
    grade = inside_grade(data)[by_id(data, "doors")["_label"]]
    return np.asarray((grade >= GRADE).fillna(False), dtype=bool)


def _guarded(data: Dataset, high: npt.NDArray[np.bool_], labels: Ints) -> list[str]:
    """The doors into zones of GRADE or higher that one of these cards surely opens."""
    if not high.any():
        return []
    site = reach(data)
    access, known = site.credentials("cards")
    merged = _merged(
        access, np.unique(access.of[np.isin(known, labels)]), site.grant_target, site.grant_schedule
    )
    pairs = site.pairs(merged, high)
    return sorted(set(site.door_ids[pairs.door[pairs.certain]]))


def _merged(
    access: Access, classes: Ints, target: npt.NDArray[np.int64], schedule: npt.NDArray[np.int64]
) -> Access:
    """The classes put together by what their holders carry, each kind of grant once.

    What one of many cards opens hangs on where a grant leads and when, not on which grant it is.
    """
    size = np.diff(access.start)[classes]
    of = np.repeat(classes, size)
    items = access.items[spans(access.start[classes], size)]
    carried = access.card[of].astype(np.int64) * 3 + access.pin[of]
    kinds = np.column_stack((carried, target[items >> 1], schedule[items >> 1], items & 1))
    _, first = np.unique(kinds, axis=0, return_index=True)
    first = first[np.argsort(carried[first], kind="stable")]
    levels, count = np.unique(carried[first], return_counts=True)
    return Access(
        of=np.arange(len(levels)),
        card=(levels // 3).astype(np.int8),
        pin=(levels % 3).astype(np.int8),
        start=np.concatenate([[0], np.cumsum(count)]),
        items=items[first],
        fits=access.fits,
    )
