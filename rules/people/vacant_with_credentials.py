import numpy as np
import pandas as pd

from audit.contract import OUT, TEXT, Dataset, Example, Reference, rule
from audit.facts.holders import _counted, _each, in_household
from audit.facts.standing import entitled, live
from audit.facts.subjects import is_in, lists
from rules.people._shared import telling


@rule(
    title="Empty dwelling with working credentials",
    finds="A dwelling in which nobody is entitled to live, or that is marked as not occupied,"
    " while live cards or PINs are bound to it.",
    priority="immediate",
    needs={},
    uses=("people", "dwellings", "cards", "pins"),
    policy=("departure_grace_days",),
    subjects=("dwelling",),
    summary="Nobody lives in dwelling {dwelling}, yet credentials bound to it are live{cards:;"
    " card %|; cards %|}{pins:; PIN %|; PINs %|}.",
    evidence=("cards", "pins", "occupied", "entitled"),
    remedy="Withdraw the dwelling's cards and PINs, or enter who lives there now.",
    references=(
        Reference(
            "NIST SP 800-53 rev 5.1.1, PE-2(d)",
            "people are removed from the access list when access is no longer required",
            sure="read",
        ),
        Reference(
            "NIST SP 800-53 rev 5.1.1, AC-2(3)",
            "credentials that are not tied to a person are disabled",
            sure="read",
        ),
    ),
)
def vacant_with_credentials(data: Dataset) -> pd.DataFrame:
    """The people are gone and their cards or PINs still open: whoever has them can come in, and
    will still be able to when the next tenant lives there."""
    rows = dwellings_with_credentials(data)
    return rows.assign(fails=rows["live"] & rows["known"] & (~rows["entitled"] | rows["empty"]))


def dwellings_with_credentials(data: Dataset) -> pd.DataFrame:
    """Dwellings to which live cards or PINs are bound, or may be: a row each.

    Columns: `dwelling`, nullable booleans `live` (a credential surely is), `entitled` (somebody
    there is), `empty` (said not to be occupied), `known` (True, or NA where the table of
    dwellings does not have it), and for the rows where nobody is entitled or which are said to
    be empty `cards`, `pins` and `sources`. Where neither cards nor PINs are there and bound to
    anybody, a row a dwelling with `live` NA.
    """
    tables = telling(data, "dwelling_id", "person_id")
    count = _counted(data, *tables) if tables else _nothing(data)
    count = count[(count["possible"] > 0).to_numpy()]
    sure = (count["sure"] > 0).to_numpy()
    frame = pd.DataFrame(
        {
            "dwelling": pd.Series(count.index, dtype=TEXT),
            "live": pd.arrays.BooleanArray(sure, ~sure),
        }
    )
    homes = pd.Index(frame["dwelling"])
    here = entitled(data)
    somebody = _each(homes, data["people"]["dwelling_id"], here.fillna(False))
    perhaps = _each(homes, data["people"]["dwelling_id"], here.isna())
    empty, known = _said_empty(data, homes)
    unsaid = perhaps if data.has("people", "dwelling_id") else np.ones(len(homes), dtype=bool)
    frame["entitled"] = pd.arrays.BooleanArray(somebody, unsaid & ~somebody)
    return _told(data, frame.assign(empty=empty, known=known, occupied=~empty))


def _nothing(data: Dataset) -> pd.DataFrame:
    ids = pd.concat([data["dwellings"]["dwelling_id"], data["people"]["dwelling_id"]]).dropna()
    return pd.DataFrame({"sure": 0, "possible": 1}, index=pd.Index(ids.unique()))


def _said_empty(data: Dataset, homes: pd.Index) -> tuple[pd.Series, pd.Series]:
    """Whether each is said not to be occupied (blank says nothing), and whether it is known."""
    if not data.has("dwellings"):
        unsaid = pd.Series(False, index=range(len(homes)), dtype="boolean")
        return unsaid, ~unsaid
    rows = data["dwellings"]
    unread = data.unread("dwellings", "occupied")
    no = (~rows["occupied"]).fillna(False) & ~unread
    yes, others = (_each(homes, rows["dwelling_id"], said) for said in (no, ~no))
    unclear = _each(homes, rows["dwelling_id"], unread)
    # Two rows that contradict each other, one that can't be read, or an unknown dwelling.
    unknown = ~yes & ~others
    empty = pd.arrays.BooleanArray(yes, unclear | (yes & others) | unknown)
    known = pd.arrays.BooleanArray(~unknown, unknown)
    return pd.Series(empty), pd.Series(known)


