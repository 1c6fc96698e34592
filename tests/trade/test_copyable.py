"""What copyable cards open, and how that raises the priority."""

import pytest

from rules.cards._copyable import technologies
from rules.cards.card_copyable import card_copyable
from tests.sites import dataset, example

TABLES = """
    cards
    card_id | number | technology | person_id | status
    C1      | 1      | lf-open    | P1        |
    C2      | 2      | hf-uid     | P2        |
    C3      | 3      | hf-secure  | P1        |
    C4      | 4      | hf-broken  | P1        | lost
    C5      | 5      | hf-broken  | P3        |

    people
    person_id | role
    P1        | staff
    P2        |
    P3        |

    zones
    zone_id | kind    | security_grade
    Z0      | outside |
    Z1      | plant   | {grade}
    Z2      | common  | 2

    doors
    door_id | inside_zone | outside_zone | entry        | lock
    D1      | Z1          | Z0           | card         | strike
    D2      | Z2          | Z0           | card         | strike
    D3      | Z1          | Z0           | card-and-pin | strike

    permissions
    permission_id | holder_kind | holder_id | door_id | valid_to
    R1            | role        | staff     | D1      |
    R2            | person      | P2        | D2      |
    R3            | person      | P2        | D3      |
    R4            | card        | C5        | D1      | 2026-09-29
    """


@pytest.mark.parametrize(
    ("grade", "doors", "priority"), [("3", ["D1"], "planned"), ("2", [], "advisory")]
)
def test_a_door_into_grade_three(grade: str, doors: list[str], priority: str) -> None:
    """EN 60839-11-1, Table 7 line 19 (references/access.md 1.2): copying matters from grade 3."""
    data = dataset(example(TABLES.format(grade=grade)))
    rows = technologies(data).set_index("technology")
    assert rows["doors"].to_dict() == {
        "lf-open": doors,
        "hf-uid": [],
        "hf-secure": [],
        "hf-broken": [],
    }
    assert rows.loc["lf-open", "cards"] == ["C1"]
    judged = card_copyable(data).set_index("technology")
    assert judged.loc["lf-open", "priority"] == priority
    assert judged.loc["hf-uid", "priority"] == "advisory"


def test_the_site_s_own_grade_is_every_zone_s_default() -> None:
    made = example(TABLES.format(grade=""), site={"security_grade": 3})
    rows = technologies(dataset(made)).set_index("technology")
    assert rows.loc["lf-open", "doors"] == ["D1"]
