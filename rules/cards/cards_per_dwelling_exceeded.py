from collections.abc import Callable

import pandas as pd

from audit.contract import Cause, Dataset, Step, rule
from audit.facts.holders import _counted, in_household
from audit.facts.standing import live
from audit.facts.subjects import is_in


@rule(
    title="Too many cards for one dwelling",
    finds="More live cards registered to one dwelling than the site allows.",
    priority="advisory",
    needs={"cards": ("dwelling_id|person_id",)},
    uses=("people",),
    policy=("cards_per_dwelling",),
    subjects=("dwelling",),
    cause=Cause("dwelling", ("dwelling",)),
    summary="Dwelling {dwelling} has {cards} live {cards:card|cards}; the site allows {limit}.",
    evidence=("cards", "limit"),
    do=(
        Step(
            "Ask the household which cards they still have and withdraw the rest.",
            who="office",
            does="cut",
        ),
    ),
    cites=(
        "practice-of-door-entry-systems-3",
        "nist-sp-800-53-rev-5-1-1-ac-6-7",
    ),
)
def cards_per_dwelling_exceeded(data: Dataset) -> pd.DataFrame:
    """With this many cards, some have probably been lent, passed on or never returned."""
    count, limit = by_dwelling(data), data.policy.cards_per_dwelling
    sure, possible = count["sure"] > limit, count["possible"] > limit
    fails = sure.astype("boolean").mask(sure != possible)
    return count.assign(cards=count["sure"], limit=limit, fails=fails)


def by_dwelling(data: Dataset) -> pd.DataFrame:
    """Dwellings with cards that are live, or may be: `dwelling`, `sure`, `possible`, `sources`.

    Bound by the card itself, else through its holder.
    """
    count = counted(data, "cards")
    count = count[(count["possible"] > 0).to_numpy()].reset_index(names="dwelling")
    limit = data.policy.cards_per_dwelling
    many = count["dwelling"][count["sure"] > limit]
    if many.empty:
        return count
    bound = in_household(data, "cards")["dwelling"]
    rows = bound[is_in(bound, many) & live(data, "cards").fillna(False)]
    labels: dict[str, list[tuple[str, int]]] = {}
    for label, name in zip(rows.index.tolist(), rows, strict=True):
        labels.setdefault(name, []).append(("cards", label))
    sources = pd.Series([labels[name] for name in many], index=many.index, dtype=object)
    return count.assign(sources=sources.reindex(count.index))


def counted(data: Dataset, table: str) -> pd.DataFrame:
    """Live cards or PINs by dwelling (the index): columns `sure` and `possible` (int)."""
    return data.once(_COUNTED[table])


def _counted_of(table: str) -> Callable[[Dataset], pd.DataFrame]:
    return lambda data: _counted(data, table)


_COUNTED = {"cards": _counted_of("cards"), "pins": _counted_of("pins")}