def _told(data: Dataset, frame: pd.DataFrame) -> pd.DataFrame:
    frame = frame.assign(cards=None, pins=None, sources=None)
    vacant = frame["live"] & (~frame["entitled"] | frame["empty"])
    suspect = frame["dwelling"][vacant.fillna(False)]
    if suspect.empty:
        return frame
    sources: dict[str, list[tuple[str, int]]] = {}
    for table, column in (("cards", "card_id"), ("pins", "pin_id")):
        alive = live(data, table).fillna(False).to_numpy(dtype=bool)
        bound = in_household(data, table)["dwelling"]
        hits = bound[is_in(bound, suspect) & alive]
        for label, dwelling in zip(hits.index.tolist(), hits, strict=True):
            sources.setdefault(dwelling, []).append((table, label))
        named = lists(hits, data[table][column], suspect)
        frame[table] = pd.Series(named, index=suspect.index, dtype=object).reindex(frame.index)
    found = [sources.get(dwelling, []) for dwelling in suspect]
    frame["sources"] = pd.Series(found, index=suspect.index, dtype=object).reindex(frame.index)
    return frame


EXAMPLES = (
    Example(
        "nobody entitled, or said to be empty",
        """
        people
        person_id | dwelling_id | status   | start_date | end_date
        P1        | A1          |          |            |
        P2        | A2          | departed |            |
        P3        | A3          |          |            | 2026-09-29
        P4        | A4          |          |            | 2026-09-30
        P5        | A5          |          | 2026-10-01 |
        P6        | A6          |          | 2026-09-30 |
        P7        | A7          |          |            |
        P8        | A8          |          |            | soon
        P9        | A9          |          |            |
        P11       | A11         | departed |            |
        P12       | A12         |          |            |

        dwellings
        dwelling_id | occupied
        A1          | yes
        A2          | yes
        A3          |
        A4          |
        A5          |
        A6          | yes
        A7          | no
        A8          | yes
        A9          | perhaps
        A10         | no
        A11         |
        A13         |
        A14         | no
        A15         |
        A16         | no
        A17         | no

        cards
        card_id | number | person_id | dwelling_id | status
        C1      | 1      |           | A1          |
        C2      | 2      | P2        |             |
        C3      | 3      |           | A3          |
        C4      | 4      |           | A4          |
        C5      | 5      |           | A5          |
        C6      | 6      |           | A6          |
        C7      | 7      |           | A7          |
        C8      | 8      |           | A8          |
        C9      | 9      |           | A9          |
        C10     | 10     |           | A10         | lost
        C11     | 11     |           | A11         | lost
        C12     | 12     |           | A12         |
        C13     | 13     |           | A13         |
        C14     | 14     |           | A14         | drawer
        C15     | 15     |           | A99         |
        C16     | 16     |           |             |
        C17     | 17     |           | A1          | drawer

        pins
        pin_id | pin    | dwelling_id | status
        N1     | 481516 | A11         |
        N2     | 481517 | A17         | suspended
        N3     | 481518 | A16         | active
        """,
        expect={
            "A1": False,
            "A2": True,
            "A3": True,
            "A4": False,
            "A5": True,
            "A6": False,
            "A7": True,
            "A8": None,
            "A9": None,
            "A10": OUT,
            "A11": True,
            "A12": None,
            "A13": True,
            "A14": None,
            "A15": OUT,
            "A16": True,
            "A17": OUT,
            "A99": None,
        },
    ),
    Example(
        "a register without a table of dwellings",
        """
        people
        person_id | dwelling_id | status
        P1        | A1          | departed
        P2        | A2          |

        cards
        card_id | number | dwelling_id
        C1      | 1      | A1
        C2      | 2      | A2
        C3      | 3      | A3
        """,
        expect={"A1": True, "A2": False, "A3": True},
    ),
    Example(
        "a register without cards and PINs",
        """
        people
        person_id | dwelling_id | status
        P1        | A1          | departed
        P2        | A2          |

        dwellings
        dwelling_id
        A1
        A2
        """,
        expect={"A1": None, "A2": False},
    ),
    Example(
        "a register without people: only what is said to be empty is",
        """
        dwellings
        dwelling_id | occupied
        A1          | no
        A2          | yes
        A3          |

        pins
        pin_id | pin    | dwelling_id
        N1     | 481516 | A1
        N2     | 481517 | A2
        N3     | 481518 | A3
        """,
        expect={"A1": True, "A2": None, "A3": None},
    ),
)
