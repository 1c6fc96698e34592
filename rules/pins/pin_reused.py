import pandas as pd

from audit.contract import Cause, Dataset, Step, rule
from rules.pins._shared import reused_codes


@rule(
    title="Same PIN used by different people",
    finds="The same digits held by different holders. A person and their own dwelling count as"
    " one holder.",
    priority="immediate",
    upload=True,
    needs={"pins": ("pin",)},
    uses=("people",),
    subjects=("pin",),
    cause=Cause("pin", ("pin",)),
    summary="PINs {pin}, of different holders, have the same digits.",
    evidence=("count", "digits"),
    do=(
        Step(
            "Give each holder a different PIN, then withdraw this one.",
            who="office",
            does="cut",
        ),
    ),
    cites=(
        "en-60839-11-1-2013-6-4-3",
        "nist-sp-800-53-revision-5-1-1-ia-5-and-ac-2",
    ),
)
def pin_reused(data: Dataset) -> pd.DataFrame:
    """Nobody can tell who came in, and the PIN cannot be taken from one holder alone.

    A person and their own dwelling count as one holder. Duress PINs have a rule of their own.
    """
    return reused_codes(data, duress=False)
