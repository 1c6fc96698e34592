"""Every check of rules/outside_checks.toml, one test each, under the same name.

Its source, and how sure we are of it, stand beside it there; the numbers here are the published
ones, and what is asked is the public computation that the rules use.
"""

from __future__ import annotations

import datetime as dt
import itertools
import sys
import tomllib
from collections.abc import Mapping, Sequence
from decimal import Decimal
from importlib.resources import files
from typing import Any
from zoneinfo import ZoneInfo

import networkx as nx
import pandas as pd
import pytest
from zxcvbn import zxcvbn
from zxcvbn.frequency_lists import FREQUENCY_LISTS

from audit import packs
from audit.arithmetic import card_numbers
from audit.arithmetic.capacity import merging_exit_mm, people_through, together, width_needed
from audit.arithmetic.dominators import dominator_tree
from audit.arithmetic.names import apart, fold_name
from audit.arithmetic.network import Built, built
from audit.arithmetic.pin_guessing import OTHER, day_table, guessable, tries
from audit.arithmetic.pin_risk import crowded, odds_of_a_hit
from audit.arithmetic.recurrence import DAY, Span, coming_year, event_openings
from audit.arithmetic.three import NO, YES
from audit.arithmetic.weeks import clock_changes
from audit.catalogue import CHECK_SURE, checks
from audit.contract import TEXT
from audit.engine import verdicts
from audit.ingest.readers.workbook import serial_day
from audit.site import InputError, site_from
from tests.arithmetic.test_network import open_plan
from tests.sites import all_rules, answer, dataset, example

ENGLAND, NFPA = packs.load("england").values, packs.load("nfpa").values
TEN = "0123456789"
NEW_YORK = ZoneInfo("America/New_York")


def told(rule: str, text: str, **options: Any) -> dict[str, bool | None]:
    """What a rule says of a small register: subject -> finding or not."""
    (one,) = [r for r in all_rules() if r.name == rule]
    return answer(one, dataset(example(text, **options)))


def findings(rule: str, text: str, **options: Any) -> set[str]:
    return {subject for subject, fails in told(rule, text, **options).items() if fails}


# --- the list and the tests --------------------------------------------------------------


def test_list_and_tests_name_each_other() -> None:
    listed = [c["name"] for c in checks()]
    written = {
        name.removeprefix("test_")
        for name, test in vars(sys.modules[__name__]).items()
        if name.startswith("test_") and name not in OF_THE_LIST and callable(test)
    }
    assert len(listed) == len(set(listed)) >= 40
    assert set(listed) == written


def test_every_check_is_whole() -> None:
    raw = tomllib.loads((files("rules") / "outside_checks.toml").read_text("utf-8"))
    assert list(raw) == ["check"]
    known = {r.name for r in all_rules()}
    for check in raw["check"]:
        assert set(check) == {"name", "supports", "says", "source", "sure"}
        assert check["supports"]
        assert set(check["supports"]) <= known
        assert check["says"].endswith(".")
        assert len(check["source"]) > 10
        assert check["sure"] in CHECK_SURE


OF_THE_LIST = ("test_list_and_tests_name_each_other", "test_every_check_is_whole")


# --- guessing PINs -----------------------------------------------------------------------


def text(codes: object) -> pd.Series:
    return pd.Series(sorted(codes), dtype=TEXT)  # type: ignore[call-overload]


def words(listed: str) -> list[str]:
    return listed.split()


def missed(codes: object) -> int:
    """How many of the codes are not guessable: a number, so that no message shows a code."""
    return int((~guessable(text(codes), 3000)["easy"]).sum())


def ranks(codes: Sequence[str]) -> list[int]:
    told_: list[int] = tries(pd.Series(list(codes), dtype=TEXT))["tries"].tolist()
    return told_


def test_easy_list_of_four_digits() -> None:
    singles = words(
        "0102 0103 0110 0111 0123 1004 1101 1102 1103 1110 1112 1123 1201 1202 1203 1210 1211 1234"
        " 2229 2580 4321 5683 7465 7667"
    )
    easy = {a * 4 for a in TEN} | {(a + b) * 2 for a in TEN for b in TEN}
    easy |= {a * 2 + b * 2 for a in TEN for b in TEN} | set(singles)
    easy |= {str(year) for year in range(1956, 2016)}
    assert len(easy) == 274
    assert missed(easy) == 0


