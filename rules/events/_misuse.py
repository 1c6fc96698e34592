"""Cards and PINs used when they should open nothing: by whoever left, withdrawn, suspended."""

from __future__ import annotations

from typing import Final

import numpy as np
import pandas as pd

from audit.arithmetic.moments import FOREVER, NEVER, overdue
from audit.arithmetic.plain import given, taken, texts, word_codes
from audit.arithmetic.three import Bools, Credential, Ints, nullable
from audit.contract import Dataset
from audit.facts.log import _AFTER_DEPARTURE, WITHDRAWN, _gravest
from audit.facts.standing import by_id, stands, unread
from rules.events._shared import _late_uses, _names_credentials, day_after, granted, uses


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
    last = people["end_date"] + pd.Timedelta(days=data.policy.departure_grace_days)
    limit[:-1][dated] = day_after(data, last.iloc[np.flatnonzero(dated)])
    return limit, np.append(dated | ~vague, False)


def after_departure(data: Dataset) -> pd.DataFrame:
    """Cards and PINs of people with a last day: whether they were used after it.

    A row a person and credential. Columns: `person`, `card`, `pin`, `fails` (nullable),
    `last_day` (date), `uses` (int), `last` (site time), `times`, `doors` (lists), `sources`; the
    last five tell of the uses after the last day, where there are any. Where the register of
    a kind is absent and the events name some, a row without subject says that it is unclear.
    """
    return data.once(_after_departure)


def _after_departure(data: Dataset) -> pd.DataFrame:
    people, (limit, sure) = by_id(data, "people"), last_moments(data)
    days = people["end_date"] + pd.Timedelta(days=data.policy.departure_grace_days)
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


def after_withdrawal(data: Dataset) -> pd.DataFrame:
    """Withdrawn cards (lost, returned, destroyed, in stock): whether they were used since.

    Since the first day of the status; where that is blank, after the end of validity; where
    that is blank too, after the last use on record. A row a card. Columns: `card`, `status`,
    `fails`, `uses`, `last`, `times`, `doors`, `sources`.
    """
    return data.once(_after_withdrawal)


def _after_withdrawal(data: Dataset) -> pd.DataFrame:
    found, cards = uses(data, "cards"), data["cards"]
    away = word_codes(cards["status"], WITHDRAWN) >= 0
    odd = ~given(cards["status"])
    since, ends = given(cards["status_since"]), given(cards["valid_to"])
    blank = (data.blank("cards", "status_since") & data.blank("cards", "valid_to")).fillna(False)
    undated = data.blank("cards", "status_since").fillna(False).to_numpy(bool)
    sure = since | (undated & (ends | (given(cards["last_used"]) & blank.to_numpy(bool))))
    asked = (away | odd) & sure
    limit = np.full(len(cards), FOREVER)
    day = cards["status_since"] - pd.Timedelta(days=1)
    day = day.fillna(cards["valid_to"]).fillna(cards["last_used"])
    limit[asked] = day_after(data, day.iloc[np.flatnonzero(asked)])
    _, last = granted(data, "cards")
    row = found.row
    verdict = overdue(
        found.of, limit[row], (~odd & (~away | sure))[row], np.ones(len(row), bool), last
    )
    kept = _gravest(verdict, row, (away | odd)[row], cards["card_id"])
    row = row[kept]
    return pd.DataFrame(
        {
            "card": taken(cards["card_id"], row),
            "status": taken(cards["status"], row),
            "fails": nullable(verdict[kept]),
            **_late_uses(data, "cards", verdict[kept], found.of[kept], limit[row]),
        }
    )


RECENT: Final = 31
"""Days within which a use of a card or PIN suspended on an unknown day is told."""


def while_suspended(data: Dataset) -> pd.DataFrame:
    """Suspended cards and PINs: whether they were used since.

    Since the first day of the status; where that is blank, within the last RECENT days. A row
    a card or PIN. Columns: those, `since`, `fails`, `uses`, `first`, `last`, `times`, `doors`,
    `sources`.
    """
    return data.once(_while_suspended)


def _while_suspended(data: Dataset) -> pd.DataFrame:
    tables: tuple[Credential, ...] = ("cards", "pins")
    frames = [_suspended(data, table) for table in tables if data.has(table)]
    some = [frame for frame in frames if len(frame)] or frames[:1]
    if not some:
        return pd.DataFrame({"card": texts([]), "pin": texts([]), "fails": pd.array([], "boolean")})
    return some[0] if len(some) == 1 else pd.concat(some, ignore_index=True)


def _suspended(data: Dataset, table: Credential) -> pd.DataFrame:
    key, other = ("card", "pin") if table == "cards" else ("pin", "card")
    found, register = uses(data, table), data[table]
    held_up = word_codes(register["status"], ("suspended",)) == 0
    odd = ~given(register["status"])
    since = register["status_since"]
    sure = given(since) | data.blank(table, "status_since").fillna(False).to_numpy(bool)
    recent = data.today - pd.Timedelta(days=RECENT)
    day = since.fillna(recent) - pd.Timedelta(days=1)
    limit = np.full(len(register), FOREVER)
    limit[held_up | odd] = day_after(data, day.iloc[np.flatnonzero(held_up | odd)])
    _, last = granted(data, table)
    row = found.row
    active = word_codes(register["status"], ("active",)) == 0
    known = ~odd & (~held_up | sure)
    verdict = overdue(found.of, limit[row], known[row], active[row], last)
    kept = _gravest(verdict, row, (held_up | odd)[row], register[f"{key}_id"])
    row = row[kept]
    told = _late_uses(data, table, verdict[kept], found.of[kept], limit[row])
    return pd.DataFrame(
        {
            key: taken(register[f"{key}_id"], row),
            other: texts([None] * len(row)),
            "since": taken(since, row),
            "fails": nullable(verdict[kept]),
            **told,
            "first": [times[0] if times else None for times in told["times"]],
        }
    )
