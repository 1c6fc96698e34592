import pandas as pd

from audit.arithmetic.columns import among
from audit.contract import OUT, Dataset, Example, Reference, rule
from audit.facts.holders import holder
from audit.facts.standing import live
from audit.facts.subjects import once_each


@rule(
    title="Departed person with a working PIN",
    finds="A person who has left and still has a live personal or duress PIN.",
    priority="immediate",
    needs={"pins": ("person_id",), "people": ()},
    policy=("departure_grace_days",),
    subjects=("person", "pin"),
    summary="{person} has departed{last_day: (last day: %)|} and still has live {kind} PIN {pin}.",
    evidence=("last_day", "status", "kind"),
    remedy="Delete the PIN at every controller.",
    references=(
        Reference(
            "NIST SP 800-53 rev 5.1.1, PE-2(d) and PS-4",
            "people are removed from the list, and their credentials revoked, when access is no "
            "longer required",
            sure="read",
        ),
        Reference(
            "NIST SP 800-53 rev 5.1.1, PE-3(g)",
            "combinations are changed when their holders are transferred or terminated",
            sure="read",
        ),
    ),
)
def departed_with_pin(data: Dataset) -> pd.DataFrame:
    """A PIN can't be taken back like a card: until it is deleted, whoever left can come in."""
    pins, held = data["pins"], holder(data, "pins")
    own = live(data, "pins") & among(pins["kind"], "personal", "duress")
    frame = pd.DataFrame(
        {
            "person": pins["person_id"],
            "pin": pins["pin_id"],
            "last_day": held["end"],
            "status": held["status"],
            "kind": pins["kind"],
            "fails": own & held["departed"],
        }
    )
    scope = own.fillna(True) & pins["person_id"].notna()
    return once_each(data, frame[scope], "pins", "person", "pin")


EXAMPLES = (
    Example(
        "the PINs of people who left, yesterday or today",
        """
        pins
        pin_id | pin    | kind     | person_id | status    | valid_to
        N1     | 481516 | personal | P1        |           |
        N2     | 481517 | duress   | P1        |           |
        N3     | 481518 | shared   | P1        |           |
        N4     | 481519 | personal | P2        |           |
        N5     | ****   | personal | P1        |           |
        N6     | 481521 | personal | P9        |           |
        N7     | 481522 | personal |           |           |
        N8     | 481523 | personal | P1        | suspended |
        N9     | 481524 | personal | P1        |           | 2026-09-29
        N10    | 481525 |          | P1        |           |
        N11    | 481526 | private  | P1        |           |
        N12    | 481527 | private  | P2        |           |
        N13    | 481528 | personal | P3        |           |
        N14    | 481529 | personal | P1        | paused    |
        N15    | 481530 | admin    | P1        |           |

        people
        person_id | end_date
        P1        | 2026-09-29
        P2        | 2026-09-30
        P3        | soon
        """,
        expect={
            "P1 N1": True,
            "P1 N2": True,
            "P1 N3": OUT,
            "P2 N4": False,
            "P1 N5": True,
            "P9 N6": None,
            "N7": OUT,
            "P1 N8": OUT,
            "P1 N9": OUT,
            "P1 N10": None,
            "P1 N11": None,
            "P2 N12": False,
            "P3 N13": None,
            "P1 N14": None,
            "P1 N15": OUT,
        },
    ),
    Example(
        "one id on two rows",
        """
        pins
        pin_id | pin    | kind     | person_id
        N1     | 481516 | personal | P1
        N1     | 481517 | personal | P1

        people
        person_id | status
        P1        | departed
        """,
        expect={"P1 N1": True},
    ),
)
