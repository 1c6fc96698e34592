import numpy as np
import pandas as pd

from audit.arithmetic.plain import codes
from audit.arithmetic.plain import lists as lists_of
from audit.contract import OUT, Dataset, Example, Reference, rule
from audit.facts import card_register as card_numbers
from audit.facts.standing import live, one_row_each


@rule(
    title="One number on two cards",
    finds="Two or more live cards with the same number, however it is written: decimal,"
    " hexadecimal, or facility code and number.",
    priority="immediate",
    upload=True,
    needs={"cards": ()},
    subjects=("card",),
    summary="One number on several live cards: {card}. A reader can't tell them apart.",
    evidence=("numbers",),
    remedy="Present each card at a reader, correct the wrong rows, and withdraw a card that"
    " really has another's number.",
    references=(
        Reference(
            "EN 60839-11-1:2013, test of Table 4 lines 13 and 23",
            "a token number already issued, or one token given to two users, is refused",
            sure="read",
        ),
        Reference(
            "SIA AC-01-1996.10, the 26-bit format",
            "the numbers are open and not registered, so doubles exist",
            sure="quoted",
        ),
    ),
)
def card_number_repeated(data: Dataset) -> pd.DataFrame:
    """Two people open with one number: withdraw one and the other still works, and no record
    says who came in."""
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


EXAMPLES = (
    Example(
        "the same number in four forms",
        """
        cards
        card_id | number     | facility_code | number_form  | status
        C1      | 123,45678  |               |              |
        C2      | 45678      | 123           |              |
        C3      | 8106606    |               |              |
        C4      | 007BB26E   |               | hex          |
        C5      | 6EB27B00   |               | hex-reversed |
        C6      | 2F764DD    |               | wiegand26    |
        C7      | 45678      | 124           |              |
        C8      | 45678      |               |              |
        C9      | 8106606    |               |              | lost
        C10     | 123-45678  |               |              |
        """,
        expect={
            "C1+C2+C3+C4+C5+C6": True,
            "C7": False,
            "C8": False,
            "C9": OUT,
            "C10": False,
        },
    ),
    Example(
        "what can't be read, or may not be live, is not judged",
        """
        cards
        card_id | number | number_form | status | valid_to
        C1      | 12G4   |             |        |
        C2      | 12G4   |             |        |
        C3      | 77     | hexadecimal |        |
        C4      | 77     |             |        |
        C5      | 88     |             | spare  |
        C6      | 88     |             |        |
        C7      | 99     |             |        | 2026-09-30
        C8      | 099    |             |        | 2026-09-29
        C9      | 55     |             | spare  |
        C10     | 55     |             |        |
        C11     | 55     |             |        |
        """,
        expect={
            "C1": None,
            "C2": None,
            "C3": None,
            "C4": False,
            "C5+C6": None,
            "C7": False,
            "C8": OUT,
            "C10+C11": True,
        },
    ),
    Example(
        "a card without an id of its own goes by its number",
        """
        cards
        number | person_id
        0123   | P1
        123    | P2
        124    | P3
        55     | P4
        55     | P5
        """,
        expect={"0123+123": True, "124": False, "55": True},
    ),
    Example(
        "numbers outside their form: the same reading is the same number, another never is",
        """
        cards
        card_id | number  | number_form
        C1      | 1,70000 |
        C2      | 2,4464  |
        C3      | ABC     | hex
        C4      | 0ABC    | hex
        C5      | A:BC    | hex
        """,
        expect={"C1": False, "C2": False, "C3+C5": True, "C4": False},
    ),
    Example(
        "one id on several rows",
        """
        cards
        card_id | number
        C1      | 1
        C1      | 2
        C2      | 1
        C2      | 2
        """,
        expect={"C1+C2": True},
    ),
)
