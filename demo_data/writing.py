"""The site as files: one CSV a table, site.toml, and the answer key."""

import csv
import hashlib
import io
import json
from pathlib import Path

from .estate import TIMEZONE
from .rows import COLUMNS, Entry, Site

STYLES = {
    "utf-8": ("utf-8", ","),
    "utf-8-bom": ("utf-8-sig", ","),
    "utf-16": ("utf-16", ","),
    "cp1252-semicolon": ("cp1252", ";"),
}

SITE_FILE = """\
# An invented estate: people, numbers and buildings in these files are made up.
[site]
id = "{id}"
name = "{name}"
timezone = "{timezone}"
contact = "The estate office"
local_code = "generic"
security_grade = 2

[cards]
formats = [{{ bits = 26, facility_bits = 8, number_bits = 16 }}]
master_cards = {masters}

[roles.agent]
door_groups = ["G-MAINS"]

[policy]
pin_minimum_digits = 6
pin_guesses_minimum = 3000
pin_attempts_before_lockout = 5
pin_lockout_minutes = 5
pin_attack_visit_minutes = 30
pin_guess_risk = 0.01
shared_pin_maximum_age_days = 90
departure_grace_days = 0
card_dormant_days = 90
cards_per_dwelling = 6
visitor_credential_days = 30
review_every_months = 3
release_test_every_months = 12
alarm_interface_test_every_months = 6
battery_test_every_months = 12
read_back_maximum_age_days = 31
held_open_alarm_seconds = 60
secure_hours = "22:00-06:00"
travel_seconds_minimum = 5
events_kept_days = 365
leavers_kept_days = 2555

[equipment]
pins_per_panel = 20
secondary_panels = 3
extension_units_per_dwelling = 2
units_per_controller = 50
controllers_in_line = 5
panel_ports = [1]
credentials_per_controller = 1000
"""


def save(site: Site, folder: Path, style: str, key: list[Entry]) -> None:
    """Write every file of the site into the folder, which is made where it is missing."""
    encoding, separator = STYLES[style]
    folder.mkdir(parents=True, exist_ok=True)
    identity = hashlib.sha256(f"{site.seed}/{site.name}".encode()).hexdigest()[:12]
    settings = SITE_FILE.format(
        id=identity, name=site.name, timezone=TIMEZONE, masters=site.master_cards
    )
    (folder / "site.toml").write_bytes(settings.encode())
    for table, columns in COLUMNS.items():
        text = io.StringIO()
        sheet = csv.writer(text, delimiter=separator, lineterminator="\r\n")
        sheet.writerow(columns)
        sheet.writerows(row.values() for row in site.tables[table])
        (folder / f"{table}.csv").write_bytes(text.getvalue().encode(encoding))
    lines = [
        json.dumps(
            {"rule": entry.rule, "subjects": entry.subjects, "why": entry.why},
            ensure_ascii=False,
        )
        for entry in sorted(key, key=lambda entry: (entry.rule, sorted(entry.subjects.items())))
    ]
    listing = "[\n" + ",\n".join(lines) + "\n]\n" if lines else "[]\n"
    (folder / "answer-key.json").write_bytes(listing.encode())
