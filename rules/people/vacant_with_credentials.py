import numpy as np
import pandas as pd

from audit.arithmetic.plain import places
from audit.contract import TEXT, Cause, Dataset, Step, rule
from audit.facts.holders import _counted, _each, in_household
from audit.facts.missing import why
from audit.facts.standing import departed, entitled, live, still_to_come
from audit.facts.subjects import is_in, lists
from rules.people._shared import telling

RECORD = Step("Record who lives there now.", who="office", does="record")
STEPS = (
    Step(
        "Ask who carries these cards and PINs. Withdraw them if nobody lives there.",
        who="office",
        does="cut",
    ),
)


@rule(
    title="Vacant dwelling with live cards or PINs",
    finds="A dwelling marked as not occupied, or whose people have all left, that still has live"
    " cards or PINs. A dwelling that waits for its first residents is left out.",
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
    do=STEPS,
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
    rows = rows[rows["applies"].fillna(True)]
    vacant = rows["empty"] | (rows["left"] & ~rows["entitled"]).mask(~rows["recorded"])
    fails = (rows["live"] & rows["known"] & vacant).mask(rows["applies"].isna() & vacant)
    nobody = ~rows["recorded"] & fails.isna()
    number = int(nobody.sum())
    homes = "this dwelling" if number == 1 else f"these {number} dwellings"
    words = f"who lives in {homes} is not recorded"
    lived_in = rows["occupied"].isin(["yes"])
    rows = rows.assign(
        fails=fails,
        do=lived_in.map({True: (RECORD, *STEPS), False: STEPS}),
        **why(fails, (nobody, words, "people.dwelling_id")),
    )
    return _told(data, rows)


def dwellings_with_credentials(data: Dataset) -> pd.DataFrame:
    """Dwellings to which live cards or PINs are bound, or may be: a row each.

    Columns: `dwelling`, nullable booleans `live` (a card or PIN surely is), `entitled` (somebody
    there is), `left` (somebody has left it), `applies` (False: it waits for its first people),
    `empty` (said not to be occupied), `known` (True, or NA where the table of dwellings does not
    have it), `recorded` (bool: anybody is) and `occupied` (as recorded). Where neither cards nor
    PINs are there and bound to anybody, a row a dwelling with `live` NA.
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
    empty, known = _said_empty(data, homes)
    coming = _anybody(data, homes, still_to_come(data))
    left = _anybody(data, homes, departed(data))
    return frame.assign(
        entitled=_anybody(data, homes, entitled(data)),
        left=left,
        applies=left | ~coming,
        recorded=places(pd.Index(data["people"]["dwelling_id"].dropna()), homes) >= 0,
        empty=empty,
        known=known,
        occupied=_occupied(data, homes),
    )


def _anybody(data: Dataset, homes: pd.Index, said: pd.Series) -> pd.Series:
    """Whether it is so of anybody of each dwelling (nullable)."""
    ids = data["people"]["dwelling_id"]
    sure = _each(homes, ids, said.fillna(False))
    unsaid = not data.has("people", "dwelling_id")
    perhaps = _each(homes, ids, said.isna()) | unsaid
    return pd.Series(pd.arrays.BooleanArray(sure, perhaps & ~sure))


def _occupied(data: Dataset, homes: pd.Index) -> pd.Series:
    """`yes` or `no` as recorded of each dwelling, on all of its rows; NA else."""
    rows = data["dwellings"]
    yes, no = (
        _each(homes, rows["dwelling_id"], (rows["occupied"] == word).fillna(False))
        for word in (True, False)
    )
    return pd.Series(np.select([yes & ~no, no & ~yes], ["yes", "no"], ""), dtype=TEXT).replace(
        "", pd.NA
    )


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
    """The frame and, for its failing rows, `cards`, `pins` and `sources`."""
    frame = frame.assign(cards=None, pins=None, sources=None)
    suspect = frame["dwelling"][frame["fails"].fillna(False)]
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
