"""Many small sites, with a few things that repeat from one to the next."""

from datetime import date
from pathlib import Path

from . import writing
from .codes import set_digits
from .faults import plant
from .households import card, permit, person
from .in_order import build
from .rows import Entry, Site, live

TRAVELLER = ("Marten Oakshottle", "+353 20 919 7301")  # invented; looks after lifts everywhere
COPIED_NUMBER = "6120984417"
PATTERN = "159753"


def write_portfolio(folder: Path, sites: int, seed: int = 1, *, as_of: date) -> None:
    """Write `site-0001` and so on below the folder, of one to twelve dwellings each.

    Every third is in order, the others have what faults they have room for. One contractor works
    at all of them, carrying one card at every other site; one easy PIN turns up at every fourth.
    Each folder has its own answer key; what repeats is no fault of any one site.
    """
    for nth in range(sites):
        one_seed = seed * 1_000_003 + nth
        site = build(1 + one_seed % 12, one_seed, as_of, f"Estate {nth + 1:04d}")
        key = [] if nth % 3 == 0 else plant(site)
        _traveller(site, with_card=nth % 2 == 0)
        if nth % 4 == 1:
            key += _common_pattern(site)
        writing.save(site, folder / f"site-{nth + 1:04d}", "utf-8", key)


def _traveller(site: Site, with_card: bool) -> None:
    name, phone = TRAVELLER
    worker = person(
        site,
        name=name,
        phone=phone,
        role="contractor",
        status="current",
        start_date=site.day(50),
        end_date=site.day(-60),
    )
    permit(
        site,
        "person",
        worker["person_id"],
        site.day(1),
        door_group="G-LIFTS",
        schedule_id="S-WORK",
        valid_from=site.day(1),
        valid_to=site.day(-60),
    )
    if with_card:
        card(
            site,
            site.random("traveller"),
            2,
            worker,
            number=COPIED_NUMBER,
            number_form="decimal",
            technology="hf-secure",
            issued_on=site.day(1),
            valid_from=site.day(1),
            valid_to=site.day(-20),
        )


def _common_pattern(site: Site) -> list[Entry]:
    """The delivery PIN of the first panel is the installer's favourite."""
    for row in site.tables["pins"]:
        fits = row["kind"] == "delivery" and row["station_id"] and row["pin_id"] not in site.taken
        if fits and live(row, site.as_of.isoformat()):
            set_digits(site, row, PATTERN)
            return [
                Entry(
                    "pin-guessable",
                    {"pin": [row["pin_id"]]},
                    "a code of the published easy list",
                )
            ]
    return []
