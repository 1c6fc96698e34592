"""The command line: the only place where ingest, rules, engine, ledger and reports meet.

Nothing heavy is imported before a command needs it, so that --help and the catalogue come
at once.
"""

from __future__ import annotations

import argparse
import datetime as dt
import os
import sys
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import IO, TYPE_CHECKING, NoReturn

if TYPE_CHECKING:
    from rich.console import Console

    from audit.record import Record

FORMATS = ("json", "csv", "xlsx", "html", "pdf")
LEVELS = ("immediate", "planned", "advisory", "never")
OK, FOUND, UNUSABLE, BROKEN = 0, 1, 2, 3


class _Parser(argparse.ArgumentParser):
    """Says in one line what is wrong with the command line, and exits with 2."""

    def error(self, message: str) -> NoReturn:
        self.exit(UNUSABLE, f"{self.prog}: {message}; see {self.prog} --help\n")


class _Version(argparse.Action):
    """Prints the version, which is looked up only when it is asked for."""

    def __call__(self, parser: argparse.ArgumentParser, *_: object) -> None:
        sys.stdout.write(f"door-audit {_version()}\n")
        parser.exit()


def parser() -> argparse.ArgumentParser:
    """The command line's grammar."""
    top = _Parser(
        prog="door-audit",
        description=(
            "Audits the registers of a door-entry system: who opens what, with which card or"
            " PIN, and whether everyone can leave. It is no fire risk assessment; local code"
            " and a competent person decide."
        ),
        epilog=(
            "exit status: 0 nothing at or above --fail-on; 1 something; 2 the input or the"
            " command line can't be used; 3 a rule failed inside"
        ),
        allow_abbrev=False,
    )
    top.add_argument("--version", action=_Version, nargs=0, help="the version, and leave")
    commands = top.add_subparsers(dest="command", metavar="COMMAND", parser_class=_Parser)

    check = commands.add_parser("check", help="audit a site folder", allow_abbrev=False)
    check.add_argument("site", type=Path, help="the folder (or ZIP) with site.toml and the tables")
    check.add_argument(
        "--as-of", type=_day, metavar="YYYY-MM-DD", help="the day the audit speaks of (today)"
    )
    check.add_argument(
        "--stage",
        choices=("upload", "review"),
        default="review",
        help="upload: only what is checked before upload (review)",
    )
    check.add_argument("--out", metavar="DIR", help="write the report pack there; - prints it")
    check.add_argument(
        "--formats",
        type=_formats,
        default=FORMATS,
        metavar="LIST",
        help=f"which of {','.join(FORMATS)} (all)",
    )
    check.add_argument(
        "--previous",
        type=Path,
        metavar="FILE",
        help="findings.json of an earlier review, to compare with",
    )
    check.add_argument(
        "--audience",
        choices=("full", "outside", "insurer"),
        default="full",
        help=(
            "outside: for an auditor, who sees pseudonyms; insurer: counts and life safety (full)"
        ),
    )
    check.add_argument(
        "--fail-on",
        choices=LEVELS,
        default="planned",
        help="the least priority that makes exit status 1 (planned)",
    )
    check.add_argument(
        "--record",
        action="store_true",
        help="keep this review in SITE/reviews/AS-OF, for the next ones to compare with",
    )
    check.add_argument("--all", action="store_true", help="every case and finding, on the terminal")
    check.add_argument("--quiet", action="store_true", help="no summary")
    check.add_argument("--no-color", action="store_true", help="no colours (NO_COLOR too)")

    demo = commands.add_parser("demo", help="write a site of invented data", allow_abbrev=False)
    demo.add_argument("folder", type=Path, metavar="DIR")
    demo.add_argument("--dwellings", type=_positive, default=48, metavar="N", help="(48)")
    demo.add_argument("--seed", type=int, default=1, metavar="S", help="(1)")
    demo.add_argument("--as-of", type=_day, metavar="YYYY-MM-DD", help="(today)")
    demo.add_argument("--clean", action="store_true", help="a site without a single finding")
    demo.add_argument(
        "--reviews",
        type=_positive,
        default=0,
        metavar="N",
        help="so many recorded quarters of history (0)",
    )

    rules = commands.add_parser("rules", help="the catalogue, or one rule", allow_abbrev=False)
    rules.add_argument("rule", nargs="?", help="a rule's name")
    rules.add_argument("--no-color", action="store_true", help="no colours (NO_COLOR too)")

    sheets = commands.add_parser("sheets", help="write blank register sheets", allow_abbrev=False)
    sheets.add_argument("folder", type=Path, metavar="DIR")

    look = commands.add_parser("look", help="how files would be understood", allow_abbrev=False)
    look.add_argument("files", type=Path, nargs="+", metavar="FILE")
    look.add_argument(
        "--write",
        type=Path,
        metavar="SITE",
        help="put the mapping into SITE/site.toml, to be corrected by hand",
    )
    look.add_argument("--no-color", action="store_true", help="no colours (NO_COLOR too)")

    who = commands.add_parser(
        "who", help="who can open a door, or what a person reaches", allow_abbrev=False
    )
    who.add_argument("site", type=Path)
    which = who.add_mutually_exclusive_group(required=True)
    which.add_argument("--door", metavar="D")
    which.add_argument("--person", metavar="P")
    who.add_argument("--at", metavar="TIME", help="a time of the week or a moment (ISO 8601)")
    who.add_argument("--as-of", type=_day, metavar="YYYY-MM-DD", help="(today)")
    who.add_argument("--no-color", action="store_true", help="no colours (NO_COLOR too)")

    compare = commands.add_parser("compare", help="two findings files", allow_abbrev=False)
    compare.add_argument("old", type=Path)
    compare.add_argument("new", type=Path)
    compare.add_argument("--no-color", action="store_true", help="no colours (NO_COLOR too)")

    sign = commands.add_parser("sign", help="sign a pack", allow_abbrev=False)
    sign.add_argument("pack", type=Path)
    sign.add_argument(
        "--key", type=Path, required=True, metavar="FILE", help="a private key of OpenSSH"
    )

    verify = commands.add_parser(
        "verify",
        help="what a pack is, who signed it, and what of it can be proved here",
        allow_abbrev=False,
    )
    verify.add_argument("pack", type=Path)
    verify.add_argument(
        "--signers",
        type=Path,
        metavar="FILE",
        help="whose keys count: allowed_signers of OpenSSH",
    )
    verify.add_argument(
        "--again",
        action="store_true",
        help="draw every report again and, with --site, audit again; compare the bytes",
    )
    verify.add_argument(
        "--site",
        type=Path,
        metavar="DIR",
        help="the data that it was made from; required to prove anything about it",
    )

    mend = commands.add_parser(
        "mend", help="propose corrections, and audit the corrected copy", allow_abbrev=False
    )
    mend.add_argument("site", type=Path)
    mend.add_argument("--out", type=Path, required=True, metavar="DIR")
    mend.add_argument("--as-of", type=_day, metavar="YYYY-MM-DD", help="(today)")
    mend.add_argument(
        "--new-pins",
        action="store_true",
        help="draw new PINs at random, into a file of their own",
    )
    mend.add_argument("--no-color", action="store_true", help="no colours (NO_COLOR too)")

    portfolio = commands.add_parser(
        "portfolio", help="audit every site folder below a folder", allow_abbrev=False
    )
    portfolio.add_argument("folder", type=Path, metavar="DIR")
    portfolio.add_argument("--as-of", type=_day, metavar="YYYY-MM-DD", help="(today)")
    portfolio.add_argument("--stage", choices=("upload", "review"), default="review")
    portfolio.add_argument(
        "--out",
        type=Path,
        metavar="DIR",
        help="keep the sum-up and each site's findings.json there; go on from what is kept",
    )
    portfolio.add_argument("--jobs", type=_positive, metavar="N", help="processes (one a core)")
    portfolio.add_argument(
        "--scheduler",
        metavar="ADDRESS",
        help="hand the sites to a distributed scheduler instead",
    )
    portfolio.add_argument("--fail-on", choices=LEVELS, default="planned")
    portfolio.add_argument("--quiet", action="store_true", help="no summary")
    portfolio.add_argument("--no-color", action="store_true", help="no colours (NO_COLOR too)")
    return top


