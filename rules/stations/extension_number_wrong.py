import numpy as np
import pandas as pd

from audit.arithmetic.chains import pairs_of
from audit.arithmetic.plain import given, places
from audit.arithmetic.three import NO, UNCLEAR, YES, nullable
from audit.contract import OUT, Dataset, Example, Reference, rule
from audit.facts.stations import KINDS, beyond, named
from rules.stations._shared import board


@rule(
    title="Extension unit without main unit, or with a number that can't ring",
    finds="An extension unit without a main unit, with a number that another extension has, or"
    " with a number outside the range that the equipment allows.",
    priority="planned",
    upload=True,
    needs={"stations": ("kind", "number")},
    subjects=("station",),
    summary="Extension unit {station}: {fault}.",
    evidence=("fault", "limit"),
    remedy="Bind the unit to its main unit, and give it the lowest number that is free there.",
    references=(
        Reference(
            "the equipment's data sheet",
            "how many extension units ring with a dwelling's main unit (site.toml, [equipment])",
            sure="common practice, no source",
        ),
    ),
)
def extension_number_wrong(data: Dataset) -> pd.DataFrame:
    """Such a unit does not ring: somebody waits for a call that arrives elsewhere, or nowhere."""
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
    whose = np.where(b.kind[at] < 0, -1, np.where(named, of_name, of_home))
    whole = np.array([int(t) if t.isdecimal() and len(t) < 10 else -1 for t in b.numbers] + [-2])
    number = whole[b.number[at]]
    codes, groups = pairs_of(whose, np.where(number < 0, -1, number))
    repeated = np.append(np.bincount(codes[codes >= 0], minlength=groups), 0)[codes] > 1
    own_number = pd.arrays.IntegerArray(number, number == -2)
    return b.told(at, main=nullable(main), own_number=own_number, repeated=nullable(repeated))


EXAMPLES = (
    Example(
        "numbers 1 to 5 ring, each once",
        """
        stations
        station_id | kind            | dwelling_id | number | main_id
        M1         | answering-unit  | D1          | 101    |
        M2         | answering-unit  | D2          | 102    |
        M3         | answering-unit  | D3          | 103    |
        E1         | extension-unit  | D1          | 1      |
        E5         | extension-unit  | D1          | 5      | M1
        E6         | extension-unit  | D1          | 6      |
        E0         | extension-unit  | D1          | 0      |
        EA         | extension-unit  | D1          | A      |
        F1         | extension-unit  | D2          | 1      |
        F2         | extension-unit  | D2          | 01     | M2
        G1         | extension-unit  | D9          | 1      |
        G2         | extension-unit  | D3          | 2      | C1
        H1         | extension-unit  | D3          | 3      | gone
        H2         | extension-unit  |             | 4      |
        H3         | extension-unit  | D3          |        |
        H4         |                 | D3          | 9      |
        C1         | controller      |             |        |
        """,
        equipment={"extension_units_per_dwelling": 5},
        expect={
            "E1": False,
            "E5": False,
            "E6": True,
            "E0": True,
            "EA": True,
            "F1": True,
            "F2": True,
            "G1": True,
            "G2": True,
            "H1": None,
            "H2": None,
            "H3": None,
            "H4": None,
            "M1": OUT,
            "C1": OUT,
        },
    ),
    Example(
        "without the equipment's limit a number is never surely in range",
        """
        stations
        station_id | kind            | dwelling_id | number
        M1         | answering-unit  | D1          | 101
        E1         | extension-unit  | D1          | 1
        E0         | extension-unit  | D1          | 0
        """,
        expect={"E1": None, "E0": True},
    ),
)
