"""The tables of a site folder as data: every column, its kind, its words, its default.

Everything that speaks of columns is drawn from here: header matching, typing, the blank
sheets, the register rules, the README's table. No pandas: the command line imports this.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Kind = Literal[
    "id",  # names a row of this table
    "ref",  # names a row of another table
    "text",  # free text
    "word",  # one of a fixed set
    "yesno",
    "whole",  # a whole number, not negative
    "decimal",
    "date",
    "moment",  # date and time
    "clock",  # a time of day, kept as minutes from midnight
    "number",  # a card number: text
    "pin",  # secret: the digits never leave
    "days",  # the day words of a schedule
]


@dataclass(frozen=True)
class Column:
    """One column of a table; `help` is the line shown in the blank sheets."""

    name: str
    kind: Kind
    help: str
    starred: bool = False
    words: tuple[str, ...] = ()
    default: str | None = None
    refers: str | None = None  # the table a reference names; None where it depends on the row
    synonyms: tuple[str, ...] = ()


@dataclass(frozen=True)
class TableSpec:
    """One table; `row_id` is the column that names a row, where each row has its own."""

    name: str
    columns: tuple[Column, ...]
    row_id: str | None
    periods: tuple[tuple[str, str], ...] = ()  # (start, end) columns of one period
    help: str = ""

    def column(self, name: str) -> Column:
        """The column of that name; KeyError when there is none."""
        return self._by_name[name]

    @property
    def _by_name(self) -> dict[str, Column]:
        return _COLUMNS[self.name]

    @property
    def starred(self) -> tuple[str, ...]:
        """Columns without which a row cannot be used. For permissions see `one_of`."""
        return tuple(c.name for c in self.columns if c.starred)


def _c(
    name: str,
    kind: Kind,
    help: str,  # noqa: A002 - the sheets call it so
    *,
    star: bool = False,
    words: str = "",
    default: str | None = None,
    refers: str | None = None,
    also: str = "",
) -> Column:
    return Column(
        name,
        kind,
        help,
        star,
        tuple(words.split()),
        default,
        refers,
        tuple(s.strip() for s in also.split(";") if s.strip()),
    )


USES = "flats student-hall sheltered hotel office shop"
LOCKS = "none magnet strike bolt motor key"
INPUTS = "none button sensor handle-switch"
EXITS = "none key lever pad bar thumbturn"
ROLES = "resident staff contractor visitor agent responder"
ONE_OF: dict[str, tuple[str, ...]] = {"permissions": ("door_group", "door_id")}
"""Tables in which one of several columns must be given."""

TABLES: dict[str, TableSpec] = {
    t.name: t
    for t in (
        TableSpec(
            "buildings",
            (
                _c("building", "id", "the building's own name", star=True, also="block;house"),
                _c("name", "text", "what people call it"),
                _c("use", "word", "what it is used for", words=f"{USES} mixed"),
                _c(
                    "evacuation",
                    "word",
                    "who leaves when the alarm sounds",
                    words="simultaneous stay-put phased",
                    also="evacuation strategy",
                ),
                _c(
                    "communal_alarm",
                    "yesno",
                    "a fire alarm that sounds in the common parts",
                    also="common alarm",
                ),
                _c("detection", "yesno", "automatic smoke or heat detection throughout"),
                _c("sprinklers", "yesno", "sprinklers throughout"),
                _c(
                    "top_storey_m",
                    "decimal",
                    "the top storey's floor above the lowest adjoining ground, m",
                    also="height of top storey",
                ),
                _c("storeys", "whole", "how many storeys", also="number of storeys"),
                _c(
                    "all_exits_listed",
                    "yesno",
                    "every door to the outside is in the doors table, plain ones too",
                ),
            ),
            "building",
            help="one row per building; blank cells take the values of [building] in site.toml",
        ),
        TableSpec(
            "dwellings",
            (
                _c(
                    "dwelling_id",
                    "id",
                    "the flat's own name, as bells and letters use it",
                    star=True,
                    also="dwelling;flat;unit;apartment;flat no;unit no;apartment number",
                ),
                _c("building", "ref", "which building", refers="buildings", also="block;house"),
                _c("core", "text", "which stair or lift core", also="staircase;riser;entrance"),
                _c("floor", "text", "storey", also="level;storey;story"),
                _c("number", "text", "the number on the door", also="door number;dwelling number"),
                _c(
                    "zone_id",
                    "ref",
                    "the zone before its own door, or the flat's own zone",
                    refers="zones",
                    also="zone",
                ),
                _c("occupied", "yesno", "yes or no", also="is occupied;let"),
            ),
            "dwelling_id",
            help="one row a flat",
        ),
        TableSpec(
            "people",
            (
                _c(
                    "person_id",
                    "id",
                    "the person's own reference",
                    star=True,
                    also="person;tenant ref;resident id;tenant id;person ref",
                ),
                _c("name", "text", "family and given name", also="full name;tenant name;resident"),
                _c("role", "word", "what the person is here", words=ROLES, default="resident"),
                _c(
                    "dwelling_id",
                    "ref",
                    "the flat the person lives in",
                    refers="dwellings",
                    also="dwelling;flat;unit;apartment;flat no;unit no",
                ),
                _c("status", "word", "blank: from the dates", words="current departed expected"),
                _c(
                    "start_date",
                    "date",
                    "first day of entitlement",
                    also="start;moved in;move in;tenancy start;from",
                ),
                _c(
                    "end_date",
                    "date",
                    "last day of entitlement",
                    also="end;moved out;move out;tenancy end;leaving date",
                ),
                _c("phone", "text", "telephone", also="telephone;mobile;phone number"),
                _c(
                    "call_out",
                    "yesno",
                    "must get in at any hour when called: lift release, fire alarm, care",
                    also="on call",
                ),
            ),
            "person_id",
            (("start_date", "end_date"),),
            help="one row a person",
        ),
        TableSpec(
            "cards",
            (
                _c(
                    "card_id",
                    "id",
                    "the card's own reference; blank: its number",
                    also="card ref;fob id;tag id",
                ),
                _c(
                    "number",
                    "number",
                    "the number a reader sends",
                    star=True,
                    also="card number;fob number;fob no;tag number;card no;serial;uid",
                ),
                _c(
                    "facility_code",
                    "whole",
                    "the site's code within facility and number",
                    also="facility;site code;fc",
                ),
                _c(
                    "number_form",
                    "word",
                    "blank: recognised",
                    words="decimal hex hex-reversed wiegand26 bits",
                    also="form;number format",
                ),
                _c(
                    "technology",
                    "word",
                    "what the card is",
                    words="lf-open hf-uid hf-broken hf-secure mobile unknown",
                    also="card type;tech",
                ),
                _c(
                    "kind",
                    "word",
                    "what it is for",
                    words="ordinary master rounds",
                    default="ordinary",
                ),
                _c(
                    "person_id",
                    "ref",
                    "who holds it",
                    refers="people",
                    also="holder;person;tenant ref;resident id;tenant id",
                ),
                _c(
                    "dwelling_id",
                    "ref",
                    "the flat it is bound to",
                    refers="dwellings",
                    also="dwelling;flat;unit;apartment;flat no;unit no",
                ),
                _c(
                    "status",
                    "word",
                    "where the card is now",
                    words="active suspended lost returned destroyed stock",
                    default="active",
                    also="state",
                ),
                _c("status_since", "date", "first day of that status", also="since"),
                _c("valid_from", "date", "first day it opens", also="start;starts"),
                _c("valid_to", "date", "last day it opens", also="expiry;expires;end;valid until"),
                _c("issued_on", "date", "day it was handed out", also="issued;issue date"),
                _c("last_used", "date", "last day it was used", also="last seen;last use"),
            ),
            "card_id",
            (("valid_from", "valid_to"),),
            help="one row a card or fob",
        ),
        TableSpec(
            "pins",
            (
                _c(
                    "pin_id",
                    "id",
                    "a name for the PIN, never its digits",
                    star=True,
                    also="pin ref;code id;pin name",
                ),
                _c(
                    "pin",
                    "pin",
                    "the digits, or **** where they are not readable",
                    also="code;pin code;passcode;entry code;digits",
                ),
                _c(
                    "kind",
                    "word",
                    "what it is for",
                    words="personal shared delivery duress admin unit-release",
                ),
                _c(
                    "person_id",
                    "ref",
                    "who holds it",
                    refers="people",
                    also="holder;person;tenant ref;resident id",
                ),
                _c(
                    "dwelling_id",
                    "ref",
                    "the flat it belongs to",
                    refers="dwellings",
                    also="dwelling;flat;unit;apartment",
                ),
                _c("door_id", "ref", "the door it is set at", refers="doors", also="door"),
                _c(
                    "station_id",
                    "ref",
                    "the panel or unit it is set at",
                    refers="stations",
                    also="station;panel",
                ),
                _c(
                    "status",
                    "word",
                    "whether it works",
                    words="active suspended",
                    default="active",
                    also="state",
                ),
                _c("status_since", "date", "first day of that status", also="since"),
                _c("set_on", "date", "day it was set", also="set;changed;changed on;issued on"),
                _c("valid_from", "date", "first day it opens", also="start;starts"),
                _c("valid_to", "date", "last day it opens", also="expiry;expires;end;valid until"),
            ),
            "pin_id",
            (("valid_from", "valid_to"),),
            help="one row a PIN",
        ),
        TableSpec(
            "zones",
            (
                _c("zone_id", "id", "the zone's own name", star=True, also="zone;area"),
                _c("name", "text", "what people call it"),
                _c(
                    "kind",
                    "word",
                    "what it is",
                    words="outside court common stair dwelling tenancy plant store parking",
                ),
                _c("building", "ref", "which building", refers="buildings", also="block;house"),
                _c("floor", "text", "storey", also="level;storey;story"),
                _c("use", "word", "blank: the building's", words=USES),
                _c("tenancy", "text", "zones with the same name are one tenancy's own"),
                _c("occupants", "whole", "design number of people", also="people;occupancy"),
                _c("place_of_safety", "yesno", "blank: yes for outside", also="safe"),
                _c("security_grade", "whole", "EN 60839-11-1 grade 1 to 4", also="grade"),
            ),
            "zone_id",
            help="one row a zone: a part of the site between doors",
        ),
        TableSpec(
            "doors",
            (
                _c("door_id", "id", "the door's own name", star=True, also="door;door no;door ref"),
                _c("name", "text", "what people call it", also="door name;description"),
                _c(
                    "inside_zone",
                    "ref",
                    "the protected side",
                    refers="zones",
                    also="inside;to zone;leads to",
                ),
                _c(
                    "outside_zone",
                    "ref",
                    "the side a caller arrives from",
                    refers="zones",
                    also="outside;from zone;leads from",
                ),
                _c(
                    "entry",
                    "word",
                    "what it takes to go in",
                    words="none card pin card-or-pin card-and-pin key closed",
                    also="entry means;reader",
                ),
                _c(
                    "lock",
                    "word",
                    "the lock",
                    words=LOCKS,
                    also="lock type",
                ),
                _c(
                    "power_loss",
                    "word",
                    "what it does without power",
                    words="unlocks stays-locked",
                    also="on power loss;fail mode",
                ),
                _c(
                    "exit_input",
                    "word",
                    "what frees it from inside",
                    words=INPUTS,
                    also="exit button;exit device",
                ),
                _c(
                    "mechanical_exit",
                    "word",
                    "opens from inside without power",
                    words=EXITS,
                ),
                _c(
                    "exit_reader",
                    "yesno",
                    "a credential is asked of those who leave",
                    also="reader out",
                ),
                _c(
                    "emergency_release",
                    "yesno",
                    "a manual release that cuts the lock's power",
                    also="emergency release unit",
                ),
                _c(
                    "alarm_release",
                    "yesno",
                    "the fire alarm releases it",
                    also="fire alarm release;fire release",
                ),
                _c(
                    "status_monitor",
                    "word",
                    "what reports whether it is shut",
                    words="none contact contact-and-bolt",
                    also="door contact;monitor",
                ),
                _c("escape_route", "yesno", "on an escape route", also="escape;fire exit route"),
                _c(
                    "opens_with_escape",
                    "yesno",
                    "opens in the direction of escape",
                    also="opens outward",
                ),
                _c("clear_width_mm", "decimal", "clear width, mm", also="clear width;width mm"),
                _c(
                    "fire_minutes",
                    "whole",
                    "fire resistance, minutes; 0: none",
                    also="fire rating;fire resistance",
                ),
                _c("self_closing", "yesno", "closes by itself", also="closer;self closer"),
                _c("kept_locked", "yesno", "a fire door kept locked shut", default="no"),
                _c(
                    "hold_open",
                    "word",
                    "what holds it open: let go by alarm and loss of power, or by neither",
                    words="none released not-released",
                    also="held open by",
                ),
                _c(
                    "held_open_alarm_s",
                    "whole",
                    "held-open alarm after, s",
                    also="held open alarm;door open too long",
                ),
                _c("exit_delay_s", "whole", "exit delay, s; 0: none", also="exit delay"),
                _c(
                    "interlocked_with",
                    "ref",
                    "the door that must be shut for this one to open",
                    refers="doors",
                ),
                _c(
                    "interlock_released",
                    "yesno",
                    "fire alarm and loss of power undo the interlock",
                ),
                _c(
                    "responder_entry",
                    "word",
                    "how the fire service gets in here at any hour",
                    words="none key switch card pin staffed",
                ),
                _c("unlock_schedule", "ref", "when it is unlocked", refers="schedules"),
                _c(
                    "last_tested",
                    "date",
                    "day it was last opened as those who escape would",
                    also="tested;test date;tested on",
                ),
                _c("fire_door_checked", "date", "day of the last fire-door check"),
                _c("release_tested", "date", "day the manual release was last tested"),
                _c("alarm_interface_tested", "date", "day the alarm's release was last tested"),
                _c("battery_tested", "date", "day the lock supply's battery was last tested"),
            ),
            "door_id",
            help="one row a door",
        ),
        TableSpec(
            "locks",
            (
                _c("door_id", "ref", "the door", star=True, refers="doors", also="door"),
                _c("lock_id", "text", "which lock of it"),
                _c("lock", "word", "the lock", words=LOCKS, also="lock type"),
                _c("power_loss", "word", "without power", words="unlocks stays-locked"),
                _c("exit_input", "word", "what frees it from inside", words=INPUTS),
                _c("mechanical_exit", "word", "opens from inside without power", words=EXITS),
                _c("exit_reader", "yesno", "a card or PIN is asked of those who leave"),
                _c("emergency_release", "yesno", "a manual release that cuts the lock's power"),
                _c("alarm_release", "yesno", "the fire alarm releases it"),
            ),
            None,
            help="one row per lock, for doors that have more than one",
        ),
        TableSpec(
            "door_groups",
            (
                _c("door_group", "id", "the group's name", star=True, also="group;access level"),
                _c(
                    "member_kind",
                    "word",
                    "what the member is",
                    words="door door_group",
                    default="door",
                    also="kind",
                ),
                _c(
                    "member_id",
                    "ref",
                    "the door or group in it; blank: a group without members",
                    also="member;door;door id",
                ),
            ),
            None,
            help="one row a member of a door group",
        ),
        TableSpec(
            "permissions",
            (
                _c(
                    "permission_id",
                    "id",
                    "the permission's own reference",
                    star=True,
                    also="permission;right id",
                ),
                _c(
                    "holder_kind",
                    "word",
                    "who it is given to",
                    words="person card pin dwelling role",
                    default="person",
                    also="kind",
                ),
                _c(
                    "holder_id",
                    "ref",
                    "the person, card, PIN, dwelling or role",
                    star=True,
                    also="holder;given to",
                ),
                _c(
                    "door_group",
                    "ref",
                    "the group of doors, or",
                    refers="door_groups",
                    also="group;access level",
                ),
                _c("door_id", "ref", "the one door", refers="doors", also="door"),
                _c(
                    "schedule_id",
                    "ref",
                    "when; blank: always",
                    refers="schedules",
                    also="schedule;time zone;hours",
                ),
                _c("valid_from", "date", "first day", also="start;starts"),
                _c("valid_to", "date", "last day", also="expiry;expires;end;valid until"),
                _c(
                    "applied_on",
                    "date",
                    "when it was last sent to the controllers",
                    also="applied;sent;sent on;downloaded",
                ),
                _c("approved_by", "text", "who approved it"),
                _c("granted_by", "text", "who granted it"),
            ),
            "permission_id",
            (("valid_from", "valid_to"),),
            help="one row a permission",
        ),
        TableSpec(
            "schedules",
            (
                _c("schedule_id", "id", "the schedule's name", star=True, also="schedule"),
                _c(
                    "days",
                    "days",
                    "mon-fri, sat sun, daily, holiday",
                    star=True,
                    also="weekdays;day",
                ),
                _c("start", "clock", "HH:MM", star=True, also="from;start time;opens"),
                _c(
                    "end",
                    "clock",
                    "HH:MM; at or before the start: into the next day",
                    star=True,
                    also="to;until;end time;closes",
                ),
                _c(
                    "calendar",
                    "ref",
                    "its dates count as holiday",
                    refers="calendars",
                    also="holidays;holiday calendar",
                ),
            ),
            None,
            help="one row a window of a schedule",
        ),
        TableSpec(
            "calendars",
            (
                _c("calendar", "id", "the calendar's name", star=True, also="calendar id"),
                _c("date", "date", "the day", star=True, also="day"),
                _c("name", "text", "what the day is", also="holiday"),
            ),
            None,
            help="one row a holiday",
        ),
        TableSpec(
            "stations",
            (
                _c(
                    "station_id",
                    "id",
                    "the unit's own name",
                    star=True,
                    also="station;device;device id",
                ),
                _c(
                    "kind",
                    "word",
                    "what it is",
                    words="entrance-panel secondary-panel answering-unit extension-unit controller "
                    "concierge",
                    also="type;device type",
                ),
                _c(
                    "dwelling_id",
                    "ref",
                    "the flat it hangs in",
                    refers="dwellings",
                    also="dwelling;flat;unit;apartment",
                ),
                _c(
                    "number",
                    "text",
                    "the number a caller dials; an extension's own number",
                    also="call number;dial",
                ),
                _c(
                    "main_id",
                    "ref",
                    "the unit or panel that it extends",
                    refers="stations",
                    also="main;main unit;extends",
                ),
                _c("door_id", "ref", "the door it opens", refers="doors", also="door"),
                _c(
                    "controller_id",
                    "ref",
                    "the controller it hangs on",
                    refers="stations",
                    also="controller",
                ),
                _c("port", "text", "the controller's port"),
                _c("address", "text", "IP address", also="ip;ip address"),
                _c("network", "text", "which of several separate networks; blank: one"),
                _c(
                    "time_source",
                    "word",
                    "where its clock comes from",
                    words="network controller manual",
                    also="clock;clock source",
                ),
                _c("timezone", "text", "its time zone, IANA name", also="time zone"),
                _c(
                    "admin_code",
                    "word",
                    "the administrator's code",
                    words="changed default unknown",
                    also="admin",
                ),
            ),
            "station_id",
            help="one row a panel, unit or controller",
        ),
        TableSpec(
            "loaded",
            (
                _c(
                    "door_id",
                    "ref",
                    "the door that was read back",
                    star=True,
                    refers="doors",
                    also="door",
                ),
                _c("credential_kind", "word", "card or pin", words="card pin", also="kind;type"),
                _c(
                    "number",
                    "number",
                    "the card number, or the PIN's id",
                    star=True,
                    also="card number;credential",
                ),
                _c("valid_to", "date", "end of validity at the door", also="expiry;expires"),
                _c("read_on", "date", "day of the read-back", also="read;read back on"),
            ),
            None,
            help="one row a credential at a door, as read back from the controllers",
        ),
        TableSpec(
            "events",
            (
                _c("time", "moment", "ISO 8601", star=True, also="timestamp;date time;when"),
                _c("door_id", "ref", "the door", star=True, refers="doors", also="door"),
                _c(
                    "event",
                    "word",
                    "what happened",
                    star=True,
                    words="granted denied exit opened closed forced held duress tamper",
                    also="event type;type",
                ),
                _c("card_number", "number", "the card's number", also="card;card no"),
                _c("pin_id", "ref", "the PIN's id, never its digits", refers="pins", also="pin"),
            ),
            None,
            help="one row an event",
        ),
    )
}

_COLUMNS = {t.name: {c.name: c for c in t.columns} for t in TABLES.values()}

SECRET_COLUMNS: dict[str, str] = {"pins": "pin", "loaded": "number", "events": "pin_id"}
"""Columns in which a PIN's digits may stand."""

HOLDER_TABLES = {"person": "people", "card": "cards", "pin": "pins", "dwelling": "dwellings"}
"""Which table a permission's holder stands in; a role is a word, not a row."""

REFERENCE_SUBJECTS = {
    "people": "person",
    "cards": "card",
    "pins": "pin",
    "dwellings": "dwelling",
    "doors": "door",
    "door_groups": "door_group",
    "permissions": "permission",
    "schedules": "schedule",
    "stations": "station",
    "zones": "zone",
    "buildings": "building",
}
"""The subject key (output.md) under which a finding names a row of a table."""

RETIRED_COLUMNS: dict[str, frozenset[str]] = {"doors": frozenset({"final_exit", "relock_s"})}
"""Columns of version 1: passed over in silence where a file has them."""

LOCK_COLUMNS = (
    *("lock", "power_loss", "exit_input", "mechanical_exit"),
    *("exit_reader", "emergency_release", "alarm_release"),
)
"""The columns that doors and locks share."""

BLANK_WORDS = frozenset({"", "-", "n/a", "none"})
"""Texts that mean "not given"; `none` only where it is not itself a word of the column."""

YES = frozenset({"yes", "y", "true", "1"})
NO = frozenset({"no", "n", "false", "0"})
