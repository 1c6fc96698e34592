import pandas as pd

from audit.contract import OUT, Dataset, Example, Reference, rule
from audit.trade.escape import doors


@rule(
    title="Escape or fire door not tested in time",
    finds="An escape or fire door that was never tested, or last tested longer ago than the"
    " site's interval.",
    priority="planned",
    needs={"doors": ("last_tested",)},
    policy=("door_test_every_months",),
    subjects=("door",),
    summary="Door {door}, an escape or fire door, {last_tested:was last tested on %|has no test"
    " on record}; a test every {months:month|% months} is asked for here.",
    evidence=("last_tested", "months"),
    remedy="Test the door: its release by alarm, by power loss and by hand, its closing and"
    " latching. Enter the date; have a competent person name the interval that applies.",
    references=(
        Reference(
            "Fire Safety (England) Regulations 2022, Fire doors, reg. 10",
            "fire doors of the common parts every three months where the top storey is above 11 m",
            sure="read",
        ),
        Reference(
            "BS 9999, Inspection of fire doors", "fire doors every six months", sure="quoted"
        ),
        Reference(
            "NFPA 80 and NFPA 101, Inspection of door openings", "once a year", sure="quoted"
        ),
    ),
)
def door_test_overdue(data: Dataset) -> pd.DataFrame:
    """Nobody knows that a release works until it was seen to work."""
    own = doors(data, "escape_route", "fire_minutes", "last_tested")
    concerned = own["escape_route"] | (own["fire_minutes"] > 0)
    own = own.assign(concerned=concerned)[concerned.fillna(True)]
    months, tested = data.policy.door_test_every_months, own["last_tested"]
    late = tested + pd.DateOffset(months=months) < data.today
    # a test dated after the day of the audit tells nothing about that day
    known = late.astype("boolean").mask(tested.isna() | (tested > data.today))
    never = data.blank("doors", "last_tested")
    return own.assign(months=months, fails=own["concerned"] & (never | known))


EXAMPLES = (
    Example(
        "six months to the day are in time; never is a finding",
        """
        doors
        door_id | escape_route | fire_minutes | last_tested
        DUE     | yes          | 0            | 2026-03-30
        LATE    | yes          | 0            | 2026-03-29
        NEVER   | yes          | 0            |
        FIRE    | no           | 30           | 2026-03-29
        TODAY   | no           | 30           | 2026-09-30
        PLAIN   | no           | 0            | 2020-01-01
        """,
        expect={
            "DUE": False,
            "LATE": True,
            "NEVER": True,
            "FIRE": True,
            "TODAY": False,
            "PLAIN": OUT,
        },
    ),
    Example(
        "not readable, not yet, and a door of which little is known",
        """
        doors
        door_id | escape_route | fire_minutes | last_tested
        TEXT    | yes          | 0            | spring
        AHEAD   | yes          | 0            | 2026-10-01
        WHAT    |              |              | 2020-01-01
        EITHER  |              | 30           | 2020-01-01
        KEPT    |              |              | 2026-09-01
        """,
        expect={"TEXT": None, "AHEAD": None, "WHAT": None, "EITHER": True, "KEPT": False},
    ),
    Example(
        "another code's interval",
        """
        doors
        door_id | escape_route | fire_minutes | last_tested
        A       | yes          | 0            | 2026-06-30
        B       | yes          | 0            | 2026-06-29
        """,
        site={"local_code": "england"},
        expect={"A": False, "B": True},
    ),
    Example(
        "a register that knows fire doors only",
        """
        doors
        door_id | fire_minutes | last_tested
        A       | 30           | 2020-01-01
        B       | 0            | 2020-01-01
        C       | 0            | 2026-09-01
        """,
        expect={"A": True, "B": None, "C": False},
    ),
)
