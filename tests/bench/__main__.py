"""Measures side by side in one run, and prints ratios: `python -m tests.bench [--scale 0.1]`.

Every measurement is a process of its own: wall time, processor time and peak memory come from
the operating system. Nothing here is a test: the numbers hang on the machine, their ratios
little. Needs the extra `bench` for the peer in SQL.
"""

from __future__ import annotations

import argparse
import json
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from tests.bench import by_hand, registers

ROOT = Path(__file__).resolve().parents[2]
READING = """
import sys, pathlib, pandas
kept = [pandas.read_csv(f, dtype=str) for f in sorted(pathlib.Path(sys.argv[1]).glob("*.csv"))]
"""
IMPORTS = "import pandas, pydantic"
PEER = """
import sys, json, pathlib
from tests.bench.by_hand import WAYS
print(json.dumps(WAYS[sys.argv[2]](pathlib.Path(sys.argv[1]))))
"""


@dataclass(frozen=True)
class Cost:
    """Of one process: wall time and processor time in seconds, peak memory in MB."""

    wall: float
    processor: float
    memory: float
    output: str = ""


def cost(*words: str, repeat: int = 1, keep: bool = False) -> Cost:
    """The cheapest of `repeat` runs of `python words…` (by wall time)."""
    runs = [_one(words, keep) for _ in range(repeat)]
    return min(runs, key=lambda c: c.wall)


def _one(words: Sequence[str], keep: bool) -> Cost:
    with tempfile.TemporaryFile() as out, tempfile.TemporaryFile() as err:
        begin = time.perf_counter()
        child = subprocess.Popen(
            [sys.executable, *words],
            stdout=out,
            stderr=err,
            cwd=ROOT,
            env={**os.environ, "NO_COLOR": "1"},
        )
        _, status, used = os.wait4(child.pid, 0)
        wall = time.perf_counter() - begin
        child.returncode = os.waitstatus_to_exitcode(status)
        if child.returncode not in (0, 1, 3):
            err.seek(0)
            told = err.read().decode()[-2000:]
            raise SystemExit(f"{' '.join(words[:6])} ended with {child.returncode}:\n{told}")
        if child.returncode == 3:
            print(f"a rule failed: {' '.join(words)}", file=sys.stderr)
        out.seek(0)
        text = out.read().decode() if keep else ""
    unit = 1024 if sys.platform == "darwin" else 1
    return Cost(wall, used.ru_utime + used.ru_stime, used.ru_maxrss / 1024 / unit, text)


def check(site: Path, repeat: int = 1) -> Cost:
    """A whole audit of a site, findings.json alone."""
    words = ("-m", "audit", "check", str(site), "--as-of", registers.AS_OF)
    return cost(*words, "--out", "-", "--formats", "json", "--quiet", repeat=repeat)


def written(kind: str, folder: Path, number: float) -> Path:
    """A site of that kind (see registers.main), written by another process."""
    cost("-m", "tests.bench.registers", kind, str(folder), str(number))
    return folder


# --- the parts -----------------------------------------------------------------------

Line = tuple[str, str, str, str, str, str]
"""What, ours, against, ratio, ratio of processor time, wanted."""


def _line(
    what: str, ours: Cost, other: str, theirs: Cost, wanted: str, *, memory: bool = False
) -> Line:
    a, b = (ours.memory, theirs.memory) if memory else (ours.wall, theirs.wall)
    unit = "MB" if memory else "s"
    shown = "{:.0f}" if memory else "{:.2f}"
    return (
        what,
        f"{shown.format(a)} {unit}",
        f"{other} {shown.format(b)} {unit}",
        f"{a / b:.2f}",
        "" if memory else f"{ours.processor / theirs.processor:.2f}",
        wanted,
    )


def small(folder: Path, scale: float) -> Iterator[Line]:
    """A small site, help and catalogue against the imports alone."""
    site = folder / "small"
    cost("-m", "audit", "demo", str(site), "--dwellings", "200", "--as-of", registers.AS_OF)
    base = cost("-c", IMPORTS, repeat=5)
    yield _line("small site, all rules", check(site, 5), "import pandas, pydantic", base, "2.0")
    for word in ("--help", "rules"):
        ours = cost("-m", "audit", word, repeat=5)
        yield _line(f"door-audit {word}", ours, "the same imports", base, "0.3")


def large(folder: Path, scale: float) -> Iterator[Line]:
    """A large register against reading its files."""
    site = written("register", folder / "large", scale)
    limit = cost("-c", READING, str(site))
    ours = check(site)
    yield _line(f"register x {scale:g}, all rules", ours, "reading it", limit, "2.0")
    yield _line("  its peak memory", ours, "reading it", limit, "1.5", memory=True)


def growth(folder: Path, scale: float) -> Iterator[Line]:
    """A tenth of the register and the whole of it: ten times the time would be linear."""
    tenth = check(written("register", folder / "tenth", scale / 10), 2)
    whole = check(written("register", folder / "whole", scale))
    ratio = whole.wall / tenth.wall / 10
    yield (
        "growth from a tenth",
        f"{whole.wall:.2f} s",
        f"ten times {tenth.wall:.2f} s",
        f"{ratio:.2f}",
        f"{whole.processor / tenth.processor / 10:.2f}",
        "1.1",
    )


def adversarial(folder: Path, scale: float) -> Iterator[Line]:
    """What makes bad code slow, at a size and at twice the size: 2 is linear."""
    for title, (write, n) in registers.ADVERSARIAL.items():
        times = []
        for k in (1, 2):
            site = written(write.__name__, folder / f"{write.__name__}-{k}", k * n)
            times.append(check(site))
        yield _line(f"{title}, {2 * n:,}", times[1], f"{n:,}:", times[0], "2.0")


def peer(folder: Path, scale: float) -> Iterator[Line]:
    """A dozen rules against the same rules by hand; their counts must agree."""
    site = written("register", folder / "peer", scale)
    costs = {way: cost("-c", PEER, str(site), way, keep=True) for way in by_hand.WAYS}
    counts = {way: json.loads(c.output) for way, c in costs.items()}
    for rule in by_hand.RULES:
        told = {way: counts[way].get(rule) for way in counts}
        if len(set(told.values())) > 1:
            print(f"the ways differ in {rule}: {told}", file=sys.stderr)
    n = len(by_hand.RULES)
    for way, name in (("pandas", "by hand in pandas"), ("sql", "by hand in SQL")):
        yield _line(f"{n} rules, with reading", costs["rules"], name, costs[way], "-")


PARTS: dict[str, Callable[[Path, float], Iterator[Line]]] = {
    p.__name__: p for p in (small, large, growth, peer, adversarial)
}


def main() -> None:
    """Prints the table."""
    parser = argparse.ArgumentParser(prog="python -m tests.bench", description=__doc__)
    parser.add_argument("parts", nargs="*", choices=[*PARTS, []], help="which parts (all)")
    parser.add_argument("--scale", type=float, default=1.0, help="of the large register (1)")
    parser.add_argument("--keep", type=Path, help="write the registers here and leave them")
    asked = parser.parse_args()
    row = "{:<38} {:>10}  {:<34} {:>6} {:>6} {:>7}"
    print(row.format("what", "ours", "against", "ratio", "cpu", "wanted"))
    with tempfile.TemporaryDirectory() as drawn:
        folder = asked.keep or Path(drawn)
        for name in asked.parts or PARTS:
            for line in PARTS[name](folder, asked.scale):
                print(row.format(*line), flush=True)


if __name__ == "__main__":
    main()
