import pandas as pd

from audit.arithmetic.columns import among
from audit.contract import OUT, Dataset, Example, Reference, rule
from audit.facts.standing import entitled
from audit.facts.subjects import once_each


@rule(
    title="Contractor or visitor without a last day",
    finds="An entitled contractor or visitor for whom no last day is given.",
    priority="planned",
    upload=True,
    needs={"people": ("role", "end_date")},
    policy=("departure_grace_days",),
    subjects=("person",),
    summary="{person}, a {role}, has no end date.",
    evidence=("role",),
    remedy="Enter the day on which the work or the visit ends.",
    references=(
        Reference(
            "ISO/IEC 27001:2022 Annex A, 5.18",
            "temporary rights have an end date and are withdrawn then",
            sure="read",
        ),
        Reference(
            "NIST SP 800-53 rev 5.1.1, AC-2",
            "temporary and guest accounts are risky kinds, and are reviewed at a set frequency",
            sure="read",
        ),
    ),
)
def visitor_without_end(data: Dataset) -> pd.DataFrame:
    """Without a last day nothing ever reminds anybody to take the access back."""
    people = data["people"]
    here = entitled(data) & among(people["role"], "contractor", "visitor")
    frame = pd.DataFrame(
        {
            "person": people["person_id"],
            "role": people["role"],
            "fails": here & data.blank("people", "end_date"),
        }
    )
    return once_each(data, frame[here.fillna(True)], "people", "person")


EXAMPLES = (
    Example(
        "those who come for a time",
        """
        people
        person_id | role       | status   | start_date | end_date
        P1        | contractor |          |            |
        P2        | visitor    |          |            |
        P3        | visitor    |          |            | 2026-09-30
        P4        | visitor    |          |            | 2026-09-29
        P5        | visitor    | departed |            |
        P6        | visitor    |          | 2026-10-01 |
        P7        | visitor    |          | 2026-09-30 |
        P8        |            |          |            |
        P9        | staff      |          |            |
        P10       | visitor    |          |            | in autumn
        P11       | guest      |          |            |
        P12       | visitor    | away     |            |
        P13       | guest      |          |            | 2026-10-31
        """,
        expect={
            "P1": True,
            "P2": True,
            "P3": False,
            "P4": OUT,
            "P5": OUT,
            "P6": OUT,
            "P7": True,
            "P8": OUT,
            "P9": OUT,
            "P10": None,
            "P11": None,
            "P12": None,
            "P13": False,
        },
    ),
    Example(
        "one id on two rows",
        """
        people
        person_id | role    | end_date
        P1        | visitor |
        P1        | visitor |
        """,
        expect={"P1": True},
    ),
)
