import pandas as pd

from audit.contract import OUT, Dataset, Example, Reference, rule
from rules.register._doubles import listed_twice


@rule(
    title="One person listed twice",
    finds="Two entitled people with the same name in one dwelling, or with the same phone and"
    " nearly the same name.",
    priority="advisory",
    upload=True,
    needs={"people": ("name",)},
    policy=("departure_grace_days",),
    subjects=("person",),
    summary="{person} seem to be one person: {alike}.",
    evidence=("alike",),
    remedy="Keep one row, and move cards, PINs and permissions to it.",
    references=(
        Reference(
            "GDPR (Regulation (EU) 2016/679), Article 5(1)(d)",
            "personal data are accurate and kept up to date",
            sure="read",
        ),
        Reference(
            "EN 60839-11-1:2013, 6.4",
            "grades 2 to 4: each authorised user has a unique identity",
            sure="read",
        ),
    ),
)
def person_listed_twice(data: Dataset) -> pd.DataFrame:
    """When this person leaves, one row is ended and the other goes on opening doors."""
    rows = listed_twice(data)
    judged = rows["twice"].astype("boolean")
    return rows.assign(fails=judged.mask(rows["unclear"] & ~rows["twice"]))


EXAMPLES = (
    Example(
        "the same name in the same dwelling",
        """
        people
        person_id | name              | dwelling_id | phone  | start_date | end_date
        P1        | Ada Quill         | A1          | 555001 |            |
        P2        | QUILL, Ms. Ada    | A1          | 555002 |            |
        P3        | Bo Tarn           | A2          | 555003 | 2025-01-01 |
        P4        | Bo Tarn           | A2          | 555004 | 2025-01-01 |
        P5        | Cy Vane           | A3          | 555005 | 2025-01-01 |
        P6        | Cy Vane           | A3          | 555006 | 2025-01-02 |
        P7        | Di Wold           | A4          | 555007 | 2025-01-01 |
        P8        | Di Wold           | A4          | 555008 |            |
        P9        | Ed Yarrow         | A5          | 555009 |            |
        P10       | Ed Yarrow         | A6          | 555010 |            |
        P11       | Fé Zorn           | A7          | 555011 |            | 2026-09-30
        P12       | Zorn Fe           | A7          | 555012 |            |
        P13       | Flo Moor          | A8          | 555013 |            | 2026-09-29
        P14       | Flo Moor          | A8          | 555014 |            |
        P15       | Gil Holt          | A9          | 555015 | once       |
        P16       | Gil Holt          | A9          | 555016 | once       |
        P17       |                   | A9          | 555017 |            |
        P18       | Hal Fenn          |             | 555018 |            |
        P19       | Hal Fenn          |             | 555019 |            |
        P20       | Gil Holt          | A5          | 555020 |            | soon
        """,
        expect={
            "P1+P2": True,
            "P3+P4": True,
            "P5": False,
            "P6": False,
            "P7": None,
            "P8": None,
            "P9": False,
            "P10": False,
            "P11+P12": True,
            "P13": OUT,
            "P14": False,
            "P15": None,
            "P16": None,
            "P17": None,
            "P18": False,
            "P19": False,
            "P20": None,
        },
    ),
    Example(
        "the same telephone, and names at most two letters apart",
        """
        people
        person_id | name        | dwelling_id | phone            | start_date
        P1        | Beth Taylor | A1          | 087 555 0101     |
        P2        | Aylor, Bet  | A2          | +353 87 555 0101 |
        P3        | Bea Tailor  | A3          | 087 555 0102     |
        P4        | Beth Taylor | A4          | 087 555 0102     |
        P5        | Cy Vane     | A5          | 087 555 0105     | 2025-01-01
        P6        | Cyd Vane    | A5          | 087 555 0105     | 2025-01-02
        P7        | Di Wold     | A6          | 087 555 0107     | 2025-01-01
        P8        | Dia Wold    | A6          | 087 555 0107     | 2025-01-01
        P9        | Eve Wold    | A7          | 087 555 0109     | 2025-01-01
        P10       | Eva Wold    | A8          | 087 555 0109     | 2025-01-02
        P11       | Gil Holt    | A9          |                  |
        P12       | Gil Holt    |             | 087 555 0112     | 2025-01-01
        P13       | Gil Hold    |             | 087 555 0112     | 2025-01-02
        """,
        expect={
            "P1+P2": True,
            "P3": False,
            "P4": False,
            "P5": False,
            "P6": False,
            "P7+P8": True,
            "P10+P9": True,
            "P11": None,
            "P12+P13": True,
        },
    ),
    Example(
        "three rows are one finding, and two rows of one id are none",
        """
        people
        person_id | name     | dwelling_id | phone
        P1        | Jo Marsh | A1          | 555001
        P2        | Jo Marsh | A1          | 555002
        P3        | Jo Marsh | A2          | 555002
        P4        | Kit Dell | A3          | 555004
        P4        | Kit Dell | A3          | 555004
        """,
        expect={"P1+P2+P3": True, "P4": False},
    ),
)
