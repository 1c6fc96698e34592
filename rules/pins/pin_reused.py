import pandas as pd

from audit.contract import OUT, Dataset, Example, Reference, rule
from rules.pins._shared import reused_codes


@rule(
    title="One code in several hands",
    finds="One code held by different holders; a person and their own dwelling count as one.",
    priority="immediate",
    upload=True,
    needs={"pins": ("pin",)},
    uses=("people",),
    subjects=("pin",),
    summary="PINs {pin} of different holders have the same code.",
    evidence=("count", "digits"),
    remedy="Give each holder a code of their own; withdraw this one.",
    references=(
        Reference(
            "EN 60839-11-1:2013, 6.4",
            "from grade 2, each authorised user has an identity of their own",
            sure="quoted",
        ),
        Reference(
            "NIST SP 800-53 revision 5.1.1, IA-5 and AC-2",
            "shared secrets are changed when someone leaves the group",
            sure="read",
        ),
    ),
)
def pin_reused(data: Dataset) -> pd.DataFrame:
    """Nobody can tell who came in, and the code can't be withdrawn from one holder alone.

    A person and their own dwelling count as one holder. Duress PINs have a rule of their own.
    """
    return reused_codes(data, duress=False)


EXAMPLES = (
    Example(
        "different people, dwellings and doors; a person and their own dwelling are one holder",
        """
        people
        person_id | dwelling_id | role
        A         | D1          |
        B         | D1          |
        C         | D2          |
        S         |             | staff
        U         |             |

        pins
        pin_id | pin    | kind     | person_id | dwelling_id | door_id | station_id | status
        P1     | 839146 | personal | A         |             |         |            |
        P2     | 839146 | personal | B         |             |         |            |
        P3     | 111460 | personal | A         |             |         |            |
        P4     | 111460 | shared   |           | D1          |         |            |
        P5     | 740962 | personal | A         |             |         |            |
        P6     | 740962 | shared   |           | D2          |         |            |
        P7     | 597380 | shared   |           |             | E1      |            |
        P8     | 597380 | shared   |           |             | E2      |            |
        P9     | 264085 | personal | S         |             |         |            |
        P10    | 264085 | shared   |           | D1          |         |            |
        P11    | 318407 | personal | A         |             |         |            |
        P12    | 318407 | personal | A         |             |         |            |
        P13    | 450719 | personal | A         |             |         |            |
        P14    | 450719 | duress   | B         |             |         |            |
        P15    | 682093 | personal | A         |             |         |            |
        P16    | 682093 | personal | B         |             |         |            | suspended
        P17    | 937514 | personal | A         |             |         |            |
        P18    | 937514 |          |           |             |         |            |
        P19    | 506821 | personal | U         |             |         |            |
        P20    | 506821 | shared   |           | D1          |         |            |
        P21    | 719365 | personal | A         |             |         |            |
        P22    | 719365 | personal | B         |             |         |            | perhaps
        P23    | ****   | personal | A         |             |         |            |
        P24    | 280517 |          |           |             |         | S1         |
        P25    | 280517 |          |           |             |         | S2         |
        P26    | 360742 |          | A         |             | E1      |            |
        P27    | 360742 |          |           | D1          | E1      |            |
        P28    | 493068 | personal | X         |             |         |            |
        P29    | 493068 | shared   |           | D1          |         |            |
        """,
        expect={
            "P1+P2": True,
            "P3": False,
            "P4": False,
            "P5+P6": True,
            "P7+P8": True,
            "P10+P9": True,
            "P11": False,
            "P12": False,
            "P13": False,
            "P14": OUT,
            "P15": False,
            "P16": OUT,
            "P17": None,
            "P18": None,
            "P19": None,
            "P20": None,
            "P21": None,
            "P22": None,
            "P23": None,
            "P24+P25": True,
            "P26": False,
            "P27": False,
            "P28": None,
            "P29": None,
        },
    ),
    Example(
        "one finding a code, all its PINs in it",
        """
        pins
        pin_id | pin  | person_id
        P1     | 8391 | A
        P2     | 8391 | B
        P3     | 8391 | C
        P4     | 8392 | A
        P5     | 8393 | B
        P6     | 8392 | C
        P7     | 08391 | C
        """,
        expect={"P1+P2+P3": True, "P4+P6": True, "P5": False, "P7": False},
    ),
)
