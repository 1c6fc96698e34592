"""The command line end to end, as each user runs it."""

from __future__ import annotations

import csv
import json
import os
import pty
import re
import shutil
import subprocess
import sys
import zipfile
from importlib.resources import files
from pathlib import Path

import jsonschema
import pytest

import demo_data
from audit import check
from audit.cli import main
from audit.record import schema_text
from tests.conftest import AS_OF

DAY = ["--as-of", str(AS_OF)]
SITE = '[site]\nname = "Small"\ntimezone = "Europe/Dublin"\n'


def _run(*arguments: str, env: dict[str, str] | None = None) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "audit", *arguments],
        capture_output=True,
        text=True,
        encoding="utf-8",
        env={**os.environ, **(env or {})},
    )


def _site(folder: Path, toml: str = SITE, **tables: str) -> Path:
    folder.mkdir()
    (folder / "site.toml").write_text(toml, "utf-8")
    for name, text in tables.items():
        (folder / f"{name}.csv").write_text(text, "utf-8")
    return folder


def test_pack_holds_what_it_should(demo_pack: Path) -> None:
    assert sorted(p.name for p in demo_pack.iterdir()) == [
        "access-roll.csv",
        "findings.csv",
        "findings.json",
        "findings.xlsx",
        "manifest.json",
        "report.html",
        "report.pdf",
        "worklist.csv",
    ]
    record = json.loads((demo_pack / "findings.json").read_text("utf-8"))
    jsonschema.validate(record, json.loads(schema_text()))
    assert len(record["outcomes"]) == len(check.all_rules())
    rows = list(csv.DictReader((demo_pack / "findings.csv").open(encoding="utf-8-sig")))
    assert [r["finding_id"] for r in rows] == [f["id"] for f in record["findings"]]
    order = [
        (("immediate", "planned", "advisory").index(f["priority"]), f["rule"], f["id"])
        for f in record["findings"]
    ]
    assert order == sorted(order)


def test_published_schema_is_the_models() -> None:
    assert (files("audit.report") / "assets" / "findings.schema.json").read_text("utf-8") == (
        schema_text()
    )


def test_same_input_same_bytes(demo_site: Path, demo_pack: Path, tmp_path: Path) -> None:
    """Another process, another place, another hash seed, another time zone of the machine."""
    copy = tmp_path / "elsewhere" / "copy"
    shutil.copytree(demo_site, copy)
    again = tmp_path / "again"
    done = _run(
        "check",
        str(copy),
        *DAY,
        "--out",
        str(again),
        "--quiet",
        env={"PYTHONHASHSEED": "77", "TZ": "Pacific/Apia", "LC_ALL": "C"},
    )
    assert done.returncode == 1, done.stderr
    for path in sorted(demo_pack.iterdir()):
        assert (again / path.name).read_bytes() == path.read_bytes(), path.name


def test_no_place_and_no_host_in_the_pack(demo_pack: Path, demo_site: Path) -> None:
    for path in demo_pack.iterdir():
        assert str(demo_site.parent).encode() not in path.read_bytes(), path.name


def test_exit_status(demo_site: Path, tmp_path: Path) -> None:
    assert main(["check", str(demo_site), *DAY, "--quiet"]) == 1
    assert main(["check", str(demo_site), *DAY, "--quiet", "--fail-on", "never"]) == 0
    demo_data.write(tmp_path / "clean", as_of=AS_OF, clean=True)
    clean = ["check", str(tmp_path / "clean"), *DAY, "--quiet", "--fail-on"]
    assert main([*clean, "advisory"]) == 0
    advisory = _site(tmp_path / "advisory", cards="number,dwelling_id\n123456,F1\n")
    assert main(["check", str(advisory), "--quiet"]) == 0
    assert main(["check", str(advisory), "--quiet", "--fail-on", "advisory"]) == 0
    (advisory / "cards.csv").write_text("number,dwelling_id,person_id\n123456,F1,\n")
    assert main(["check", str(advisory), "--quiet"]) == 0
    assert main(["check", str(advisory), "--quiet", "--fail-on", "advisory"]) == 1


