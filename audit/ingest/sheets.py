"""`door-audit sheets`: blank register sheets, drawn from the schema and from nothing else.

One workbook with a sheet a table, a CSV each with the header alone, and a site.toml in which
every policy key stands with its default as a comment. What is filled in reads back as it is.
"""

from __future__ import annotations

import csv
import datetime as dt
import io
from collections.abc import Mapping
from pathlib import Path
from typing import Any, Final

from audit import packs
from audit.arithmetic.thresholds import Case
from audit.faults import InputError
from audit.ingest.mapping import PLACEHOLDER, local_zone, quoted
from audit.schema import ONE_OF, TABLES, Column, TableSpec
from audit.screen import plain

BOOK: Final = "register.xlsx"
GUIDE: Final = "how to fill"
_ROWS: Final = 1_048_575  # the last row of a sheet, counted from 0
_WRITTEN: Final = dt.datetime(2000, 1, 1)  # noqa: DTZ001 - the same workbook every time
_TEXTS: Final = frozenset(("id", "ref", "text", "word", "yesno", "number", "pin", "days", "clock",
                           "moment"))  # fmt: skip

POLICY_HELP: Final[Mapping[str, str]] = {
    "pin_minimum_digits": "the fewest digits a PIN may have",
    "pin_guesses_minimum": (
        "a PIN among the first so many guesses is guessable (six digits and"
        " more; a tenth of it at four and five)"
    ),
    "pin_attempts_before_lockout": "wrong tries before a panel locks",
    "pin_lockout_minutes": "how long it stays locked; 0: never",
    "pin_attack_visit_minutes": "how long a stranger can stand at the panel unnoticed",
    "pin_guess_risk": "the highest acceptable chance of a hit in one such visit",
    "shared_pin_maximum_age_days": (
        "a PIN that several people know is changed within so many days"
    ),
    "departure_grace_days": (
        "days after the last day of entitlement until someone counts as departed"
    ),
    "card_dormant_days": "a card unused for longer is to be looked at",
    "cards_per_dwelling": "the most live cards of one dwelling",
    "visitor_credential_days": "contractors, visitors: the longest validity without a review",
    "review_every_months": "how often the register is reviewed",
    "release_test_every_months": "how often a manual release is tested",
    "alarm_interface_test_every_months": "how often the fire alarm's release is tested",
    "battery_test_every_months": "how often the battery of a lock supply is tested",
    "read_back_maximum_age_days": "how old a read-back of the controllers may be",
    "events_kept_days": "how long events are kept; not set: not checked",
    "leavers_kept_days": "how long people who have left are kept; not set: not checked",
    "held_open_alarm_seconds": "the longest acceptable setting of the held-open alarm",
    "secure_hours": "when a controlled entrance must not stand unlocked",
    "travel_seconds_minimum": (
        "one card at two doors that share no zone, faster than this: a copy"
    ),
}
"""A line of help for every key of [policy]."""

EQUIPMENT_HELP: Final[Mapping[str, str]] = {
    "pins_per_panel": "the most PINs one panel holds",
    "secondary_panels": "the most secondary panels for each entrance panel",
    "extension_units_per_dwelling": "the most extension units in one dwelling",
    "units_per_controller": "the most units on one controller",
    "controllers_in_line": "the most controllers one behind the other",
    "panel_ports": "the controller ports that an entrance panel may use",
    "credentials_per_controller": "the most cards and PINs on one controller",
}
"""A line of help for every key of [equipment]; none has a default."""


def write(folder: Path) -> list[str]:
    """Writes the blank sheets into a folder; returns the files' names.

    InputError where one of them is there already: nothing is overwritten.
    """
    contents = {BOOK: workbook(), **csv_files(), "site.toml": site_file(folder).encode()}
    if folder.exists() and not folder.is_dir():
        raise InputError(f"{folder}: is no folder; name a new folder for the sheets")
    there = [name for name in contents if (folder / name).exists()]
    if there:
        raise InputError(f"{folder / there[0]}: is there already; name a new folder for the sheets")
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for name, content in contents.items():
            (folder / name).write_bytes(content)
    except OSError as e:
        raise InputError(f"{folder}: can't be written to ({e.strerror})") from None
    return [str(folder / name) for name in contents]


