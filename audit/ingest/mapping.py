"""What `look` saw, written into site.toml: what is sure as lines, what isn't as comments.

What a person wrote there stays as it is, comments and order too. A file outside the site's
folder is never referred to.
"""

from __future__ import annotations

import os
import re
import tomllib
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any, Final

from audit.faults import InputError
from audit.ingest.look import UNTOLD, WORDS_SHOWN, Look, Seen
from audit.ingest.telling import header_shown
from audit.schema import TABLES, Column
from audit.screen import plain
from audit.site import Site, parse_site

PLACEHOLDER: Final = "Region/City"
SITE_FILE: Final = "site.toml"


def known_site(folder: Path | None) -> Site | None:
    """The site of a folder, where it has one; a time zone still to be filled in does not matter."""
    if folder is None:
        return None
    path = folder / SITE_FILE
    if not path.is_file():
        return None
    text = _text(path)
    return parse_site(text.replace(f'"{PLACEHOLDER}"', '"UTC"'))


def write(found: Iterable[Look], folder: Path) -> list[str]:
    """Puts the mappings into the folder's site.toml; returns what is to be said of it.

    InputError where the folder or its site.toml can't be used; nothing is written then.
    """
    looks = list(found)
    if folder.exists() and not folder.is_dir():
        raise InputError(f"{folder}: is no folder; name the folder of the site")
    if not folder.is_dir():
        raise InputError(f"{folder}: there is no such folder; make it and copy the exports into it")
    path = folder / SITE_FILE
    said: list[str] = [""]
    old = _text(path) if path.exists() else None
    new = _minimal(folder, said) if old is None else old
    before = _parsed(new)
    for each in looks:
        name = _inside(each.path, folder)
        if name is None:
            said.append(
                f"{each.path}: lies outside {folder}; copy it into the folder first, then look"
                " at it again"
            )
            continue
        if each.table is None:
            continue
        if each.writable and each.lacking:
            said.append(
                f"[sources.{each.table}] waits for you: take away the # before"
                f" {', '.join(each.lacking)} where the column is right"
            )
        new = _with(new, each, name)
    _keeps(before, _parsed(new), path.name)
    if old is not None and new == old:
        said.append(f"{path}: nothing to add")
        return said
    _replace(path, new)
    said.append(f"{path}: {'written' if old is None else 'added to'}; read it, correct it, then")
    said.append(f"door-audit check {folder}")
    return said


def _text(path: Path) -> str:
    try:
        return path.read_bytes().decode("utf-8-sig")
    except UnicodeDecodeError:
        raise InputError(f"{path.name}: not UTF-8 text; save it as UTF-8") from None
    except OSError as e:
        raise InputError(f"{path.name}: can't be read ({e.strerror})") from None


def _parsed(text: str) -> dict[str, Any]:
    try:
        return tomllib.loads(text)
    except (tomllib.TOMLDecodeError, RecursionError) as e:
        raise InputError(f"{SITE_FILE}: not valid TOML: {e}") from None


def _replace(path: Path, text: str) -> None:
    """The new text in one step: a reader sees the old file or the new one."""
    held = path.with_name(f".{path.name}.new")
    try:
        held.write_bytes(text.encode("utf-8"))
        os.replace(held, path)
    except OSError as e:
        held.unlink(missing_ok=True)
        raise InputError(f"{path}: can't be written ({e.strerror})") from None


def _inside(path: Path, folder: Path) -> str | None:
    """The file's name relative to the site, as site.toml gives it; None where it lies outside."""
    home = folder.resolve()
    try:
        return path.resolve().relative_to(home).as_posix()
    except (ValueError, OSError):
        return None


# --- a new file ------------------------------------------------------------------------------


def _minimal(folder: Path, said: list[str]) -> str:
    name = plain(folder.resolve().name) or "Site"
    zone = local_zone()
    if zone is None:
        said.append(f"The site's time zone is not known: put it into {folder / SITE_FILE}")
        line = f'timezone = "{PLACEHOLDER}"    # fill in, such as "Europe/Dublin"'
    else:
        said.append(f"The time zone {zone} is this computer's: correct it if the site's differs")
        line = f"timezone = \"{zone}\"    # this computer's; correct it where the site's differs"
    return (
        f"[site]\nname = {quoted(name)}\n{line}\n"
        '# local_code = "generic"    # or "england", "nfpa"\n'
    )


