import numpy as np
import pandas as pd

from audit.arithmetic.columns import among
from audit.arithmetic.plain import places
from audit.contract import Cause, Dataset, Step, rule
from audit.facts import card_register as card_numbers
from audit.facts.card_register import of_events
from audit.facts.cards import only_credential
from audit.facts.holders import holder
from audit.facts.missing import CALL_OUT, why
from audit.facts.standing import EVENTS, event_codes, live
from audit.facts.subjects import once_each


@rule(
    title="Unused card",
    finds="A live ordinary card that was last used longer ago than the site allows, or was never"
    " used and issued longer ago than that. Cards of responders and of people called out,"
    " and anyone's only card or PIN, are left out.",
    priority="advisory",
    needs={"cards": ()},
    uses=("people", "events", "pins"),
    policy=("card_dormant_days",),
    subjects=("card",),
    cause=Cause("rule", ("=card-dormant",)),
    summary="Card {card} {last_use:was last used on %|has never been used on record}{issued_on:"
    " (issued %)|}.",
    evidence=("last_use", "issued_on", "days"),
    do=(
        Step(
            "Ask the holder whether they still have it. If in doubt, suspend it until"
            " someone asks for it.",
            who="office",
            does="cut",
        ),
    ),
    cites=(
        "nist-sp-800-53-rev-5-1-1-ac-2-3",
        "fedramp-rev-5-baselines-moderate-ac-2-3",
    ),
)
def card_dormant(data: Dataset) -> pd.DataFrame:
    """A live card that nobody uses may have been lost without anyone noticing."""
    cards, alive, use = data["cards"], live(data, "cards"), last_seen(data)
    held = holder(data, "cards")
    named = ~data.blank("cards", "person_id")
    spared = named & (among(held["role"], "responder") | held["call_out"])
    only = only_credential(data)
    scope = alive & among(cards["kind"], "ordinary") & ~spared & ~only
    before = data.today - pd.Timedelta(days=data.policy.card_dormant_days)
    issued = (cards["issued_on"] < before).astype("boolean").mask(cards["issued_on"].isna())
    long_ago = (use["day"] < before).astype("boolean").mask(use["day"].isna(), issued)
    frame = pd.DataFrame(
        {
            "card": cards["card_id"],
            "last_use": use["day"],
            "issued_on": cards["issued_on"],
            "days": data.policy.card_dormant_days,
            "fails": scope & long_ago.mask(use["unclear"] & long_ago),
        }
    )
    frame = frame.assign(
        **why(
            frame["fails"],
            (named.isna(), "who holds the cards is not recorded", "cards.person_id"),
            (only.isna(), "whether some cards are their holder's only one is not recorded", "pins"),
            (named & held["call_out"].isna(), CALL_OUT, "people.call_out"),
            (
                use["day"].isna() & issued.isna(),
                "some cards have no last use and no issue day",
                "cards.last_used",
            ),
        )
    )
    return once_each(data, frame[scope.fillna(True)], "cards", "card")


def last_use(data: Dataset) -> pd.Series:
    """The latest event in which each card opened a door: site-local time by canonical number.

    Granted, exit and duress events count; a refused card did not open anything.
    """
    return data.once(_last_use)


def _last_use(data: Dataset) -> pd.Series:
    events = data["events"]
    codes, numbers = of_events(data)
    opened = np.isin(event_codes(data), [EVENTS.index(w) for w in ("granted", "exit", "duress")])
    times = events["time"].to_numpy(dtype="datetime64[us]")
    rows = opened & (codes >= 0) & ~np.isnat(times)
    latest = np.full(len(numbers), np.iinfo(np.int64).min, dtype=np.int64)
    np.maximum.at(latest, codes[rows], times[rows].astype(np.int64))
    known = numbers.notna().to_numpy()
    utc = pd.Series(latest[known].view("datetime64[us]"), index=pd.Index(numbers[known]))
    return utc.dt.tz_localize("UTC").dt.tz_convert(data.zone).dt.tz_localize(None)


def last_seen(data: Dataset) -> pd.DataFrame:
    """When each card was last used, by the register's column and the events, the later.

    Aligned with data["cards"]: `day` (NaT = never, as far as is known) and `unclear` (bool: it
    may have been used later than `day`). Without a column of last use, the events tell only
    where they reach back as far as `card_dormant_days`.
    """
    return data.once(_last_seen)


def _last_seen(data: Dataset) -> pd.DataFrame:
    column = data["cards"]["last_used"]
    unclear = data.unread("cards", "last_used").to_numpy()
    if not data.has("cards", "last_used"):
        unclear = np.ones(len(column), dtype=bool)
    if not data.has("events"):
        return pd.DataFrame({"day": column, "unclear": unclear}, index=column.index)
    if not data.has("cards", "last_used") and len(data["events"]):
        first = _first_day(data)
        before = data.today - pd.Timedelta(days=data.policy.card_dormant_days)
        unclear = np.full(len(column), not first <= before)
    key = card_numbers.register(data)["canonical"]
    days = last_use(data).dt.normalize().astype("datetime64[s]")
    at = places(days.index, key)
    in_events = pd.Series(days.array.take(at, allow_fill=True), index=column.index)
    unclear = unclear | key.isna().to_numpy(dtype=bool)
    return pd.DataFrame({"day": np.fmax(column, in_events), "unclear": unclear})


def _first_day(data: Dataset) -> pd.Timestamp:
    first = data["events"]["time"].min()
    local: pd.Timestamp = first.tz_localize("UTC").tz_convert(data.zone).tz_localize(None)
    return local.normalize()