def csv_files() -> dict[str, bytes]:
    """A CSV a table with its header alone; the mark at its start tells a spreadsheet UTF-8."""
    found = {}
    for table in TABLES.values():
        out = io.StringIO()
        csv.writer(out, lineterminator="\r\n").writerow(c.name for c in table.columns)
        found[f"{table.name}.csv"] = out.getvalue().encode("utf-8-sig")
    return found


# --- the workbook --------------------------------------------------------------------------


def workbook() -> bytes:
    """The register workbook: the same bytes every time."""
    import xlsxwriter

    out = io.BytesIO()
    options = {"in_memory": True, "strings_to_formulas": False, "strings_to_urls": False,
               "strings_to_numbers": False}  # fmt: skip
    book = xlsxwriter.Workbook(out, options)
    book.set_properties({"created": _WRITTEN, "title": "Register of a door-entry system"})
    styles = {
        "head": book.add_format({"bold": True, "bottom": 1, "bg_color": "#E7EDF3"}),
        "starred": book.add_format({"bold": True, "bottom": 1, "bg_color": "#F6DFA4"}),
        "text": book.add_format({"num_format": "@"}),
        "date": book.add_format({"num_format": "yyyy-mm-dd"}),
        "whole": book.add_format({"num_format": "0"}),
        "decimal": book.add_format({"num_format": "0.##"}),
        "wrap": book.add_format({"text_wrap": True, "valign": "top"}),
        "bold": book.add_format({"bold": True}),
    }
    _guide(book.add_worksheet(GUIDE), styles)
    for table in TABLES.values():
        _sheet(book.add_worksheet(table.name), table, styles)
    book.get_worksheet_by_name(GUIDE).activate()
    book.close()
    return out.getvalue()


def help_of(table: TableSpec, column: Column) -> str:
    """The line of help of a column: what it is, what may stand in it, whether it must."""
    parts = [column.help]
    if column.words:
        parts.append(f"one of: {', '.join(column.words)}")
    elif column.kind == "yesno" and "yes" not in column.help:
        parts.append("yes or no")
    elif column.kind == "date":
        parts.append("a date, such as 2026-09-30")
    if column.default is not None:
        parts.append(f"blank: {column.default}")
    if column.refers is not None:
        parts.append(f"a {_first_id(column.refers)} of the sheet {column.refers}")
    if column.starred:
        parts.append("must be given")
    elif column.name in ONE_OF.get(table.name, ()):
        parts.append(f"one of {' and '.join(ONE_OF[table.name])} must be given")
    return "; ".join(parts)


def _first_id(table: str) -> str:
    return TABLES[table].row_id or TABLES[table].columns[0].name


def _sheet(sheet: Any, table: TableSpec, styles: Mapping[str, Any]) -> None:
    sheet.freeze_panes(1, 1)
    for at, column in enumerate(table.columns):
        starred = column.starred or column.name in ONE_OF.get(table.name, ())
        width = max(12, len(column.name) + 3)
        sheet.set_column(at, at, width, styles[_style(column)])
        sheet.write_string(0, at, column.name, styles["starred" if starred else "head"])
        sheet.write_comment(0, at, help_of(table, column), {"author": "", "x_scale": 2})
        sheet.data_validation(1, at, _ROWS, at, _check(table, column, at))


def _style(column: Column) -> str:
    """Text keeps the zeros that stand before a number; a date is a date to everyone."""
    return "text" if column.kind in _TEXTS else column.kind


