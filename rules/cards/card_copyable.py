import pandas as pd

from audit.contract import Cause, Dataset, Step, rule
from rules.cards._copyable import technologies


@rule(
    title="Cards that can be copied",
    finds="Live cards of a type that common equipment can copy: 125 kHz read-only, serial number"
    " only, or a broken cipher. One finding per card type; planned where such a card opens"
    " a door into a zone of security grade 3 or 4.",
    priority="advisory",
    needs={"cards": ("technology",)},
    uses=(
        "people",
        "pins",
        "dwellings",
        "zones",
        "doors",
        "door_groups",
        "permissions",
        "schedules",
        "calendars",
    ),
    subjects=("technology",),
    cause=Cause("rule", ("=card-copyable",)),
    summary="{count} live {count:card|cards} of type {technology} can be copied with common"
    " equipment.",
    evidence=("count", "cards", "doors"),
    do=(
        Step(
            "Move to cards and readers with an unbroken cipher, starting with the doors"
            " that protect most.",
            who="panel technician",
            does="fit",
        ),
    ),
    cites=(
        "nist-sp-800-116-rev-1",
        "en-60839-11-1-2013-table-7-line-19",
        "garcia-et-al-esorics-2008-lncs-5283-pages-97-to",
    ),
)
def card_copyable(data: Dataset) -> pd.DataFrame:
    """Anyone who borrows the card for a minute can copy it, and the log will still show the
    original holder.

    Planned instead of advisory where they open a door into a zone of security grade 3 or 4.
    """
    rows = technologies(data)
    guarded = rows["doors"].map(bool)
    return rows.assign(
        count=rows["cards"].map(len),
        priority=guarded.map({True: "planned", False: "advisory"}),
        fails=rows["live"] & rows["copyable"],
    )