def main(argv: Sequence[str] | None = None) -> int:
    """Runs one command; the exit status of output.md, and never a traceback."""
    _utf8()
    grammar = parser()
    try:
        options = grammar.parse_args(argv)
    except SystemExit as e:
        return e.code if isinstance(e.code, int) else UNUSABLE
    if options.command is None:
        grammar.print_help(sys.stderr)
        return UNUSABLE
    from audit.faults import InputError

    try:
        return _COMMANDS[options.command](options)
    except InputError as e:
        _say(str(e))
        return UNUSABLE
    except BrokenPipeError:
        _drop_stdout()
        return OK
    except KeyboardInterrupt:
        _say("stopped; nothing was left half written")
        return 130
    except OSError as e:
        _say(f"{e.filename or 'a file'}: {e.strerror or type(e).__name__}")
        return UNUSABLE
    except MemoryError:
        _say("not enough memory for this input")
        return UNUSABLE
    except Exception as e:
        from audit.faults import without_data

        _say(f"a fault of this program, not of your data: {without_data(e)}. Please report it.")
        return BROKEN


def _check(options: argparse.Namespace) -> int:
    from audit import check, reviews

    formats = options.formats
    to_stdout = options.out == "-"
    if to_stdout and tuple(formats) != ("json",):
        return _usage("--out - prints findings.json alone: add --formats json")
    out = None if options.out is None or to_stdout else Path(options.out)
    if options.record and (options.stage, options.audience) != ("review", "full"):
        return _usage("--record keeps reviews of the full audience: leave --stage and --audience")
    if options.record:
        reviews.prepared(options.site)
    progress = _progress()
    result = check.audited(
        options.site,
        as_of=options.as_of,
        stage=options.stage,
        previous=options.previous,
        audience=options.audience,
        out=out,
        make_key=to_stdout,
        with_latest=True,
        progress=progress,
    )
    record = result.record
    kept = reviews.record(result, options.site) if options.record else None
    if to_stdout:
        sys.stdout.write(result.told.to_json())
    elif out is not None:
        check.write_pack(result, out, formats, progress)
    if not to_stdout and not options.quiet:
        from audit import terminal

        terminal.summary(record, _console(sys.stdout, options), options.all)
        if out is not None:
            sys.stdout.write(f"\nThe report pack is in {out}\n")
        if kept is not None:
            sys.stdout.write(f"\nThe review is recorded in {kept}\n")
    for notice in record.notices if to_stdout or options.quiet else []:
        _say(notice)
    return exit_status(record, options.fail_on)