@pytest.mark.parametrize(
    "arguments",
    [
        ["check"],
        ["check", "nowhere"],
        ["check", ".", "--stage", "sometime"],
        ["check", ".", "--as-of", "30.9.2026"],
        ["check", ".", "--formats", "docx"],
        ["check", ".", "--out", "-"],
        ["rules", "pin-to-short"],
        ["compare", "a", "b"],
        ["verify", "nowhere"],
        ["portfolio", "nowhere"],
        ["frobnicate"],
        [],
    ],
)
def test_unusable_command_lines_are_one_line(arguments: list[str], tmp_path: Path) -> None:
    done = subprocess.run(
        [sys.executable, "-m", "audit", *arguments],
        capture_output=True,
        text=True,
        cwd=tmp_path,
        env={**os.environ, "PYTHONPATH": str(Path(__file__).parent.parent)},
    )
    assert done.returncode == 2
    assert done.stdout == ""
    if arguments:
        assert len(done.stderr.strip().splitlines()) == 1, done.stderr
    assert "Traceback" not in done.stderr


@pytest.mark.parametrize(
    ("toml", "says"),
    [
        ("[site]\nname = 'x'\n", "timezone"),
        (SITE + "grade = 2\n", "grade"),
        (SITE + "[policy]\npin_minimum_digit = 6\n", "pin_minimum_digits"),
        (SITE + "[policy]\npin_minimum_digits = '6'\n", "line 5"),
        (SITE + "local_code = 'atlantis'\n", "generic"),
        (SITE + "[sources.cards]\nfile = '../cards.csv'\n", "outside"),
        (SITE + "[sources.cards]\nfile = 'cards.csv'\n", "not found"),
        ("[site\n", "TOML"),
    ],
)
def test_a_wrong_site_file_is_one_clear_line(
    toml: str, says: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["check", str(_site(tmp_path / "s", toml))]) == 2
    told = capsys.readouterr()
    assert told.out == ""
    assert says in told.err
    assert len(told.err.strip().splitlines()) == 1


def test_json_alone_on_standard_output(demo_site: Path, demo_pack: Path) -> None:
    done = _run("check", str(demo_site), *DAY, "--out", "-", "--formats", "json")
    assert done.returncode == 1
    assert done.stdout.encode() == (demo_pack / "findings.json").read_bytes()


