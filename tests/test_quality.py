"""Lint, types and import order are tests; each import contract is seen to fail when breached."""

from __future__ import annotations

import ast
import os
import subprocess
import sys
from collections.abc import Iterable
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent

PLAIN = [
    "__future__",
    "collections",
    "dataclasses",
    "datetime",
    "decimal",
    "fractions",
    "functools",
    "heapq",
    "ipaddress",
    "itertools",
    "math",
    "re",
    "typing",
    "unicodedata",
    "zoneinfo",
    "numpy",
    "pandas",
    "pyarrow",
]
# area -> what its modules may import; `own`: modules beside it that begin with _
ALLOWED: dict[str, tuple[str, ...]] = {
    "audit/arithmetic": (*PLAIN, "dateutil", "icalendar", "rapidfuzz", "audit.arithmetic"),
    "audit/facts": (
        *PLAIN,
        *("audit.arithmetic", "audit.contract", "audit.facts", "audit.schema"),
        "audit.packs",
    ),
    "rules": (
        *(w for w in PLAIN if w not in ("datetime", "zoneinfo")),
        *("audit.arithmetic", "audit.contract", "audit.facts", "audit.schema", "own"),
    ),
}
FORBIDDEN: dict[str, tuple[str, ...]] = {
    "audit/report": (
        *("audit.engine", "audit.ingest", "audit.contract", "audit.facts", "audit.ledger"),
        *("rules", "demo_data"),
    ),
    "audit/engine.py": ("rules", "demo_data", "audit.ingest", "audit.report"),
    "audit/ingest": ("rules", "demo_data", "audit.engine", "audit.report"),
    "demo_data": ("audit", "rules"),
}
# where a breach is planted, and with which line
SINS = [
    ("audit/arithmetic/three.py", "import audit.contract"),
    ("audit/arithmetic/three.py", "import os"),
    ("audit/facts/standing.py", "import audit.ingest"),
    ("audit/facts/standing.py", "import rules"),
    ("rules/pins/pin_too_short.py", "import audit.engine"),
    ("rules/pins/pin_too_short.py", "import datetime"),
    ("rules/pins/pin_too_short.py", "import rules.pins.pin_series"),
    ("rules/pins/pin_too_short.py", "import rules.cards._shared"),
    ("rules/pins/pin_too_short.py", "from rules import catalogue"),
    ("audit/report/tables.py", "import audit.engine"),
    ("audit/engine.py", "import rules"),
    ("audit/ingest/values.py", "import audit.report"),
    ("demo_data/__init__.py", "import audit.site"),
]


def _imported(text: str) -> set[str]:
    """Every module that the source imports, anywhere in it."""
    found: set[str] = set()
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, ast.Import):
            found |= {a.name for a in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module and not node.level:
            found |= {f"{node.module}.{a.name}" for a in node.names}
    return found


def _below(module: str, places: Iterable[str]) -> bool:
    return any(module == p or module.startswith(p + ".") for p in places)


def breaches(path: str, text: str) -> list[str]:
    """The imports of a module that its area does not allow."""
    bad = []
    for module in _imported(text):
        for area, places in ALLOWED.items():
            if not path.startswith(area) or path == "rules/__main__.py":
                continue
            family = ".".join(path.split("/")[:2])
            own = "own" in places and module.startswith(family + "._")
            if not own and not _below(module, places):
                bad.append(f"{path}: {module}")
        bad += [
            f"{path}: {module}"
            for area, places in FORBIDDEN.items()
            if path.startswith(area) and _below(module, places)
        ]
    return bad


def _run(*command: str, cwd: Path = ROOT) -> subprocess.CompletedProcess[str]:
    env = {**os.environ, "PYTHONPATH": str(cwd)}
    return subprocess.run(
        [sys.executable, "-m", *command], cwd=cwd, capture_output=True, text=True, env=env
    )


def test_ruff_finds_nothing() -> None:
    done = _run("ruff", "check", "--no-cache", ".")
    assert done.returncode == 0, done.stdout
    done = _run("ruff", "format", "--check", "--no-cache", ".")
    assert done.returncode == 0, done.stdout


def test_mypy_strict_finds_nothing() -> None:
    done = _run("mypy")
    assert done.returncode == 0, done.stdout


def test_import_order_holds() -> None:
    files = [p for a in ("audit", "rules", "demo_data") for p in (ROOT / a).rglob("*.py")]
    bad = [b for p in files for b in breaches(p.relative_to(ROOT).as_posix(), p.read_text("utf-8"))]
    assert not bad, "\n".join(bad)


@pytest.mark.parametrize(("path", "line"), SINS)
def test_a_breach_is_seen(path: str, line: str) -> None:
    text = (ROOT / path).read_text("utf-8")
    assert not breaches(path, text)
    assert breaches(path, f"{text}\n{line}\n")
