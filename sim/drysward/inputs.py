"""Files and TOML from a user: read whole, or refused at once.

Everything read here has limits, so that no file can block the program or fill its memory.
"""

from __future__ import annotations

import re
import stat
import tomllib
from collections.abc import Iterator
from itertools import islice
from pathlib import Path
from typing import Any

from drysward.faults import Fault, FaultyInput, closest_name, path_text, quoted

MOST_TOML_BYTES = 1_000_000
MOST_VALUES = 50_000
MOST_TEXT = 2_000
DEEPEST = 16
MOST_KEY = 100

_KINDS = (
    (stat.S_ISDIR, "a folder"),
    (stat.S_ISFIFO, "a pipe"),
    (stat.S_ISSOCK, "a socket"),
    (stat.S_ISCHR, "a device"),
    (stat.S_ISBLK, "a device"),
)
# The time of the TOML reader grows with the square of the number of parts of a key.
_KEY_PART = r"""(?:[\w-]++|"[^"\n]*+"|'[^'\n]*+')"""
_LONG_KEY = re.compile(rf"(?<![\w-]){_KEY_PART}(?:[ \t]*+\.[ \t]*+{_KEY_PART}){{{DEEPEST},}}+")


def file_bytes(path: Path, most: int, expected: str = "a file", instead: str = "") -> bytes:
    """Contents of a regular file of at most ``most`` bytes; FaultyInput for anything else.

    ``expected`` is the kind of file that the user should name. ``instead`` is the hint
    when there is no such file and none with a similar name.
    """
    where = path_text(path)
    try:
        mode = path.stat().st_mode
        if not stat.S_ISREG(mode):
            kind = next((kind for test, kind in _KINDS if test(mode)), "not a regular file")
            raise FaultyInput(Fault(where, f"is {kind}", f"name {expected}"))
        with path.open("rb") as file:
            data = file.read(most + 1)
    except FileNotFoundError:
        raise FaultyInput(_missing(path, instead)) from None
    except ValueError:  # such as a null character
        raise FaultyInput(Fault(where, "is not a valid file name", f"name {expected}")) from None
    except OSError as error:
        raise FaultyInput(Fault(where, f"cannot be read ({error.strerror})")) from None
    if len(data) > most:
        size = f"{max(path.stat().st_size, most + 1):,} bytes"
        raise FaultyInput(Fault(where, f"has {size}", f"at most {most:,} are allowed"))
    return data


def _missing(path: Path, instead: str) -> Fault:
    """The fault for a missing file: its folder, and a file with a similar name."""
    folder = path.absolute().parent
    if not folder.is_dir():
        return Fault(path_text(path), f"there is no folder {path_text(folder)}", instead)
    near = closest_name(path.name, (entry.name for entry in islice(folder.iterdir(), 1_000)))
    hint = f"did you mean {quoted(near)}?" if near else instead
    return Fault(path_text(path), f"no such file in {path_text(folder)}", hint)


def toml_text(path: Path, instead: str = "") -> str:
    """The text of a TOML file; FaultyInput when it cannot be read or is not text.

    ``instead`` as in ``file_bytes``.
    """
    data = file_bytes(path, MOST_TOML_BYTES, "a .toml file", instead)
    return toml_of_bytes(data, path_text(path))


def toml_of_bytes(data: bytes, name: str) -> str:
    """The text of TOML that stands in ``data``, which ``name`` stands for in faults."""
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        what = f"is not UTF-8 text at byte {error.start}"
        raise FaultyInput(Fault(name, what, "save it as UTF-8")) from None


