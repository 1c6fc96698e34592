import pandas as pd

from audit.contract import OUT, Dataset, Example, Reference, rule
from audit.trade.escape import controlled_escape_doors


@rule(
    title="Escape door without emergency release",
    finds="A controlled door on an escape route without a mechanical exit and without a manual"
    " release that cuts the lock's power.",
    priority="immediate",
    upload=True,
    life_safety=True,
    needs={"doors": ("escape_route", "lock", "mechanical_exit", "emergency_release")},
    subjects=("door",),
    summary="Door {door} is on an escape route, has no mechanical exit, and no manual release"
    " that cuts the lock's power.",
    remedy="Fit a manual release on the escape side that cuts the lock's power directly, or a"
    " mechanical exit; have a competent person confirm it by the local code.",
    references=(
        Reference(
            "Approved Document B (England), 2019 with amendments, Electrically powered locks"
            " (volume 1, 3.92)",
            "a manual override on the escaping side, a call point of type A as in BS 7273-4",
            sure="quoted",
        ),
        Reference(
            "International Building Code 2018, Sensor release of electrically locked egress doors,"
            " 1010.1.9.9",
            "a manual device beside the door interrupts the lock's power, independent of other"
            " electronics",
            sure="read",
        ),
    ),
)
def escape_door_without_emergency_release(data: Dataset) -> pd.DataFrame:
    """When the electronics hang, a hand must still be able to take the lock's power away."""
    doors = controlled_escape_doors(data, "mechanical", "emergency_release")
    return doors.assign(
        fails=doors["concerned"] & ~doors["mechanical"] & ~doors["emergency_release"]
    )


EXAMPLES = (
    Example(
        "a release, a lever, or neither",
        """
        doors
        door_id | escape_route | lock   | mechanical_exit | emergency_release
        NEITHER | yes          | magnet | none            | no
        RELEASE | yes          | magnet | none            | yes
        LEVER   | yes          | strike | lever           | no
        STORE   | no           | magnet | none            | no
        OPEN    | yes          | none   | none            | no
        """,
        expect={"NEITHER": True, "RELEASE": False, "LEVER": False, "STORE": OUT, "OPEN": OUT},
    ),
    Example(
        "a release that is not given is not taken for missing",
        """
        doors
        door_id | escape_route | lock   | mechanical_exit | emergency_release
        A       | yes          | magnet | none            |
        B       | yes          | magnet |                 | no
        C       |              | magnet | none            | no
        D       | yes          |        | none            | no
        E       | yes          | magnet |                 | yes
        """,
        expect={"A": None, "B": None, "C": None, "D": None, "E": False},
    ),
)
