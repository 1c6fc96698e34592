import numpy as np
import pandas as pd

from audit.arithmetic.chains import pairs_of
from audit.arithmetic.plain import given, places
from audit.arithmetic.three import NO, UNCLEAR, YES, nullable
from audit.contract import Cause, Dataset, Step, rule
from audit.facts.stations import KINDS, beyond, named
from rules.stations._shared import board


@rule(
    title="Extension unit with no main unit or an invalid number",
    finds=(
        "An extension unit with no main unit, with a number another extension already has, or"
        " with a number the equipment does not allow."
    ),
    priority="planned",
    upload=True,
    needs={"stations": ("kind", "number")},
    subjects=("station",),
    cause=Cause("station", ("station",)),
    summary="Extension unit {station}: {fault}.",
    evidence=("fault", "limit"),
    do=(
        Step(
            "Assign the unit to its main unit and give it the lowest free number.",
            who="panel technician",
            does="fit",
        ),
    ),
    cites=("the-equipment-s-data-sheet-2",),
)
def extension_number_wrong(data: Dataset) -> pd.DataFrame:
    """The unit will not ring, and a call is missed or goes to the wrong place."""
    rows = extensions(data)
    limit = data.equipment.extension_units_per_dwelling
    outside = (rows["own_number"] < 1) | beyond(rows["own_number"], limit)
    faults = {
        "there is no main unit": ~rows["main"],
        "its number is another's too": rows["repeated"],
        "its number is outside the units' range": outside,
    }
    return rows.assign(
        station=rows["station_id"],
        limit=limit,
        fault=named(faults),
        fails=(~rows["main"] | rows["repeated"] | outside).mask(rows["kind"].isna()),
    )


def extensions(data: Dataset) -> pd.DataFrame:
    """Every extension unit (and station of unknown kind) with its main unit and its number.

    Columns: `station_id`, `kind`; `main` (boolean: it has its main unit; NA where `main_id`
    names no known station, or neither a main unit nor a dwelling is given), `own_number`
    (Int64; -1: given, but no whole number), `repeated` (boolean: another extension of the same
    main unit bears the number).
    """
    return data.once(_extensions)


def _extensions(data: Dataset) -> pd.DataFrame:
    b = board(data)
    at = b.of_kind("extension-unit")
    answers = b.kind == KINDS.index("answering-unit")
    housed = np.bincount(b.home[answers & (b.home >= 0)], minlength=len(b.homes))
    perhaps = np.zeros(len(b.homes) + 1, bool)
    perhaps[b.home[b.kind < 0]] = True
    perhaps[-1] = True  # no dwelling is given
    home, named = b.home[at], given(b.frame["main_id"])[at]
    by_home = np.where(np.append(housed, 0)[home] > 0, YES, np.where(perhaps[home], UNCLEAR, NO))
    main_kind = np.where(b.main[at] >= 0, b.kind[b.main[at]], -1)
    by_name = np.where(
        main_kind < 0, UNCLEAR, np.where(main_kind == KINDS.index("answering-unit"), YES, NO)
    )
    main = np.where(named, by_name, by_home).astype(np.int8)

    # the main unit itself where it is certain which; else the dwelling, or the name, speaks
    size = len(b.kind)
    only = np.full(len(b.homes) + 1, -1, np.int64)
    only[b.home[answers]] = np.flatnonzero(answers)
    only[:-1][housed > 1] = -1
    only[-1] = -1
    of_home = np.where(only[home] >= 0, only[home], np.where(home >= 0, size + home, -1))
    gone = places(b.frame["main_id"], b.frame["main_id"])[at] + size + len(b.homes)
    of_name = np.where(b.main[at] >= 0, b.main[at], gone)
    whose = np.where(b.kind[at] == -1, -1, np.where(named, of_name, of_home))
    whole = np.array([int(t) if t.isdecimal() and len(t) < 10 else -1 for t in b.numbers] + [-2])
    number = whole[b.number[at]]
    codes, groups = pairs_of(whose, np.where(number < 0, -1, number))
    repeated = np.append(np.bincount(codes[codes >= 0], minlength=groups), 0)[codes] > 1
    own_number = pd.arrays.IntegerArray(number, number == -2)
    return b.told(at, main=nullable(main), own_number=own_number, repeated=nullable(repeated))
