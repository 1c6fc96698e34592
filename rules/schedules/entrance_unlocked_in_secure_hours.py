import pandas as pd

from audit.arithmetic.weeks import asked
from audit.contract import OUT, Dataset, Example, Reference, rule
from audit.facts.hours import year
from audit.facts.neighbours import zone_kind
from audit.facts.standing import by_id


@rule(
    title="An entrance that stands unlocked at night",
    finds="A controlled door from outside that a schedule unlocks during the site's secure hours.",
    priority="immediate",
    needs={
        "doors": ("lock", "unlock_schedule", "outside_zone"),
        "zones": ("kind",),
        "schedules": (),
    },
    uses=("calendars",),
    policy=("secure_hours",),
    subjects=("door",),
    summary="Door {door}, which leads in from outside, stands unlocked by schedule {schedule}"
    " within the secure hours {secure_hours}.",
    evidence=("schedule", "secure_hours"),
    remedy="Shorten the unlock schedule so that it ends before the secure hours begin.",
    references=(
        Reference(
            "NIST SP 800-53 rev 5.1.1, PE-3",
            "check authorisation before entry",
            sure="read",
        ),
        Reference(
            "Unlock schedules of blocks of flats",
            "by day at most, while somebody is at the desk",
            sure="common practice, no source",
        ),
    ),
)
def entrance_unlocked_in_secure_hours(data: Dataset) -> pd.DataFrame:
    """While everyone sleeps, the house is open to whoever tries the handle."""
    doors = by_id(data, "doors").assign(kind=zone_kind(data, "outside_zone"))
    doors = doors[doors["unlock_schedule"].notna()].reset_index().set_index("_label")
    start, end = data.policy.secure_minutes
    open_then = asked(lambda name: year(data).within(name, start, end), doors["unlock_schedule"])
    entrance = (doors["kind"] == "outside") & (doors["lock"] != "none")
    return doors.assign(
        door=doors["door_id"],
        schedule=doors["unlock_schedule"],
        secure_hours=data.policy.secure_hours,
        fails=entrance & open_then,
    )


EXAMPLES = (
    Example(
        "until the minute at which the secure hours begin; one minute more; not an entrance",
        """
        zones
        zone_id | kind
        STREET  | outside
        HALL    | common
        BLUR    |

        schedules
        schedule_id | days    | start | end
        DAY         | mon-fri | 06:00 | 22:00
        LONG        | mon-fri | 06:00 | 22:01
        EARLY       | sun     | 05:59 | 08:00

        doors
        door_id | outside_zone | lock   | unlock_schedule
        DAY     | STREET       | magnet | DAY
        LONG    | STREET       | magnet | LONG
        EARLY   | STREET       | strike | EARLY
        INNER   | HALL         | magnet | LONG
        FREE    | STREET       | none   | LONG
        NEVER   | STREET       | magnet |
        LOST    | STREET       | magnet | GONE
        NOLOCK  | STREET       |        | LONG
        WHERE   | BLUR         | magnet | LONG
        """,
        expect={
            "DAY": False,
            "LONG": True,
            "EARLY": True,
            "INNER": False,
            "FREE": False,
            "NEVER": OUT,
            "LOST": None,
            "NOLOCK": None,
            "WHERE": None,
        },
    ),
    Example(
        "other secure hours",
        """
        zones
        zone_id | kind
        STREET  | outside

        schedules
        schedule_id | days  | start | end
        DAY         | daily | 06:00 | 22:00

        doors
        door_id | outside_zone | lock   | unlock_schedule
        DAY     | STREET       | magnet | DAY
        """,
        policy={"secure_hours": "21:59-06:00"},
        expect={"DAY": True},
    ),
)
