"""`python -m rules` writes the catalogue again, so that it can be told without running a rule;
`python -m rules new FAMILY/NAME` writes the files of a new rule.
"""

from __future__ import annotations

import json
import re
import sys
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
            "who": list(dict.fromkeys(step.who for step in r.do)),
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


RULE = '''import pandas as pd

from audit.contract import Cause, Dataset, Step, rule


@rule(
    title="",
    finds="",
    priority="planned",
    needs={"doors": ()},
    subjects=("door",),
    cause=Cause("door", ("door",)),
    summary="Door {door} .",
    do=(Step("", who="office", does="record"),),
    cites=(),
)
def NAME(data: Dataset) -> pd.DataFrame:
    """Why it matters, in one sentence that a managing agent understands."""
    doors = data["doors"]
    return doors.assign(door=doors["door_id"], fails=pd.Series(pd.NA, doors.index, "boolean"))
'''
EXAMPLES = """
## what is at fault, the limit itself, what is out of scope and what can't be judged

doors
door_id | =>
D1      | unclear
"""
PLANTED = "demo_data/faults"


def new_rule(place: str, root: Path = Path(__file__).parent) -> list[Path]:
    """Writes the files of a new rule `family/some-rule`; SystemExit says what is wrong."""
    family, _, name = place.partition("/")
    if not re.fullmatch(r"[a-z]+(-[a-z]+)*", name) or not (root / family).is_dir():
        there = ", ".join(sorted(p.name for p in root.iterdir() if (p / "__init__.py").exists()))
        raise SystemExit(f"write FAMILY/some-name, with a family of: {there}")
    module = name.replace("-", "_")
    code, examples = (root / family / f"{module}{end}" for end in (".py", ".examples"))
    if code.exists() or f"[{name}]" in (root / "RETIRED.toml").read_text("utf-8"):
        raise SystemExit(f"{name} is a rule already, or was one; names are permanent")
    code.write_text(RULE.replace("NAME", module), "utf-8")
    examples.write_text(EXAMPLES, "utf-8")
    return [code, examples]


if __name__ == "__main__":
    if sys.argv[1:2] == ["new"]:
        made = new_rule(" ".join(sys.argv[2:]))
        print(f"wrote {', '.join(p.name for p in made)}; plant its fault in {PLANTED}")
    else:
        CATALOGUE.write_text(catalogue_text(), encoding="utf-8", newline="\n")
