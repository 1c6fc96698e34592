import numpy as np
import pandas as pd

from audit.arithmetic.pin_risk import crowded
from audit.arithmetic.three import Ints
from audit.contract import Cause, Dataset, Step, rule
from audit.facts.pin_doors import _answer
from rules.pins._shared import door_codes


@rule(
    title="Too many valid PINs for their length",
    finds="A PIN-only door where valid PINs make up more than one in a thousand of the codes"
    " possible at the shortest length in use.",
    priority="planned",
    upload=True,
    needs={"doors": ("entry",), "pins": ("pin",)},
    uses=(
        "people",
        "cards",
        "dwellings",
        "stations",
        "permissions",
        "door_groups",
        "schedules",
        "calendars",
    ),
    subjects=("door",),
    cause=Cause("codes"),
    summary="{codes:1 PIN opens|% PINs open} door {door} on its own; the shortest has {digits:1"
    " digit|% digits}.",
    evidence=("codes", "digits", "entry"),
    do=(
        Step(
            "Use longer PINs, require card and PIN, or withdraw PINs that are not needed"
            " at this door.",
            who="panel technician",
            does="cut",
        ),
    ),
    cites=(
        "en-50133-1-1996-recognition-class-1-withdrawn",
        "en-60839-11-1-2013-table-4-line-21",
        "en-1300-high-security-locks",
    ),
)
def pin_code_space(data: Dataset) -> pd.DataFrame:
    """The more PINs open a door, the sooner a random guess hits one.

    Counted are the different live codes that work at a door which asks for nothing else: more
    than one for each 1,000 possible codes of the shortest length in use there is too many.
    """
    doors = crowded_doors(data)
    return doors.assign(fails=doors["over"].mask(~doors["over"] & doors["may_be_over"]))


def crowded_doors(data: Dataset) -> pd.DataFrame:
    """More than one code per 1,000 possible ones of the shortest length at the door.

    The doors with `codes`, `digits` (the shortest), `over`, and `may_be_over`.
    """
    at = door_codes(data)
    sure, shortest = at.sure.sum(axis=1), _shortest(at.sure, at.lengths)
    possible, least = at.possible.sum(axis=1), _shortest(at.possible, at.lengths)
    over = [crowded(n, d) for n, d in zip(sure.tolist(), shortest.tolist(), strict=True)]
    may = [crowded(n, d) for n, d in zip(possible.tolist(), least.tolist(), strict=True)]
    return _answer(at, over, may).assign(codes=sure, digits=pd.array(shortest, dtype="Int64"))


def _shortest(counts: Ints, lengths: list[int]) -> Ints:
    """The shortest length of each row's codes; 0 where it has none."""
    if not lengths:
        return np.zeros(len(counts), np.int64)
    there = counts > 0
    first = np.asarray(lengths)[there.argmax(axis=1)]
    return np.where(there.any(axis=1), first, 0)
