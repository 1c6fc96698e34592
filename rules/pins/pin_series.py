import numpy as np
import pandas as pd

from audit.arithmetic.guessing import rows_of_codes, series_length
from audit.arithmetic.pin_guessing import by_length
from audit.arithmetic.three import Ints
from audit.contract import Cause, Dataset, Step, rule
from audit.facts.pin_holders import _holders_missing, gathered
from rules.pins._shared import different_holders, holders, live_pins


@rule(
    title="PINs issued in sequence",
    finds="Three or more PINs of different holders (four or more if four digits) in equal steps"
    " of 1 to 10.",
    priority="planned",
    upload=True,
    needs={"pins": ("pin",)},
    uses=("people",),
    subjects=("pin",),
    cause=Cause("pin", ("pin",)),
    summary="PINs {pin}, of different holders, run in equal steps.",
    evidence=("count", "digits"),
    do=(
        Step(
            "Issue each holder a random PIN.",
            who="office",
            does="cut",
        ),
    ),
    cites=(
        "nist-sp-800-63b-revision-3-5-1-1-2-3",
        "three-in-a-row-four-among-codes-of-four-digits",
    ),
)
def pin_series(data: Dataset) -> pd.DataFrame:
    """Anyone who has one of these PINs can count up or down to a neighbour's.

    Three or more codes in equal steps of 1 to 10; four or more where codes have four digits.
    """
    return series(data)


def series(data: Dataset) -> pd.DataFrame:
    """PINs of different holders whose codes are in equal steps, as a rule returns them.

    A row each series, none within another, with its `step`; else a row each PIN.
    """
    pins = live_pins(data)
    surely = pins["live"].fillna(False).to_numpy(bool)
    held = holders(data)
    members: list[Ints] = []
    groups: list[Ints] = []
    steps: list[int] = []
    unsure = pins["secret"].isna().to_numpy() | ~surely
    bad = np.zeros(len(pins), bool)
    for digits, at, codes in by_length(pins["secret"]):
        need = series_length(digits)
        if len(at) < need:
            continue
        for certain in (True, False):
            if not certain and surely[at].all() and not _holders_missing(held, at).any():
                continue
            use = at[surely[at]] if certain else at
            values = codes[surely[at]] if certain else codes
            for step, chain in rows_of_codes(values, need):
                row, where = chain[chain >= 0], use[chain >= 0]
                least, most = different_holders(row, held.of(where), int(row.max()) + 1)
                fit = ((least if certain else most) >= need)[row]
                if not certain:
                    unsure[where[fit]] = True
                    continue
                group = np.full(len(pins), -1, np.int64)
                group[where] = row
                members.append(where[fit])
                groups.append(group)
                steps.append(step)
                bad[where[fit]] = True
    fails = pd.Series(bad, pins.index, dtype="boolean").mask(unsure & ~bad)
    answer = gathered(pins, members, groups, fails)
    taken = pd.array([*steps, pd.NA], dtype="Int64").take(answer["grouping"].to_numpy())
    return answer.assign(step=taken)
