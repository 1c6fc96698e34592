import numpy as np
import pandas as pd

from audit.contract import TEXT, Cause, Dataset, Step, rule
from audit.facts.holders import _counted, _each, in_household
from audit.facts.standing import entitled, live
from audit.facts.subjects import is_in, lists
from rules.people._shared import telling


@rule(
    title="Vacant dwelling with live cards or PINs",
    finds="A dwelling with no current resident, or marked as not occupied, that still has live"
    " cards or PINs.",
    priority="immediate",
    upload=True,
    needs={},
    uses=("people", "dwellings", "cards", "pins"),
    policy=("departure_grace_days",),
    subjects=("dwelling",),
    cause=Cause("dwelling", ("dwelling",)),
    summary="Nobody lives in dwelling {dwelling}, but it still has live access{cards:; card %|;"
    " cards %|}{pins:; PIN %|; PINs %|}.",
    evidence=("cards", "pins", "occupied", "entitled"),
    do=(
        Step(
            "Ask who carries these cards and PINs. Withdraw them if nobody lives there, or"
            " record who does.",
            who="office",
            does="cut",
        ),
    ),
    cites=(
        "nist-sp-800-53-rev-5-1-1-pe-2-d",
        "nist-sp-800-53-rev-5-1-1-ac-2-3-2",
    ),
)
def vacant_with_credentials(data: Dataset) -> pd.DataFrame:
    """The residents have gone but their cards or PINs still work, and will keep working when
    the next tenant moves in.
    """
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
