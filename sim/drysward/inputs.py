"""Files and TOML from a user's hand: read whole, or refused at once.

What is read here is bounded, so that no file can block, fill the memory or keep the program busy.
"""

from __future__ import annotations

import re
import stat
import tomllib
from collections.abc import Iterator
from itertools import islice
from pathlib import Path
from typing import Any

from drysward.faults import Fault, FaultyInput, likest, path_text, quoted

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
# Keys of more parts keep the TOML reader busy for their number squared.
_KEY_PART = r"""(?:[\w-]++|"[^"\n]*+"|'[^'\n]*+')"""
_LONG_KEY = re.compile(rf"(?<![\w-]){_KEY_PART}(?:[ \t]*+\.[ \t]*+{_KEY_PART}){{{DEEPEST},}}+")


def file_bytes(path: Path, most: int, wanted: str = "a file", instead: str = "") -> bytes:
    """All of a plain file of at most ``most`` bytes; FaultyInput for anything else.

    ``wanted`` is what a message says to name, ``instead`` what else there is when there is no
    such file and none of a name like it.
    """
    where = path_text(path)
    try:
        mode = path.stat().st_mode
        if not stat.S_ISREG(mode):
            kind = next((told for holds, told in _KINDS if holds(mode)), "no plain file")
            raise FaultyInput(Fault(where, f"is {kind}", wanted))
        with path.open("rb") as file:
            data = file.read(most + 1)
    except FileNotFoundError:
        raise FaultyInput(_missing(path, instead)) from None
    except ValueError:  # what no file can be called
        raise FaultyInput(Fault(where, "cannot be the name of a file", wanted)) from None
    except OSError as error:
        raise FaultyInput(Fault(where, f"cannot be read ({error.strerror})")) from None
    if len(data) > most:
        size = f"{max(path.stat().st_size, most + 1):,} bytes"
        raise FaultyInput(Fault(where, f"has {size}", f"at most {most:,}"))
    return data


def _missing(path: Path, instead: str) -> Fault:
    """What to say of a file that is not there: where it was looked for, and what is there."""
    folder = path.absolute().parent
    if not folder.is_dir():
        return Fault(path_text(path), f"there is no folder {path_text(folder)}", instead)
    near = likest(path.name, (entry.name for entry in islice(folder.iterdir(), 1_000)))
    hint = f"did you mean {quoted(near)}?" if near else instead
    return Fault(path_text(path), f"there is no such file in {path_text(folder)}", hint)


def toml_text(path: Path, instead: str = "") -> str:
    """The text of a TOML file; FaultyInput when it cannot be read or is no text.

    ``instead`` as in ``file_bytes``.
    """
    data = file_bytes(path, MOST_TOML_BYTES, "a .toml file", instead)
    return toml_of_bytes(data, path_text(path))


def toml_of_bytes(data: bytes, name: str) -> str:
    """The text of TOML that stands in ``data``, which ``name`` stands for in faults."""
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        told = f"is not UTF-8 text at byte {error.start}"
        raise FaultyInput(Fault(name, told, "save it as UTF-8")) from None


def toml_tables(name: str, text: str) -> dict[str, Any]:
    """The tables of a TOML text, which ``name`` stands for in faults.

    FaultyInput when it is not TOML, or too long, deep or many for a file that a person wrote.
    """
    if len(text) > MOST_TOML_BYTES:
        raise FaultyInput(
            Fault(name, f"has {len(text):,} characters", f"at most {MOST_TOML_BYTES:,}")
        )
    if found := _LONG_KEY.search(text):
        line = text.count("\n", 0, found.start()) + 1
        told = f"{quoted(found[0])} is a key of too many parts"
        raise FaultyInput(Fault(f"{name} line {line}", told, f"at most {DEEPEST} parts"))
    try:
        tables = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise FaultyInput(_syntax_fault(name, str(error), len(text.splitlines()))) from None
    except RecursionError:
        told = "tables or lists stand too deep within one another"
        raise FaultyInput(Fault(name, told, f"at most {DEEPEST} deep")) from None
    except ValueError:  # of thousands of digits
        raise FaultyInput(Fault(name, "holds a whole number that is too long")) from None
    if wrong := next(_unbounded(tables), None):
        key, told, allowed = wrong
        raise FaultyInput(Fault(f"{name}: {key}" if key else name, told, allowed))
    return tables


def _unbounded(tables: dict[str, Any]) -> Iterator[tuple[str, str, str]]:
    """Key of what no file of a person holds, what it is, and what is allowed."""
    left: list[tuple[str, int, Any]] = [("", 0, tables)]
    seen = 0
    while left:
        key, depth, value = left.pop()
        seen += 1
        if seen > MOST_VALUES:
            yield "", "holds too many values", f"at most {MOST_VALUES:,}"
        if isinstance(value, dict | list) and depth > DEEPEST:
            yield key, "stands too deep", f"at most {DEEPEST} tables or lists within one another"
        if isinstance(value, dict):
            for name, part in value.items():
                full = f"{key}.{name}" if key else name
                if len(name) > MOST_KEY:
                    yield quoted(full, bare=True), "is too long for a key", f"{MOST_KEY} characters"
                left.append((full, depth + 1, part))
        elif isinstance(value, list):
            left += [(f"{key}[{i}]", depth + 1, part) for i, part in enumerate(value, start=1)]
        elif isinstance(value, str) and len(value) > MOST_TEXT:
            yield key, f"{quoted(value)} is too long", f"at most {MOST_TEXT:,} characters"
        elif isinstance(value, int) and not -(2**63) <= value < 2**63:
            yield key, "is a whole number of too many digits", "18 digits"


def _syntax_fault(name: str, message: str, lines: int) -> Fault:
    """The TOML reader says "... (at line 3, column 5)" or "... (at end of document)"."""
    what, _, place = message.rpartition(" (at ")
    place = place.rstrip(")")
    if place == "end of document":
        place = f"line {lines}"
    return Fault(f"{name} {place}".rstrip(), f"is not TOML: {quoted(what, bare=True)}")
