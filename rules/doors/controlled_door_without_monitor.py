import pandas as pd

from audit.contract import OUT, Dataset, Example, Reference, rule
from audit.facts.grades import inside_grade
from audit.trade.escape import doors


@rule(
    title="Controlled door of grade 2 or higher without a status monitor",
    finds="A controlled door without exit input and without status monitor that leads into a"
    " zone of security grade 2 or higher.",
    priority="planned",
    upload=True,
    needs={"doors": ("lock", "exit_input", "status_monitor", "inside_zone")},
    uses=("zones",),
    subjects=("door",),
    summary="Door {door} leads into a zone of grade {grade}, is controlled, and has no status"
    " monitor: nobody learns that it was left open or forced.",
    evidence=("grade", "lock"),
    remedy="Fit a door contact, wire it to the panel or controller, and set the held-open time;"
    " if there is one already, enter it in the register.",
    references=(
        Reference(
            "EN 60839-11-1:2013, Access point status monitoring, Table 2 C line 20",
            "the status of an access point is monitored: mandatory from grade 2, optional at 1",
            sure="read",
        ),
    ),
)
def controlled_door_without_monitor(data: Dataset) -> pd.DataFrame:
    """A lock keeps nobody out while the door stands open, and without a monitor nobody is told."""
    own = doors(data, "lock", "controlled", "exit_input", "status_monitor").assign(
        grade=inside_grade(data)
    )
    asked = own["controlled"] & (own["exit_input"] == "none") & (own["grade"] >= 2)
    own = own.assign(asked=asked)[asked.fillna(True)]
    return own.assign(fails=own["asked"] & (own["status_monitor"] == "none"))


EXAMPLES = (
    Example(
        "grade 2 is the limit itself; a zone's own grade goes before the site's",
        """
        zones
        zone_id | security_grade
        LOW     | 1
        TWO     | 2
        SITE    |

        doors
        door_id | inside_zone | lock   | exit_input | status_monitor
        AT      | TWO         | strike | none       | none
        SITES   | SITE        | strike | none       | none
        WATCHED | TWO         | strike | none       | contact
        BELOW   | LOW         | strike | none       | none
        BUTTON  | TWO         | magnet | button     | none
        OPEN    | TWO         | none   | none       | none
        """,
        site={"security_grade": 3},
        expect={
            "AT": True,
            "SITES": True,
            "WATCHED": False,
            "BELOW": OUT,
            "BUTTON": OUT,
            "OPEN": OUT,
        },
    ),
    Example(
        "no grade anywhere, a zone unknown, a cell empty",
        """
        zones
        zone_id | security_grade
        LACKS   |
        TWO     | 2
        TEXT    | high

        doors
        door_id | inside_zone | lock   | exit_input | status_monitor
        A       | LACKS       | strike | none       | none
        B       | GONE        | strike | none       | none
        C       |             | strike | none       | none
        D       | TWO         | strike | none       |
        E       | TWO         | strike |            | none
        F       | TWO         |        | none       | none
        G       | LACKS       | strike | none       | contact
        H       | TEXT        | strike | none       | none
        """,
        expect={
            "A": None,
            "B": None,
            "C": None,
            "D": None,
            "E": None,
            "F": None,
            "G": False,
            "H": None,
        },
    ),
    Example(
        "without a zones table every zone has the site's grade",
        """
        doors
        door_id | inside_zone | lock   | exit_input | status_monitor
        A       | HALL        | strike | none       | none
        B       |             | strike | none       | none
        """,
        site={"security_grade": 2},
        expect={"A": True, "B": None},
    ),
)