def local_zone() -> str | None:
    """The IANA name of this computer's time zone; None where it doesn't tell."""
    from zoneinfo import ZoneInfo

    names = [os.environ.get("TZ", "").lstrip(":")]
    try:
        names.append(Path("/etc/timezone").read_text("ascii").strip())
    except (OSError, ValueError):
        names.append("")
    try:
        target = Path("/etc/localtime").resolve().as_posix()
        names.append(target.partition("/zoneinfo/")[2])
    except (OSError, RuntimeError):
        names.append("")
    for name in names:
        try:
            if name and not name.startswith("/") and ZoneInfo(name):
                return name.removeprefix("posix/")
        except (ValueError, OSError, KeyError):
            continue
    return None


# --- one table -------------------------------------------------------------------------------


def section(each: Look, name: str) -> str:
    """The lines of one table for site.toml; all of them comments where it isn't usable."""
    assert each.table is not None
    lines = [f"[sources.{each.table}]", f"file = {quoted(name)}"]
    lines += [f"{key} = {value}" for key, value in _plain_keys(each)]
    if each.order_open and not each.source.date_order:
        lines.append('# date_order = "dmy"    # or "mdy": nothing in the file proves which')
    mapped = [c for c in each.columns if _worth_a_line(each, c)]
    over = [c for c in each.columns if c.column is None and c.maybe and c.header]
    if mapped or over:
        lines += ["", f"[sources.{each.table}.columns]"]
        lines += [_column_line(each, c) for c in mapped]
        lines += [f"# left over: {_comment(header_shown(each.table, c))} {_comment(c.maybe or '')}"
                  for c in over]  # fmt: skip
    for c in each.columns:
        lines += _value_lines(each, c)
    if each.writable:
        return "\n".join(lines) + "\n"
    why = f"no column is surely {', '.join(each.lacking)}." if each.lacking else "is it this table?"
    return "\n".join(
        [f"# Not sure: {why} Take away the # where it is right."]
        + [f"# {line}" if line and not line.startswith("#") else line for line in lines]
    ) + "\n"  # fmt: skip


def _plain_keys(each: Look) -> list[tuple[str, str]]:
    raw = each.raw
    found: list[tuple[str, str]] = []
    if raw is None:
        return found
    if each.sheet and each.sheets > 1:
        found.append(("sheet", quoted(each.sheet)))
    if raw.header_row > 1 and (raw.encoding or each.sheet):
        found.append(("header_row", str(raw.header_row)))
    if raw.encoding and raw.encoding.startswith("cp"):
        found.append(("encoding", quoted(raw.encoding)))
    if each.order:
        found.append(("date_order", quoted(each.order)))
    return found


def _worth_a_line(each: Look, c: Seen) -> bool:
    """A column that is not called by its own name already."""
    return c.column is not None and bool(c.header) and c.why != "its own name"


def _column_line(each: Look, c: Seen) -> str:
    shown = header_shown(each.table, c)
    line = f"{c.column} = {quoted(c.header)}    # {_comment(c.why)}"
    if shown != plain(c.header):
        return f"# {c.column} = …    # a header with digits, not shown: write it yourself"
    return line if c.sure else f"# {line.replace('    # ', '    # not sure: ', 1)}"


def _value_lines(each: Look, c: Seen) -> list[str]:
    """The words of one column: sure ones as lines, the others as comments."""
    if each.table is None or c.column is None or not c.words:
        return []
    column = TABLES[each.table].column(c.column)
    told = [w for w in c.words if w.said != UNTOLD]
    if column.kind in ("date", "moment", "clock") or not told:
        return []
    lines = ["", f"[sources.{each.table}.values.{c.column}]"]
    for word in told[:WORDS_SHOWN]:
        said = quoted(word.said)
        if word.meant and word.sure and c.sure:
            lines.append(f"{said} = {quoted(word.meant)}")
        elif word.meant:
            lines.append(f"# {said} = {quoted(word.meant)}    # not sure")
        else:
            lines.append(f'# {said} = "…"    # {_choice(column)}')
    if len(told) > WORDS_SHOWN:
        lines.append(f"# and {len(told) - WORDS_SHOWN} more words that are not understood")
    return lines