def test_easy_list_of_six_digits() -> None:
    singles = words(
        "012345 123456 234567 345678 456789 543210 654321 765432 876543 987654 098765 123654 321654"
        " 789456 112233 147258 159753 030379 101471 520131"
    )
    threes = ["".join(t) for t in itertools.product(TEN, repeat=3)]
    easy = {t + t for t in threes} | {t + t[::-1] for t in threes}
    easy |= {t[0] + t[1] + t[0] + t[1] + t[0] + t[2] for t in threes} | set(singles)
    assert len(easy) == 2910
    assert missed(easy) == 0


def test_twenty_most_popular_of_four_digits() -> None:
    top = words(
        "1234 1111 0000 1212 7777 1004 2000 4444 2222 6969 9999 3333 5555 6666 1122 1313 8888 4321"
        " 2001 1010"
    )
    assert ranks(top) == list(range(1, 21))


def test_rarest_of_four_digits() -> None:
    assert tries(text(["8068"]))["pattern"].item() == OTHER
    assert missed(["8068"]) == 1


def test_most_popular_of_six_digits() -> None:
    top = words(
        "123456 654321 111111 000000 123123 666666 121212 112233 789456 159753 555555 999999 123321"
        " 987654 222222 888888 456789 123654 696969 777777 101010 131313 333333 246810 159357"
        " 232323 252525 147258 147852"
    )
    assert ranks(top) == list(range(1, 30))


def test_keypad_shapes() -> None:
    six = words(
        "159357 147852 123789 852456 134679 124578 142536 741852 456123 753951 135790 246810 666999"
        " 315475 314159"
    )
    four = words("0246 0369 1357 2468 3579 6420 7531 8642 9630 9753 0258 8520")
    assert (len(six), len(four)) == (15, 12)
    assert missed([*six, *four]) == 0


def test_another_judge_within_a_thousand() -> None:
    listed = [p for p in FREQUENCY_LISTS["passwords"] if len(p) == 6 and p.isdigit()]
    easy = {p for p in listed if zxcvbn(p)["guesses"] <= 1000}
    assert len(easy) > 30
    assert missed(easy) == 0


def test_straight_runs() -> None:
    for digits, count in ((4, 14), (5, 12), (6, 10)):
        up = {TEN[i : i + digits] for i in range(11 - digits)}
        runs = up | {r[::-1] for r in up}
        assert len(runs) == count
        assert missed(runs) == 0


def test_dates_of_four_digits() -> None:
    assert [int((day_table((o,))[0] >= 0).sum()) for o in ("DDMM", "MMDD")] == [366, 366]
    assert int((day_table(("DDMM", "MMDD"))[0] >= 0).sum()) == 588


# --- chances -----------------------------------------------------------------------------


def chance(possible: int, codes: int, tried: int) -> float:
    return odds_of_a_hit(possible, codes, tried).chance


def test_an_ace_in_five_cards() -> None:
    assert chance(52, 4, 5) == pytest.approx(0.341158, abs=5e-7)


def test_chances_of_a_hit() -> None:
    for possible, codes, tried, published in (
        (10**4, 1, 3, 0.0003),
        (10**4, 10, 3, 0.0029973005),
        (10**4, 10, 10, 0.0099595823),
        (10**4, 50, 5, 0.0247561491),
        (10**4, 100, 3, 0.0297039408),
        (10**4, 100, 10, 0.0956590585),
        (10**4, 100, 100, 0.6358054848),
        (10**4, 200, 100, 0.8687223826),
        (10**5, 100, 100, 0.0952527136),
        (10**6, 1, 100, 0.0001),
        (10**6, 100, 100, 0.0099511515),
        (10**6, 500, 100, 0.0487848254),
        (10**6, 1000, 10, 0.0099551644),
        (10**6, 1000, 100, 0.0952123364),
    ):
        assert chance(possible, codes, tried) == pytest.approx(published, abs=5.1e-11)


def test_tries_for_an_even_chance() -> None:
    for possible, codes, least in ((10**4, 100, 69), (10**6, 1000, 693)):
        assert chance(possible, codes, least) >= 0.5 > chance(possible, codes, least - 1)


def test_a_hundred_tries_at_six_digits() -> None:
    assert chance(10**6, 1, 100) == pytest.approx(1 / 10_000, rel=1e-12)
    assert 1 / 21 < chance(10**6, 500, 100) < 1 / 20


def test_three_tries_at_a_cash_machine() -> None:
    assert chance(10**4, 1, 3) == pytest.approx(3 / 10_000, rel=1e-12)


