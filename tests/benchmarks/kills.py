"""Commands ended at any moment: ``python tests/benchmarks/kills.py [KILLS [SEED [COMMAND ...]]]``.

Not run by pytest; ``tests/commands/test_interrupted.py`` ends a few. Runs small cases of ``sweep``,
``compare --out`` and ``supply --out``, ends each KILLS times (100) by SIGKILL and a third as often
by SIGTERM and SIGINT, at moments spread evenly over a run by a seed, and looks at what is left:

- every file in the folder is, byte for byte, one that an undisturbed run has written: the run
  before or this one;
- a sweep goes on from what is kept, to the bytes of an undisturbed one;
- files half written do not pile up, and a run that is done leaves none;
- SIGTERM and SIGINT end with status 130 and one line on stderr that says what is kept, in which a
  sweep counts its chunks right.

Commands run in forks of this process, which has loaded everything, so that a run takes tenths of a
second and most kills hit work, not loading. POSIX only.
"""

from __future__ import annotations

import os
import re
import shutil
import signal
import sys
import tempfile
import time
from contextlib import redirect_stderr, redirect_stdout
from dataclasses import dataclass, field
from io import StringIO
from pathlib import Path
from random import Random

# Who writes in a folder now, and the digests of all that was ever written there.
_BESIDE = re.compile(r"in-use\.lock.*|\.drysward-written")
STOPS = (signal.SIGKILL, signal.SIGTERM, signal.SIGINT)
SWEEP = """
scenario = "demo"
plans = ["refill"]
years = 40
[axes.trigger]
key = "plans.refill.trigger"
from = 0.4
to = 0.9
steps = 8
[axes.depth]
key = "fields.stadium.root_zone.depth"
values = ["10 in", "11 in", "12 in", "14 in"]
"""
# What a folder holds before, and what the run that is ended would put there.
_RECORD = str(Path(__file__).parents[1] / "data" / "baltimore-washington-2010-2019.csv")
_ON_RECORD = ["--weather", _RECORD, "--source", "record", "--years"]
_YEARS = ("2011-2013", "2012-2015")
IN_TURN = {
    "compare": [["compare", "demo", "--draws", "4", *_ON_RECORD, years] for years in _YEARS],
    "supply": [["supply", "pond", "--no-sizing", *_ON_RECORD, years] for years in _YEARS],
}


def started(words: list[str], told: Path) -> int:
    """A fork that runs a command, what it says on stderr into ``told``; its process number."""
    # A signal waits until the command hears it, as if it came a moment later.
    signal.pthread_sigmask(signal.SIG_BLOCK, STOPS[1:])
    child = os.fork()
    if child:
        signal.pthread_sigmask(signal.SIG_UNBLOCK, STOPS[1:])
        return child
    try:
        os.dup2(os.open(os.devnull, os.O_WRONLY), 1)
        os.dup2(os.open(told, os.O_WRONLY | os.O_CREAT | os.O_TRUNC), 2)
        from drysward.cli import main, stopping

        stopping.end_when_stopped()
        signal.pthread_sigmask(signal.SIG_UNBLOCK, STOPS[1:])
        status = main(words, standalone_mode=False)
        stopping.is_over()
        sys.stdout.flush()
        os._exit(status or 0)
    except BaseException as error:
        os.write(2, f"failed: {error!r}\n".encode())
    finally:
        os._exit(1)


def ended(child: int) -> int:
    """Exit status as a shell has it: of a signal its number below 0."""
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])


def whole(words: list[str], told: Path) -> float:
    """Run a command undisturbed; its time (s)."""
    start = time.perf_counter()
    status = ended(started(words, told))
    assert status == 0, told.read_text()
    return time.perf_counter() - start


def files_of(folder: Path) -> dict[str, bytes]:
    if not folder.exists():
        return {}
    there = (path for path in folder.iterdir() if not _BESIDE.fullmatch(path.name))
    return {path.name: path.read_bytes() for path in there}


def is_part(name: str) -> bool:
    return name.startswith(".") and name.endswith(".part")


@dataclass
class Found:
    """What a command did: kills by signal, runs that were done before, and what was wrong."""

    kills: dict[str, int] = field(default_factory=dict)
    done: int = 0
    most_parts: int = 0
    slowest_s: float = 0.0
    wrong: list[str] = field(default_factory=list)


@dataclass
class Command:
    """Words, and about how long they take (s), which follows what the machine has to do: of six
    runs one is done before it is ended.
    """

    words: list[str]
    takes_s: float


def stopped(
    command: Command, told: Path, stop: signal.Signals, random: Random, found: Found
) -> bool:
    """Start a command and end it at any moment; whether it was ended before it was done."""
    child = started(command.words, told)
    time.sleep(random.uniform(0.0, command.takes_s))
    os.kill(child, stop)
    start = time.perf_counter()
    status = ended(child)
    said = told.read_text()
    if status == 0:
        found.done += 1
        command.takes_s *= 0.8
        return False
    command.takes_s *= 1.05
    found.kills[stop.name] = found.kills.get(stop.name, 0) + 1
    found.slowest_s = max(found.slowest_s, time.perf_counter() - start)
    if status != (-stop if stop == signal.SIGKILL else 130):
        found.wrong.append(f"{stop.name}: status {status}: {said}")
    if "Traceback" in said or "failed:" in said:
        found.wrong.append(f"{stop.name}: {said}")
    if stop != signal.SIGKILL and len(re.findall(r"^Stopped: .*\.$", said, re.MULTILINE)) != 1:
        found.wrong.append(f"{stop.name} is not told: {said}")
    return True


