"""Panels, units and controllers that are numbered or wired wrongly."""

from collections.abc import Iterator

from ..estate import TIMEZONE
from ..rows import Entry, NoneLeftError, Row, Site, add, grouped, index, pick
from .ground import Fault, entry


def _units(site: Site) -> list[Row]:
    return [row for row in site.tables["stations"] if row["kind"] == "answering-unit"]


def _pair(site: Site, column: str, purpose: str) -> tuple[Row, Row]:
    """Two unused answering units that share a column's value."""
    groups = grouped((u for u in _units(site) if u["station_id"] not in site.taken), column)
    pairs = [units for value, units in groups.items() if value and len(units) >= 2]
    if not pairs:
        raise NoneLeftError(purpose)
    rng = site.random(purpose)
    one, other = rng.sample(rng.choice(pairs), 2)
    site.taken.update((one["station_id"], other["station_id"]))
    return one, other


def _any(site: Site, kind: str) -> Row:
    (row,) = pick(site, "stations", 1, lambda row: row["kind"] == kind, f"any {kind}")
    return row


def default_codes(site: Site) -> Iterator[Entry]:
    """Two stations still have the administrator's code that they came with."""
    for row in (_any(site, "controller"), _any(site, "answering-unit")):
        row["admin_code"] = "default"
        yield entry("admin-code-default", "as delivered", station=row["station_id"])


def two_flats_one_number(site: Site) -> Iterator[Entry]:
    """A caller who dials one flat rings at two."""
    one, other = _pair(site, "network", "call-number-repeated")
    other["number"] = one["number"]
    yield entry(
        "call-number-repeated",
        "two flats of one building answer to one number",
        station=[one["station_id"], other["station_id"]],
    )


def extension_out_of_range(site: Site) -> Iterator[Entry]:
    """An extension unit numbered 9, and one whose flat has no main unit."""
    (row,) = pick(
        site, "stations", 1, lambda row: row["kind"] == "extension-unit", "extension number"
    )
    row["number"] = "9"
    yield entry("extension-number-wrong", "9, two are the most", station=row["station_id"])


def too_many_panels(site: Site) -> Iterator[Entry]:
    """Nine more secondary panels beside one entrance panel."""
    (panel,) = pick(
        site, "stations", 1, lambda row: row["kind"] == "entrance-panel", "secondary panels"
    )
    for nth in range(9):
        add(
            site,
            "stations",
            station_id=f"{panel['station_id']}-EXTRA{nth + 1}",
            kind="secondary-panel",
            number=str(nth + 2),
            main_id=panel["station_id"],
            door_id=panel["door_id"],
            address=f"10.31.0.{nth + 10}",
            network=panel["network"],
            time_source="controller",
            timezone=TIMEZONE,
            admin_code="changed",
        )
    yield entry(
        "secondary-panels-exceeded",
        "ten secondary panels, three are the most",
        station=panel["station_id"],
    )


def two_units_on_a_port(site: Site) -> Iterator[Entry]:
    """Two units on one port of a controller."""
    one, other = _pair(site, "controller_id", "controller-overloaded")
    other["port"] = one["port"]
    yield entry("controller-overloaded", "two units on one port", station=one["controller_id"])


def panel_on_another_port(site: Site) -> Iterator[Entry]:
    """A panel and an indoor unit have changed places."""
    free = (unit for unit in _units(site) if unit["station_id"] not in site.taken)
    on = index(free, "controller_id")
    (panel,) = pick(
        site,
        "stations",
        1,
        lambda row: row["kind"] == "entrance-panel" and row["controller_id"] in on,
        "panel-on-wrong-port",
    )
    unit = on[panel["controller_id"]]
    site.taken.add(unit["station_id"])
    panel["port"], unit["port"] = unit["port"], panel["port"]
    yield entry(
        "panel-on-wrong-port",
        "not on the port of the higher rating",
        station=panel["station_id"],
    )


def same_address(site: Site) -> Iterator[Entry]:
    """Two units of one network have one address."""
    one, other = _pair(site, "network", "address-repeated")
    other["address"] = one["address"]
    yield entry(
        "address-repeated",
        "one address twice in one network",
        station=[one["station_id"], other["station_id"]],
    )


def flat_without_unit(site: Site) -> Iterator[Entry]:
    """Nothing rings in an occupied flat."""
    occupied = {row["dwelling_id"] for row in site.tables["dwellings"] if row["occupied"] == "yes"}
    mains = {row["main_id"] for row in site.tables["stations"]}
    (unit,) = pick(
        site,
        "stations",
        1,
        lambda row: (
            row["kind"] == "answering-unit"
            and row["dwelling_id"] in occupied
            and row["station_id"] not in mains
        ),
        "dwelling-without-answering-unit",
    )
    site.tables["stations"].remove(unit)
    yield entry("dwelling-without-answering-unit", "nothing rings", dwelling=unit["dwelling_id"])


FAULTS: tuple[Fault, ...] = (
    default_codes,
    panel_on_another_port,
    two_flats_one_number,
    two_units_on_a_port,
    same_address,
    extension_out_of_range,
    too_many_panels,
    flat_without_unit,
)