def exit_status(record: Record, fail_on: str) -> int:
    """3 where a rule failed, 1 where an open finding is at or above `fail_on`, else 0."""
    if any(o.state == "failed" for o in record.outcomes):
        return BROKEN
    if fail_on == "never":
        return OK
    counted = LEVELS[: LEVELS.index(fail_on) + 1]
    nothing_run = not any(o.state in ("assessed", "partly") for o in record.outcomes)
    verdict = record.verdict
    no_go = (
        verdict is not None and verdict.upload is not None and not verdict.upload.startswith("Go")
    )
    if nothing_run or no_go:
        return FOUND
    return FOUND if any(f.priority in counted and not f.silenced for f in record.findings) else OK


def _demo(options: argparse.Namespace) -> int:
    import demo_data
    from audit.site import InputError

    folder: Path = options.folder
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise InputError(f"{folder}: is not empty; name a new folder for the demo site")
    as_of = options.as_of or dt.date.today()  # noqa: DTZ011 - the day of the person who asks
    for day in demo_data.quarters(
        folder, options.reviews, options.dwellings, options.seed, as_of=as_of
    ):
        _record(folder, day)
    demo_data.write(
        folder, dwellings=options.dwellings, seed=options.seed, as_of=as_of, clean=options.clean
    )
    sys.stdout.write(
        f"An invented site of {options.dwellings} dwellings is in {folder}, as of {as_of}.\n"
        f"Audit it: door-audit check {folder} --as-of {as_of} --out {folder.name}-report\n"
    )
    return OK


def _record(site: Path, as_of: dt.date) -> None:
    from audit import check, reviews

    reviews.prepared(site)
    reviews.record(check.audited(site, as_of=as_of, with_latest=True), site)


def _rules(options: argparse.Namespace) -> int:
    from audit import catalogue

    return catalogue.tell(options.rule, _console(sys.stdout, options))


