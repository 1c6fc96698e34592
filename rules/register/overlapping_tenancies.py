import pandas as pd

from audit.contract import OUT, Dataset, Example, Reference, rule
from rules.register._tenancies import overlapping


@rule(
    title="Two households of one dwelling at the same time",
    finds="A household that has left and the present one of the same dwelling, whose dates"
    " overlap by more than 31 days.",
    priority="advisory",
    upload=True,
    needs={"people": ("dwelling_id", "start_date", "end_date")},
    policy=("departure_grace_days",),
    subjects=("dwelling", "person"),
    summary="In dwelling {dwelling} one household left {days:1 day|% days} after the next moved"
    " in: {person}.",
    evidence=("days",),
    remedy="Correct the dates, or the dwelling of whoever really lived elsewhere.",
    references=(
        Reference(
            "GDPR (Regulation (EU) 2016/679), Article 5(1)(d)",
            "personal data are accurate and kept up to date",
            sure="read",
        ),
        Reference(
            "NIST SP 800-53 rev 5.1.1, PS-5",
            "when somebody moves, the need for their physical rights is confirmed",
            sure="read",
        ),
    ),
)
def overlapping_tenancies(data: Dataset) -> pd.DataFrame:
    """One flat can't be let to two households: a wrong date leaves somebody with access for
    longer than their stay, or takes it from them too early."""
    return overlapping(data)


EXAMPLES = (
    Example(
        "31 days in common are in order, 32 are not",
        """
        people
        person_id | dwelling_id | start_date | end_date   | status   | role
        P1        | A1          | 2024-01-01 | 2026-05-31 |          |
        P2        | A1          | 2026-05-01 |            |          |
        P3        | A2          | 2024-01-01 | 2026-06-01 |          |
        P4        | A2          | 2026-05-01 |            |          |
        P5        | A2          | 2026-06-01 |            |          |
        P6        | A3          | 2024-01-01 | 2026-06-01 |          |
        P7        | A3          | 2024-02-01 |            |          |
        P8        | A3          | 2026-03-01 |            |          |
        P9        | A4          | 2024-01-01 | 2026-06-01 |          |
        P10       | A4          | 2024-02-02 |            |          |
        P11       | A5          | 2024-01-01 | 2026-06-01 |          |
        P12       | A5          | 2026-05-01 |            | departed |
        P13       | A6          | 2026-01-01 |            |          |
        P14       | A7          | 2024-01-01 | 2026-06-01 |          | contractor
        P15       | A7          | 2026-01-01 |            |          |
        P16       | A8          | 2024-01-01 | 2026-06-01 |          |
        P17       | A8          | 2026-01-01 |            |          | staff
        P18       | A9          | 2024-01-01 | 2026-12-31 | departed |
        P19       | A9          | 2026-09-30 |            |          |
        P20       | A10         | 2024-01-01 | 2026-06-01 |          |
        P21       | A10         | 2026-10-01 |            |          |
        """,
        expect={
            "A1": False,
            "A2 P3+P4": True,
            "A3": False,
            "A4 P10+P9": True,
            "A5": OUT,
            "A6": OUT,
            "A7": OUT,
            "A8": OUT,
            "A9 P18+P19": True,
            "A10": OUT,
        },
    ),
    Example(
        "a date or a role that is not given or not readable",
        """
        people
        person_id | dwelling_id | start_date | end_date   | status   | role
        P1        | A1          |            | 2026-06-01 |          |
        P2        | A1          | 2026-01-01 |            |          |
        P3        | A2          | 2024-01-01 |            | departed |
        P4        | A2          | 2026-01-01 |            |          |
        P5        | A3          | 2024-01-01 | 2026-06-01 |          |
        P6        | A3          |            |            |          |
        P7        | A4          | 2026-04-01 | 2026-06-02 |          |
        P8        | A4          |            |            |          |
        P9        | A5          | 2026-04-01 | 2026-06-03 |          |
        P10       | A5          |            |            |          |
        P11       | A6          | 2024-01-01 | 2026-06-01 |          |
        P12       | A6          | 2026-01-01 |            |          | lodger
        P13       | A7          | 2024-01-01 | 2026-06-01 |          | lodger
        P14       | A7          | 2026-01-01 |            |          |
        P15       | A8          |            | 2026-01-31 |          |
        P16       | A8          | 2026-01-01 |            |          |
        P17       | A9          | 2024-01-01 |            | departed |
        P18       | A9          | 2024-01-15 |            |          |
        P19       | A1          | 2024-01-01 | 2025-01-01 |          |
        P20       | A10         | 2024-01-01 | 2026-06-01 |          |
        P21       | A10         | 2026-01-01 |            |          |
        P22       | A10         |            |            |          |
        P23       | A11         | 2024-01-01 | 2026-06-01 |          |
        P24       | A11         | 2024-01-15 |            |          |
        P25       | A11         |            |            |          |
        """,
        expect={
            "A1 P1+P2": None,
            "A2 P3+P4": None,
            "A3 P5+P6": None,
            "A4": False,
            "A5 P10+P9": None,
            "A6 P11+P12": None,
            "A7 P13+P14": None,
            "A8": False,
            "A9": False,
            "A10 P20+P21+P22": None,
            "A11": False,
        },
    ),
)
