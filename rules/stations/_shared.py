"""The site's stations as coded columns, as the rules on stations ask for them."""

from __future__ import annotations

import numpy as np
import pandas as pd

from audit.arithmetic.chains import _plain_codes
from audit.arithmetic.plain import places, word_codes
from audit.contract import TEXT, Dataset
from audit.facts.stations import KINDS, Board


def stations(data: Dataset) -> pd.DataFrame:
    """The stations table, the first row of a repeated id only; labels are the table's."""
    return data.once(_stations)


def _stations(data: Dataset) -> pd.DataFrame:
    frame = data["stations"]
    return frame if frame["station_id"].is_unique else frame.drop_duplicates("station_id")


def board(data: Dataset) -> Board:
    """The stations, coded once."""
    return data.once(_board)


def _board(data: Dataset) -> Board:
    frame = stations(data)
    home, homes = pd.factorize(frame["dwelling_id"])
    port, ports = _plain_codes(frame["port"])
    number, numbers = _plain_codes(frame["number"])
    return Board(
        frame,
        word_codes(frame["kind"], KINDS),
        places(frame["station_id"], frame["controller_id"]),
        places(frame["station_id"], frame["main_id"]),
        home.astype(np.int64),
        pd.Series(homes, dtype=TEXT),
        port,
        ports,
        number,
        numbers,
    )