def inspect_folder(folder: Path, known: list[dict[str, bytes]], stop: str, found: Found) -> None:
    """Note files in a folder that no undisturbed run has written, and those half written."""
    there = files_of(folder)
    parts = [name for name in there if is_part(name)]
    found.most_parts = max(found.most_parts, len(parts))
    if parts and stop != signal.SIGKILL.name:
        found.wrong.append(f"{stop} leaves {parts}")
    for name, content in there.items():
        if name not in parts and all(content != files.get(name) for files in known):
            found.wrong.append(f"{stop} leaves a broken {name}")


def kill_runs(
    name: str, kills: dict[signal.Signals, int], random: Random, home: Path, found: Found
) -> None:
    """End a command that writes results, into a folder that holds those of another."""
    told, out = home / "told", home / "out"
    known, commands = [], []
    for i, words in enumerate(IN_TURN[name]):
        alone = home / f"alone-{i}"
        taken = whole([*words, "--out", str(alone)], told)
        known.append(files_of(alone))
        commands.append(Command([*words, "--out", str(out)], taken))
    shutil.copytree(home / "alone-0", out)
    turn = 0
    for stop, n in kills.items():
        whole(commands[turn].words, told)  # nothing is left of kills by another signal
        while found.kills.get(stop.name, 0) < n:
            turn = 1 - turn
            stopped(commands[turn], told, stop, random, found)
            inspect_folder(out, known, stop.name, found)
    whole(commands[1].words, told)
    if files_of(out) != known[1]:
        found.wrong.append("a run after all is not as an undisturbed one")


def kill_sweep(
    kills: dict[signal.Signals, int], random: Random, home: Path, found: Found
) -> None:
    """End a sweep again and again; it goes on until it is done, and then begins anew."""
    told, out = home / "told", home / "out"
    (home / "small.toml").write_text(SWEEP)
    words = ["sweep", str(home / "small.toml"), "--workers", "2", "--out"]
    command = Command([*words, str(out)], whole([*words, str(home / "alone")], told))
    known = files_of(home / "alone")
    chunks = len(known) - 1
    for stop, n in kills.items():
        shutil.rmtree(out, ignore_errors=True)  # nothing is left of kills by another signal
        while found.kills.get(stop.name, 0) < n:
            if stopped(command, told, stop, random, found):
                inspect_folder(out, [known], stop.name, found)
                kept = sum(entry.startswith("chunk-") for entry in files_of(out))
                counted = re.search(r"Stopped: (\d+) of (\d+) chunks", told.read_text())
                if counted and counted.groups() != (str(kept), str(chunks)):
                    found.wrong.append(f"{kept} chunks are kept: {counted[0]}")
                if kept < chunks:
                    continue
            whole(command.words, told)
            if files_of(out) != known:
                found.wrong.append("a sweep that went on is not as an undisturbed one")
            shutil.rmtree(out)


def prepared(home: Path) -> None:
    """Run each command once in this process: what is loaded and compiled here, forks have."""
    from drysward.cli import main as run

    home.mkdir()
    (home / "small.toml").write_text(SWEEP)
    first = [both[0] for both in IN_TURN.values()] + [["sweep", str(home / "small.toml")]]
    with redirect_stdout(StringIO()), redirect_stderr(StringIO()):
        for words in first:
            run([*words, "--out", str(home / words[0])], standalone_mode=False)
            assert files_of(home / words[0]), words


def main(kills: int = 100, seed: int = 1, *names: str) -> int:
    # Heard although a shell has started this in the background.
    signal.signal(signal.SIGINT, signal.default_int_handler)
    random, failed = Random(seed), 0
    by_signal = dict(zip(STOPS, (kills, -(-kills // 3), -(-kills // 3)), strict=True))
    with tempfile.TemporaryDirectory() as folder:
        prepared(Path(folder) / "first")
        for name in names or ("sweep", *IN_TURN):
            home = Path(folder) / name
            home.mkdir()
            start, found = time.perf_counter(), Found()
            try:
                if name == "sweep":
                    kill_sweep(by_signal, random, home, found)
                else:
                    kill_runs(name, by_signal, random, home, found)
            finally:  # also of what was done before Ctrl-C
                killed = ", ".join(f"{n} {stop}" for stop, n in found.kills.items())
                print(
                    f"{name}: {killed}, {found.done} done before; slowest end "
                    f"{found.slowest_s:.2f} s, at most {found.most_parts} half-written files; "
                    f"{len(found.wrong)} wrong; {time.perf_counter() - start:.0f} s",
                    flush=True,
                )
                for what in found.wrong:
                    print(f"  {what}", flush=True)
            failed += len(found.wrong)
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main(*map(int, sys.argv[1:3]), *sys.argv[3:]))
