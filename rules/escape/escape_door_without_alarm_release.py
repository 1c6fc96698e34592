import pandas as pd

from audit.contract import OUT, Dataset, Example, Reference, rule
from audit.trade.escape import controlled_escape_doors


@rule(
    title="Escape door that the fire alarm does not release",
    finds="A controlled door on an escape route without a mechanical exit that the fire alarm"
    " does not release.",
    priority="immediate",
    upload=True,
    life_safety=True,
    needs={"doors": ("escape_route", "lock", "mechanical_exit", "alarm_release")},
    subjects=("door",),
    summary="Door {door} is on an escape route, has no mechanical exit, and is not released by"
    " the fire alarm.",
    remedy="Have the fire alarm release the lock, or fit a mechanical exit; have a competent"
    " person confirm it by the local code, and see it release at the alarm test.",
    references=(
        Reference(
            "Approved Document B (England), 2019 with amendments, Electrically powered locks"
            " (volume 1, 3.92)",
            "return to unlocked when the fire alarm operates",
            sure="quoted",
        ),
        Reference(
            "NFPA 72, Electrically locked doors, 2010 21.9, 2019 21.10",
            "a device that locks a required egress door is connected to the fire alarm",
            sure="quoted",
        ),
    ),
)
def escape_door_without_alarm_release(data: Dataset) -> pd.DataFrame:
    """When the alarm sounds everybody comes to this door at once, and it must be open by then."""
    doors = controlled_escape_doors(data, "mechanical", "alarm_release")
    return doors.assign(fails=doors["concerned"] & ~doors["mechanical"] & ~doors["alarm_release"])


EXAMPLES = (
    Example(
        "the alarm, a bar, or neither",
        """
        doors
        door_id | escape_route | lock   | mechanical_exit | alarm_release
        NEITHER | yes          | magnet | none            | no
        ALARM   | yes          | magnet | none            | yes
        BAR     | yes          | motor  | bar             | no
        STORE   | no           | magnet | none            | no
        OPEN    | yes          | none   | none            | no
        """,
        expect={"NEITHER": True, "ALARM": False, "BAR": False, "STORE": OUT, "OPEN": OUT},
    ),
    Example(
        "an alarm release that is not given is not taken for missing",
        """
        doors
        door_id | escape_route | lock   | mechanical_exit | alarm_release
        A       | yes          | magnet | none            |
        B       | yes          | magnet |                 | no
        C       |              | magnet | none            | no
        D       | yes          |        | none            | no
        E       | yes          | magnet |                 | yes
        """,
        expect={"A": None, "B": None, "C": None, "D": None, "E": False},
    ),
)
