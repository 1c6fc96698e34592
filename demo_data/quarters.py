"""The site as its registers stood at the end of each of the last quarters."""

from collections.abc import Iterator
from datetime import date
from pathlib import Path

from dateutil.relativedelta import relativedelta

from . import writing
from .faults import FAULTS, plant
from .in_order import build
from .names import site_name

MONTHS = 3  # as review_every_months of the site


def quarters(
    folder: Path, reviews: int, dwellings: int = 48, seed: int = 1, *, as_of: date
) -> Iterator[date]:
    """Write the site of each past quarter into the folder, oldest first, and yield its day.

    Buildings, households and ids are those of the present site, and days are counted back from
    the quarter's own. Each quarter has its part of the faults (`absent` says which it lacks), so
    that from one to the next some come, go and return. The present site is not written.
    """
    for ago in range(reviews, 0, -1):
        day = as_of - relativedelta(months=MONTHS * ago)
        site = build(dwellings, seed, day, site_name(seed))
        here = tuple(fault for at, fault in enumerate(FAULTS) if not absent(at, ago))
        writing.save(site, folder, "utf-8", plant(site, here))
        yield day


def absent(place: int, ago: int) -> bool:
    """Whether the fault at a place of the list is not there so many quarters ago.

    One in four is new, one in four was away a quarter ago, and the rest were always there.
    """
    return place % 4 == 0 or (place % 4 == 1 and ago == 1)