def test_one_code_in_a_thousand() -> None:
    for digits, most in ((4, 10), (5, 100), (6, 1_000), (8, 100_000)):
        assert not crowded(most, digits)
        assert crowded(most + 1, digits)


def shared(people: int, days: int) -> float:
    """Two of them alike: each in turn draws once, and hits one of those before."""
    alone = 1.0
    for before in range(people):
        alone *= 1 - chance(days, before, 1)
    return 1 - alone


def test_twenty_three_birthdays() -> None:
    assert shared(23, 365) == pytest.approx(0.507297, abs=5e-7)
    assert shared(22, 365) == pytest.approx(0.475695, abs=5e-7)


def test_two_hundred_random_pins() -> None:
    assert shared(200, 10**4) == pytest.approx(0.865120, abs=5e-7)
    assert shared(100, 10**6) == pytest.approx(0.004938, abs=5e-7)


# --- PINs and people ---------------------------------------------------------------------


def test_six_digits_at_random() -> None:
    register = "pins\npin_id | pin\nFIVE | 83914\nSIX | 839146"
    assert told("pin-too-short", register) == {"FIVE": True, "SIX": False}


def test_twelve_digits_at_most() -> None:
    place = {"name": "S", "timezone": "Europe/Dublin"}
    twelve = site_from({"site": place, "policy": {"pin_minimum_digits": 12}})
    assert twelve.policy.pin_minimum_digits == 12
    with pytest.raises(InputError, match="pin_minimum_digits"):
        site_from({"site": place, "policy": {"pin_minimum_digits": 13}})
    register = "pins\npin_id | pin\nELEVEN | 83914627501\nTWELVE | 839146275018"
    asked = told("pin-too-short", register, policy={"pin_minimum_digits": 12})
    assert asked == {"ELEVEN": True, "TWELVE": False}


def test_each_user_a_unique_identity() -> None:
    register = """
        people
        person_id
        A
        B
        C

        pins
        pin_id | pin    | kind     | person_id
        P1     | 839146 | personal | A
        P2     | 839146 | personal | B
        P3     | 275018 | personal | C
        """
    assert findings("pin-reused", register) == {"P1+P2"}


def test_shared_secrets_change_when_someone_leaves() -> None:
    register = """
        people
        person_id | dwelling_id | end_date
        GONE      | A1          | 2026-08-31
        HERE      | A1          |

        pins
        pin_id | pin    | kind   | dwelling_id | set_on
        SAME   | 839146 | shared | A1          | 2026-08-31
        AFTER  | 275018 | shared | A1          | 2026-09-01
        """
    assert findings("pin-shared-after-departure", register) == {"SAME GONE"}


def test_people_who_left_are_taken_off_the_list() -> None:
    register = """
        people
        person_id | end_date
        YESTERDAY | 2026-09-29
        TODAY     | 2026-09-30

        cards
        card_id | number | person_id
        C1      | 1      | YESTERDAY
        C2      | 2      | TODAY
        """
    assert findings("departed-with-card", register) == {"YESTERDAY C1"}


def test_letters_apart() -> None:
    for one, other, letters in (
        ("Kitten", "Sitting", 3),
        ("Saturday", "Sunday", 3),
        ("Flaw", "Lawn", 2),
    ):
        pair = [fold_name(one)], [fold_name(other)]
        assert apart(*pair, letters).tolist() == [letters]
        assert apart(*pair, letters - 1).tolist() == [letters]  # above the limit: one more


# --- cards -------------------------------------------------------------------------------


def number(
    written: str, facility: int | None = None, form: str | None = None
) -> tuple[str | None, str | None]:
    """Canonical value and fault of one card number."""
    frame = card_numbers.canonical(
        pd.Series([written], dtype=TEXT),
        pd.Series([facility], dtype="Int64"),
        pd.Series([form], dtype=TEXT),
    )
    value, fault = frame["canonical"].item(), frame["fault"].item()
    return None if pd.isna(value) else value, None if pd.isna(fault) else fault


def alike(facility: int, card: int, bits: str, word: str) -> None:
    expected = (str(facility * 65536 + card), None)
    for written, code, form in (
        (bits, None, "wiegand26"),
        (word, None, "wiegand26"),
        (f"{facility},{card}", None, None),
        (str(card), facility, None),
    ):
        assert number(written, code, form) == expected


def test_published_26_bit_examples() -> None:
    alike(101, 4095, "0 01100101 0000111111111111 1", "0CA1FFF")
    alike(212, 7041, "1 11010100 0001101110000001 0", "3A83702")


