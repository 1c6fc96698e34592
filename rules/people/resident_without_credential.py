import numpy as np
import pandas as pd

from audit.arithmetic.columns import among
from audit.contract import OUT, Dataset, Example, Reference, rule
from audit.facts.holders import in_household
from audit.facts.standing import entitled, live
from audit.facts.subjects import is_in, once_each
from rules.people._shared import telling


@rule(
    title="Resident without card or PIN",
    finds="A resident with neither a live card nor a live PIN, whose dwelling has none either.",
    priority="advisory",
    upload=True,
    needs={"people": ()},
    uses=("cards", "pins"),
    policy=("departure_grace_days",),
    subjects=("person",),
    summary="{person}{dwelling: of dwelling %|} has no live card or PIN{dwelling:, nor has the"
    " dwelling|}.",
    evidence=("dwelling",),
    remedy="Ask how the person comes in: with a borrowed card, or one that is in no register.",
    references=(
        Reference(
            "EN 60839-11-1:2013, 6.4",
            "grades 2 to 4: each authorised user has a unique identity",
            sure="read",
        ),
        Reference(
            "practice of door-entry systems",
            "two to four fobs a flat are handed out at move-in",
            sure="common practice, no source",
        ),
    ),
)
def resident_without_credential(data: Dataset) -> pd.DataFrame:
    """Residents come in somehow: one who has no card or PIN on record uses something that is not on
    record."""
    people = data["people"]
    here = entitled(data) & among(people["role"], "resident")
    frame = pd.DataFrame(
        {
            "person": people["person_id"],
            "dwelling": people["dwelling_id"],
            "fails": here & ~can_hold(data),
        }
    )
    return once_each(data, frame[here.fillna(True)], "people", "person")


def can_hold(data: Dataset) -> pd.Series:
    """Whether each person has a live card or PIN, their own or their dwelling's.

    Aligned with data["people"]. NA where it hangs on a credential that may be live, or where
    neither cards nor PINs are there and bound to anybody. A site with one of the two tables has
    no other credentials: many have no keypad, and so no table of PINs.
    """
    rows = data["people"]
    tables = telling(data, "dwelling_id", "person_id")
    sure, may = np.zeros(len(rows), dtype=bool), np.full(len(rows), not tables)
    for table in tables:
        alive, bound = live(data, table), in_household(data, table)["dwelling"]
        for own, theirs in (
            (rows["person_id"], data[table]["person_id"]),
            (rows["dwelling_id"], bound),
        ):
            sure |= is_in(own, theirs[alive.fillna(False)]).to_numpy()
            may |= is_in(own, theirs[alive.isna()]).to_numpy()
    if not rows["person_id"].is_unique:  # what one row of a person shows, holds for the person
        sure |= is_in(rows["person_id"], rows["person_id"][sure]).to_numpy()
    return pd.Series(sure, index=rows.index, dtype="boolean").mask(may & ~sure)


EXAMPLES = (
    Example(
        "one's own, the dwelling's, or none",
        """
        people
        person_id | role   | dwelling_id | end_date
        P1        |        | A1          |
        P2        |        | A2          |
        P3        |        | A2          |
        P4        |        | A3          |
        P5        |        |             |
        P6        |        | A4          |
        P7        | staff  | A4          |
        P8        |        | A4          | 2026-09-29
        P9        |        | A5          |
        P10       | tenant | A6          |
        P11       | tenant | A1          |
        P12       |        | A7          |
        P13       |        |             |

        cards
        card_id | number | person_id | dwelling_id | status
        C1      | 1      | P1        |             |
        C2      | 2      |           | A2          |
        C4      | 4      | P4        | A3          | lost
        C6      | 6      | P5        |             |
        C9      | 9      | P9        |             | drawer
        C12     | 12     | P12       | A7          | stock

        pins
        pin_id | pin    | person_id | dwelling_id | status
        N3     | 481516 |           | A3          | suspended
        N12    | ****   |           | A7          |
        """,
        expect={
            "P1": False,
            "P2": False,
            "P3": False,
            "P4": True,
            "P5": False,
            "P6": True,
            "P7": OUT,
            "P8": OUT,
            "P9": None,
            "P10": None,
            "P11": False,
            "P12": False,
            "P13": True,
        },
    ),
    Example(
        "a site without PINs has no table of them",
        """
        people
        person_id | dwelling_id
        P1        | A1
        P2        | A2
        P2        | A2

        cards
        card_id | number | person_id
        C1      | 1      | P1
        """,
        expect={"P1": False, "P2": True},
    ),
    Example(
        "a register of people only",
        """
        people
        person_id | dwelling_id
        P1        | A1
        """,
        expect={"P1": None},
    ),
    Example(
        "one id on two rows: what one of them shows holds for the person",
        """
        people
        person_id | dwelling_id
        P2        | A2
        P2        | A3

        cards
        card_id | number | dwelling_id
        C1      | 1      | A2

        pins
        pin_id | pin
        N1     | 481516
        """,
        expect={"P2": False},
    ),
)
