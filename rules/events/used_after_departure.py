import numpy as np
import pandas as pd

from audit.arithmetic.moments import FOREVER, NEVER, overdue
from audit.arithmetic.plain import given, taken, texts, word_codes
from audit.arithmetic.three import Bools, Ints, nullable
from audit.contract import Cause, Dataset, Step, rule
from audit.facts.log import _AFTER_DEPARTURE, _gravest
from audit.facts.standing import by_id, stands, unread
from rules.events._shared import _late_uses, _names_credentials, day_after, granted, uses


@rule(
    title="Card or PIN used after the holder left",
    finds="A card or PIN that opened a door after its holder's last day.",
    priority="immediate",
    needs={"events": (), "people": ()},
    uses=("cards", "pins"),
    subjects=("person", "card", "pin"),
    cause=Cause("leaver", ("person",)),
    summary="{card:Card %|Cards %|}{pin:PIN %|PINs %|} of {person}, whose last day was {last_day},"
    " opened {doors:door %|doors %} after that date: {uses:once, on|% times, most recently"
    " on} {last}.",
    evidence=("last_day", "uses", "last", "times", "doors"),
    do=(
        Step(
            "Delete it from every controller today.",
            who="panel technician",
            does="cut",
        ),
        Step(
            "Find out who has it.",
            who="office",
            does="record",
        ),
    ),
    cites=(
        "nist-sp-800-53-rev-5-1-1-ps-4-2",
        "iso-iec-27002-2022-5-18",
    ),
)
def used_after_departure(data: Dataset) -> pd.DataFrame:
    """Someone who has left, or who has their card, is still getting in."""
    return after_departure(data)


def last_moments(data: Dataset) -> tuple[Ints, Bools]:
    """For each place in `by_id(data, "people")`, and −1: the first moment after the last day.

    In microseconds of UTC, FOREVER where there is no last day; and whether that is sure (it is
    not of those who departed on a day that is not given, nor of an unknown person, −1).
    """
    return data.once(_last_moments)


def _last_moments(data: Dataset) -> tuple[Ints, Bools]:
    people = by_id(data, "people")
    status = word_codes(people["status"], ("departed", "current", "expected"))
    labels = people["_label"].to_numpy()
    vague = status == 0
    for column in ("status", "end_date"):
        mask = unread(data, "people", column)
        if isinstance(mask, np.ndarray):
            vague |= mask[labels]
    if not data.has("people", "end_date"):
        vague |= status < 0  # "from the dates", and there are none
    dated = given(people["end_date"])
    limit = np.full(len(people) + 1, FOREVER)
    limit[:-1][dated] = day_after(data, people["end_date"].iloc[np.flatnonzero(dated)])
    return limit, np.append(dated | ~vague, False)


def after_departure(data: Dataset) -> pd.DataFrame:
    """Cards and PINs of people with a last day: whether they were used after it.

    A row a person and credential. Columns: `person`, `card`, `pin`, `fails` (nullable),
    `last_day` (date), `uses` (int), `last` (site time), `times`, `doors` (lists), `sources`; the
    last five tell of the uses after the last day, where there are any. Where the register of
    a kind is absent and the events name some, a row without subject says that it is unclear.
    """
    people, (limit, sure) = by_id(data, "people"), last_moments(data)
    days = people["end_date"]
    frames = []
    for table, key, other in (("cards", "card", "pin"), ("pins", "pin", "card")):
        found, register = uses(data, table), data[table]
        _, last = granted(data, table)
        if not data.has(table):
            if (last > NEVER).any():
                frames.append(pd.DataFrame({"person": texts([None]), "fails": pd.NA}))
            continue
        at = stands(data, table, "person_id", "people")
        held = given(register["person_id"])
        own_limit, own_sure = limit[at], sure[at] | ~held
        active = word_codes(register["status"], ("active",)) == 0
        row = found.row
        verdict = overdue(found.of, own_limit[row], own_sure[row], active[row], last)
        scope = (held & (~own_sure | (own_limit != FOREVER)))[row]
        kept = _gravest(verdict, row, scope, register[f"{key}_id"], register["person_id"])
        row = row[kept]
        told = _late_uses(data, table, verdict[kept], found.of[kept], own_limit[row])
        person = taken(register["person_id"], row)
        frames.append(
            pd.DataFrame(
                {
                    "person": person,
                    key: taken(register[f"{key}_id"], row),
                    other: texts([None] * len(row)),
                    "fails": nullable(verdict[kept]),
                    "last_day": taken(days, at[row]),
                    **told,
                }
            )
        )
    if not _names_credentials(data) or not (data.has("cards") or data.has("pins")):
        frames = [pd.DataFrame({"person": texts([None]), "fails": pd.NA})]
    some = [frame for frame in frames if len(frame)] or frames[:1]
    told_of = some[0] if len(some) == 1 else pd.concat(some, ignore_index=True)
    return told_of.reindex(columns=list(_AFTER_DEPARTURE))
