import numpy as np
import pandas as pd

from audit.contract import TEXT, Cause, Dataset, Step, rule
from audit.facts.holders import holder, people
from audit.facts.standing import live
from audit.facts.subjects import sourced
from rules.people._shared import telling


@rule(
    title="Card or PIN live before the start date",
    finds="A live card or PIN held by someone whose start date is still to come.",
    priority="planned",
    upload=True,
    needs={"people": ("start_date",)},
    uses=("cards", "pins"),
    subjects=("person", "card", "pin"),
    cause=Cause("person", ("person",)),
    summary="{person} starts on {start_date} but already has live {card:card %|cards %|}{pin:PIN"
    " %|PINs %|}.",
    evidence=("start_date",),
    do=(
        Step(
            "Start the card or PIN on the person's start date, or correct the date.",
            who="office",
            does="record",
        ),
    ),
    cites=(
        "nist-sp-800-53-rev-5-1-1-pe-2-3",
        "iso-iec-27001-2022-annex-a-5-18-4",
    ),
)
def early_access(data: Dataset) -> pd.DataFrame:
    """Someone who does not live or work here yet can already get in, possibly into a home that
    is still occupied.
    """
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
