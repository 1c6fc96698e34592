"""`python -m rules` writes the catalogue anew, so that it can be told without running a rule."""

from __future__ import annotations

import json
from pathlib import Path

import rules
from audit.contract import collect

CATALOGUE = Path(__file__).with_name("catalogue.json")


def catalogue_text() -> str:
    """The text of catalogue.json: every rule as the `rules` command tells it."""
    told = [
        {
            "rule": r.name,
            "family": r.family,
            "title": r.title,
            "finds": r.finds,
            "priority": r.priority,
            "upload": r.upload,
            "life_safety": r.life_safety,
            "why": r.why,
            "remedy": r.remedy,
            "subjects": list(r.subjects),
            "needs": {table: list(columns) for table, columns in r.needs.items()},
            "uses": list(r.uses),
            "policy": list(r.policy),
            "equipment": list(r.equipment),
            "references": [
                {"document": x.document, "says": x.says, "sure": x.sure} for x in r.references
            ],
        }
        for r in collect(rules)
    ]
    return json.dumps(told, ensure_ascii=False, indent=1) + "\n"


if __name__ == "__main__":
    CATALOGUE.write_text(catalogue_text(), encoding="utf-8", newline="\n")