def _check(table: TableSpec, column: Column, at: int) -> dict[str, Any]:
    """What a spreadsheet lets into a column, and the help it shows beside the cell."""
    help_text = help_of(table, column)
    said: dict[str, Any] = {
        "input_title": column.name[:32],
        "input_message": help_text if len(help_text) <= 255 else column.help[:255],
        "error_title": column.name[:32],
        "error_message": f"{column.name}: {help_text}"[:255],
        "ignore_blank": True,
    }
    if column.words:
        return said | {"validate": "list", "source": list(column.words)}
    if column.kind == "yesno":
        return said | {"validate": "list", "source": ["yes", "no"]}
    if column.name == "security_grade":
        return said | {"validate": "list", "source": ["1", "2", "3", "4"]}
    if column.kind == "date":
        first, last = dt.date(1950, 1, 1), dt.date(2119, 12, 31)
        return said | {
            "validate": "date", "criteria": "between", "minimum": first, "maximum": last,
        }  # fmt: skip
    if column.kind == "whole":
        return said | {"validate": "integer", "criteria": ">=", "value": 0}
    if column.kind == "decimal":
        return said | {"validate": "decimal", "criteria": ">=", "value": 0}
    if column.kind == "clock":
        return said | {"validate": "custom", "value": _clock_formula(_letter(at) + "2")}
    if column.refers is not None:
        target = TABLES[column.refers]
        ids = _letter([c.name for c in target.columns].index(_first_id(column.refers)))
        # a warning: the other sheet may be filled in later, or not at all
        return said | {
            "validate": "list", "source": f"={target.name}!${ids}$2:${ids}$5000",
            "error_type": "warning",
        }  # fmt: skip
    return said | {"validate": "any"}


def _clock_formula(cell: str) -> str:
    hour, minute = f"VALUE(LEFT({cell},2))", f"VALUE(RIGHT({cell},2))"
    return (
        f'=AND(LEN({cell})=5,MID({cell},3,1)=":",ISNUMBER({hour}),ISNUMBER({minute}),'
        f"{hour}*60+{minute}<=1440,{minute}<60)"
    )


def _letter(at: int) -> str:
    from xlsxwriter.utility import xl_col_to_name

    return str(xl_col_to_name(at))


def _guide(sheet: Any, styles: Mapping[str, Any]) -> None:
    """How to fill: the rules that hold everywhere, then a line a column."""
    lines = [
        (
            "One row a thing. Leave a sheet empty where you do not have the table: it is then"
            " reported as not looked at, never as passed."
        ),
        (
            "Delete a column that you cannot fill at all. Where a column is there, an empty"
            " cell may count: a door without an entry under status_monitor is reported as one"
            " without."
        ),
        "Columns under yellow must be given; a row without them is set aside and reported.",
        "Numbers of cards and PINs are text here, so that zeros at the start stay.",
        "Keep this workbook as safe as the keys: it holds PINs.",
    ]
    sheet.set_column(0, 0, 16)
    sheet.set_column(1, 1, 20)
    sheet.set_column(2, 2, 90, styles["wrap"])
    row = 0
    for line in lines:
        sheet.merge_range(row, 0, row, 2, line, styles["wrap"])
        sheet.set_row(row, 30 if len(line) > 110 else 16)
        row += 1
    row += 1
    for at, name in enumerate(("sheet", "column", "help")):
        sheet.write_string(row, at, name, styles["head"])
    for table in TABLES.values():
        row += 1
        sheet.write_string(row, 0, table.name, styles["bold"])
        sheet.write_string(row, 2, table.help, styles["bold"])
        for column in table.columns:
            row += 1
            sheet.write_string(row, 1, column.name)
            sheet.write_string(row, 2, help_of(table, column), styles["wrap"])


# --- site.toml -----------------------------------------------------------------------------


