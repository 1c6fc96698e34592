"""What several rules ask of the cards as a whole: which are alike, which are withdrawn."""

from __future__ import annotations

import pandas as pd


def _failing(frame: pd.DataFrame, column: str) -> pd.Series:
    failing: pd.Series = frame.loc[frame["fails"].fillna(False).to_numpy(dtype=bool), column]
    return failing
