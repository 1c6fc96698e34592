"""Cards without a home, with a damaged or copyable number, or that should be dead."""

from collections.abc import Iterator

from ..codes import as_logged, serial
from ..households import card, permit, person
from ..rows import READ_BACK_DAYS, Entry, Row, Site, add, index, live, pick
from .ground import AFTER_READ_BACK, Fault, entry, happened, unused_since


def residents(site: Site) -> dict[str, Row]:
    """People who live there now, whom no other fault concerns."""
    return index(
        (
            row
            for row in site.tables["people"]
            if row["role"] == "resident"
            and row["status"] in ("current", "")
            and row["dwelling_id"]
            and site.taken.isdisjoint((row["person_id"], row["dwelling_id"]))
        ),
        "person_id",
    )


def resident(site: Site, purpose: str) -> Row:
    """One of them with a card, in a flat that no other fault concerns either."""
    able, today = residents(site), site.as_of.isoformat()
    holders = {row["person_id"] for row in site.tables["cards"] if live(row, today)}
    (chosen,) = pick(
        site,
        "people",
        1,
        lambda row: row["person_id"] in able and row["person_id"] in holders,
        purpose,
    )
    site.taken.add(chosen["dwelling_id"])
    return chosen


def _new(site: Site) -> str:
    return site.day(AFTER_READ_BACK)


def no_dwelling(site: Site) -> Iterator[Entry]:
    """Two cards belong nowhere, and a visitor's to no flat."""
    rng = site.random("card-without-dwelling")
    loose = [
        card(site, rng, nth, None, issued_on=site.day(60 + nth), last_used=site.day(30 + nth))
        for nth in range(2)
    ]
    guest = person(
        site, role="visitor", status="current", start_date=site.day(6), end_date=site.day(-9)
    )
    loose.append(
        card(
            site,
            rng,
            2,
            guest,
            issued_on=_new(site),
            valid_from=_new(site),
            valid_to=site.day(-9),
        )
    )
    for row in loose:
        yield entry("card-without-dwelling", "a live card bound to no flat", card=row["card_id"])


def no_person(site: Site) -> Iterator[Entry]:
    """A flat's spare card: nobody knows who has it."""
    home = resident(site, "card-without-person")["dwelling_id"]
    spare = card(site, site.random("spare"), 0, None, dwelling_id=home, issued_on=_new(site))
    yield entry("card-without-person", "a flat, but no person", card=spare["card_id"])


def holder_elsewhere(site: Site) -> Iterator[Entry]:
    """The card says one flat, its holder lives in another of the same building."""
    holder = resident(site, "card-holder-elsewhere")
    building = holder["dwelling_id"].split("-")[0]
    able = {row["dwelling_id"] for row in residents(site).values()}
    (other,) = pick(
        site,
        "dwellings",
        1,
        lambda row: row["dwelling_id"] in able and row["dwelling_id"].startswith(building),
        "the other flat",
    )
    wrong = card(
        site,
        site.random("elsewhere"),
        0,
        holder,
        dwelling_id=other["dwelling_id"],
        issued_on=_new(site),
    )
    yield entry(
        "card-holder-elsewhere",
        "the card's flat is not its holder's",
        card=wrong["card_id"],
        person=holder["person_id"],
    )


def malformed(site: Site) -> Iterator[Entry]:
    """A number past 65535 at 26 bits, a facility past 255, a serial number of five bytes."""
    rng = site.random("card-number-malformed")
    for number, facility, form, why in (
        (str(rng.randint(65_600, 99_999)), "31", "wiegand26", "a card number past 65535"),
        (str(rng.randint(1000, 9999)), "300", "wiegand26", "a facility code past 255"),
        (serial(rng, "04", 5), "", "hex", "a serial number of five bytes"),
        (serial(rng, "88", 4), "", "hex", "the stump of a longer serial number"),
    ):
        holder = resident(site, why)
        bad = card(
            site,
            rng,
            0,
            holder,
            number=number,
            facility_code=facility,
            number_form=form,
            technology="hf-secure",
            issued_on=_new(site),
        )
        yield entry("card-number-malformed", why, card=bad["card_id"])


def random_serial(site: Site) -> Iterator[Entry]:
    """A serial number that the card makes up anew at each reading."""
    holder = resident(site, "card-number-random")
    bad = card(
        site,
        site.random("random serial"),
        0,
        holder,
        number=serial(site.random("08"), "08", 4),
        number_form="hex",
        facility_code="",
        technology="hf-secure",
        issued_on=_new(site),
    )
    yield entry("card-number-random", "begins with 08", card=bad["card_id"])


