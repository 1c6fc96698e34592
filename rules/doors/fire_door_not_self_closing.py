import pandas as pd

from audit.contract import OUT, Dataset, Example, Reference, rule
from audit.trade.escape import doors


@rule(
    title="Fire door that does not close by itself",
    finds="A fire door that the register says does not close by itself.",
    priority="immediate",
    life_safety=True,
    needs={"doors": ("fire_minutes", "self_closing")},
    subjects=("door",),
    summary="Door {door} is a fire door of {fire_minutes} minutes and does not close by itself.",
    evidence=("fire_minutes",),
    remedy="Fit or mend the closer, so that the door shuts over its latch from any angle; have a"
    " competent person confirm it by the local code.",
    references=(
        Reference(
            "Fire Safety (England) Regulations 2022, guidance on fire doors, Self-closing",
            "let go from fully open and from about 15 degrees, the door closes into its frame over"
            " any latch",
            sure="quoted",
        ),
        Reference(
            "EN 1155:1997, Hold-open devices",
            "a door held open closes when the supply is interrupted",
            sure="read",
        ),
    ),
)
def fire_door_not_self_closing(data: Dataset) -> pd.DataFrame:
    """A fire door that stands open stops neither fire nor smoke."""
    own = doors(data, "fire_minutes", "self_closing")
    rated = own["fire_minutes"] > 0
    own = own.assign(rated=rated)[rated.fillna(True)]
    return own.assign(fails=own["rated"] & ~own["self_closing"])


EXAMPLES = (
    Example(
        "with and without a closer",
        """
        doors
        door_id | fire_minutes | self_closing
        STANDS  | 30           | no
        CLOSES  | 60           | yes
        PLAIN   | 0            | no
        CLOSER  | 30           |
        RATING  |              | no
        FINE    |              | yes
        """,
        expect={
            "STANDS": True,
            "CLOSES": False,
            "PLAIN": OUT,
            "CLOSER": None,
            "RATING": None,
            "FINE": False,
        },
    ),
)
