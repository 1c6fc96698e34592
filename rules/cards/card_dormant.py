import numpy as np
import pandas as pd

from audit.arithmetic.columns import among
from audit.arithmetic.plain import places
from audit.contract import OUT, Dataset, Example, Reference, rule
from audit.facts import card_register as card_numbers
from audit.facts.card_register import of_events
from audit.facts.holders import holder
from audit.facts.standing import EVENTS, event_codes, live
from audit.facts.subjects import once_each


@rule(
    title="Card that nobody uses",
    finds="A live ordinary card that was last used longer ago than the site allows, or was"
    " never used and issued longer ago than that. Responders' cards are left out.",
    priority="advisory",
    needs={"cards": ()},
    uses=("people", "events"),
    policy=("card_dormant_days",),
    subjects=("card",),
    summary="Card {card} {last_use:was last used on %|has no use on record}{issued_on:; it was"
    " issued on %|}.",
    evidence=("last_use", "issued_on", "days"),
    remedy="Ask its holder; suspend the card until somebody misses it.",
    references=(
        Reference(
            "NIST SP 800-53 rev 5.1.1, AC-2(3)",
            "credentials inactive for a set time are disabled",
            sure="read",
        ),
        Reference(
            "FedRAMP rev 5 baselines, Moderate, AC-2(3)",
            "the inactivity limit is 90 days",
            sure="read",
        ),
    ),
)
def card_dormant(data: Dataset) -> pd.DataFrame:
    """A working card that nobody uses may be lost without anybody having missed it."""
    cards, alive, use = data["cards"], live(data, "cards"), last_seen(data)
    held = holder(data, "cards")
    responder = cards["person_id"].notna() & among(held["role"], "responder")
    scope = alive & among(cards["kind"], "ordinary") & ~responder
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
    known = (latest > np.iinfo(np.int64).min) & numbers.notna().to_numpy()
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


EXAMPLES = (
    Example(
        "ninety days are in order, ninety-one are not (the default is 90)",
        """
        cards
        card_id | number | person_id | kind    | status | last_used  | issued_on
        C1      | 1      |           |         |        | 2026-07-02 |
        C2      | 2      |           |         |        | 2026-07-01 |
        C3      | 3      |           |         |        |            | 2026-07-02
        C4      | 4      |           |         |        |            | 2026-07-01
        C5      | 5      |           |         |        |            |
        C6      | 6      |           | duress  |        | 2025-01-01 |
        C7      | 7      | P1        |         |        | 2025-01-01 |
        C8      | 8      | P2        |         |        | 2025-01-01 |
        C9      | 9      | P9        |         |        | 2025-01-01 |
        C10     | 10     |           |         | lost   | 2025-01-01 |
        C11     | 11     |           |         | ?      | 2025-01-01 |
        C12     | 12     |           | unusual |        | 2025-01-01 |
        C13     | 13     |           |         |        | lately     | 2025-01-01
        C14     | 14     | P9        |         |        | 2026-09-01 | 2025-01-01
        C15     | 15     | P3        |         |        | 2025-01-01 |
        C16     | 16     |           |         |        |            | long ago
        C17     | 17     |           | unusual |        | 2026-09-01 |

        people
        person_id | role
        P1        | responder
        P2        |
        P3        | fireman
        """,
        expect={
            "C1": False,
            "C2": True,
            "C3": False,
            "C4": True,
            "C5": None,
            "C6": OUT,
            "C7": OUT,
            "C8": True,
            "C9": None,
            "C10": OUT,
            "C11": None,
            "C12": None,
            "C13": None,
            "C14": False,
            "C15": None,
            "C16": None,
            "C17": False,
        },
    ),
    Example(
        "the later of the column and the events",
        """
        cards
        card_id | number   | person_id | last_used  | issued_on
        C1      | 1        |           | 2025-01-01 |
        C2      | 2        |           | 2026-09-01 |
        C3      | 3        |           |            | 2025-01-01
        C4      | 04A1B2C3 |           |            | 2025-01-01
        C5      | 5        |           | lately     | 2025-01-01
        C6      | 6        |           | 2025-01-01 |
        C7      | 12G4     |           |            | 2025-01-01
        C8      | 12G4     |           | 2026-09-01 |

        events
        time                 | door_id | event   | card_number
        2026-09-01T10:00:00  | D1      | granted | 0001
        2025-01-01T10:00:00  | D1      | granted | 2
        2026-09-01T10:00:00  | D1      | denied  | 3
        2026-07-01T22:30:00Z | D1      | granted | 3
        2026-07-01T23:30:00Z | D1      | exit    | 77705923
        2026-09-01T10:00:00  | D1      | granted | 5
        """,
        expect={
            "C1": False,
            "C2": False,
            "C3": True,
            "C4": False,
            "C5": False,
            "C6": True,
            "C7": None,
            "C8": False,
        },
    ),
    Example(
        "no column of last use: unused over a file of events that is long enough",
        """
        cards
        card_id | number | person_id | issued_on
        C1      | 1      |           | 2025-01-01
        C2      | 2      |           | 2026-09-01

        events
        time                | door_id | event   | card_number
        2026-07-02T00:00:00 | D1      | granted | 9
        """,
        expect={"C1": True, "C2": False},
    ),
    Example(
        "no column of last use, and a file of events that begins too late",
        """
        cards
        card_id | number | person_id | issued_on
        C1      | 1      |           | 2025-01-01
        C2      | 2      |           | 2026-09-01

        events
        time                | door_id | event   | card_number
        2026-07-03T00:00:00 | D1      | granted | 9
        """,
        expect={"C1": None, "C2": False},
    ),
    Example(
        "one id on two rows; a register of cards without holders has no responders",
        """
        cards
        card_id | number | last_used
        C1      | 1      | 2025-01-01
        C1      | 2      | 2026-09-01
        """,
        expect={"C1": True},
    ),
)