def reported_lost_but_working(site: Site) -> Iterator[Entry]:
    """One lost card was registered again for its holder, another still stands at a door."""
    rng = site.random("lost but working")
    again, still = (resident(site, f"card-withdrawn-still-working {nth}") for nth in range(2))
    gone = {"status": "lost", "valid_to": site.day(30), "last_used": site.day(33)}
    lost = card(site, rng, 2, again, issued_on=site.day(50), **gone)
    twin = card(site, rng, 2, again, issued_on=_new(site))
    for column in ("number", "facility_code", "number_form", "technology"):
        twin[column] = lost[column]
    yield entry(
        "card-withdrawn-still-working",
        "lost, and the same number is live on another row",
        card=lost["card_id"],
    )
    lost = card(site, rng, 2, still, issued_on=site.day(50), **gone)
    door = f"{still['dwelling_id'].split('-')[0]}-MAIN"
    add(
        site,
        "loaded",
        door_id=door,
        credential_kind="card",
        number=as_logged(lost),
        valid_to=lost["valid_to"],
        read_on=site.day(READ_BACK_DAYS),
    )
    yield entry(
        "card-withdrawn-still-working",
        "lost, and a controller still holds it",
        card=lost["card_id"],
    )
    yield entry(
        "loaded-without-permission",
        "the card is lost, and a controller still holds it",
        door=door,
        card=lost["card_id"],
    )


def permission_of_a_card_in_the_drawer(site: Site) -> Iterator[Entry]:
    """A card in stock has a permission."""
    (spare,) = pick(
        site, "cards", 1, lambda row: row["status"] == "stock", "card-withdrawn-with-permission"
    )
    permit(
        site,
        "card",
        spare["card_id"],
        site.day(100),
        door_group="G-MAINS",
        schedule_id="S-WORK",
        valid_from=site.day(100),
    )
    yield entry(
        "card-withdrawn-with-permission",
        "in stock, with a permission in force",
        card=spare["card_id"],
    )


def dormant(site: Site) -> Iterator[Entry]:
    """Two cards last used half a year ago, and one handed out a year ago and never used."""
    able, today = residents(site), site.as_of.isoformat()
    codes = {
        row["person_id"]: row["pin_id"]
        for row in site.tables["pins"]
        if row["kind"] == "personal" and live(row, today) and row["pin_id"] not in site.taken
    }  # nobody's only credential is called unused
    chosen = pick(
        site,
        "cards",
        3,
        lambda row: (
            row["kind"] == "ordinary"
            and row["person_id"] in able
            and row["person_id"] in codes
            and live(row, today)
            and row["issued_on"] < site.day(190)
        ),
        "card-dormant",
    )
    for nth, row in enumerate(chosen):
        site.taken |= {row["person_id"], codes[row["person_id"]]}
        unused_since(site, row, site.day(185))
        row["last_used"] = site.day(185) if nth else ""
        yield entry(
            "card-dormant",
            "last used half a year ago" if nth else "never used",
            card=row["card_id"],
        )


def visitors_without_end(site: Site) -> Iterator[Entry]:
    """A contractor's card without an end, and one that lasts a hundred days."""
    rng = site.random("visitor-card-open-ended")
    for ends, why in (("", "no end"), (site.day(-99), "valid for a hundred days")):
        worker = person(
            site,
            role="contractor",
            status="current",
            start_date=site.day(20),
            end_date=site.day(-110),
        )
        bad = card(site, rng, 2, worker, issued_on=_new(site), valid_from=_new(site), valid_to=ends)
        yield entry("visitor-card-open-ended", why, card=bad["card_id"])


def copyable(site: Site) -> Iterator[Entry]:
    """Cards of two kinds that a kiosk can copy."""
    able, today = residents(site), site.as_of.isoformat()
    for technology, count in (("lf-open", 3), ("hf-uid", 2), ("hf-broken", 2)):
        for row in pick(
            site,
            "cards",
            count,
            lambda row: (
                row["person_id"] in able and live(row, today) and row["technology"] == "hf-secure"
            ),
            f"card-copyable {technology}",
        ):
            row["technology"] = technology
        yield entry("card-copyable", "can be copied with common means", technology=technology)


def master_key_of_a_resident(site: Site) -> Iterator[Entry]:
    """A resident holds a master card."""
    holder = resident(site, "card-kind-for-staff")
    bad = card(site, site.random("master"), 2, holder, kind="master", issued_on=_new(site))
    yield entry(
        "card-kind-for-staff",
        "a master card in a flat",
        card=bad["card_id"],
        person=holder["person_id"],
    )


def used_though_lost(site: Site) -> Iterator[Entry]:
    """A lost card still opened the entrance last week."""
    holder = resident(site, "used-after-withdrawal")
    lost = card(
        site,
        site.random("used though lost"),
        2,
        holder,
        status="lost",
        issued_on=site.day(50),
        valid_to=site.day(20),
        last_used=site.day(24),
    )
    happened(
        site,
        5,
        "04:12:37",
        f"{holder['dwelling_id'].split('-')[0]}-MAIN",
        "granted",
        card=as_logged(lost),
    )
    yield entry(
        "used-after-withdrawal", "lost three weeks ago, let in last week", card=lost["card_id"]
    )


def master_cards_missing(site: Site) -> Iterator[Entry]:
    """Two more master cards were delivered than the register knows."""
    masters = [row["card_id"] for row in site.tables["cards"] if row["kind"] == "master"]
    site.master_cards = len(masters) + 2
    yield entry("master-cards-unaccounted", "two are in no list", card=masters)


FAULTS: tuple[Fault, ...] = (
    dormant,
    copyable,
    no_dwelling,
    no_person,
    holder_elsewhere,
    malformed,
    random_serial,
    reported_lost_but_working,
    permission_of_a_card_in_the_drawer,
    visitors_without_end,
    master_key_of_a_resident,
    used_though_lost,
    master_cards_missing,
)