def test_further_26_bit_examples() -> None:
    alike(1, 1, "1 00000001 0000000000000001 0", "2020002")
    alike(123, 45678, "1 01111011 1011001001101110 1", "2F764DD")
    alike(255, 65535, "0 11111111 1111111111111111 1", "1FFFFFF")
    alike(0, 0, "0 00000000 0000000000000000 1", "0000001")


def test_parity_of_26_bits() -> None:
    published = "00110010100001111111111111"
    assert number(published, form="wiegand26")[1] is None
    for at in range(26):
        turned = published[:at] + "10"[int(published[at])] + published[at + 1 :]
        assert number(turned, form="wiegand26")[1] == card_numbers.PARITY


def test_ranges_of_26_bits() -> None:
    assert number("65535", 255, "wiegand26") == ("16777215", None)
    assert number("65536", 255, "wiegand26")[1] == card_numbers.NUMBER_RANGE
    assert number("65535", 256, "wiegand26")[1] == card_numbers.FACILITY_RANGE


def test_serial_numbers_of_4_7_and_10_bytes() -> None:
    for size in range(3, 12):
        fault = number("04" + "A1" * (size - 1), form="hex")[1]
        assert (fault is None) == (size in (4, 7, 10))


def test_cascade_tag_88() -> None:
    assert number("88A1B2C3", form="hex")[1] == card_numbers.STUMP
    assert number("88A1B2C3D4E5F6", form="hex")[1] is None


def test_random_serial_08() -> None:
    register = (
        "cards\ncard_id | number | number_form\nANEW | 08A1B2C3 | hex\nFIXED | 04A1B2C3 | hex"
    )
    assert findings("card-number-random", register) == {"ANEW"}


def test_a_number_is_given_once() -> None:
    register = """
        cards
        card_id | number   | facility_code | number_form
        PAIR    | 4095     | 101           |
        WORD    | 0CA1FFF  |               | wiegand26
        OTHER   | 4096     | 101           |
        """
    assert findings("card-number-repeated", register) == {"PAIR+WORD"}


def test_broken_cipher() -> None:
    register = """
        cards
        card_id | number | technology
        C1      | 1      | hf-broken
        C2      | 2      | hf-uid
        C3      | 3      | hf-secure
        """
    assert findings("card-copyable", register) == {"hf-broken", "hf-uid"}


def test_protected_against_copying_from_grade_3() -> None:
    (rule,) = [r for r in all_rules() if r.name == "card-copyable"]
    for grade, priority in ((1, "advisory"), (2, "advisory"), (3, "planned"), (4, "planned")):
        register = f"""
            zones
            zone_id | kind    | security_grade
            OUT     | outside |
            IN      | common  | {grade}

            doors
            door_id | inside_zone | outside_zone | entry
            D1      | IN          | OUT          | card

            people
            person_id | role
            P1        | staff

            cards
            card_id | number | technology | person_id
            C1      | 1      | hf-broken  | P1

            permissions
            permission_id | holder_kind | holder_id | door_id
            M1            | card        | C1        | D1
            """
        frame = verdicts(rule, dataset(example(register)))
        assert frame.get("priority", pd.Series(["advisory"])).fillna("advisory").tolist() == [
            priority
        ]


# --- doors and panels --------------------------------------------------------------------


def test_door_status_monitored_from_grade_2() -> None:
    register = """
        zones
        zone_id | security_grade
        ONE     | 1
        TWO     | 2
        THREE   | 3
        FOUR    | 4

        doors
        door_id | inside_zone | lock   | exit_input | status_monitor
        D1      | ONE         | strike | none       | none
        D2      | TWO         | strike | none       | none
        D3      | THREE       | strike | none       | none
        D4      | FOUR        | strike | none       | none
        """
    assert findings("controlled-door-without-monitor", register) == {"D2", "D3", "D4"}


def test_open_time_of_ten_seconds() -> None:
    register = """
        doors
        door_id | status_monitor | held_open_alarm_s
        NINE    | contact        | 9
        TEN     | contact        | 10
        """
    assert told("held-open-alarm-unsuitable", register) == {"NINE": True, "TEN": False}


def test_factory_values_overwritten() -> None:
    register = """
        stations
        station_id | kind           | admin_code
        S1         | entrance-panel | default
        S2         | entrance-panel | changed
        """
    assert findings("admin-code-default", register) == {"S1"}