def test_upload_stage_runs_its_rules_only(
    demo_site: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    options = ["--stage", "upload", "--out", "-", "--formats", "json"]
    assert main(["check", str(demo_site), *DAY, *options]) == 1
    record = json.loads(capsys.readouterr().out)
    other = {o["rule"] for o in record["outcomes"] if o["reason"] == "not part of this stage"}
    assert len(record["outcomes"]) == len(check.all_rules())
    assert "card-dormant" in other
    assert "pin-too-short" not in other
    assert not other.intersection(f["rule"] for f in record["findings"])


@pytest.mark.parametrize("style", ["utf-8-bom", "utf-16", "cp1252-semicolon"])
def test_saved_by_a_spreadsheet_gives_the_same_findings(
    style: str, demo_pack: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    demo_data.write(tmp_path / "s", as_of=AS_OF, style=style)
    main(["check", str(tmp_path / "s"), *DAY, "--out", "-", "--formats", "json"])
    other = json.loads(capsys.readouterr().out)
    record = json.loads((demo_pack / "findings.json").read_text("utf-8"))
    for key in ("findings", "outcomes", "totals"):
        assert other[key] == record[key]


def test_a_zip_is_a_site(
    demo_site: Path, demo_pack: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    with zipfile.ZipFile(tmp_path / "s.zip", "w") as z:
        for path in demo_site.iterdir():
            z.write(path, f"export/{path.name}")
    main(["check", str(tmp_path / "s.zip"), *DAY, "--out", "-", "--formats", "json"])
    record = json.loads((demo_pack / "findings.json").read_text("utf-8"))
    assert json.loads(capsys.readouterr().out)["findings"] == record["findings"]


def test_check_without_out_writes_nothing(demo_site: Path, tmp_path: Path) -> None:
    copy = tmp_path / "s"
    shutil.copytree(demo_site, copy)
    before = sorted(p for p in tmp_path.rglob("*"))
    main(["check", str(copy), *DAY, "--quiet"])
    assert sorted(p for p in tmp_path.rglob("*")) == before


def test_summary_fits_eighty_columns_and_is_plain_when_piped(demo_site: Path) -> None:
    done = _run("check", str(demo_site), *DAY)
    assert done.stderr == ""
    lines = done.stdout.splitlines()
    assert max(map(len, lines)) <= 80
    assert "\x1b" not in done.stdout
    text = " ".join(done.stdout.split())
    assert "open cases" in text
    assert "What to do:" in text
    assert "not a fire risk assessment" in text
    assert re.search(r"\w+\.csv rows? \d+", text)


def test_colours_on_a_terminal_only_where_wanted(demo_site: Path) -> None:
    def on_terminal(*more: str, **env: str) -> str:
        parent, child = pty.openpty()
        with subprocess.Popen(
            [sys.executable, "-m", "audit", "check", str(demo_site), *DAY, *more],
            stdout=child,
            stderr=subprocess.DEVNULL,
            env={**os.environ, "TERM": "xterm-256color", "COLUMNS": "80", **env},
        ) as process:
            os.close(child)
            parts = []
            while True:
                try:
                    part = os.read(parent, 65536)
                except OSError:
                    break
                if not part:
                    break
                parts.append(part)
            process.wait()
        os.close(parent)
        return b"".join(parts).decode()

    coloured = re.compile(r"\x1b\[[0-9;]*3[0-9]")
    assert coloured.search(on_terminal())
    assert not coloured.search(on_terminal("--no-color"))
    assert not coloured.search(on_terminal(NO_COLOR="1"))


def test_outside_pack_names_nobody(demo_site: Path, outside_pack: Path) -> None:
    people = list(csv.DictReader((demo_site / "people.csv").open(encoding="utf-8-sig")))
    names = {p["name"] for p in people if p["name"]}
    surnames = {n.split()[-1] for n in names if len(n.split()[-1]) > 5}
    phones = {p["phone"] for p in people if p["phone"]}
    assert names
    assert phones
    for path in outside_pack.iterdir():
        text = _text_of(path)
        told = {w for w in (*names, *phones) if w in text}
        told |= {w for w in surnames if re.search(rf"\b{re.escape(w)}\b", text)}
        assert told == set(), path.name


def test_no_pin_leaves_the_input(demo_site: Path, demo_pack: Path, outside_pack: Path) -> None:
    """Six and more digits standing alone in any output are no PIN of the site."""
    pins = list(csv.DictReader((demo_site / "pins.csv").open(encoding="utf-8-sig")))
    codes = {p["pin"] for p in pins if p["pin"].isdigit() and len(p["pin"]) >= 6}
    assert len(codes) > 30
    outputs = [_text_of(p) for pack in (demo_pack, outside_pack) for p in pack.iterdir()]
    done = _run("check", str(demo_site), *DAY)
    for text in (*outputs, done.stdout, done.stderr):
        assert codes.intersection(re.findall(r"(?<![\w.])\d{6,12}(?![\w.])", text)) == set()


def _text_of(path: Path) -> str:
    if path.suffix == ".xlsx":
        with zipfile.ZipFile(path) as z:
            parts = [z.read(n).decode("utf-8") for n in z.namelist() if n.endswith(".xml")]
        return re.sub(r"<[^>]+>", " ", " ".join(parts))
    if path.suffix == ".pdf":
        import pypdf

        reader = pypdf.PdfReader(path)
        return "\n".join(page.extract_text() for page in reader.pages)
    return path.read_text("utf-8-sig")


def test_verify_says_what_differs(
    demo_site: Path, demo_pack: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["verify", str(demo_pack)]) == 0
    assert "data files are those that were audited" in capsys.readouterr().out
    shutil.copytree(demo_pack, tmp_path / "pack")
    shutil.copytree(demo_site, tmp_path / "site")
    with (tmp_path / "site" / "cards.csv").open("a") as file:
        file.write("\n")
    (tmp_path / "pack" / "report.pdf").write_bytes(b"x")
    assert main(["verify", str(tmp_path / "pack"), "--site", str(tmp_path / "site")]) == 1
    told = capsys.readouterr().out
    assert "report.pdf: was changed since the pack was made" in told
    assert "cards.csv: was changed since the audit" in told
    assert "2 things differ" in told


def test_previous_and_compare(
    demo_site: Path, demo_pack: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    site = tmp_path / "site"
    shutil.copytree(demo_site, site)
    lines = (site / "cards.csv").read_text("utf-8").splitlines(keepends=True)
    record = json.loads((demo_pack / "findings.json").read_text("utf-8"))
    mended = next(f for f in record["findings"] if f["rule"] == "departed-with-card")
    row = mended["sources"][0]["row"]
    lines[row - 1] = lines[row - 1].replace("active", "returned")
    (site / "cards.csv").write_text("".join(lines), "utf-8")
    previous = str(demo_pack / "findings.json")
    out = tmp_path / "pack"
    options = [*DAY, "--previous", previous, "--out", str(out), "--formats", "json,csv"]
    assert main(["check", str(site), *options, "--quiet"]) == 1
    later = json.loads((out / "findings.json").read_text("utf-8"))
    assert mended["id"] in {m["id"] for m in later["mended"]}
    assert later["not_reassessed"] == []
    assert {f["change"] for f in later["findings"]} <= {"new", "standing"}
    capsys.readouterr()
    assert main(["compare", previous, str(out / "findings.json")]) == 0
    assert mended["id"] in capsys.readouterr().out
    rows = list(csv.DictReader((out / "access-roll.csv").open(encoding="utf-8-sig")))
    assert {r["change"] for r in rows} <= {"", "new", "gone"}


def test_a_rule_that_breaks_is_loud(
    demo_site: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    from audit import check

    broken = []
    for rule in check.all_rules():
        if rule.name == "pin-too-short":

            def judge(data: object) -> object:
                raise ValueError("4711-4711")

            rule = type(rule)(**{**rule.__dict__, "judge": judge})
        broken.append(rule)
    monkeypatch.setattr(check, "all_rules", lambda: tuple(broken))
    assert main(["check", str(demo_site), *DAY, "--fail-on", "never"]) == 3
    told = capsys.readouterr()
    assert "pin-too-short failed (program error): " in told.out
    assert "4711" not in told.out + told.err


def test_help_and_catalogue_load_no_frames() -> None:
    code = (
        "import sys; from audit.cli import main; main(sys.argv[1:]); print('pandas' in sys.modules)"
    )
    for command in (["--help"], ["rules"], ["rules", "no-way-home"]):
        done = subprocess.run(
            [sys.executable, "-c", code, *command], capture_output=True, text=True
        )
        assert done.stdout.rstrip().endswith("False")


def test_catalogue_is_drawn_from_the_rules() -> None:
    from rules.__main__ import CATALOGUE, catalogue_text

    assert CATALOGUE.read_text("utf-8") == catalogue_text(), "run: python -m rules"


def test_an_empty_site_is_not_a_good_one(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "pack"
    assert main(["check", str(_site(tmp_path / "s")), "--out", str(out)]) == 1
    told = capsys.readouterr().out
    assert "important rules were not run" in " ".join(told.split())
    record = json.loads((out / "findings.json").read_text("utf-8"))
    assert {o["state"] for o in record["outcomes"]} == {"not-assessed"}


@pytest.mark.skipif(os.name != "posix", reason="pipes of POSIX")
def test_a_pipe_is_not_waited_for(
    demo_site: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    os.mkfifo(tmp_path / "pipe")
    assert main(["check", str(demo_site), "--previous", str(tmp_path / "pipe")]) == 2
    assert main(["compare", str(tmp_path / "pipe"), str(tmp_path / "pipe")]) == 2
    assert "pipe: is not a file" in capsys.readouterr().err
