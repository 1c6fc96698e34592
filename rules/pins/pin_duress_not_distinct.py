import pandas as pd

from audit.contract import OUT, Dataset, Example, Reference, rule
from rules.pins._shared import reused_codes


@rule(
    title="Duress PIN with the code of an ordinary one",
    finds="A live duress PIN that has the same digits as an ordinary one.",
    priority="immediate",
    upload=True,
    needs={"pins": ("pin", "kind")},
    subjects=("pin",),
    summary="PINs {pin} have the same code, and a duress PIN is among them.",
    evidence=("count", "digits"),
    remedy="Give the duress PIN a code that no other PIN has, and tell its holder.",
    references=(
        Reference(
            "EN 60839-11-1:2013, 6.5 Duress",
            "a duress signal is a function of its own; it needs a code of its own",
            sure="from memory",
        ),
    ),
)
def pin_duress_not_distinct(data: Dataset) -> pd.DataFrame:
    """Either a call for help is taken for an ordinary entry, or an ordinary entry for a call.

    The controller can't tell one from the other where the codes are the same.
    """
    return reused_codes(data, duress=True)


EXAMPLES = (
    Example(
        "whoever holds them; two duress PINs with one code are not this rule's business",
        """
        pins
        pin_id | pin    | kind     | person_id | status
        P1     | 839146 | duress   | A         |
        P2     | 839146 | personal | A         |
        P3     | 111460 | duress   | A         |
        P4     | 111460 | shared   | B         | suspended
        P5     | 740962 | duress   | A         |
        P6     | 740962 | duress   | B         |
        P7     | 597380 | personal | A         |
        P8     | 597380 | personal | B         |
        P9     | 264085 | duress   | A         |
        P10    | 264085 |          | B         |
        P11    | 318407 | personal | A         |
        P12    | 318407 |          | B         |
        P13    | 450719 |          | B         |
        P14    | ****   | duress   | A         |
        P15    | ****   | personal | A         |
        P16    | 682093 | duress   | A         |
        P17    | 682093 | personal | B         | perhaps
        P18    | 937514 | duress   | A         |
        P19    | 937514 | admin    | B         |
        P20    | 937514 | personal | C         |
        """,
        expect={
            "P1+P2": True,
            "P3": False,
            "P4": OUT,
            "P5": False,
            "P6": False,
            "P7": OUT,
            "P8": OUT,
            "P9": None,
            "P10": None,
            "P11": OUT,
            "P12": None,
            "P13": False,
            "P14": None,
            "P15": OUT,
            "P16": None,
            "P17": OUT,
            "P18+P19+P20": True,
        },
    ),
)