def test_clocks_follow_a_master() -> None:
    register = """
        stations
        station_id | kind           | time_source
        HAND       | entrance-panel | manual
        NET        | entrance-panel | network

        schedules
        schedule_id | days  | start | end
        S1          | daily | 08:00 | 18:00

        permissions
        permission_id | holder_kind | holder_id | door_id | schedule_id
        M1            | role        | staff     | D1      | S1
        """
    assert findings("clock-not-synchronised", register) == {"HAND"}


def test_fire_doors_keep_their_latch() -> None:
    register = """
        doors
        door_id | fire_minutes | lock   | power_loss
        LETS    | 30           | strike | unlocks
        HOLDS   | 30           | strike | stays-locked
        """
    assert told("fire-door-may-unlatch", register) == {"LETS": True, "HOLDS": False}


CHECKED = """
    zones
    zone_id | kind
    HALL    | common
    HOME    | dwelling

    doors
    door_id | inside_zone | outside_zone | escape_route | fire_minutes | fire_door_checked
    DUE     | HALL        |              | no           | 30           | {due}
    LATE    | HALL        |              | no           | 30           | {late}
    FLAT    | HOME        | HALL         | no           | 30           | {due}
    """


def test_fire_doors_every_three_six_and_twelve_months() -> None:
    for code, building, due, flats in (
        ("england", {"use": "flats", "top_storey_m": 11.1}, "2026-06-30", False),
        ("england", {"use": "flats", "top_storey_m": 11}, "2026-03-30", None),
        ("england", {"use": "office", "top_storey_m": 30}, "2026-03-30", None),
        ("generic", {}, "2026-03-30", None),
        ("nfpa", {}, "2025-09-30", False),
    ):
        late = dt.date.fromisoformat(due) - dt.timedelta(days=1)
        register = CHECKED.format(due=due, late=late)
        assert told(
            "door-test-overdue", register, site={"local_code": code}, building=building
        ) == {"DUE": False, "LATE": True, "FLAT": flats}


# --- ways out ----------------------------------------------------------------------------


def england(width: int) -> int:
    return people_through(Decimal(width), ENGLAND["width_bands"], Decimal(ENGLAND["mm_per_person"]))


def inches(width: str) -> int:
    mm = Decimal(width) * Decimal("25.4")
    return people_through(mm, NFPA["width_bands"], Decimal(NFPA["mm_per_person"]))


def test_people_for_a_width() -> None:
    published = {749: 0, 750: 60, 849: 60, 850: 110, 1049: 110, 1050: 220, 1105: 221}
    assert {w: england(w) for w in published} == published


def test_width_for_people() -> None:
    published = {60: 750, 110: 850, 220: 1050, 221: 1105, 300: 1500}
    each = Decimal(ENGLAND["mm_per_person"])
    assert {n: width_needed(n, ENGLAND["width_bands"], each) for n in published} == published


def test_three_doors_less_the_widest() -> None:
    assert together([england(1500), england(1050), england(850)]) == 330


def test_merging_exit() -> None:
    assert merging_exit_mm(250, 1200) == 2150


def test_a_fifth_of_an_inch_a_person() -> None:
    assert [inches(w) for w in ("32", "33", "34")] == [160, 165, 170]


def test_stairs_and_sprinklers() -> None:
    assert people_through(Decimal(44), (), Decimal("0.3")) == 146
    assert people_through(Decimal(32), (), Decimal("0.15")) == 213
    assert people_through(Decimal(34), (), Decimal("0.15")) == 226


def test_half_remains() -> None:
    doors = [inches("34"), inches("34")]
    assert (sum(doors), together(doors)) == (340, 170)


def test_no_person_lost_in_a_fraction() -> None:
    assert [inches(w) for w in ("28.4", "32.4", "33.4")] == [142, 162, 167]
    assert [int(w / 0.2) for w in (28.4, 32.4, 33.4)] == [141, 161, 166]


def crowd(most: int) -> str:
    return f"""
        zones
        zone_id | kind    | occupants
        OUT     | outside |
        LIMIT   | common  | {most}
        OVER    | common  | {most + 1}

        doors
        door_id | inside_zone | outside_zone | lock | opens_with_escape
        D1      | LIMIT       | OUT          | none | no
        D2      | OVER        | OUT          | none | no
        """


def test_more_than_sixty_people_two_exits() -> None:
    for code in ("generic", "england"):
        found = findings("zone-with-one-way-out", crowd(60), site={"local_code": code})
        assert found == {"OVER"}


