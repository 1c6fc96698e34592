import numpy as np
import pandas as pd

from audit.arithmetic.freedom import opposite
from audit.arithmetic.plain import places
from audit.arithmetic.three import NO, UNCLEAR, coded, nullable
from audit.contract import Cause, Dataset, Step, rule
from audit.facts.doors import doors, on_route


@rule(
    title="Interlocked escape doors that an emergency does not free",
    finds=(
        "Two doors on escape routes of which one opens only while the other is shut, and"
        " neither fire alarm nor loss of power undoes that."
    ),
    priority="immediate",
    upload=True,
    life_safety=True,
    needs={"doors": ("escape_route", "interlocked_with", "interlock_released")},
    subjects=("door",),
    anchor=("door*",),
    cause=Cause("door", ("door",)),
    summary=(
        "Doors {door} are interlocked on an escape route, and fire alarm and loss of power do"
        " not undo it."
    ),
    do=(
        Step(
            "Have a competent person confirm it by the local code; then have the interlock"
            " undone by the fire alarm and by loss of power.",
            who="door fitter",
            does="free",
        ),
    ),
    cites=("regulatory-reform-fire-safety-order-2005-emergen", "en-13637-2015-interlocks"),
)
def interlock_cannot_open(data: Dataset) -> pd.DataFrame:
    """While someone stands in the first door, the second stays locked, and nobody can pass."""
    own = doors(data)
    ids, other = own.frame["door"], own.frame["interlocked_with"]
    at = places(ids, other)
    first = np.flatnonzero(other.notna().to_numpy(bool))
    route = np.append(on_route(data), np.int8(UNCLEAR))
    held = opposite(coded(own.frame["interlock_released"]))
    twice = np.append(own.twice, False)
    pairs: dict[tuple[str, str], tuple[int, list[int]]] = {}
    for i in first.tolist():
        pair = min(ids.iloc[i], other.iloc[i]), max(ids.iloc[i], other.iloc[i])
        both = min(route[i], route[at[i]])
        if both == NO:
            continue
        verdict = UNCLEAR if twice[i] or twice[at[i]] else int(min(both, held[i]))
        worst, rows = pairs.get(pair, (NO, []))
        pairs[pair] = max(worst, verdict), [*rows, i]
    keys = sorted(pairs)
    labels = own.frame.index.to_numpy()
    return pd.DataFrame(
        {
            "door": pd.Series([list(dict.fromkeys(k)) for k in keys], dtype=object),
            "fails": nullable(np.array([pairs[k][0] for k in keys], np.int8)),
            "reason": pd.Series(["interlock_released or escape_route is not recorded"] * len(keys)),
            "lacks": pd.Series(["doors.interlock_released"] * len(keys)),
            "sources": pd.Series(
                [[("doors", int(labels[r])) for r in pairs[k][1]] for k in keys], dtype=object
            ),
        }
    )
