"""One demo site and its audits, made once for all tests that only read them."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import pytest

import demo_data
from audit.cli import main

AS_OF = dt.date(2026, 9, 30)


@pytest.fixture(scope="session")
def demo_site(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo site with its faults; not to be written to."""
    folder = tmp_path_factory.mktemp("demo") / "site"
    demo_data.write(folder, as_of=AS_OF)
    return folder


@pytest.fixture(scope="session")
def demo_pack(demo_site: Path) -> Path:
    """The full report pack of the demo site; not to be written to."""
    pack = demo_site.parent / "pack"
    assert (
        main(["check", str(demo_site), "--as-of", str(AS_OF), "--out", str(pack), "--quiet"]) == 1
    )
    return pack


@pytest.fixture(scope="session")
def outside_pack(demo_site: Path) -> Path:
    """The pack of the demo site for readers outside."""
    pack = demo_site.parent / "outside"
    options = ["--as-of", str(AS_OF), "--out", str(pack), "--audience", "outside", "--quiet"]
    assert main(["check", str(demo_site), *options]) == 1
    return pack