def test_fifty_people_two_exits() -> None:
    found = findings("zone-with-one-way-out", crowd(49), site={"local_code": "nfpa"})
    assert found == {"OVER"}


def test_fifty_people_swing_outward() -> None:
    found = findings("escape-door-opens-inward", crowd(49), site={"local_code": "nfpa"})
    assert found == {"D2"}


def test_sixty_people_swing_outward() -> None:
    for code in ("generic", "england"):
        found = findings("escape-door-opens-inward", crowd(60), site={"local_code": code})
        assert found == {"D2"}


def test_delay_of_fifteen_seconds() -> None:
    register = """
        doors
        door_id | escape_route | lock   | power_loss | alarm_release | exit_delay_s
        D0      | yes          | magnet | unlocks    | yes           | 0
        D15     | yes          | magnet | unlocks    | yes           | 15
        D16     | yes          | magnet | unlocks    | yes           | 16
        """
    for code, found in (("england", {"D15", "D16"}), ("nfpa", {"D16"})):
        said = findings(
            "escape-door-delayed",
            register,
            site={"local_code": code},
            building={"sprinklers": "yes"},
        )
        assert said == found


def test_thirty_two_inches_clear() -> None:
    register = """
        zones
        zone_id | kind    | occupants
        OUT     | outside |
        A       | common  | 10

        doors
        door_id | inside_zone | outside_zone | lock | escape_route | clear_width_mm
        D812    | A           | OUT          | none | yes          | 812
        D813    | A           | OUT          | none | yes          | 813
        """
    assert told("exit-too-narrow", register, site={"local_code": "nfpa"}) == {
        "D812": True,
        "D813": False,
    }


RELEASES = {
    "escape-door-locked-without-power": "power_loss",
    "escape-door-without-alarm-release": "alarm_release",
    "escape-door-without-emergency-release": "emergency_release",
}


def release(lacking: Mapping[str, str]) -> str:
    cells = {"power_loss": "unlocks", "alarm_release": "yes", "emergency_release": "yes", **lacking}
    return (
        f"doors\ndoor_id | escape_route | lock | mechanical_exit | {' | '.join(cells)}\n"
        f"D1 | yes | magnet | none | {' | '.join(cells.values())}"
    )


def test_three_ways_to_release_a_lock() -> None:
    for lacking, word in (
        ("power_loss", "stays-locked"),
        ("alarm_release", "no"),
        ("emergency_release", "no"),
    ):
        for rule, column in RELEASES.items():
            found = findings(rule, release({lacking: word}), building={"communal_alarm": "yes"})
            assert found == ({"D1"} if column == lacking else set())
    assert not any(
        findings(rule, release({}), building={"communal_alarm": "yes"}) for rule in RELEASES
    )


def test_a_lever_makes_a_locked_strike_free() -> None:
    register = """
        doors
        door_id | escape_route | lock   | power_loss   | mechanical_exit | exit_reader | exit_input
        LEVER   | yes          | strike | stays-locked | lever           | yes         | none
        FIXED   | yes          | strike | stays-locked | none            | yes         | none
        """
    assert findings("escape-door-locked-without-power", register) == {"FIXED"}
    assert findings("escape-door-needs-credential", register) == {"FIXED"}


def test_dominators_of_thirteen_nodes() -> None:
    edges = words("RA RB RC AD BA BD BE CF CG DL EH FI GI GJ HE HK IK JI KI KR LH")
    names = "RABCDEFGHIJKL"
    successors: list[list[int]] = [[] for _ in names]
    for start, end in edges:
        successors[names.index(start)].append(names.index(end))
    parent = dominator_tree(successors).parent
    found = {n: names[parent[i]] for i, n in enumerate(names) if i}
    assert found == {**dict.fromkeys("ABCDEHIK", "R"), "F": "C", "G": "C", "J": "G", "L": "D"}


def test_dominators_of_five_nodes() -> None:
    tree = dominator_tree([[], [2, 3], [5], [4], [5], []], root=1)
    assert dict(enumerate(tree.parent[2:], 2)) == {2: 1, 3: 1, 4: 3, 5: 1}


def open_doors(edges: Sequence[tuple[int, int]], zones: int) -> Built:
    """What hangs on which door where every door is free both ways and zone 0 is safe."""
    return built(open_plan(list(edges), zones))


