"""The code blocks of the README and the documentation: run them, and fill in what they print.

A page is a script. Its blocks run from top to bottom in one empty folder, Python blocks in one
namespace. A comment on the line before a block says what is special about it:

    <!-- not run -->         is not run: it installs something, or shows only the form
    <!-- slow -->            is left out where ``--fast`` is asked for
    <!-- file: NAME -->      is a file of the page's folder that later blocks read
    <!-- added to: NAME -->  is put at the end of such a file
    <!-- part of: NAME -->   is part of a scenario: checked in place of its tables in NAME

and before a ``text`` block

    <!-- output -->                              holds what the block before it prints
    <!-- output: COMMAND -->                     holds what COMMAND prints
    <!-- output: COMMAND, lines 1 to 6 and 90 to 99 -->   holds some lines of that
    <!-- output: COMMAND, 20 lines from TEXT -->          likewise, from a line that starts so
    <!-- slow output: COMMAND -->                is left out where ``--fast`` is asked for

``python sim/docs/blocks.py`` fills in every output, ``--check`` compares instead and fails where
one differs, ``--fast`` leaves out the slow ones; pages may be named, all are run otherwise.
"""

from __future__ import annotations

import argparse
import io
import os
import re
import shlex
import sys
import tempfile
import time
import tomllib
from collections.abc import Iterator, Mapping
from contextlib import chdir, redirect_stdout
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[2]
DOCS = ROOT / "sim" / "docs"
PAGES = (
    ROOT / "README.md",
    *sorted(page for page in DOCS.rglob("*.md") if page.parent.name != "generated"),
)
WIDTH = "100"

_FENCE = re.compile(
    r"(?P<before>(?:^<!-- (?P<mark>[^\n]*?) -->\n)?)"
    r"^```(?P<language>\w+)\n(?P<code>.*?)^```$",
    re.MULTILINE | re.DOTALL,
)
_LINES = re.compile(r"(?P<command>.*), lines (?P<spans>\d+ to \d+(?: and \d+ to \d+)*)")
_FROM = re.compile(r"(?P<command>.*), (?P<count>\d+) lines from (?P<start>.+)")


class BrokenBlock(Exception):
    """A block that cannot be run, or whose output is not what the page shows."""


@dataclass(frozen=True)
class Block:
    """One fenced block: its language, its code, and the mark before it ("" for none).

    ``start`` and ``end`` are the places of the code in the page.
    """

    language: str
    code: str
    mark: str
    start: int
    end: int
    line: int


@dataclass
class Session:
    """What blocks of a page share: the namespace of Python, and what was printed last."""

    names: dict[str, Any] = field(default_factory=dict)
    printed: str = ""


def blocks_of(text: str) -> Iterator[Block]:
    """The fenced blocks of a page, in order."""
    for found in _FENCE.finditer(text):
        yield Block(
            found["language"],
            found["code"],
            found["mark"] or "",
            found.start("code"),
            found.end("code"),
            text.count("\n", 0, found.start("code")),
        )


def run_page(page: Path, fast: bool = False) -> str:
    """The text of a page with its outputs filled in; BrokenBlock where a block fails.

    ``fast`` leaves out blocks marked slow and what they print.
    """
    text = page.read_text(encoding="utf-8")
    session, filled, done = Session(), "", 0
    skipped = False
    with tempfile.TemporaryDirectory() as folder, chdir(folder):
        for block in blocks_of(text):
            place = f"{page.name} line {block.line}"
            if block.mark.removeprefix("slow ").startswith("output"):
                slow = block.mark.startswith("slow ") or (skipped and block.mark == "output")
                if not (fast and slow):
                    filled += text[done : block.start] + _output(block, session, place)
                    done = block.end
                continue
            skipped = fast and block.mark == "slow"
            if block.mark != "not run" and not skipped:
                _run(block, session, place)
    return filled + text[done:]


def _output(block: Block, session: Session, place: str) -> str:
    """What stands in an output block."""
    _, colon, command = block.mark.partition(": ")
    if not colon:
        return _tidy(session.printed)
    lines, part = _LINES.fullmatch(command), _FROM.fullmatch(command)
    chosen = lines or part
    shown = run_line(chosen["command"] if chosen else command, place).splitlines()
    if lines:
        spans = re.findall(r"(\d+) to (\d+)", lines["spans"])
        shown = [line for first, last in spans for line in shown[int(first) - 1 : int(last)]]
    elif part:
        starts = [i for i, line in enumerate(shown) if line.startswith(part["start"])]
        if not starts:
            raise BrokenBlock(f"{place}: no line of '{part['command']}' starts {part['start']}")
        shown = shown[starts[0] : starts[0] + int(part["count"])]
    return _tidy("\n".join(shown))


def _tidy(printed: str) -> str:
    return "\n".join(line.rstrip() for line in printed.strip("\n").splitlines()) + "\n"