def _choice(column: Column) -> str:
    if column.words:
        return f"one of: {', '.join(column.words)}"
    return "yes or no" if column.kind == "yesno" else "not understood"


def quoted(text: str) -> str:
    """A TOML string; control characters escaped."""
    escaped = text.replace("\\", "\\\\").replace('"', '\\"')
    return '"' + re.sub(
        r"[\x00-\x1f\x7f-\x9f\u200b-\u200f\u2028-\u202e\u2060-\u2069\ufeff]",
        lambda m: f"\\u{ord(m[0]):04x}", escaped,
    ) + '"'  # fmt: skip


def _comment(text: str) -> str:
    return plain(text).replace("\n", " ")


# --- into a file that is there -----------------------------------------------------------------


def _with(text: str, each: Look, name: str) -> str:
    """The file's text with one table's mapping added; what stands there goes first."""
    assert each.table is not None
    there = _parsed(text).get("sources", {}).get(each.table)
    ending = "\r\n" if "\r\n" in text else "\n"
    if there is None:
        if not _needs_section(each, name):
            return text
        added = section(each, name)
        if f"[sources.{each.table}]" in text and added.replace("\n", ending) in text:
            return text
        gap = "" if text.endswith(("\n\n", "\r\n\r\n")) else ending
        start = text if not text or text.endswith("\n") else text + ending
        return start + gap + added.replace("\n", ending)
    given = there.get("file")
    if not each.writable or (given is not None and given.replace("\\", "/") != name):
        return text
    return _extended(text, each, name)


def _needs_section(each: Look, name: str) -> bool:
    """Whether `check` would not read the file in just this way by itself."""
    stem, _, _ = name.rpartition(".")
    if stem != each.table or not each.usable or each.model:
        return True
    return bool(
        _plain_keys(each)
        or any(_worth_a_line(each, c) or _value_lines(each, c) for c in each.columns)
    )


def _extended(text: str, each: Look, name: str) -> str:
    """Keys that a table's section lacks, put into it."""
    import tomlkit

    document = tomlkit.parse(text)
    there: Any = document["sources"][each.table]
    wanted: dict[str, Any] = {"file": name}
    wanted |= {k: tomllib.loads(f"v = {v}")["v"] for k, v in _plain_keys(each)}
    for key, value in wanted.items():
        if key not in there:
            there[key] = value
    columns = {
        c.column: c.header for c in each.columns
        if c.column and c.sure and not c.by_itself and header_shown(each.table, c) == c.header
    }  # fmt: skip
    for column, header in columns.items():
        if column not in there.get("columns", {}):
            if "columns" not in there:
                there["columns"] = tomlkit.inline_table()
            there["columns"][column] = header
    for c in each.columns:
        words = {w.said: w.meant for w in c.words if w.sure and w.meant and w.said != UNTOLD}
        if not words or c.column is None or not c.sure:
            continue
        if "values" not in there:
            there["values"] = tomlkit.table()
        if c.column not in there["values"]:
            there["values"][c.column] = tomlkit.inline_table()
        for said, meant in words.items():
            if said not in there["values"][c.column]:
                there["values"][c.column][said] = meant
    return tomlkit.dumps(document)


def _keeps(before: Mapping[str, Any], after: Mapping[str, Any], name: str, path: str = "") -> None:
    """InputError where anything that stood there would read differently now."""
    for key, value in before.items():
        if isinstance(value, Mapping) and isinstance(after.get(key), Mapping):
            _keeps(value, after[key], name, f"{path}{key}.")
        elif after.get(key) != value:
            raise InputError(f"{name}: {path}{key} can't be added to; put the lines in by hand")


__all__ = ["known_site", "local_zone", "quoted", "section", "write"]
