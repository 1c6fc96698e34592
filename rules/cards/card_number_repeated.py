import numpy as np
import pandas as pd

from audit.arithmetic.plain import codes
from audit.arithmetic.plain import lists as lists_of
from audit.contract import Cause, Dataset, Step, rule
from audit.facts import card_register as card_numbers
from audit.facts.standing import live, one_row_each


@rule(
    title="Same number on more than one card",
    finds="Two or more live cards with the same number, however it is written: decimal,"
    " hexadecimal, or facility code and number.",
    priority="immediate",
    upload=True,
    needs={"cards": ()},
    subjects=("card",),
    cause=Cause("card", ("card",)),
    summary="Cards {card} have the same number. A reader cannot tell them apart.",
    evidence=("numbers",),
    do=(
        Step(
            "Read each card at a reader and correct the wrong rows.",
            who="office",
            does="record",
        ),
        Step(
            "Replace any card that really does share a number, then withdraw that number.",
            who="office",
            does="cut",
        ),
    ),
    cites=(
        "en-60839-11-1-2013-test-of-table-4-lines-13-and",
        "sia-ac-01-1996-10-the-26-bit-format-2",
    ),
)
def card_number_repeated(data: Dataset) -> pd.DataFrame:
    """Two people share one number: cancel one card and the other still works, and the log
    cannot show which of them came in.
    """
    numbers = alike(data)
    return numbers.assign(fails=(numbers["surely"] > 1).astype("boolean").mask(numbers["unclear"]))


def alike(data: Dataset) -> pd.DataFrame:
    """Cards that are live, or may be, by number: a row for each number.

    Columns: `card` (list of the ids), `numbers` (as written), `surely` (how many of them are
    surely live), `unclear` (bool: unreadable, or it hangs on a row that may be live or not),
    `sources`.
    """
    cards, alive = data["cards"], live(data, "cards")
    frame = pd.DataFrame(
        {
            "card": cards["card_id"],
            "number": cards["number"],
            "key": card_numbers.register(data)["canonical"],
            "sure": alive.fillna(False),
        }
    )[alive.fillna(True)]
    code, _ = codes(frame["key"])
    several = (code >= 0) & (np.bincount(code[code >= 0], minlength=1)[code] > 1)
    alone = frame[~several]
    rows = [_group(group) for _, group in frame[several].groupby("key", sort=False)]
    each = np.arange(len(alone))
    single = pd.DataFrame(
        {
            "card": pd.Series(lists_of(alone["card"], each, np.ones_like(each)), alone.index),
            "numbers": None,
            "surely": alone["sure"].astype(int),
            "unclear": alone["key"].isna(),
            "sources": None,
        }
    )
    if rows:
        told = pd.DataFrame(rows)
        whole = pd.concat([single, told.assign(card=told["card"].astype(single["card"].dtype))])
    else:
        whole = single
    return whole if one_row_each(data, "cards") else _merged(whole)


def _group(group: pd.DataFrame) -> dict[str, object]:
    """The rows of one number: those surely live where there are two, else all of them."""
    sure = group["sure"].astype(bool)
    part = group[sure] if sure.sum() > 1 else group
    return {
        "card": sorted(set(part["card"])),
        "numbers": sorted(set(part["number"])),
        "surely": int(sure.sum()),
        "unclear": int(sure.sum()) < 2,
        "sources": [("cards", label) for label in part.index],
    }


def _merged(groups: pd.DataFrame) -> pd.DataFrame:
    """Groups with the same ids (an id on several rows) as one: the graver stands."""
    names = ["+".join(c) if isinstance(c, list) else str(c) for c in groups["card"]]
    rank = np.select([groups["surely"] > 1, groups["unclear"]], [0, 1], 2)
    text = groups["numbers"].map(repr)
    ordered = groups.assign(_name=names, _rank=rank, _text=text).sort_values(["_rank", "_text"])
    return ordered.drop_duplicates("_name").drop(columns=["_name", "_rank", "_text"])
