"""A site in perfect order, table after table."""

from datetime import date

from . import estate, events, households, readback
from .rows import Site


def build(dwellings: int, seed: int, as_of: date, name: str) -> Site:
    """A site in perfect order."""
    site = Site(name, as_of, seed)
    houses = estate.buildings(dwellings, seed)
    estate.build(site, houses)
    households.build(site, houses)
    readback.build(site)
    events.build(site)
    return site