def test_two_rooms_and_one_bridge() -> None:
    edges = list(nx.barbell_graph(5, 0).edges)
    found = open_doors(edges, 10)
    assert found.weak == [NO] * 5 + [YES] * 5
    assert {edges[d] for d in found.weak_door[5:]} == {(4, 5)}


def test_petersen_graph() -> None:
    edges = list(nx.petersen_graph().edges)
    assert len(edges) == 15
    assert open_doors(edges, 10).weak == [NO] * 10


def test_two_doors_side_by_side() -> None:
    found = open_doors([(1, 0), (1, 0), (2, 1)], 3)
    assert found.weak == [NO, NO, YES]
    assert found.weak_door[2] == 2


# --- hours -------------------------------------------------------------------------------


def starts(
    start: str, rule: str, first: str, days: int = 366, zone: ZoneInfo = NEW_YORK
) -> list[str]:
    """The wall-clock starts of an event at New York, 09:00 unless `start` gives the time."""
    begin = start if "T" in start else f"{start}T090000"
    recurs = f"RRULE:{rule}\r\n" if rule else ""
    event = (
        "BEGIN:VCALENDAR\r\nBEGIN:VEVENT\r\nUID:a\r\nDTSTAMP:19970101T000000Z\r\n"
        f"DTSTART;TZID=America/New_York:{begin}\r\nDURATION:PT15M\r\n{recurs}"
        "END:VEVENT\r\nEND:VCALENDAR\r\n"
    )
    span = Span(dt.date.fromisoformat(first), days)
    origin = dt.datetime.combine(span.first, dt.time())
    return [
        (origin + dt.timedelta(minutes=a)).strftime("%Y-%m-%d %H:%M")
        for a, _ in event_openings(event, span, zone)
    ]


def days(start: str, rule: str, first: str, last: str | None = None) -> list[str]:
    """The dates of an event, year by year, each of them at nine o'clock."""
    found: list[str] = []
    year = int(first[:4])
    for y in range(year, int((last or first)[:4]) + 1):
        begin = first if y == year else f"{y}-01-01"
        length = (dt.date(y + 1, 1, 1) - dt.date.fromisoformat(begin)).days
        found += starts(start, rule, begin, length)
    assert all(f.endswith(" 09:00") for f in found)
    return [f[:10] for f in found]


OTHER_WEEK = "FREQ=WEEKLY;INTERVAL=2;COUNT=4;BYDAY=TU,SU;WKST="


def test_week_starts_on_monday() -> None:
    found = days("19970805", OTHER_WEEK + "MO", "1997-08-01")
    assert [f[5:] for f in found] == ["08-05", "08-10", "08-19", "08-24"]


def test_week_starts_on_sunday() -> None:
    found = days("19970805", OTHER_WEEK + "SU", "1997-08-01")
    assert [f[5:] for f in found] == ["08-05", "08-17", "08-19", "08-31"]


def test_thirtieth_of_february() -> None:
    found = days("20070115", "FREQ=MONTHLY;BYMONTHDAY=15,30;COUNT=5", "2007-01-01")
    assert [f[5:] for f in found] == ["01-15", "01-30", "02-15", "03-15", "03-30"]


def test_every_twenty_minutes() -> None:
    hours = "BYHOUR=9,10,11,12,13,14,15,16"
    for rule in (f"FREQ=DAILY;{hours};BYMINUTE=0,20,40", f"FREQ=MINUTELY;INTERVAL=20;{hours}"):
        found = starts("19970902", rule, "1997-09-02", 1)
        assert (len(found), found[0][11:], found[-1][11:]) == (24, "09:00", "16:40")


def test_daily_until_christmas_eve() -> None:
    found = starts("19970902", "FREQ=DAILY;UNTIL=19971224T000000Z", "1997-09-01")
    assert (len(found), found[-1]) == (113, "1997-12-23 09:00")


def test_friday_the_thirteenth() -> None:
    rule = "FREQ=MONTHLY;BYDAY=FR;BYMONTHDAY=13"
    assert days("19970902", rule, "1997-09-03", "2000-12-31") == [
        "1998-02-13",
        "1998-03-13",
        "1998-11-13",
        "1999-08-13",
        "2000-10-13",
    ]


def test_twentieth_monday_and_week_twenty() -> None:
    by_week = days("19970512", "FREQ=YEARLY;BYWEEKNO=20;BYDAY=MO", "1997-01-01", "1999-12-31")
    assert by_week == ["1997-05-12", "1998-05-11", "1999-05-17"]
    by_day = days("19970519", "FREQ=YEARLY;BYDAY=20MO", "1997-01-01", "1999-12-31")
    assert by_day == ["1997-05-19", "1998-05-18", "1999-05-17"]


