import pandas as pd

from audit.contract import OUT, Dataset, Example, Reference, rule
from audit.trade.escape import controlled_escape_doors


@rule(
    title="Escape door that stays locked without power",
    finds="A controlled door on an escape route that stays locked when the power fails and has"
    " no mechanical exit.",
    priority="immediate",
    upload=True,
    life_safety=True,
    needs={"doors": ("escape_route", "lock", "power_loss", "mechanical_exit")},
    subjects=("door",),
    summary="Door {door} is on an escape route, stays locked when the power fails, and has no"
    " mechanical exit.",
    remedy="Fit a lock that unlocks on loss of power, or a mechanical exit on the escape side;"
    " have a competent person confirm it by the local code.",
    references=(
        Reference(
            "Approved Document B (England), 2019 with amendments, Electrically powered locks"
            " (volume 1, 3.92)",
            "return to unlocked on loss of power or system error",
            sure="quoted",
        ),
        Reference(
            "International Building Code 2018, Sensor release of electrically locked egress doors,"
            " 1010.1.9.9",
            "loss of power to the lock or lock system unlocks",
            sure="read",
        ),
    ),
)
def escape_door_locked_without_power(data: Dataset) -> pd.DataFrame:
    """In a fire the power goes early, and a lock that holds without it holds the people too."""
    doors = controlled_escape_doors(data, "power_loss", "mechanical")
    stays = doors["power_loss"] == "stays-locked"
    return doors.assign(fails=doors["concerned"] & stays & ~doors["mechanical"])


EXAMPLES = (
    Example(
        "a strike that holds without power, with and without a lever",
        """
        doors
        door_id | escape_route | lock   | power_loss   | mechanical_exit
        HOLDS   | yes          | strike | stays-locked | none
        LEVER   | yes          | strike | stays-locked | lever
        DROPS   | yes          | magnet | unlocks      | none
        STORE   | no           | strike | stays-locked | none
        OPEN    | yes          | none   | stays-locked | none
        """,
        expect={"HOLDS": True, "LEVER": False, "DROPS": False, "STORE": OUT, "OPEN": OUT},
    ),
    Example(
        "what is not given is neither held nor free",
        """
        doors
        door_id | escape_route | lock   | power_loss   | mechanical_exit
        A       | yes          | strike |              | none
        B       | yes          | strike | stays-locked |
        C       |              | strike | stays-locked | none
        D       | yes          |        | stays-locked | none
        E       | yes          | strike |              | pad
        """,
        expect={"A": None, "B": None, "C": None, "D": None, "E": False},
    ),
)
