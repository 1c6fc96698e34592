import pandas as pd

from audit.arithmetic.columns import among
from audit.contract import OUT, Dataset, Example, Reference, rule
from audit.facts.standing import entitled
from audit.facts.subjects import once_each


@rule(
    title="Resident without a dwelling",
    finds="A resident who is entitled to live here and for whom no dwelling is given.",
    priority="planned",
    upload=True,
    needs={"people": ("dwelling_id",)},
    policy=("departure_grace_days",),
    subjects=("person",),
    summary="{person} is a resident, and no dwelling is given.",
    remedy="Enter the dwelling, or the role that the person really has.",
    references=(
        Reference(
            "practice of door-entry systems",
            "without the dwelling of the holder, calls and records go nowhere",
            sure="common practice, no source",
        ),
        Reference(
            "GDPR (Regulation (EU) 2016/679), Article 5(1)(d)",
            "personal data are accurate and kept up to date",
            sure="read",
        ),
    ),
)
def resident_without_dwelling(data: Dataset) -> pd.DataFrame:
    """Nobody will notice when this person moves out, for the register knows no home to leave."""
    people = data["people"]
    here = entitled(data) & among(people["role"], "resident")
    frame = pd.DataFrame(
        {"person": people["person_id"], "fails": here & data.blank("people", "dwelling_id")}
    )
    return once_each(data, frame[here.fillna(True)], "people", "person")


EXAMPLES = (
    Example(
        "entitled residents, the first and the last day included",
        """
        people
        person_id | role   | dwelling_id | start_date | end_date
        P1        |        |             |            |
        P2        |        | A1          |            |
        P3        | staff  |             |            |
        P4        |        |             |            | 2026-09-29
        P5        |        |             |            | 2026-09-30
        P6        |        |             | 2026-09-30 |
        P7        |        |             | 2026-10-01 |
        P8        | tenant |             |            |
        P9        |        |             | soon       |
        P10       | tenant | A1          |            |
        """,
        expect={
            "P1": True,
            "P2": False,
            "P3": OUT,
            "P4": OUT,
            "P5": True,
            "P6": True,
            "P7": OUT,
            "P8": None,
            "P9": None,
            "P10": False,
        },
    ),
    Example(
        "one id on two rows",
        """
        people
        person_id | dwelling_id
        P1        |
        P1        | A1
        """,
        expect={"P1": True},
    ),
)