def toml_tables(name: str, text: str) -> dict[str, Any]:
    """The tables of a TOML text; faults call the text ``name``.

    FaultyInput when it is not TOML, or beyond the limits for a file written by a person.
    """
    if len(text) > MOST_TOML_BYTES:
        raise FaultyInput(
            Fault(name, f"has {len(text):,} characters", f"at most {MOST_TOML_BYTES:,} are allowed")
        )
    if found := _LONG_KEY.search(text):
        line = text.count("\n", 0, found.start()) + 1
        what = f"key {quoted(found[0])} has too many parts"
        raise FaultyInput(Fault(f"{name} line {line}", what, f"at most {DEEPEST} are allowed"))
    try:
        tables = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise FaultyInput(_syntax_fault(name, str(error), text.splitlines())) from None
    except RecursionError:
        what = "tables or lists are nested too deep"
        raise FaultyInput(Fault(name, what, f"at most {DEEPEST} levels are allowed")) from None
    except ValueError:  # of thousands of digits
        what = "an integer has too many digits"
        raise FaultyInput(Fault(name, what, "at most 18 are allowed")) from None
    if wrong := next(_unbounded(tables), None):
        key, what, allowed = wrong
        raise FaultyInput(Fault(f"{name}: {key}" if key else name, what, allowed))
    return tables


def _unbounded(tables: dict[str, Any]) -> Iterator[tuple[str, str, str]]:
    """Values beyond the limits for a file written by a person: key, what is wrong, the limit."""
    pending: list[tuple[str, int, Any]] = [("", 0, tables)]
    seen = 0
    while pending:
        key, depth, value = pending.pop()
        seen += 1
        if seen > MOST_VALUES:
            yield "", "has too many values", f"at most {MOST_VALUES:,} are allowed"
        if isinstance(value, dict | list) and depth > DEEPEST:
            yield key, "is nested too deep", f"at most {DEEPEST} levels are allowed"
        if isinstance(value, dict):
            for name, part in value.items():
                full = f"{key}.{name}" if key else name
                if len(name) > MOST_KEY:
                    limit = f"at most {MOST_KEY} characters are allowed"
                    yield quoted(full, bare=True), "is too long for a key", limit
                pending.append((full, depth + 1, part))
        elif isinstance(value, list):
            pending += [(f"{key}[{i}]", depth + 1, part) for i, part in enumerate(value, start=1)]
        elif isinstance(value, str) and len(value) > MOST_TEXT:
            limit = f"at most {MOST_TEXT:,} characters are allowed"
            yield key, f"{quoted(value)} is too long", limit
        elif isinstance(value, int) and not -(2**63) <= value < 2**63:
            yield key, "is an integer with too many digits", "at most 18 are allowed"


# What people write that is not TOML: the line, and what mends it.
_KEY_AND = r"\s*([\w.-]{1,60})\s*=\s*"
_NOT_TOML = (
    (re.compile(rf"{_KEY_AND}([+-]?\d+),(\d+)\s*(?:#.*)?"), 'a decimal point: {0} = {1}.{2}'),
    (re.compile(rf"{_KEY_AND}([+-]?[\d.,/]+\s*[A-Za-z%][^\"'#\[\]{{}}]*?)\s*(?:#.*)?"),
     'quotes around a number with its unit: {0} = "{1}"'),
    (re.compile(rf"{_KEY_AND}([A-Za-z][^\"'#\[\]{{}}]*?)\s*(?:#.*)?"),
     'quotes around text: {0} = "{1}"'),
    (re.compile(rf"{_KEY_AND}\"([^\"]*)"), 'a quotation mark at the end: {0} = "{1}"'),
    (re.compile(rf"{_KEY_AND}[\u201c\u201d]([^\"\u201c\u201d]*)[\u201c\u201d].*"),
     'straight quotation marks: {0} = "{1}"'),
)  # fmt: skip


def _mend(line: str) -> str:
    """What mends a line that is not TOML, "" where that is not known."""
    for pattern, mend in _NOT_TOML:
        if len(line) <= MOST_KEY and (found := pattern.fullmatch(line)):
            return f"write {mend.format(*(part.strip() for part in found.groups()))}"
    return ""


def _syntax_fault(name: str, message: str, lines: list[str]) -> Fault:
    """A fault from the message of the TOML reader, which ends in "(at line 3, column 5)" or "(at
    end of document)".
    """
    what, _, place = message.rpartition(" (at ")
    place = place.rstrip(")")
    if place == "end of document":
        place = f"line {len(lines)}"
    at = re.match(r"line (\d+)", place)
    line = lines[int(at[1]) - 1] if at and int(at[1]) <= len(lines) else ""
    return Fault(f"{name} {place}".rstrip(), f"is not TOML: {quoted(what, bare=True)}", _mend(line))