def site_file(folder: Path) -> str:
    """A site.toml that reads the workbook; every policy and equipment key as a comment."""
    zone = local_zone()
    remark = "this computer's; correct it where the site's differs" if zone else "fill in"
    kept = sorted(packs.names())
    lines = [
        "# The site of these sheets. A line behind # is not read: take the # away to set it.",
        "",
        "[site]",
        f"name = {quoted(plain(folder.resolve().name) or 'Site')}",
        f'timezone = "{zone or PLACEHOLDER}"    # {remark}',
        f'# local_code = "generic"    # {", ".join(kept)}',
        "# security_grade = 2    # EN 60839-11-1 grade 1 to 4, the default of every zone",
        "# without = []    # of cards, pins, schedules, stations: what this site has none of",
        '# contact = "…"    # whom letters name for questions',
        '# date_order = "dmy"    # or "mdy", "ymd": how texts such as 3/4/2026 are read',
        "",
        "[building]    # facts of the one building, or the defaults of every building",
        *(_building_line(column) for column in TABLES["buildings"].columns[2:]),
        "",
        "[cards]",
        "# formats = [{ bits = 26, facility_bits = 8, number_bits = 16 }]    # what readers send",
        "# facility_codes = [77]    # those that belong to the site",
        "# master_cards = 6    # how many master cards were ever delivered",
        "",
        "# [roles.contractor]    # one per role: what that role may reach at most",
        '#   door_groups = ["PLANT", "ENTRANCES"]',
        "",
        "[policy]",
        *(_policy_line(key, key, text) for key, text in POLICY_HELP.items()),
        "# What the local code sets, and a site may set otherwise:",
        *(_policy_line(key, t.value, t.help) for key, t in packs.NAMES.items()),
        "",
        "[equipment]    # the installer's own limits, from the data sheet; not given: not checked",
        *(f"# {key} = …    # {text}" for key, text in EQUIPMENT_HELP.items()),
        "",
        f"# Where the tables are: a sheet each of {BOOK}. Take the lines of a table away to",
        "# have it read from a file of its own, such as cards.csv.",
        *(
            f"[sources.{t}]\nfile = {quoted(BOOK)}\nsheet = {quoted(t)}" for t in TABLES
        ),
    ]  # fmt: skip
    return "\n".join(lines) + "\n"


def _building_line(column: Column) -> str:
    words = ("yes", "no") if column.kind == "yesno" else column.words
    example = {"decimal": "19.5", "whole": "8"}.get(column.kind, quoted(words[-1] if words else ""))
    choice = f" ({', '.join(words)})" if words else ""
    return f"# {column.name} = {example}    # {column.help}{choice}"


EXAMPLES: Final[Mapping[str, str]] = {
    "exit_delay_s": "15",
    "dwelling_door_check_months": "12",
    "escape_door_test_months": "12",
    "events_kept_days": "365",
    "leavers_kept_days": "730",
}
"""What stands for a value that the generic pack does not have."""


def _policy_line(key: str, value: str, text: str) -> str:
    own = packs.load("generic").values.get(value)
    others = [
        f"{name}: {_pack_words(packs.load(name).values.get(value))}"
        for name in packs.names()
        if packs.load(name).values.get(value) != own
    ]
    said = [f"generic: {_pack_words(own)}"] if isinstance(own, tuple) and len(own) > 1 else []
    said = ["generic: no value"] if _pack_value(own) is None else said if others else []
    differs = f" ({'; '.join([*said, *others])})" if said or others else ""
    return f"# {key} = {_pack_value(own) or EXAMPLES[value]}    # {text}{differs}"


def _pack_value(value: Any) -> str | None:
    """A pack's value as TOML; of a threshold by use or height that of its last case."""
    if isinstance(value, tuple) and value and isinstance(value[-1], Case):
        value = value[-1].value
    return None if value is None else toml_value(value)


def _pack_words(value: Any) -> str:
    """The same in words."""
    if isinstance(value, tuple) and len(value) > 1 and isinstance(value[-1], Case):
        return "by use and height"
    return _pack_value(value) or "no value"


def toml_value(value: Any) -> str:
    """A pack's value as TOML."""
    if isinstance(value, str):
        return quoted(value)
    if isinstance(value, tuple | list):
        return f"[{', '.join(toml_value(v) for v in value)}]"
    if isinstance(value, Mapping):
        return f"{{ {', '.join(f'{k} = {toml_value(v)}' for k, v in value.items())} }}"
    return str(value).lower() if isinstance(value, bool) else str(value)
