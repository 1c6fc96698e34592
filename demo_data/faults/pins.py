"""PINs that are short, easy, shared or old. No digit of them appears in the answer key."""

from collections.abc import Iterator
from datetime import date
from math import exp, lgamma, log, log1p

from ..codes import far_from_others, hard_to_guess, new_code, set_digits
from ..households import pin
from ..rows import Entry, NoneLeftError, Row, Site, index, live, pick
from .ground import AFTER_READ_BACK, Fault, entry

EASY = ("654321", "121212", "789456")  # in the published list of easy codes


def _settled(site: Site) -> set[str]:
    return {
        row["person_id"]
        for row in site.tables["people"]
        if row["role"] == "resident" and row["status"] in ("current", "") and row["dwelling_id"]
    }


def _ready(site: Site) -> dict[str, Row]:
    """PINs to choose from, by id: looked up once a fault."""
    settled, today = _settled(site), site.as_of.isoformat()
    return index(
        (
            row
            for row in site.tables["pins"]
            if row["kind"] == "personal"
            and len(row["pin"]) == 6
            and live(row, today)
            and row["person_id"] in settled
        ),
        "pin_id",
    )


def _choose(site: Site, count: int, purpose: str, building: str = "") -> list[Row]:
    ready = _ready(site)
    people = index(site.tables["people"], "person_id")

    def fits(row: Row) -> bool:
        return row["pin_id"] in ready and people[row["person_id"]]["dwelling_id"].startswith(
            building
        )

    return pick(site, "pins", count, fits, purpose)


def short_codes(site: Site) -> Iterator[Entry]:
    """One building took PINs of four and five digits: four of them open its doors to tries."""
    building = site.tables["dwellings"][-1]["dwelling_id"].split("-")[0]
    chosen = _choose(site, 6, "pin-too-short", building)
    rng = site.random("short codes")
    for row, length in zip(chosen, (4, 4, 4, 4, 5, 5), strict=True):
        set_digits(site, row, new_code(site, rng, length))
        yield entry("pin-too-short", f"{length} digits, six are the least", pin=row["pin_id"])
    for door in (f"{building}-MAIN", f"{building}-PARCEL"):
        yield entry(
            "pin-code-space",
            "more than ten codes at a door whose shortest has four digits",
            door=door,
        )
        yield entry(
            "pin-guess-risk", "35 tries in a visit at four codes among ten thousand", door=door
        )


def easy_codes(site: Site) -> Iterator[Entry]:
    """Three PINs from the published list of easy ones."""
    for row, digits in zip(_choose(site, 3, "pin-guessable"), EASY, strict=True):
        set_digits(site, row, digits)
        yield entry("pin-guessable", "a code of the published easy list", pin=row["pin_id"])


def telephone_tails(site: Site) -> Iterator[Entry]:
    """Two PINs are the last six digits of their holder's telephone number."""
    people = index(site.tables["people"], "person_id")
    chosen = _choose(site, 2, "pin-from-record")
    for row in chosen:
        while True:
            phone = site.names.phone()
            tail = "".join(filter(str.isdigit, phone))[-6:]
            if hard_to_guess(tail) and far_from_others(site, int(tail)):
                break
        people[row["person_id"]]["phone"] = phone
        set_digits(site, row, tail)
    for row in chosen:
        yield entry(
            "pin-from-record", "the end of the holder's telephone number", pin=row["pin_id"]
        )


def one_code_for_several(site: Site) -> Iterator[Entry]:
    """A code with two holders, and one with three."""
    rng = site.random("reused codes")
    for count in (2, 3):
        chosen = _choose(site, count, f"pin-reused {count}")
        digits = new_code(site, rng)
        for row in chosen:
            set_digits(site, row, digits)
        yield entry(
            "pin-reused",
            f"{count} holders have the same code",
            pin=[row["pin_id"] for row in chosen],
        )


def handed_out_in_a_row(site: Site) -> Iterator[Entry]:
    """Three codes seven apart."""
    chosen = _choose(site, 3, "pin-series")
    rng = site.random("series")
    while True:
        first = rng.randrange(100_000, 999_000)
        series = [first, first + 7, first + 14]
        if all(hard_to_guess(str(code)) and far_from_others(site, code) for code in series):
            break
    for row, code in zip(chosen, series, strict=True):
        set_digits(site, row, str(code))
    yield entry(
        "pin-series", "three codes in steps of seven", pin=[row["pin_id"] for row in chosen]
    )


def duress_like_the_ordinary(site: Site) -> Iterator[Entry]:
    """A duress PIN with the digits of its holder's ordinary one raises no alarm, or always."""
    ready = _ready(site)
    ordinary = {row["person_id"]: row for row in ready.values()}
    (duress,) = pick(
        site,
        "pins",
        1,
        lambda row: (
            row["kind"] == "duress"
            and live(row, site.as_of.isoformat())
            and row["person_id"] in ordinary
            and ordinary[row["person_id"]]["pin_id"] not in site.taken
        ),
        "pin-duress-not-distinct",
    )
    own = ordinary[duress["person_id"]]
    site.taken.add(own["pin_id"])
    set_digits(site, duress, own["pin"])
    yield entry(
        "pin-duress-not-distinct",
        "the duress PIN is the ordinary PIN",
        pin=[duress["pin_id"], own["pin_id"]],
    )


