"""What several rules ask of the cards as a whole: which are alike, which are withdrawn."""

from __future__ import annotations

import numpy as np
import pandas as pd

from audit.arithmetic.columns import among
from audit.arithmetic.plain import places
from audit.arithmetic.three import Ints
from audit.contract import Dataset
from audit.facts.holders import holder
from audit.facts.standing import live


def _failing(frame: pd.DataFrame, column: str) -> pd.Series:
    failing: pd.Series = frame.loc[frame["fails"].fillna(False).to_numpy(dtype=bool), column]
    return failing


def only_credential(data: Dataset) -> pd.Series:
    """Whether each card is its holder's only way in, aligned with data["cards"] (nullable).

    No other live card, and no live personal PIN, is held by its person; of a card without
    person, none by its dwelling or anybody who lives there. A card of nobody is nobody's only
    one. NA where a table or column that could tell of another is not there.
    """
    return data.once(_only_credential)


def _only_credential(data: Dataset) -> pd.Series:
    cards = data["cards"]
    alone = data.blank("cards", "person_id")
    sure, may = np.zeros(len(cards), np.int64), np.zeros(len(cards), np.int64)
    for table in ("cards", "pins"):
        for counts, certain in ((sure, True), (may, False)):
            counts += _others(data, table, certain)
    blind = "pins" not in data.site.without and not data.has("pins", "kind", "person_id")
    at_home = alone & ~data.blank("cards", "dwelling_id")
    blind_at_home = not data.has("people", "dwelling_id")
    only = pd.Series(sure == 0, index=cards.index).astype("boolean")
    unclear = (sure == 0) & ((may > 0) | blind | (at_home.fillna(False) & blind_at_home))
    only = only.mask(unclear)
    return only & (~alone | at_home)


def _others(data: Dataset, table: str, certain: bool) -> Ints:
    """How many live cards, or personal PINs, the holder of each card has besides that card."""
    cards, rows, held = data["cards"], data[table], holder(data, table)
    alive = live(data, table)
    if table == "pins":
        alive = alive & among(rows["kind"], "personal")
    gone = held["departed"].fillna(certain)
    home = rows["dwelling_id"].where(rows["person_id"].isna(), held["dwelling"].mask(gone))
    use = alive.fillna(not certain).to_numpy(dtype=bool)
    found = np.zeros(len(cards), np.int64)
    named = cards["person_id"].notna().to_numpy(dtype=bool)
    for column, keys, which in (
        (rows["person_id"], cards["person_id"], named),
        (home, cards["dwelling_id"], ~named),
    ):
        ids = pd.Index(column[use].dropna().unique())
        counts = np.bincount(places(ids, column)[use & column.notna()], minlength=len(ids) + 1)
        counts[-1] = 0
        found = np.where(which, counts[places(ids, keys)], found)
    own = use if table == "cards" else np.zeros(len(cards), bool)
    return np.asarray(np.maximum(found - own, 0), np.int64)
