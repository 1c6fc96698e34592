"""A reader who knows only the contract's words, and not one line of the rules.

Each case is a small site in CSV files, read as any site is, and what the words of data.md and
rules.md demand of one rule there: the findings by their subjects (key=value, several values
joined by +), and, where the words fix it, how many rows could not be judged, the state of the
rule, and a priority other than the catalogue's.
"""

from __future__ import annotations

import contextlib
import datetime as dt
import io
import json
import random
import textwrap
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from audit import ingest
from audit.cli import main
from audit.contract import Rule
from audit.engine import run
from audit.ingest.tables import from_text
from audit.record import Finding
from audit.site import site_from
from tests.sites import all_rules

AS_OF = dt.date(2026, 9, 30)
RULES: dict[str, Rule] = {r.name: r for r in all_rules()}


@dataclass(frozen=True)
class Case:
    rule: str
    title: str
    tables: str
    found: str = ""
    unassessed: int | None = None
    state: str | None = None
    priority: str | None = None
    site: str = ""
    policy: str = ""
    equipment: str = ""


def folder(where: Path, case: Case) -> Path:
    """The case as a site folder: a table's name on a line, its CSV text below, an empty line."""
    where.mkdir(exist_ok=True)
    parts = ['[site]\nname = "Example"\ntimezone = "Europe/Dublin"\n' + case.site]
    if case.policy:
        parts.append("[policy]\n" + case.policy)
    if case.equipment:
        parts.append("[equipment]\n" + case.equipment)
    (where / "site.toml").write_text("\n".join(parts), encoding="utf-8")
    for block in textwrap.dedent(case.tables).strip().split("\n\n"):
        name, _, text = block.strip().partition("\n")
        lines = [",".join(c.strip() for c in line.split(",")) for line in text.splitlines()]
        (where / f"{name.strip()}.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    return where


def named(finding: Finding) -> str:
    return " ".join(f"{k}={'+'.join(v)}" for k, v in sorted(finding.subjects.items()))


def wanted(text: str) -> list[str]:
    return sorted(" ".join(sorted(line.split())) for line in text.split(";") if line.strip())


CASES: list[Case] = []


def case(rule: str, title: str, tables: str, found: str = "", **more: object) -> None:
    CASES.append(Case(rule, title, tables, found, **more))  # type: ignore[arg-type]


# --- PINs -------------------------------------------------------------------------------------
case(
    "pin-too-short",
    "the least is in order, the last and the first day count, suspended and future ones are out",
    """
    pins
    pin_id,pin,status,valid_from,valid_to
    A,12345,active,,
    B,748291,active,,
    C,12345,suspended,,
    D,12345,active,,2026-09-30
    E,12345,active,,2026-09-29
    F,12345,active,2026-09-30,
    G,12345,active,2026-10-01,
    H,****,active,,
    I,,active,,
    J,0123,active,,
    K,12345,ACTIVE,,
    L,12345,,,
    """,
    "pin=A; pin=D; pin=F; pin=J; pin=K; pin=L",
    unassessed=2,
    state="partly",
)
case(
    "pin-too-short",
    "the site's own least",
    """
    pins
    pin_id,pin
    A,12345
    B,1234
    """,
    "pin=B",
    unassessed=0,
    policy="pin_minimum_digits = 5",
)
case(
    "pin-too-short",
    "no PIN can be read",
    """
    pins
    pin_id,pin
    A,****
    """,
    state="not-assessed",
)
case(
    "pin-too-short",
    "no column of PINs",
    """
    pins
    pin_id,kind
    A,personal
    """,
    state="not-assessed",
)
case(
    "pin-guessable",
    "runs, repeats, keypad; a held one is unassessed, a random one in order",
    """
    pins
    pin_id,pin
    A,123456
    B,000000
    C,147258
    D,839174
    E,1234
    F,2580
    G,****
    H,12345678
    I,121212
    J,7301
    K,1985
    """,
    "pin=A; pin=B; pin=C; pin=E; pin=F; pin=H; pin=I; pin=K",
    unassessed=1,
)
case(
    "pin-from-record",
    "number repeated or padded, tail of the phone, start date, issue date",
    """
    dwellings
    dwelling_id,number
    D12,12
    D123,123

    people
    person_id,dwelling_id,phone,start_date
    A,D12,+353 1 555 014839,2024-03-17
    B,D123,,2024-03-17

    pins
    pin_id,pin,kind,person_id,dwelling_id,set_on
    a1,121212,personal,A,,
    a2,000012,personal,A,,
    a3,120000,personal,A,,
    a4,014839,personal,A,,
    a5,170324,personal,A,,
    a6,17032024,personal,A,,
    a7,240317,personal,A,,
    a8,839174,personal,A,,2026-05-04
    b1,123123,personal,B,,2025-06-07
    b2,070625,personal,B,,2025-06-07
    b3,014839,personal,B,,2025-06-07
    c1,0012,unit-release,,D12,
    c2,1212,unit-release,,D12,
    c3,1212,unit-release,,D123,
    """,
    "pin=a1; pin=a2; pin=a3; pin=a4; pin=a5; pin=a6; pin=a7; pin=b1; pin=b2; pin=c1; pin=c2",
)
case(
    "pin-from-record",
    "the issue date needs no other table",
    """
    pins
    pin_id,pin,set_on
    A,040526,2026-05-04
    B,839174,2026-05-04
    C,****,2026-05-04
    """,
    "pin=A",
)
case(
    "pin-reused",
    "different holders; a person and their own dwelling are one; unreadable ones concern nobody",
    """
    people
    person_id,dwelling_id
    A,D1
    B,D1
    C,D2

    pins
    pin_id,pin,kind,person_id,dwelling_id,door_id,status
    p1,839174,personal,A,,,active
    p2,839174,shared,,D1,,active
    p3,562048,personal,A,,,active
    p4,562048,personal,C,,,active
    p5,471936,personal,A,,,active
    p6,471936,personal,C,,,suspended
    p7,****,personal,A,,,active
    p8,295081,personal,C,,,active
    p9,295081,duress,A,,,active
    q1,603817,delivery,,,DOOR,active
    q2,603817,personal,B,,,active
    q3,7301,personal,B,,,active
    q4,07301,personal,A,,,active
    """,
    "pin=p3+p4; pin=q1+q2",
    unassessed=1,
)
case(
    "pin-reused",
    "three holders, one finding",
    """
    pins
    pin_id,pin,person_id
    a,839174,A
    b,839174,B
    c,839174,C
    d,562048,C
    e,562048,C
    """,
    "pin=a+b+c",
    unassessed=0,
)
case(
    "pin-series",
    "three in equal steps of 1 to 10, four at four digits",
    """
    pins
    pin_id,pin,person_id
    a1,482913,A
    a2,482914,B
    a3,482915,C
    b1,620381,A
    b2,620391,B
    b3,620401,C
    c1,173502,A
    c2,173513,B
    c3,173524,C
    d1,7301,A
    d2,7302,B
    d3,7303,C
    e1,4181,A
    e2,4183,B
    e3,4185,C
    e4,4187,D
    f1,917352,A
    f2,917353,A
    f3,917354,A
    g1,55302,A
    g2,55305,B
    g3,55308,C
    h1,****,C
    """,
    "pin=a1+a2+a3; pin=b1+b2+b3; pin=e1+e2+e3+e4; pin=g1+g2+g3",
)
case(
    "pin-without-holder",
    "by kind: person or dwelling; dwelling, door or station",
    """
    pins
    pin_id,pin,kind,person_id,dwelling_id,door_id,station_id,status
    a,839174,personal,,,,,active
    b,839174,personal,A,,,,active
    c,839174,personal,,D,,,active
    d,839174,personal,,,X,S,active
    e,839174,shared,A,,,,active
    f,839174,shared,,D,,,active
    g,839174,delivery,,,X,,active
    h,839174,unit-release,,,,S,active
    i,839174,delivery,,,,,active
    j,839174,unit-release,,,,,active
    k,839174,admin,,,,,active
    l,839174,duress,,,,,active
    m,839174,personal,,,,,suspended
    n,****,personal,,,,,active
    o,839174,PERSONAL,n/a,-,,,active
    """,
    "pin=a; pin=d; pin=e; pin=i; pin=j; pin=n; pin=o",
    unassessed=0,
)
case(
    "pin-without-holder",
    "personal PINs need neither the door's column nor the station's",
    """
    pins
    pin_id,kind,person_id,dwelling_id
    a,personal,,
    b,personal,A,
    c,shared,,D
    d,shared,,
    """,
    "pin=a",
    unassessed=1,
)
case(
    "pin-shared-after-departure",
    "set on or before the last day; whose people by the PIN's place",
    """
    people
    person_id,role,dwelling_id,status,end_date
    R1,resident,D1,,2026-06-30
    R2,resident,D1,,
    R3,resident,D2,departed,
    R4,resident,D3,,2026-09-30
    S1,staff,,,2026-06-30
    S2,contractor,,,2026-05-31
    V1,visitor,,,2026-06-30

    pins
    pin_id,pin,kind,dwelling_id,door_id,station_id,set_on,status
    a,839174,shared,D1,,,2026-06-30,active
    b,839174,unit-release,D1,,,2026-07-01,active
    c,839174,unit-release,D1,,,2026-01-01,active
    d,839174,delivery,D1,,,2026-01-01,active
    e,839174,personal,D1,,,2026-01-01,active
    f,839174,shared,D2,,,2026-01-01,active
    g,839174,shared,D3,,,2026-01-01,active
    h,839174,admin,,,S,2026-06-15,active
    i,839174,delivery,,X,,2026-05-31,active
    j,839174,shared,,,S,2026-07-01,active
    k,839174,shared,D1,,,,active
    l,839174,shared,D1,,,2026-01-01,suspended
    m,839174,shared,D1,X,,2026-06-01,active
    """,
    "pin=a person=R1; pin=c person=R1; pin=h person=S1; pin=i person=S1+S2; pin=m person=R1",
    unassessed=2,
)
case(
    "pin-shared-too-old",
    "90 days are in order, 91 are not",
    """
    pins
    pin_id,pin,kind,set_on
    a,839174,shared,2026-07-02
    b,839174,shared,2026-07-01
    c,839174,delivery,2026-07-01
    d,839174,personal,2020-01-01
    e,839174,unit-release,2020-01-01
    f,839174,shared,
    g,839174,shared,yesterday
    h,****,shared,2026-07-01
    """,
    "pin=b; pin=c; pin=h",
    unassessed=2,
)


def many(text: str, n: int, first: int = 0) -> str:
    """n rows of the form; {i} the row's number, {code} digits far from one another."""
    return "\n".join(
        "    " + text.format(i=i, code=f"{(2011 + 617 * i) % 10000:04d}")
        for i in range(first, first + n)
    )


for n, finds in ((10, False), (11, True)):
    case(
        "pin-code-space",
        f"{n} codes of four digits",
        f"""
    doors
    door_id,entry
    X,pin
    Y,card-and-pin
    Z,card

    pins
    pin_id,pin,person_id
{many("p{i},{code},A", n)}

    permissions
    permission_id,holder_kind,holder_id,door_id
    m1,person,A,X
    m2,person,A,Y
    m3,person,A,Z
    """,
        "door=X" if finds else "",
        unassessed=0,
    )
case(
    "pin-code-space",
    "the shortest length decides, equal codes count once, dead ones not; dwellings too",
    f"""
    doors
    door_id,entry
    X,card-or-pin
    Y,PIN

    people
    person_id,dwelling_id
    A,D1

    pins
    pin_id,pin,person_id,dwelling_id,status
{many("p{i},84{code},,D1,active", 10)}
    q0,7391,,D1,active
    q1,7391,,D1,active
    r0,7392,A,,suspended

    permissions
    permission_id,holder_kind,holder_id,door_id,valid_to
    m1,dwelling,D1,X,
    m2,dwelling,D1,Y,2026-09-29
    """,
    "door=X",
)
for n, finds in ((2, False), (3, True)):
    # 5 x (1 + floor(30 / 5)) = 35 tries; 3 codes in 10,000: 1.0463 %; 2: 0.699 %
    case(
        "pin-guess-risk",
        f"{n} codes of four digits, 35 tries",
        f"""
    doors
    door_id,entry
    X,pin

    pins
    pin_id,pin,person_id
{many("p{i},{code},A", n)}

    permissions
    permission_id,holder_kind,holder_id,door_id
    m1,person,A,X
    """,
        "door=X" if finds else "",
        unassessed=0,
    )
case(
    "pin-guess-risk",
    "without lockout ten a minute: 300 tries, one code of four digits is 3 %",
    """
    doors
    door_id,entry
    X,pin

    pins
    pin_id,pin,person_id
    a,7301,A

    permissions
    permission_id,holder_kind,holder_id,door_id
    m1,person,A,X
    """,
    "door=X",
    policy="pin_lockout_minutes = 0",
)
case(
    "pin-guess-risk",
    "three tries and a lockout longer than the visit: 3 x 33 in 10,000 stays below 1 %",
    f"""
    doors
    door_id,entry
    X,pin

    pins
    pin_id,pin,person_id
{many("p{i},{code},A", 33)}

    permissions
    permission_id,holder_kind,holder_id,door_id
    m1,person,A,X
    """,
    "",
    policy="pin_lockout_minutes = 31\npin_attempts_before_lockout = 3",
)
case(
    "pin-guess-risk",
    "34 codes and three tries: 1.0166 %",
    f"""
    doors
    door_id,entry
    X,pin

    pins
    pin_id,pin,person_id
{many("p{i},{code},A", 34)}

    permissions
    permission_id,holder_kind,holder_id,door_id
    m1,person,A,X
    """,
    "door=X",
    policy="pin_lockout_minutes = 31\npin_attempts_before_lockout = 3",
)
case(
    "pin-duress-not-distinct",
    "the digits of an ordinary one, whoever holds it; two duress PINs are no finding",
    """
    pins
    pin_id,pin,kind,person_id,status
    a,839174,duress,A,active
    b,839174,personal,A,active
    c,562048,duress,A,active
    d,562048,duress,B,active
    e,471936,duress,A,active
    f,471936,personal,B,suspended
    g,603817,duress,A,active
    h,603817,admin,,active
    i,****,duress,B,active
    """,
    "pin=a+b; pin=g+h",
    unassessed=1,
)
case(
    "panel-pins-exceeded",
    "three in order, four not; admin codes and dead ones aside",
    """
    stations
    station_id,kind
    S,entrance-panel
    T,entrance-panel

    pins
    pin_id,pin,kind,station_id,status
    a,839174,shared,S,active
    b,839174,delivery,S,active
    c,839174,shared,S,active
    d,****,shared,S,active
    e,839174,shared,T,active
    f,839174,shared,T,active
    g,839174,shared,T,active
    h,839174,admin,T,active
    i,839174,shared,T,suspended
    """,
    "station=S",
    unassessed=0,
    equipment="pins_per_panel = 3",
)
case(
    "panel-pins-exceeded",
    "no limit given",
    """
    pins
    pin_id,pin,kind,station_id
    a,839174,shared,S
    """,
    state="not-assessed",
)

# --- Cards ------------------------------------------------------------------------------------
case(
    "card-without-dwelling",
    "itself, through its holder, or a holder of another role",
    """
    people
    person_id,role,dwelling_id
    R,resident,D1
    S,staff,
    C,contractor,
    G,agent,
    F,responder,
    V,visitor,
    N,,

    cards
    card_id,number,person_id,dwelling_id,status
    a,1001,,,active
    b,1002,R,,active
    c,1003,,D1,active
    d,1004,S,,active
    e,1005,C,,active
    f,1006,G,,active
    g,1007,F,,active
    h,1008,V,,active
    i,1009,N,,active
    j,1010,,,lost
    k,1011,UNKNOWN,,active
    """,
    "card=a; card=h; card=i",
    unassessed=1,
)
case(
    "card-without-person",
    "bound to a dwelling but to no person",
    """
    cards
    card_id,number,person_id,dwelling_id,status
    a,1001,,D1,active
    b,1002,R,D1,active
    c,1003,,,active
    d,1004,,D1,suspended
    """,
    "card=a",
    unassessed=0,
)
case(
    "card-holder-elsewhere",
    "the card's dwelling is not its holder's",
    """
    people
    person_id,dwelling_id
    R,D1

    cards
    card_id,number,person_id,dwelling_id,status
    a,1001,R,D2,active
    b,1002,R,D1,active
    c,1003,,D2,active
    d,1004,R,D2,lost
    """,
    "card=a person=R",
)
case(
    "card-number-repeated",
    "the same number in several forms",
    """
    cards
    card_id,number,facility_code,number_form,status
    a,12345,10,,active
    b,"10,12345",,,active
    c,667705,,,active
    d,0x1234ABCD,,hex,active
    e,12:34:AB:CD,,,active
    f,CDAB3412,,hex-reversed,active
    g,4711,,,active
    h,004711,,,active
    i,4712,,,active
    j,4712,,,lost
    """,
    "card=a+b+c; card=d+e+f; card=g+h",
)
case(
    "card-number-random",
    "four bytes that begin with 08",
    """
    cards
    card_id,number,facility_code,number_form,technology,status
    a,08A2B3C4,,hex,hf-uid,active
    b,08A2B3C4D5E6F7,,hex,hf-uid,active
    c,08A2B3C5,,hex,lf-open,active
    d,08:A2:B3:C6,,,,active
    e,18A2B3C4,,hex,hf-uid,active
    f,C4B3A208,,hex-reversed,hf-uid,active
    g,08A2B3C7,,hex,hf-uid,returned
    """,
    "card=a; card=d; card=f",  # the bytes that the reader sees, whichever way they are written
)
case(
    "card-withdrawn-still-working",
    "live on another row, or loaded",
    """
    cards
    card_id,number,status
    a,1001,lost
    b,1001,active
    c,1002,returned
    d,1003,destroyed
    e,1004,stock
    f,1004,active
    g,1005,suspended
    h,1006,lost
    i,1006,suspended

    loaded
    door_id,credential_kind,number
    X,card,1002
    X,card,1005
    X,pin,1003
    """,
    "card=a; card=c",
)
case(
    "card-withdrawn-still-working",
    "without a read-back the register alone speaks",
    """
    cards
    card_id,number,status
    a,1001,lost
    b,1001,active
    c,1002,returned
    """,
    "card=a",
    unassessed=1,
)
case(
    "card-withdrawn-with-permission",
    "in force on its last day, and a card permission only",
    """
    cards
    card_id,number,person_id,status
    a,1001,,lost
    b,1002,,stock
    c,1003,,returned
    d,1004,A,destroyed
    e,1005,,active
    f,1006,,suspended

    permissions
    permission_id,holder_kind,holder_id,door_id,valid_to
    m1,card,a,X,
    m2,card,b,X,2026-09-30
    m3,card,c,X,2026-09-29
    m4,person,A,X,
    m5,card,e,X,
    m6,card,f,X,
    """,
    "card=a; card=b",
    unassessed=0,
)
case(
    "card-copyable",
    "one finding a technology; nothing else needed",
    """
    cards
    card_id,number,technology,status
    a,1001,lf-open,active
    b,1002,lf-open,active
    c,1003,hf-secure,active
    d,1004,hf-uid,lost
    e,1005,hf-broken,active
    f,1006,mobile,active
    g,1007,,active
    """,
    "technology=lf-open; technology=hf-broken",
    priority="advisory",
)
case(
    "card-copyable",
    "planned where they open a door into a zone of grade 3",
    """
    cards
    card_id,number,technology,person_id
    a,1001,lf-open,A

    people
    person_id
    A

    zones
    zone_id,kind,security_grade
    P,plant,3
    O,outside,

    doors
    door_id,inside_zone,outside_zone,entry
    X,P,O,card

    permissions
    permission_id,holder_kind,holder_id,door_id
    m1,person,A,X
    """,
    "technology=lf-open",
    priority="planned",
)
case(
    "card-copyable",
    "the site's grade is every zone's default",
    """
    cards
    card_id,number,technology,person_id
    a,1001,hf-uid,A

    people
    person_id
    A

    zones
    zone_id,kind
    P,plant
    O,outside

    doors
    door_id,inside_zone,outside_zone,entry
    X,P,O,card

    permissions
    permission_id,holder_kind,holder_id,door_id
    m1,card,a,X
    """,
    "technology=hf-uid",
    priority="planned",
    site="security_grade = 4",
)
case(
    "cards-per-dwelling-exceeded",
    "own or through the holder; the limit is in order",
    """
    people
    person_id,dwelling_id
    A,D1

    cards
    card_id,number,person_id,dwelling_id,status
    a,1001,A,,active
    b,1002,,D1,active
    c,1003,,D1,active
    d,1004,,D2,active
    e,1005,,D2,active
    f,1006,,D2,lost
    """,
    "dwelling=D1",
    policy="cards_per_dwelling = 2",
)

# --- People -----------------------------------------------------------------------------------
PEOPLE = """
    people
    person_id,role,status,start_date,end_date
    A,resident,departed,,
    B,resident,,,2026-09-29
    C,resident,,,2026-09-30
    D,resident,current,,2026-09-01
    E,resident,expected,2026-10-01,
    F,resident,,2026-09-30,
    G,resident,,,

"""
case(
    "departed-with-card",
    "by status, or by the last day",
    PEOPLE
    + """
    cards
    card_id,number,person_id,status
    a,1001,A,active
    b,1002,B,active
    c,1003,C,active
    d,1004,D,active
    e,1005,E,active
    f,1006,F,active
    g,1007,G,active
    h,1008,A,lost
    """,
    "person=A card=a; person=B card=b; person=D card=d",
    unassessed=0,
)
case(
    "departed-with-card",
    "with a day of grace",
    PEOPLE
    + """
    cards
    card_id,number,person_id,status
    b,1002,B,active
    d,1004,D,active
    """,
    "person=D card=d",
    policy="departure_grace_days = 1",
)
case(
    "departed-with-pin",
    "personal and duress only; a held PIN counts too",
    PEOPLE
    + """
    pins
    pin_id,pin,kind,person_id,status
    a,839174,personal,A,active
    b,****,duress,A,active
    c,839174,shared,A,active
    d,839174,personal,C,active
    e,839174,personal,B,suspended
    f,,personal,B,active
    """,
    "person=A pin=a; person=A pin=b; person=B pin=f",
    unassessed=0,
)
case(
    "departed-with-permission",
    "still in force",
    PEOPLE
    + """
    permissions
    permission_id,holder_kind,holder_id,door_id,valid_to
    m1,person,A,X,
    m2,,B,X,2026-09-30
    m3,person,B,X,2026-09-29
    m4,card,A,X,
    m5,person,C,X,
    """,
    "person=A permission=m1; person=B permission=m2",
    unassessed=0,
)
case(
    "early-access",
    "before the start date",
    PEOPLE
    + """
    cards
    card_id,number,person_id,valid_from
    e,1005,E,
    e2,1006,E,2026-10-01
    f,1007,F,

    pins
    pin_id,pin,person_id
    p,****,E
    """,
    "person=E card=e; person=E pin=p",
)
case(
    "early-access",
    "cards alone suffice",
    """
    people
    person_id,start_date
    E,2026-10-01

    cards
    card_id,number,person_id
    e,1005,E
    """,
    "person=E card=e",
)
case(
    "early-access",
    "PINs alone suffice",
    """
    people
    person_id,start_date
    E,2026-10-01

    pins
    pin_id,pin,person_id
    p,839174,E
    """,
    "person=E pin=p",
)
case(
    "resident-without-dwelling",
    "entitled residents only",
    """
    people
    person_id,role,dwelling_id,status,start_date
    A,,,,
    B,resident,D1,,
    C,staff,,,
    D,resident,,departed,
    E,resident,,,2026-10-01
    F,resident,,,2026-09-30
    """,
    "person=A; person=F",
    unassessed=0,
)
case(
    "resident-without-dwelling",
    "no column of dwellings",
    """
    people
    person_id,role
    A,resident
    """,
    state="not-assessed",
)

# --- Doors ------------------------------------------------------------------------------------

# --- Escape -----------------------------------------------------------------------------------
ZONES = """
    zones
    zone_id,kind,occupants
    O,outside,
    H,common,{h}
    S,stair,0
    D,dwelling,

    doors
    door_id,inside_zone,outside_zone,entry,lock,power_loss,exit_input,mechanical_exit,alarm_release
"""

COPIES = """
    cards
    card_id,number,technology,person_id,status
    a,1001,lf-open,A,active

    people
    person_id,role,dwelling_id
    A,resident,D1

    zones
    zone_id,kind,security_grade
    P,plant,{inside}
    O,outside,{outside}

    doors
    door_id,inside_zone,outside_zone,entry
    X,P,O,{entry}

    pins
    pin_id,pin,person_id,status
    p,839174,A,{pin}

    door_groups
    door_group,member_kind,member_id
    G,door_group,H
    H,door,X

    permissions
    permission_id,holder_kind,holder_id,door_group,valid_to
    m1,{holder},G,{until}
"""
for title, change, planned in (
    ("through groups, to the role", {"holder": "role,resident"}, True),
    ("to the dwelling, on its last day", {"holder": "dwelling,D1", "until": "2026-09-30"}, True),
    ("a permission that is over", {"until": "2026-09-29"}, False),
    ("grade 2 inside, 4 outside", {"inside": "2", "outside": "4"}, False),
    ("a door for PINs", {"entry": "pin"}, False),
    ("card and PIN", {"entry": "card-and-pin"}, True),
    ("card and PIN, the PIN suspended", {"entry": "card-and-pin", "pin": "suspended"}, False),
    ("card or PIN", {"entry": "card-or-pin"}, True),
):
    asked = {
        "inside": "3",
        "outside": "1",
        "entry": "card",
        "pin": "active",
        "holder": "person,A",
        "until": "",
    }
    case(
        "card-copyable",
        title,
        COPIES.format(**(asked | change)),
        "technology=lf-open",
        priority="planned" if planned else "advisory",
    )
for rule, state in (
    ("resident-without-credential", "not-assessed"),
    ("vacant-with-credentials", "not-assessed"),
    ("early-access", "partly"),
):
    case(
        rule,
        "cards that name neither person nor dwelling tell nothing of anybody",
        """
    people
    person_id,dwelling_id,start_date
    A,D1,2026-01-01
    B,D1,2026-12-01

    dwellings
    dwelling_id,occupied
    D2,no

    cards
    card_id,number
    a,1001
    """,
        state=state,
    )
case(
    "cards-per-dwelling-exceeded",
    "cards that name neither person nor dwelling",
    """
    cards
    card_id,number
    a,1001
    """,
    state="not-assessed",
)
case(
    "pin-shared-too-old",
    "the site's own days",
    """
    pins
    pin_id,pin,kind,set_on
    a,839174,shared,2026-08-31
    b,839174,shared,2026-08-30
    """,
    "pin=b",
    policy="shared_pin_maximum_age_days = 30",
)


@pytest.mark.parametrize("asked", CASES, ids=lambda c: f"{c.rule}: {c.title}")
def test_the_words_of_the_contract(asked: Case, tmp_path: Path) -> None:
    data = ingest.load_site(folder(tmp_path / "site", asked), AS_OF)
    (judged,) = run([RULES[asked.rule]], data)
    outcome = judged.outcome
    assert outcome.state != "failed", outcome.reason
    if asked.found is not None:
        assert sorted(map(named, judged.findings)) == wanted(asked.found)
    if asked.unassessed is not None:
        assert outcome.unassessed == asked.unassessed
    if asked.state is not None:
        assert outcome.state == asked.state
    if asked.priority is not None:
        assert {f.priority for f in judged.findings} == {asked.priority}


# --- a plain reading of whole registers -------------------------------------------------------

Rows = list[dict[str, str]]
LAST = ("2026-06-30", "2026-09-29", "2026-09-30", "2026-10-01")


def drawn(dice: random.Random) -> dict[str, Rows]:
    """A small register, in which every blank has a meaning that the words give it."""

    def day(*more: str) -> str:
        return dice.choice([*LAST, *more, "", ""])

    homes = ["D1", "D2", "D3", "D4"]
    people = [
        {
            "person_id": f"P{i}",
            "role": dice.choice(
                ["", "resident", "resident", "staff", "contractor", "visitor", "agent", "responder"]
            ),
            "dwelling_id": dice.choice([*homes, "", "D1"]),
            "status": dice.choice(["", "", "current", "departed", "expected"]),
            "start_date": day("2025-01-01"),
            "end_date": day(),
        }
        for i in range(8)
    ]
    for p in people:  # without a last day nobody knows what a departed person could know
        if p["status"] == "departed" and not p["end_date"]:
            p["end_date"] = "2026-06-30"
    who = [*(p["person_id"] for p in people), "", ""]
    cards = [
        {
            "card_id": f"C{i}",
            "number": dice.choice(["1001", "01001", "1002", "1003", str(2000 + i), str(3000 + i)]),
            "kind": dice.choice(["", "ordinary", "ordinary", "master", "rounds"]),
            "person_id": dice.choice(who),
            "dwelling_id": dice.choice([*homes, "", "", ""]),
            "status": dice.choice(
                ["", "active", "active", "suspended", "lost", "returned", "destroyed", "stock"]
            ),
            "valid_from": day(),
            "valid_to": day("2026-10-29", "2026-10-30"),
            "issued_on": dice.choice(["2026-07-01", "2026-07-02", "2026-09-29", "2026-09-30"]),
            "last_used": day("2026-07-01", "2026-07-02"),
        }
        for i in range(12)
    ]
    pins = [
        {
            "pin_id": f"N{i}",
            "pin": dice.choice(["83917", "839174", "839175", "839176", "839184", "839194", "7301"]),
            "kind": dice.choice(
                ["personal", "personal", "shared", "delivery", "duress", "admin", "unit-release"]
            ),
            "person_id": dice.choice([*who, ""]),
            "dwelling_id": dice.choice([*homes, "", "", ""]),
            "door_id": dice.choice(["", "", "X"]),
            "station_id": dice.choice(["", "", "S", "T"]),
            "status": dice.choice(["", "active", "active", "suspended"]),
            "set_on": dice.choice([*LAST, "2026-07-01", "2026-07-02"]),
            "valid_from": dice.choice(["", "", "2026-09-30", "2026-10-01"]),
            "valid_to": dice.choice(["", "", "2026-09-30", "2026-09-29"]),
        }
        for i in range(9)
    ]
    for n in pins:  # nobody says whose a shared code of one person is
        if n["kind"] in ("shared", "delivery", "unit-release"):
            n["person_id"] = ""
    permissions = [
        {
            "permission_id": f"M{i}",
            "holder_kind": dice.choice(["", "person", "card", "card", "dwelling"]),
            "holder_id": "",
            "door_id": "X",
            "valid_from": day(),
            "valid_to": day(),
        }
        for i in range(8)
    ]
    for m in permissions:
        m["holder_id"] = {
            "card": f"C{dice.randrange(12)}",
            "dwelling": dice.choice(homes),
        }.get(m["holder_kind"], f"P{dice.randrange(8)}")
    loaded = [
        {"door_id": "X", "credential_kind": "card", "number": dice.choice(["1001", "1003", "77"])}
        for _ in range(2)
    ]
    dwellings = [
        {"dwelling_id": h, "occupied": dice.choice(["", "yes", "yes", "no"])} for h in homes
    ]
    return {
        "people": people,
        "cards": cards,
        "pins": pins,
        "permissions": permissions,
        "loaded": loaded,
        "dwellings": dwellings,
    }


def plainly(site: dict[str, Rows]) -> dict[str, set[str]]:
    """The findings of such a register, by the words alone, a loop at a time."""
    today = AS_OF.isoformat()
    people = {p["person_id"]: p for p in site["people"]}
    found: dict[str, set[str]] = {}

    def tell(rule: str, **subjects: str | list[str]) -> None:
        listed = {k: [v] if isinstance(v, str) else sorted(v) for k, v in subjects.items()}
        text = " ".join(f"{k}={'+'.join(v)}" for k, v in sorted(listed.items()))
        found.setdefault(rule, set()).add(text)

    def days(earlier: str, later: str) -> int:
        return (dt.date.fromisoformat(later) - dt.date.fromisoformat(earlier)).days

    def valid(row: dict[str, str]) -> bool:
        return (row["valid_from"] or today) <= today <= (row["valid_to"] or today)

    def alive(row: dict[str, str]) -> bool:
        return row["status"] in ("", "active") and valid(row)

    def gone(p: dict[str, str]) -> bool:
        return p["status"] == "departed" or (bool(p["end_date"]) and p["end_date"] < today)

    def here(p: dict[str, str]) -> bool:
        if p["status"] == "expected" and not p["start_date"]:
            return False
        return not gone(p) and (p["start_date"] or today) <= today

    def role(p: dict[str, str]) -> str:
        return p["role"] or "resident"

    def home(row: dict[str, str]) -> str:
        return (
            row["dwelling_id"] or people.get(row["person_id"], {"dwelling_id": ""})["dwelling_id"]
        )

    live_cards = [c for c in site["cards"] if alive(c)]
    live_pins = [n for n in site["pins"] if alive(n)]
    # cards
    numbers: dict[int, list[str]] = {}
    for c in live_cards:
        card, p = c["card_id"], people.get(c["person_id"])
        kind = c["kind"] or "ordinary"
        numbers.setdefault(int(c["number"]), []).append(card)
        serving = p is not None and role(p) in ("staff", "contractor", "agent", "responder")
        if kind == "ordinary" and not home(c) and not serving:
            tell("card-without-dwelling", card=card)
        if c["dwelling_id"] and p is None:
            tell("card-without-person", card=card)
        if p is None:
            continue
        person = c["person_id"]
        if c["dwelling_id"] and p["dwelling_id"] and c["dwelling_id"] != p["dwelling_id"]:
            tell("card-holder-elsewhere", card=card, person=person)
        if gone(p):
            tell("departed-with-card", card=card, person=person)
        if p["start_date"] > today:
            tell("early-access", card=card, person=person)
    for same in numbers.values():
        if len(same) > 1:
            tell("card-number-repeated", card=same)
    read_back = {int(r["number"]) for r in site["loaded"]}
    in_force = [m for m in site["permissions"] if valid(m)]
    permitted = {m["holder_id"] for m in in_force if m["holder_kind"] == "card"}
    for c in site["cards"]:
        lost = c["status"] in ("lost", "returned", "destroyed")
        if lost and (int(c["number"]) in numbers or int(c["number"]) in read_back):
            tell("card-withdrawn-still-working", card=c["card_id"])
        if (lost or c["status"] == "stock") and c["card_id"] in permitted:
            tell("card-withdrawn-with-permission", card=c["card_id"])
    # PINs
    codes: dict[str, list[dict[str, str]]] = {}
    stations: dict[str, int] = {}
    for n in live_pins:
        pin, p, kind = n["pin_id"], people.get(n["person_id"]), n["kind"]
        codes.setdefault(n["pin"], []).append(n)
        if kind != "admin" and n["station_id"]:
            stations[n["station_id"]] = stations.get(n["station_id"], 0) + 1
        if len(n["pin"]) < 6:
            tell("pin-too-short", pin=pin)
        place = n["dwelling_id"] or n["door_id"] or n["station_id"]
        if kind == "personal" and not (n["person_id"] or n["dwelling_id"]):
            tell("pin-without-holder", pin=pin)
        if kind in ("shared", "delivery", "unit-release") and not place:
            tell("pin-without-holder", pin=pin)
        if kind in ("shared", "delivery") and days(n["set_on"], today) > 90:
            tell("pin-shared-too-old", pin=pin)
        if p is not None and gone(p) and kind in ("personal", "duress"):
            tell("departed-with-pin", pin=pin, person=n["person_id"])
        if p is not None and p["start_date"] > today:
            tell("early-access", pin=pin, person=n["person_id"])
        if kind in ("shared", "unit-release") and n["dwelling_id"]:
            circle = [q for q in site["people"] if q["dwelling_id"] == n["dwelling_id"]]
        elif kind == "admin" or (kind in ("shared", "delivery") and place and not n["dwelling_id"]):
            circle = [q for q in site["people"] if role(q) in ("staff", "contractor", "agent")]
        else:
            continue
        knew = [q["person_id"] for q in circle if gone(q) and n["set_on"] <= q["end_date"]]
        if knew:
            tell("pin-shared-after-departure", pin=pin, person=knew)
    for same_code in codes.values():
        kinds = {n["kind"] for n in same_code}
        if "duress" in kinds and len(kinds) > 1:
            tell("pin-duress-not-distinct", pin=[n["pin_id"] for n in same_code])
    for station, n_pins in stations.items():
        if n_pins > 2:
            tell("panel-pins-exceeded", station=station)
    # people and dwellings
    for p in site["people"]:
        person = p["person_id"]
        if not (here(p) and role(p) == "resident"):
            continue
        if not p["dwelling_id"]:
            tell("resident-without-dwelling", person=person)
    for m in in_force:
        p = people.get(m["holder_id"])
        if m["holder_kind"] in ("", "person") and p is not None and gone(p):
            permission = m["permission_id"]
            tell("departed-with-permission", person=m["holder_id"], permission=permission)
    for d in site["dwellings"]:
        name = d["dwelling_id"]
        if sum(home(c) == name for c in live_cards) > 2:
            tell("cards-per-dwelling-exceeded", dwelling=name)
    return found


READ_PLAINLY = (
    "card-without-dwelling",
    "resident-without-dwelling",
    "card-without-person",
    "card-holder-elsewhere",
    "departed-with-card",
    "early-access",
    "card-number-repeated",
    "card-withdrawn-still-working",
    "card-withdrawn-with-permission",
    "pin-too-short",
    "pin-without-holder",
    "pin-shared-too-old",
    "departed-with-pin",
    "pin-shared-after-departure",
    "pin-duress-not-distinct",
    "panel-pins-exceeded",
    "departed-with-permission",
    "cards-per-dwelling-exceeded",
)

# whose blanks are cells that decide, and no "without" or "never" among the words
MAY_BE_BLANK = ("card-holder-elsewhere", "early-access")


@pytest.mark.parametrize("seed", range(24))
def test_a_plain_reading_finds_the_same(seed: int) -> None:
    site = drawn(random.Random(seed))
    header = {
        "site": {"name": "Drawn", "timezone": "Europe/Dublin"},
        "policy": {"cards_per_dwelling": 2},
        "equipment": {"pins_per_panel": 2},
    }
    tables = {
        name: (list(rows[0]), [list(row.values()) for row in rows]) for name, rows in site.items()
    }
    data = from_text(tables, site_from(header), AS_OF)
    expected = plainly(site)
    for judged in run([RULES[name] for name in READ_PLAINLY], data):
        assert judged.outcome.state != "failed", judged.outcome
        name = judged.rule.name
        assert set(map(named, judged.findings)) == expected.get(name, set()), name
        if name not in MAY_BE_BLANK:
            assert judged.outcome.unassessed == 0, name


# --- the record across reviews, through the command line --------------------------------------


def check(site: Path, *options: str) -> tuple[int, dict[str, Any], str]:
    """Exit status, findings.json, and what was said on standard error."""
    arguments = ["check", str(site), "--as-of", "2026-09-30", "--out", "-", "--formats", "json"]
    out, said = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(said):
        status = main([*arguments, *options])
    return status, json.loads(out.getvalue()), said.getvalue()


def of(record: dict[str, Any], rule: str, key: str = "pin") -> dict[str, dict[str, Any]]:
    return {"+".join(f["subjects"][key]): f for f in record["findings"] if f["rule"] == rule}


def pins(where: Path, *rows: str, header: str = "pin_id,pin,kind,person_id") -> Path:
    where.mkdir(exist_ok=True)
    (where / "site.toml").write_text(
        '[site]\nname = "Reviews"\ntimezone = "Europe/Dublin"\n', encoding="utf-8"
    )
    (where / "pins.csv").write_text("\n".join([header, *rows]) + "\n", encoding="utf-8")
    return where


def saved(where: Path, record: dict[str, Any]) -> str:
    where.write_text(json.dumps(record), encoding="utf-8")
    return str(where)


def test_mended_standing_not_reassessed_returned(tmp_path: Path) -> None:
    site = tmp_path / "site"
    _, first, _ = check(
        pins(
            site,
            "A,73015,personal,P1",
            "B,83917,personal,P2",
            "C,46205,personal,P3",
            "D,9274,personal,P4",
        )
    )
    short = of(first, "pin-too-short")
    assert set(short) == {"A", "B", "C", "D"}
    assert {f["change"] for f in first["findings"]} == {None}
    pins(
        site,
        "A,839174,personal,P1",
        "C,****,personal,P3",
        "D,9274,personal,P4",
        "E,5820,personal,P5",
    )
    _, second, _ = check(site, "--previous", saved(tmp_path / "1.json", first))
    now = of(second, "pin-too-short")
    assert {p: f["change"] for p, f in now.items()} == {"D": "standing", "E": "new"}
    assert now["D"]["id"] == short["D"]["id"]

    def past(record: dict[str, Any], name: str) -> set[str]:
        return {p["subjects"]["pin"][0] for p in record[name] if p["rule"] == "pin-too-short"}

    assert past(second, "mended") == {"A", "B"}  # B has left the register
    assert past(second, "not_reassessed") == {"C"}
    pins(
        site,
        "A,73015,personal,P1",
        "C,46205,personal,P3",
        "D,9274,personal,P4",
        "E,582031,personal,P5",
    )
    _, third, _ = check(site, "--previous", saved(tmp_path / "2.json", second))
    told = {p: f["change"] for p, f in of(third, "pin-too-short").items()}
    assert told == {"A": "returned", "C": "standing", "D": "standing"}
    assert past(third, "mended") == {"E"}
    pins(site, "A,personal", "C,personal", "D,personal", header="pin_id,kind")
    _, fourth, _ = check(site, "--previous", saved(tmp_path / "3.json", third))
    assert past(fourth, "not_reassessed") == {"A", "C", "D"}
    assert past(fourth, "mended") == set()


def test_a_rule_outside_the_stage_mends_nothing(tmp_path: Path) -> None:
    header = "pin_id,pin,kind,dwelling_id,set_on"
    site = pins(tmp_path / "site", "A,839174,shared,D1,2026-01-01", header=header)
    _, first, _ = check(site)
    old = of(first, "pin-shared-too-old")["A"]
    assert not of(first, "pin-too-short")
    # (pin-shared-too-old is no rule of the check before upload)
    pins(site, "A,839174,shared,D1,2026-09-01", header=header)
    options = ("--previous", saved(tmp_path / "1.json", first), "--stage", "upload")
    _, second, _ = check(site, *options)
    assert [p["id"] for p in second["not_reassessed"]] == [old["id"]]
    (outcome,) = (o for o in second["outcomes"] if o["rule"] == "pin-shared-too-old")
    assert (outcome["state"], outcome["reason"]) == ("not-assessed", "not part of this stage")


def test_the_id_knows_neither_order_nor_wording_nor_format(tmp_path: Path) -> None:
    rows = [
        "A,839174,personal,P1",
        "B,562048,personal,P3",
        "C,839174,personal,P2",
        "D,7301,shared,",
    ]
    _, one, _ = check(pins(tmp_path / "a", *rows))
    ids = {f["id"] for f in one["findings"]}
    assert all(len(i) == 16 and set(i) <= set("0123456789abcdef") for i in ids)
    assert {"A+C"} == set(of(one, "pin-reused"))
    _, two, _ = check(pins(tmp_path / "b", *reversed(rows)))
    assert {f["id"] for f in two["findings"]} == ids
    semi = [r.replace(",", ";").replace("personal", "Personal") for r in rows]
    _, three, _ = check(pins(tmp_path / "c", *semi, header="PIN Id;Pin;KIND;Person-ID"))
    assert {f["id"] for f in three["findings"]} == ids
    keys = ("pin_id", "pin", "kind", "person_id")
    site = pins(tmp_path / "d", *rows)
    (site / "pins.csv").unlink()
    (site / "pins.json").write_text(
        json.dumps([dict(zip(keys, r.split(","), strict=True)) for r in rows]), encoding="utf-8"
    )
    _, four, _ = check(site)
    assert {f["id"] for f in four["findings"]} == ids
    assert "839174" not in json.dumps(one)


def decisions(site: Path, *rows: str) -> None:
    header = "finding_id,decision,reason,decided_by,decided_on,until,document,competent_person"
    (site / "decisions.csv").write_text("\n".join([header, *rows]) + "\n", encoding="utf-8")


@pytest.mark.parametrize(
    ("row", "status"),
    [
        ("keep,works on it,N. N.,2026-09-01,2026-12-31,", 0),
        ("later,works on it,N. N.,2026-09-01,2026-09-30,", 1),  # no immediate finding waits
        ("keep,works on it,N. N.,2025-10-01,2026-09-29,", 1),  # has passed
        ("keep,works on it,N. N.,2026-09-30,2027-09-30,", 0),  # a year
        ("keep,works on it,N. N.,2026-09-30,2027-10-01,", 1),  # more than a year
        ("keep,,N. N.,2026-09-01,2026-12-31,", 1),
        ("keep,works on it,,2026-09-01,2026-12-31,", 1),
        ("keep,works on it,N. N.,2026-09-01,,", 1),
        ("revoke,works on it,N. N.,2026-09-01,2026-12-31,", 1),
        ("correct,works on it,N. N.,2026-09-01,2026-12-31,", 1),
        ("accept,works on it,N. N.,2026-09-01,2026-12-31,", 1),
    ],
)
def test_what_a_decision_does(row: str, status: int, tmp_path: Path) -> None:
    site = pins(tmp_path / "site", "A,83917,personal,P1")
    before, record, _ = check(site)
    (finding,) = record["findings"]
    assert before == 1
    decisions(site, f"{finding['id']},{row}")
    after, again, _ = check(site)
    assert after == status
    (still,) = again["findings"]  # it stays in the report
    assert still["id"] == finding["id"]


def test_a_life_safety_finding_is_kept_with_a_document_only(tmp_path: Path) -> None:
    site = tmp_path / "site"
    site.mkdir()
    (site / "site.toml").write_text('[site]\nname = "A"\ntimezone = "Europe/Dublin"\n')
    (site / "doors.csv").write_text(
        "door_id,entry,escape_route,fire_minutes,self_closing\nX,none,yes,30,no\n"
    )
    status, record, _ = check(site)
    (finding,) = [f for f in record["findings"] if f["rule"].startswith("fire")]
    assert (status, finding["rule"], finding["life_safety"]) == (
        1,
        "fire-door-not-self-closing",
        True,
    )
    row = f"{finding['id']},keep,held open by a magnet,N. N.,2026-09-01,2026-12-31,"
    decisions(site, row)
    status, record, said = check(site)
    assert (status, record["findings"][0]["decision"]) == (1, None)
    assert "document" in said
    decisions(site, row + "FRA 12")
    assert check(site)[0] == 1  # and the name of the competent person
    decisions(site, row + "FRA 12,C. Person")
    status, record, _ = check(site)
    assert status == 0
    assert record["findings"][0]["decision"]["decision"] == "keep"


def test_a_decision_without_finding_is_said(tmp_path: Path) -> None:
    site = pins(tmp_path / "site", "A,83917,personal,P1")
    decisions(site, "0123456789abcdef,keep,r,N. N.,2026-09-01,2026-12-31,")
    status, _, said = check(site)
    assert status == 1
    assert "decisions.csv" in said
