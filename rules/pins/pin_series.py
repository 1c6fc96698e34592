import numpy as np
import pandas as pd

from audit.arithmetic.guessing import rows_of_codes, series_length
from audit.arithmetic.pin_guessing import by_length
from audit.arithmetic.three import Ints
from audit.contract import OUT, Dataset, Example, Reference, rule
from audit.facts.pin_holders import _holders_missing, gathered
from rules.pins._shared import different_holders, holders, live_pins


@rule(
    title="PINs handed out in a row",
    finds="Three or more PINs of different holders (four or more where they have four digits)"
    " in equal steps of 1 to 10.",
    priority="planned",
    upload=True,
    needs={"pins": ("pin",)},
    uses=("people",),
    subjects=("pin",),
    summary="PINs {pin} of different holders have codes in equal steps of {step}.",
    evidence=("step", "count", "digits"),
    remedy="Give each holder a PIN chosen at random.",
    references=(
        Reference(
            "NIST SP 800-63B revision 3, 5.1.1.2",
            "a secret that the provider chooses comes from an approved random generator",
            sure="read",
        ),
        Reference(
            "Three in a row; four among codes of four digits",
            "fewer occur by chance in a large house",
            sure="common practice, no source",
        ),
    ),
)
def pin_series(data: Dataset) -> pd.DataFrame:
    """Whoever has one of these codes can count up or down to a neighbour's.

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


EXAMPLES = (
    Example(
        "three in steps of ten; eleven is not counted; a longer row is one finding",
        """
        people
        person_id | dwelling_id
        A         | D1
        B         | D2
        C         | D3

        pins
        pin_id | pin    | person_id | dwelling_id | status
        P1     | 839146 | A         |             |
        P2     | 839156 | B         |             |
        P3     | 839166 | C         |             |
        P4     | 260400 | A         |             |
        P5     | 260411 | B         |             |
        P6     | 260422 | C         |             |
        P7     | 597381 | A         |             |
        P8     | 597382 | B         |             |
        P9     | 597383 | C         |             |
        P10    | 597384 | A         |             |
        P11    | 597385 | B         |             |
        P12    | 740961 | A         |             |
        P13    | 740962 | B         |             |
        P14    | 740963 |           | D1          |
        P15    | 111402 | A         |             |
        P16    | 111403 | B         |             |
        P17    | 111404 | C         |             | suspended
        P18    | 682091 | A         |             |
        P19    | 682092 | B         |             |
        P20    | 682093 | C         |             | perhaps
        P21    | 937511 | A         |             |
        P22    | 937512 | B         |             |
        P23    | 937513 |           |             |
        P24    | ****   | A         |             |
        """,
        expect={
            "P1+P2+P3": True,
            "P4": False,
            "P5": False,
            "P6": False,
            "P10+P11+P7+P8+P9": True,
            "P12": False,
            "P13": False,
            "P14": False,
            "P15": False,
            "P16": False,
            "P17": OUT,
            "P18": None,
            "P19": None,
            "P20": None,
            "P21": None,
            "P22": None,
            "P23": None,
            "P24": None,
        },
    ),
    Example(
        "four at four digits",
        """
        pins
        pin_id | pin  | person_id
        P1     | 8391 | A
        P2     | 8392 | B
        P3     | 8393 | C
        P4     | 2641 | A
        P5     | 2643 | B
        P6     | 2645 | C
        P7     | 2647 | D
        """,
        expect={"P1": False, "P2": False, "P3": False, "P4+P5+P6+P7": True},
    ),
)
