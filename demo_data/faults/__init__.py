"""The planted faults: each a small function that changes rows and says what it has done.

A function gets the site, takes the rows it needs out of those that no other fault has used, and
says of each change, once it is made, what an auditor must find: side effects that are findings
in their own right included. Faults with the narrowest choice come first.
"""

from contextlib import suppress

from ..rows import Entry, NoneLeftError, Site
from . import (
    cards,
    doors,
    events,
    people,
    permissions,
    pins,
    readback,
    register,
    stations,
    times,
)
from .ground import Fault

# people first (they need whole households), PINs before what only adds rows, the contractor
# who opens every door, and the code that leavers know, when all doors and leavers are there
FAULTS: tuple[Fault, ...] = (
    *people.FAULTS,
    *pins.FAULTS,
    *cards.FAULTS,
    *doors.FAULTS,
    *permissions.FAULTS,
    *times.FAULTS,
    *stations.FAULTS,
    *readback.FAULTS,
    *register.FAULTS,
    *events.FAULTS,
    pins.admin_code_known_to_leavers,
    permissions.contractor_opens_everything,
    *doors.LAST,
    *readback.LAST,
)


def plant(site: Site, faults: tuple[Fault, ...] = FAULTS) -> list[Entry]:
    """Plant every fault that the site is large enough for; the answer key."""
    key: list[Entry] = []
    for fault in faults:
        with suppress(NoneLeftError):  # what it planted before it ran out of room stays
            for entry in fault(site):
                key.append(entry)
    _tidy(site)
    return key


def _tidy(site: Site) -> None:
    """Events back in order of time, but for those that a fault wants out of it; no row twice."""
    late = site.out_of_order
    events = [row for row in site.tables["events"] if not any(row is other for other in late)]
    events.sort(key=lambda row: row["time"])
    site.tables["events"] = events + late
    held = {tuple(row.values()): row for row in site.tables["loaded"]}
    site.tables["loaded"] = list(held.values())
