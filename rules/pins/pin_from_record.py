import pandas as pd

from audit.contract import OUT, Dataset, Example, Reference, rule
from audit.trade.pin_origin import from_record
from audit.trade.subjects import once_each


@rule(
    title="PIN made from its holder's own record",
    finds="A live PIN made from its holder's own record: the dwelling number repeated or"
    " padded, the end of the phone number, the start date, or the day the PIN was set.",
    priority="immediate",
    upload=True,
    needs={"pins": ("pin",)},
    uses=("people", "dwellings"),
    subjects=("pin",),
    summary="PIN {pin} is made from its holder's record: {origin}.",
    evidence=("origin", "digits"),
    remedy="Give the holder a PIN chosen at random, and delete this one everywhere.",
    references=(
        Reference(
            "NIST SP 800-63B revision 3, 5.1.1.2",
            "secrets made of words of the context, such as the user's name, are refused",
            sure="read",
        ),
        Reference(
            "Bonneau, Preibusch, Anderson: A birthday present every eleven wallets? FC 2012",
            "a fifth of the people asked take digits from a phone or other number of theirs",
            sure="quoted",
        ),
    ),
)
def pin_from_record(data: Dataset) -> pd.DataFrame:
    """Whoever knows the resident, or reads the name plate, can work the code out.

    The dwelling's number repeated or padded with zeros, the end of the phone number, the
    day the tenancy began, the day the PIN was given.
    """
    pins = from_record(data)
    fails = (pins["live"] & pins["origin"].notna()).mask(~pins["judged"])
    return once_each(data, pins.assign(fails=fails), "pins", "pin")


EXAMPLES = (
    Example(
        "dwelling number, phone, start date and issue date, each one digit beside in order",
        """
        dwellings
        dwelling_id | number
        D1          | 47
        D2          | Flat 305

        people
        person_id | dwelling_id | phone           | start_date
        A         | D1          | +44 1632 960183 | 2021-03-05
        B         | D2          |                 |

        pins
        pin_id | pin      | person_id | dwelling_id | set_on     | status
        P1     | 474747   | A         |             |            |
        P2     | 004700   | A         |             |            |
        P3     | 000047   | A         |             |            |
        P4     | 470000   | A         |             |            |
        P5     | 960183   | A         |             |            |
        P6     | 960184   | A         |             |            |
        P7     | 050321   | A         |             |            |
        P8     | 210305   | A         |             |            |
        P9     | 030521   | A         |             |            |
        P10    | 050320   | A         |             |            |
        P11    | 305305   |           | D2          |            |
        P12    | 305306   |           | D2          |            |
        P13    | 305305   | B         |             |            |
        P14    | 14022026 |           |             | 2026-02-14 |
        P15    | 14022025 |           |             | 2026-02-14 |
        P16    | 839146   |           |             |            |
        P17    | 839146   | C         |             |            |
        P18    | ****     | A         |             |            |
        P19    | 474747   | A         |             |            | suspended
        P20    | 474747   | A         |             |            | perhaps
        P21    | 839146   | A         |             |            | perhaps
        """,
        expect={
            "P1": True,
            "P2": False,
            "P3": True,
            "P4": True,
            "P5": True,
            "P6": False,
            "P7": True,
            "P8": True,
            "P9": True,
            "P10": False,
            "P11": True,
            "P12": False,
            "P13": True,
            "P14": True,
            "P15": False,
            "P16": None,
            "P17": None,
            "P18": None,
            "P19": OUT,
            "P20": None,
            "P21": False,
        },
    ),
)
