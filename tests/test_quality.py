"""Lint, types and import order are tests; each import contract is seen to fail when breached."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
PYPROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))
CONTRACTS = {c["id"]: c for c in PYPROJECT["tool"]["importlinter"]["contracts"]}

# contract -> (module that sins, the line that breaches it)
SINS = {
    "rules-see-little": ("rules/pins/pin_too_short.py", "import audit.engine"),
    "rules-alone": ("rules/pins/pin_too_short.py", "import rules.cards.card_dormant"),
    "nobody-knows-a-rule": ("audit/engine.py", "import rules"),
    "reports-are-drawn-from-the-record": ("audit/report/tables.py", "import audit.engine"),
    "trade-is-pure": ("audit/trade/standing.py", "import audit.ingest"),
    "answer-key-stands-alone": ("demo_data/__init__.py", "import audit.site"),
}


def _run(*command: str, cwd: Path = ROOT) -> subprocess.CompletedProcess[str]:
    env = {**os.environ, "PYTHONPATH": str(cwd)}
    return subprocess.run(
        [sys.executable, "-m", *command], cwd=cwd, capture_output=True, text=True, env=env
    )


def _lint_imports(cwd: Path, contract: str | None = None) -> subprocess.CompletedProcess[str]:
    only = f", limit_to_contracts=({contract!r},)" if contract else ""
    code = (
        "from importlinter.cli import lint_imports;"
        f" raise SystemExit(lint_imports(no_cache=True{only}))"
    )
    env = {**os.environ, "PYTHONPATH": str(cwd)}
    return subprocess.run(
        [sys.executable, "-c", code], cwd=cwd, capture_output=True, text=True, env=env
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
    done = _lint_imports(ROOT)
    assert done.returncode == 0, done.stdout


def test_every_contract_has_its_sin() -> None:
    assert set(SINS) == set(CONTRACTS)


@pytest.mark.parametrize("contract", sorted(SINS))
def test_a_breach_is_seen(contract: str, tmp_path: Path) -> None:
    for package in ("audit", "rules", "demo_data"):
        shutil.copytree(
            ROOT / package,
            tmp_path / package,
            ignore=shutil.ignore_patterns("__pycache__", "site"),
        )
    shutil.copy(ROOT / "pyproject.toml", tmp_path)
    module, line = SINS[contract]
    sinner = tmp_path / module
    sinner.write_text(f"{sinner.read_text('utf-8')}\n{line}\n", "utf-8")
    done = _lint_imports(tmp_path, contract)
    assert done.returncode != 0, done.stdout
    assert "BROKEN" in done.stdout