def _run(block: Block, session: Session, place: str) -> None:
    if block.mark.startswith("added to: "):
        with Path(block.mark.removeprefix("added to: ")).open("a", encoding="utf-8") as file:
            file.write(f"\n{block.code}")
    elif block.mark.startswith("file: "):
        Path(block.mark.removeprefix("file: ")).write_text(block.code, encoding="utf-8")
    if block.language == "sh":
        session.printed = "".join(run_line(line, place) for line in command_lines(block.code))
    elif block.language == "python":
        printed = io.StringIO()
        try:
            code = compile(block.code, place, "exec")
            with redirect_stdout(printed):
                exec(code, session.names)
        except Exception as error:
            raise BrokenBlock(f"{place}: {type(error).__name__}: {error}") from error
        session.printed = printed.getvalue()
    elif block.language == "toml":
        check_toml(block, place)


# --- commands ---------------------------------------------------------------------------------


def command_lines(code: str) -> list[str]:
    """The commands of a sh block, without comments."""
    joined = code.replace("\\\n", " ")
    return [line for line in joined.splitlines() if line.split("#")[0].strip()]


def run_line(line: str, place: str) -> str:
    """What a line of drysward commands prints: joined by ``&&`` or ``|``, or sent ``>`` to a file.

    BrokenBlock where a command fails or is not one of drysward.
    """
    lexer = shlex.shlex(line, posix=True, punctuation_chars="&|>")
    lexer.whitespace_split = True
    printed, typed = "", None
    for command, joint, target in _commands(list(lexer)):
        result = _invoke(command, typed, place)
        typed = None
        if target:
            Path(target).write_text(result, encoding="utf-8")
        elif joint == "|":
            typed = result
        else:
            printed += result
    return printed


def _commands(words: list[str]) -> Iterator[tuple[list[str], str, str]]:
    """Commands with the joint after each and the file that it is sent to."""
    command: list[str] = []
    rest = iter(words)
    for word in rest:
        if word in ("&&", "|"):
            yield command, word, ""
            command = []
        elif word == ">":
            yield command, "", next(rest)
            command = []
        else:
            command.append(word)
    if command:
        yield command, "", ""


def _invoke(words: list[str], typed: str | None, place: str) -> str:
    from click.testing import CliRunner

    from drysward.cli import main

    program, *rest = words
    if Path(program).name != "drysward":
        raise BrokenBlock(f"{place}: '{program}' is not drysward; mark the block 'not run'")
    result = CliRunner().invoke(main, rest, input=typed, env={"COLUMNS": WIDTH})
    if result.exit_code != 0:
        raise BrokenBlock(f"{place}: {shlex.join(words)}: {result.output}")
    return result.stdout


# --- TOML -------------------------------------------------------------------------------------


def check_toml(block: Block, place: str) -> None:
    """BrokenBlock unless a toml block is a scenario, a sweep, or part of a scenario.

    A block marked ``part of: NAME`` is laid over the file or shipped scenario NAME, and the whole
    is read.
    """
    import drysward
    from drysward.faults import FaultyInput
    from drysward.scenario.load import from_tree, shipped_texts
    from drysward.studies.sweep.description import sweep_of

    try:
        code = block.code
        if block.mark.startswith("added to: "):
            code = Path(block.mark.removeprefix("added to: ")).read_text(encoding="utf-8")
        tables = tomllib.loads(code)
        if block.mark.startswith("part of: "):
            name = block.mark.removeprefix("part of: ")
            under = Path(name)
            text = under.read_text(encoding="utf-8") if under.exists() else shipped_texts()[name]
            base = tomllib.loads(text)
            from_tree(_laid_over(base, tables), Path(), name)
        elif "scenario" in tables:
            named = Path(tables["scenario"])
            text = (
                named.read_text(encoding="utf-8")
                if named.exists()
                else shipped_texts()[tables["scenario"]]
            )
            sweep_of("sweep", block.code, str(named), text, Path())
        else:
            drysward.loads(code, Path(), "block")
    except (tomllib.TOMLDecodeError, KeyError, FaultyInput) as error:
        raise BrokenBlock(f"{place}: {error}") from error


def _laid_over(base: Mapping[str, Any], tables: Mapping[str, Any]) -> dict[str, Any]:
    """``base`` with the keys of ``tables`` in place of its own."""
    whole = dict(base)
    for key, value in tables.items():
        both = isinstance(value, Mapping) and isinstance(base.get(key), Mapping)
        whole[key] = _laid_over(base[key], value) if both else value
    return whole


def main(words: list[str] | None = None) -> int:
    """Fill in or check the outputs of the pages that are named; 1 where one is not as shown."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("pages", nargs="*", type=Path, default=PAGES)
    parser.add_argument("--check", action="store_true", help="compare, and write nothing")
    parser.add_argument("--fast", action="store_true", help="leave out what is marked slow")
    options = parser.parse_args(words)
    os.environ["COLUMNS"] = WIDTH
    wrong = 0
    for page in options.pages:
        began = time.perf_counter()
        try:
            filled = run_page(page.resolve(), options.fast)
        except BrokenBlock as broken:
            print(broken, file=sys.stderr)
            wrong += 1
            continue
        finally:
            print(f"{page.name}: {time.perf_counter() - began:.1f} s", file=sys.stderr)
        if filled == page.read_text(encoding="utf-8"):
            continue
        wrong += options.check
        if options.check:
            print(f"{page}: not what its blocks print now", file=sys.stderr)
        else:
            page.write_text(filled, encoding="utf-8")
            print(f"Filled {page}")
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
