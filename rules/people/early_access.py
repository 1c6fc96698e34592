import numpy as np
import pandas as pd

from audit.contract import OUT, TEXT, Dataset, Example, Reference, rule
from audit.facts.holders import holder, people
from audit.facts.standing import live
from audit.facts.subjects import sourced
from rules.people._shared import telling


@rule(
    title="Working credential before the first day",
    finds="A live card or PIN of a person whose start date is still to come.",
    priority="planned",
    upload=True,
    needs={"people": ("start_date",)},
    uses=("cards", "pins"),
    subjects=("person", "card", "pin"),
    summary="{person} starts on {start_date} and already has live {card:card %|cards"
    " %|}{pin:PIN %|PINs %|}.",
    evidence=("start_date",),
    remedy="Set the credential's first day to the person's, or correct the start date.",
    references=(
        Reference(
            "NIST SP 800-53 rev 5.1.1, PE-2",
            "credentials are issued to people on an approved list",
            sure="read",
        ),
        Reference(
            "ISO/IEC 27001:2022 Annex A, 5.18",
            "approval comes before the grant of a right",
            sure="read",
        ),
    ),
)
def early_access(data: Dataset) -> pd.DataFrame:
    """Somebody who does not live or work here yet can already walk in, into a home that may
    still be another's."""
    held = credentials(data)
    early = (held["start"] > data.today).astype("boolean").mask(~held["has_start"].fillna(False))
    return sourced(
        held.assign(start_date=held["start"], fails=held["live"] & early), "person", "card", "pin"
    )


def credentials(data: Dataset) -> pd.DataFrame:
    """Cards and PINs of named people that are live, or may be: a row each.

    Columns: `person`, `card` or `pin` (the other NA), `live`, `start` and `has_start` of the
    person, and `table` and `label` of the row. Where neither table is there and names people, a
    row a person with `live` NA: nobody knows what they hold.
    """
    parts = [_credentials(data, table) for table in telling(data, "person_id")]
    if not parts:
        known = people(data)
        nothing = pd.Series(pd.NA, index=known.index, dtype=TEXT)
        parts = [
            {
                "person": pd.Series(known.index, dtype=TEXT),
                "card": nothing,
                "pin": nothing,
                "live": nothing.astype("boolean"),
                "start": known["start"],
                "has_start": known["has_start"],
                "table": pd.Series("people", index=known.index, dtype=TEXT),
                "label": pd.Series(np.arange(len(known))),
            }
        ]
    return pd.DataFrame(
        {
            name: parts[0][name].array._concat_same_type([part[name].array for part in parts])
            if len(parts) > 1
            else parts[0][name].array
            for name in parts[0]
        }
    )


def _credentials(data: Dataset, table: str) -> dict[str, pd.Series]:
    alive, held = live(data, table), holder(data, table)
    at = np.flatnonzero((alive.fillna(True) & held["person"].notna()).to_numpy(dtype=bool))
    own = data[table]["card_id" if table == "cards" else "pin_id"].take(at)
    other = pd.Series(pd.NA, index=own.index, dtype=TEXT)
    return {
        "person": held["person"].take(at),
        "card": own if table == "cards" else other,
        "pin": other if table == "cards" else own,
        "live": alive.take(at),
        "start": held["start"].take(at),
        "has_start": held["has_start"].take(at),
        "table": pd.Series(table, index=own.index, dtype=TEXT),
        "label": pd.Series(at, index=own.index),
    }


EXAMPLES = (
    Example(
        "tomorrow is too early, today is not",
        """
        people
        person_id | start_date
        P1        | 2026-10-01
        P2        | 2026-09-30
        P3        |
        P4        | autumn
        P5        | 2026-10-01

        cards
        card_id | number | person_id | status | valid_from
        C1      | 1      | P1        |        |
        C2      | 2      | P2        |        |
        C3      | 3      | P3        |        |
        C4      | 4      | P4        |        |
        C5      | 5      | P9        |        |
        C6      | 6      |           |        |
        C7      | 7      | P1        | stock  |
        C8      | 8      | P1        |        | 2026-10-01
        C9      | 9      | P1        | held   |
        C10     | 10     | P2        | held   |

        pins
        pin_id | pin    | person_id
        N1     | 481516 | P1
        N2     | 481517 | P2
        N3     | ****   | P1
        """,
        expect={
            "P1 C1": True,
            "P2 C2": False,
            "P3 C3": None,
            "P4 C4": None,
            "P9 C5": None,
            "C6": OUT,
            "P1 C7": OUT,
            "P1 C8": OUT,
            "P1 C9": None,
            "P2 C10": False,
            "P1 N1": True,
            "P2 N2": False,
            "P1 N3": True,
        },
    ),
    Example(
        "cards alone; one id on two rows",
        """
        people
        person_id | start_date
        P1        | 2026-10-01

        cards
        card_id | number | person_id
        C1      | 1      | P1
        C1      | 2      | P1
        """,
        expect={"P1 C1": True},
    ),
    Example(
        "a register without cards and PINs",
        """
        people
        person_id | start_date
        P1        | 2026-10-01
        """,
        expect={"P1": None},
    ),
)
