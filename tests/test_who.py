"""What `door-audit who` says, and when."""

from __future__ import annotations

import datetime as dt
import io

import pytest
from rich.console import RenderableType

from audit.contract import Dataset, InputError
from audit.screen import console
from audit.who import at_door, moment, of_person
from tests.sites import dataset, example

SITE = """
    people
    person_id | name          | role     | dwelling_id | end_date
    P1        | Ann [b]Ex[/b] | resident | F1          |
    P2        | Bo Example    | staff    |             |
    P3        | Cy Example    | resident | F1          | 2026-10-31

    dwellings
    dwelling_id | zone_id
    F1          | HALL

    zones
    zone_id | kind
    STREET  | outside
    HALL    | common

    cards
    card_id | number | person_id | dwelling_id | valid_to
    C1      | 1      | P1        |             |
    C2      | 2      | P2        |             |
    C3      | 3      | P3        |             | 2026-10-31
    C9      | 9      |           | F9          |

    pins
    pin_id | pin    | person_id | door_id
    K1     | 735162 |           | FRONT

    doors
    door_id | name       | inside_zone | outside_zone | entry       | lock   | unlock_schedule
    FRONT   | Front door | HALL        | STREET       | card-or-pin | magnet | SHOP
    PLANT   |            |             | HALL         | card        | magnet |
    SECRET  |            |             | HALL         |             | magnet |

    door_groups
    door_group | member_kind | member_id
    HOUSE      | door_group  | ENTRY
    ENTRY      | door        | FRONT

    schedules
    schedule_id | days    | start | end   | calendar
    DAY         | mon-fri | 08:00 | 18:00 | BANK
    SHOP        | sat     | 10:00 | 12:00 |

    calendars
    calendar | date
    BANK     | 2026-12-25

    permissions
    permission_id | holder_kind | holder_id | door_group | door_id | schedule_id
    R1            | role        | resident  | HOUSE      |         |
    R2            | person      | P2        |            | FRONT   | DAY
    R3            | card        | C2        |            | PLANT   |
    R4            | card        | C9        |            | PLANT   | DAY
    R5            | person      | P2        |            | SECRET  |
"""


def site() -> Dataset:
    return dataset(example(SITE))


def said(shown: RenderableType) -> str:
    out = io.StringIO()
    console(out, width=160).print(shown)
    return out.getvalue()


@pytest.mark.parametrize(
    ("text", "when"),
    [
        ("2026-10-05T08:30", "2026-10-05 08:30"),
        ("2026-10-05 08:30", "2026-10-05 08:30"),
        ("2026-10-05T08:30+00:00", "2026-10-05 09:30"),  # Dublin keeps summer time
        ("mon 08:30", "2026-10-05 08:30"),
        ("Wednesday 8:30", "2026-09-30 08:30"),
        ("holiday 10:00", "2026-12-25 10:00"),
        ("07:05", "2026-09-30 07:05"),
    ],
)
def test_times_are_read(text: str, when: str) -> None:
    assert moment(site(), text) == dt.datetime.fromisoformat(when)


@pytest.mark.parametrize("text", ["", "soon", "mo 08:30", "25:00", "mon 8", "2026-13-01T00:00"])
def test_other_times_are_refused_in_one_line(text: str) -> None:
    with pytest.raises(InputError, match="write 2026-10-05T08:30"):
        moment(site(), text)


def test_the_door_says_who_with_what_and_why() -> None:
    text = said(at_door(site(), "FRONT"))
    assert "takes a card or a PIN" in text
    (ann,) = [line for line in text.splitlines() if line.startswith("P1")]
    assert "card C1" in ann
    assert "permission R1 to role resident" in ann
    assert "HOUSE > ENTRY" in ann
    assert "always" in ann
    (bo,) = [line for line in text.splitlines() if line.startswith("P2")]
    assert "DAY: Mon-Fri 08:00-18:00" in bo
    assert "PIN K1" in text
    assert "735162" not in text
    assert "Ann [b]Ex[/b]" in text  # names are shown, not obeyed


def test_at_a_time_schedules_and_the_day_count() -> None:
    evening = said(at_door(site(), "FRONT", "mon 18:00"))
    assert "P1" in evening
    assert "P2" not in evening
    last_minute = said(at_door(site(), "FRONT", "mon 17:59"))
    assert "P2" in last_minute
    assert "P2" not in said(at_door(site(), "FRONT", "holiday 09:00"))
    assert "P3" in said(at_door(site(), "FRONT", "2026-10-31T09:00"))
    assert "P3" not in said(at_door(site(), "FRONT", "2026-11-01T09:00"))  # the card is over


def test_unlocked_hours_are_said() -> None:
    assert "stands unlocked" in said(at_door(site(), "FRONT", "sat 11:59"))
    assert "stands unlocked" not in said(at_door(site(), "FRONT", "sat 12:00"))


def test_credentials_without_person_are_not_forgotten() -> None:
    text = said(at_door(site(), "PLANT"))
    assert "F9 (not in the register)" in text
    assert "card C9" in text


def test_the_person_has_doors_a_week_and_a_way_home() -> None:
    text = said(of_person(site(), "P2"))
    assert "R2 to person P2, DAY" in text
    assert "Mon      ················████████████████████············" in text
    assert "Sat      " + "·" * 48 in text
    assert "SECRET" in text
    assert "always ?" in text  # its entry is not given
    assert "way home" not in text
    home = said(of_person(site(), "P1"))
    assert "The way home is open at every hour." in home
    assert "R1 to role resident by HOUSE > ENTRY" in home
    assert "P1" in said(of_person(site(), "p1"))  # letter case aside


def test_a_name_that_is_not_there_is_one_line_with_the_nearest() -> None:
    with pytest.raises(InputError, match="nearest is 'FRONT'"):
        at_door(site(), "FRONTT")
    with pytest.raises(InputError, match="no person 'zzz'"):
        of_person(site(), "zzz")


def test_without_permissions_nobody_is_told_as_no_one() -> None:
    bare = dataset(example(SITE.split("    permissions\n")[0]))
    assert "Who else can open it is not recorded" in said(at_door(bare, "FRONT"))
    assert "Who can open it is not recorded" in said(at_door(bare, "PLANT"))
    text = said(of_person(bare, "P2"))
    assert "What this person can open is not recorded" in text
    assert "0 doors" not in text
