import pandas as pd

from audit.contract import Cause, Dataset, Step, rule
from rules.pins._shared import reused_codes


@rule(
    title="Duress PIN same as another PIN",
    finds="A live duress PIN with the same digits as an ordinary PIN.",
    priority="immediate",
    upload=True,
    needs={"pins": ("pin", "kind")},
    subjects=("pin",),
    cause=Cause("pin", ("pin",)),
    summary="PINs {pin} have the same digits, and one of them is a duress PIN.",
    evidence=("count", "digits"),
    do=(
        Step(
            "Follow the site's duress procedure. Give the duress PIN digits that no other"
            " PIN uses, and tell its holder in private.",
            who="office",
            does="cut",
        ),
    ),
    cites=("en-60839-11-1-2013-6-5-duress",),
)
def pin_duress_not_distinct(data: Dataset) -> pd.DataFrame:
    """Either a call for help looks like normal entry, or normal entry raises the alarm.

    The controller can't tell one from the other where the codes are the same.
    """
    return reused_codes(data, duress=True)