def _sheets(options: argparse.Namespace) -> int:
    from audit.ingest import sheets

    for name in sheets.write(options.folder):
        sys.stdout.write(f"{name}\n")
    return OK


def _look(options: argparse.Namespace) -> int:
    from audit.ingest import look

    return look.tell(options.files, _console(sys.stdout, options), write=options.write)


def _who(options: argparse.Namespace) -> int:
    from audit import ingest, who

    data = ingest.load_site(options.site, options.as_of)
    console = _console(sys.stdout, options)
    if options.door is not None:
        console.print(who.at_door(data, options.door, options.at))
    else:
        console.print(who.of_person(data, options.person, options.at))
    return OK


def _compare(options: argparse.Namespace) -> int:
    from audit import check, terminal
    from audit.ledger import against

    old, new = check.read_findings(options.old), check.read_findings(options.new)
    terminal.comparison(old, new, against(old, new), _console(sys.stdout, options))
    return OK


def _sign(options: argparse.Namespace) -> int:
    from getpass import getpass

    from audit.attest.sign import sign_pack

    ask = (lambda: getpass("Passphrase of the key: ")) if sys.stdin.isatty() else None
    signature = sign_pack(options.pack, options.key, ask)
    sys.stdout.write(f"{options.pack}: signed with key {signature.fingerprint}\n")
    return OK


def _verify(options: argparse.Namespace) -> int:
    from audit.attest import verify

    verdict = verify.verified(
        options.pack,
        signers=options.signers,
        site=options.site,
        again=options.again,
        now=dt.datetime.now(dt.UTC),
    )
    for line in verify.told(verdict, options.pack):
        sys.stdout.write(f"{line}\n")
    return OK if verdict.ok else FOUND


def _mend(options: argparse.Namespace) -> int:
    from audit import mend

    return mend.run(
        options.site,
        options.out,
        options.as_of,
        options.new_pins,
        _console(sys.stdout, options),
    )


def _portfolio(options: argparse.Namespace) -> int:
    from audit import portfolio

    return portfolio.run(options, _console(sys.stdout, options), _progress())


_COMMANDS: dict[str, Callable[[argparse.Namespace], int]] = {
    "check": _check,
    "demo": _demo,
    "rules": _rules,
    "sheets": _sheets,
    "look": _look,
    "who": _who,
    "compare": _compare,
    "sign": _sign,
    "verify": _verify,
    "mend": _mend,
    "portfolio": _portfolio,
}


def _console(file: IO[str], options: argparse.Namespace) -> Console:
    from audit import screen

    return screen.console(file, color=not (options.no_color or os.environ.get("NO_COLOR")))


def _progress() -> Callable[[str], None] | None:
    """Says on the terminal what is being done; nothing where standard error is no terminal."""
    if not sys.stderr.isatty():
        return None

    def say(what: str) -> None:
        sys.stderr.write(f"\r\x1b[K{what}" if what else "\r\x1b[K")
        sys.stderr.flush()

    return say


def _usage(message: str) -> int:
    _say(message)
    return UNUSABLE


def _say(message: str) -> None:
    from audit.faults import one_line

    sys.stderr.write(f"door-audit: {one_line(message)}\n")


def _drop_stdout() -> None:
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def _utf8() -> None:
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(encoding="utf-8", errors="replace")


def _version() -> str:
    from importlib.metadata import PackageNotFoundError, version

    try:
        return version("door-audit")
    except PackageNotFoundError:
        return "from a checkout"


def _day(text: str) -> dt.date:
    try:
        return dt.date.fromisoformat(text)
    except ValueError:
        raise argparse.ArgumentTypeError(f"{text!r} is not a date; write YYYY-MM-DD") from None


def _positive(text: str) -> int:
    if not text.isdecimal() or int(text) < 1:
        raise argparse.ArgumentTypeError(f"{text!r} is not a whole number above 0")
    return int(text)


def _formats(text: str) -> tuple[str, ...]:
    wanted = [part.strip() for part in text.split(",") if part.strip()]
    unknown = [part for part in wanted if part not in FORMATS]
    if unknown or not wanted:
        raise argparse.ArgumentTypeError(
            f"{', '.join(unknown) or text!r}: choose from {','.join(FORMATS)}"
        )
    return tuple(f for f in FORMATS if f in wanted)