def dates_of_birth(site: Site) -> Iterator[Entry]:
    """Many chose the day they were born: more than chance explains, whoever they are."""
    rng = site.random("pin-dated")
    six = [
        row
        for row in site.tables["pins"]
        if len(row["pin"]) == 6 and live(row, site.as_of.isoformat())
    ]
    chosen = _choose(site, _beyond_chance(len(six)), "pin-dated")
    for row in chosen:
        while True:
            # a day after the twelfth reads in one order only; no popular year of birth
            born = date(
                site.as_of.year - rng.randint(50, 74), rng.randint(1, 12), rng.randint(13, 28)
            )
            digits = f"{born:%d%m%y}"
            if len(set(digits)) >= 4 and far_from_others(site, int(digits)):
                break
        set_digits(site, row, digits)
    yield entry(
        "pin-dated",
        "more dates of birth than random codes would hold",
        pin=[row["pin_id"] for row in chosen],
    )


def _beyond_chance(codes: int) -> int:
    """A count of dates that random codes reach with a chance far below one in a thousand."""
    share = 84 * 365.25 / 1_000_000  # births of people aged 16 to 99 among six-digit codes
    chance, count = 1.0, 0
    while chance > 1e-4:
        ways = lgamma(codes + 1) - lgamma(count + 1) - lgamma(codes - count + 1)
        # as logarithms: of thousands of codes the ways are more than a float holds
        chance -= exp(ways + count * log(share) + (codes - count) * log1p(-share))
        count += 1
    return count + 1


def without_holder(site: Site) -> Iterator[Entry]:
    """A personal PIN of nobody, and a delivery PIN of no place."""
    rng = site.random("pin-without-holder")
    for kind in ("personal", "delivery"):
        made = site.day(20)
        code = pin(site, rng, kind, set_on=made, valid_from=made)
        yield entry("pin-without-holder", f"a {kind} PIN bound to nothing", pin=code["pin_id"])


def admin_code_known_to_leavers(site: Site) -> Iterator[Entry]:
    """A panel's admin code is older than the day that three workers left."""
    (code,) = pick(
        site,
        "pins",
        1,
        lambda row: row["kind"] == "admin" and row["status"] == "active",
        "old admin code",
    )
    code["set_on"] = site.day(1000)
    knew = [
        row["person_id"]
        for row in site.tables["people"]
        if row["role"] in ("staff", "contractor", "agent")
        and row["end_date"]
        and code["set_on"] <= row["end_date"] < site.as_of.isoformat()
    ]
    yield entry(
        "pin-shared-after-departure",
        "set before these workers left",
        pin=code["pin_id"],
        person=knew,
    )


def shared_for_too_long(site: Site) -> Iterator[Entry]:
    """A household's shared PIN is half a year old, nobody has left since."""
    left = {
        row["dwelling_id"]
        for row in site.tables["people"]
        if row["end_date"] and row["role"] == "resident"
    }
    (code,) = pick(
        site,
        "pins",
        1,
        lambda row: (
            row["kind"] == "shared"
            and row["status"] == "active"
            and bool(row["dwelling_id"])
            and row["dwelling_id"] not in left
        ),
        "pin-shared-too-old",
    )
    code["set_on"] = code["valid_from"] = site.day(180)
    yield entry("pin-shared-too-old", "180 days old, 90 are the most", pin=code["pin_id"])


def too_many_for_the_panel(site: Site) -> Iterator[Entry]:
    """A panel that holds twenty PINs was given more."""
    (panel,) = pick(
        site, "stations", 1, lambda row: row["kind"] == "entrance-panel", "panel-pins-exceeded"
    )
    rng = site.random("panel-pins-exceeded")
    for _ in range(21):
        pin(
            site,
            rng,
            "shared",
            station_id=panel["station_id"],
            set_on=site.day(AFTER_READ_BACK),
        )
    yield entry(
        "panel-pins-exceeded",
        "more live PINs on a panel than the twenty that it holds",
        station=panel["station_id"],
    )


def delivery_at_all_hours(site: Site) -> Iterator[Entry]:
    """A delivery PIN whose permission has lost its hours."""
    today = site.as_of.isoformat()
    codes = {
        row["pin_id"]
        for row in site.tables["pins"]
        if row["kind"] == "delivery" and live(row, today) and row["pin_id"] not in site.taken
    }
    timed = [
        row
        for row in site.tables["permissions"]
        if row["schedule_id"] == "S-DELIVERY" and row["valid_from"] <= today and not row["valid_to"]
    ]
    able = [row for row in timed if row["holder_id"] in codes]
    if not able or len(timed) < 2:  # a schedule that nothing uses is another fault
        raise NoneLeftError("delivery-pin-at-all-hours")
    permission = site.random("delivery-pin-at-all-hours").choice(able)
    permission["schedule_id"] = ""
    yield entry("delivery-pin-at-all-hours", "no schedule", pin=permission["holder_id"])


FAULTS: tuple[Fault, ...] = (
    short_codes,
    duress_like_the_ordinary,
    telephone_tails,
    easy_codes,
    one_code_for_several,
    handed_out_in_a_row,
    dates_of_birth,
    without_holder,
    shared_for_too_long,
    too_many_for_the_panel,
    delivery_at_all_hours,
)
