"""One demo site and its audits, made once for all tests that only read them."""

from __future__ import annotations

import datetime as dt
import os
from pathlib import Path

import pytest
from hypothesis import settings

import demo_data
from audit.cli import main

AS_OF = dt.date(2026, 9, 30)

# A slow machine is no fault. CI draws the same cases each time, so that it judges the commit and
# not its luck; every other run draws new ones.
settings.register_profile("anywhere", deadline=None)
settings.register_profile("ci", deadline=None, derandomize=True)
settings.load_profile("ci" if os.environ.get("CI") else "anywhere")


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