def test_first_and_last_day_of_the_month() -> None:
    found = days("19970930", "FREQ=MONTHLY;COUNT=10;BYMONTHDAY=1,-1", "1997-09-01", "1998-12-31")
    assert found == [
        "1997-09-30", "1997-10-01", "1997-10-31", "1997-11-01", "1997-11-30", "1997-12-01",
        "1997-12-31", "1998-01-01", "1998-01-31", "1998-02-01",
    ]  # fmt: skip


def test_last_weekday_but_one() -> None:
    rule = "FREQ=MONTHLY;BYDAY=MO,TU,WE,TH,FR;BYSETPOS=-2;COUNT=7"
    found = days("19970929", rule, "1997-09-01", "1998-12-31")
    assert [f[5:] for f in found] == [
        "09-29", "10-30", "11-27", "12-30", "01-29", "02-26", "03-30"
    ]  # fmt: skip


def test_election_day() -> None:
    rule = "FREQ=YEARLY;INTERVAL=4;BYMONTH=11;BYDAY=TU;BYMONTHDAY=2,3,4,5,6,7,8"
    assert days("19961105", rule, "1996-01-01", "2008-12-31") == [
        "1996-11-05",
        "2000-11-07",
        "2004-11-02",
        "2008-11-04",
    ]


def test_an_hour_that_comes_twice() -> None:
    assert starts("20071104T013000", "", "2007-01-01") == ["2007-11-04 01:30"]
    utc = starts("20071104T013000", "", "2007-01-01", zone=ZoneInfo("UTC"))
    assert utc == ["2007-11-04 05:30"]


def test_an_hour_that_never_comes() -> None:
    assert starts("20070311T023000", "", "2007-01-01") == ["2007-03-11 03:30"]
    utc = starts("20070311T023000", "", "2007-01-01", zone=ZoneInfo("UTC"))
    assert utc == ["2007-03-11 07:30"]


def changes(zone: str, year: int) -> list[tuple[str, int, bool]]:
    """Day, hour and whether it is skipped, of each clock change of a year."""
    span = coming_year(dt.date(year, 1, 1))
    found = clock_changes(ZoneInfo(zone), span)
    assert all(c.end - c.start == 60 for c in found)
    return [
        (
            (span.first + dt.timedelta(days=c.start // DAY)).isoformat()[5:],
            c.start % DAY // 60,
            c.skipped,
        )
        for c in found
    ]


EUROPE = {2025: ("03-30", "10-26"), 2026: ("03-29", "10-25"), 2027: ("03-28", "10-31")}


def test_summer_time_in_brussels() -> None:
    for year, (spring, autumn) in EUROPE.items():
        assert changes("Europe/Brussels", year) == [(spring, 2, True), (autumn, 2, False)]


def test_summer_time_in_london() -> None:
    for year, (spring, autumn) in EUROPE.items():
        assert changes("Europe/London", year) == [(spring, 1, True), (autumn, 1, False)]


def test_summer_time_in_new_york() -> None:
    american = {2025: ("03-09", "11-02"), 2026: ("03-08", "11-01"), 2027: ("03-14", "11-07")}
    for year, (spring, autumn) in american.items():
        assert changes("America/New_York", year) == [(spring, 2, True), (autumn, 1, False)]


def test_years_of_53_weeks() -> None:
    thursdays = days("20000101", "FREQ=YEARLY;BYWEEKNO=53;BYDAY=TH", "2000-01-02", "2040-12-31")
    assert [int(d[:4]) for d in thursdays] == [2004, 2009, 2015, 2020, 2026, 2032, 2037]
    sundays = days("20260105", "FREQ=YEARLY;BYWEEKNO=53;BYDAY=SU", "2027-01-01")
    assert sundays == ["2027-01-03"]


def test_week_one_may_begin_in_december() -> None:
    rule = "FREQ=YEARLY;BYWEEKNO=1;BYDAY=MO"
    for year, monday in ((2008, "2008-12-29"), (2024, "2024-12-30"), (2025, "2025-12-29")):
        assert days("20000103", rule, f"{year}-12-01") == [monday]


def test_a_spreadsheet_day() -> None:
    assert serial_day(39448) == dt.date(2008, 1, 1)
    assert serial_day(61) == dt.date(1900, 3, 1)
    assert serial_day(60) is None
