"""Commands that are stopped: what they say, what they leave, and that they end at once."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import threading
import time
from pathlib import Path

import pytest
from click.testing import CliRunner

import drysward
from drysward.cli import main, stopping
from drysward.files import RECORD as RECORD_OF_FILES
from drysward.files import claim_folder, half_written, write_whole
from drysward.studies.sweep import run as sweep_run

posix = pytest.mark.skipif(os.name != "posix", reason="signals are sent as POSIX has them")
RECORD = Path(__file__).parents[1] / "data" / "baltimore-washington-2010-2019.csv"
SHORT = ("--weather", RECORD, "--source", "record", "--years", "2011-2012", "--draws", "0")
NOTHING = "Stopped: nothing was written; run the same command to start over.\n"
SWEEP = """
scenario = "demo"
plans = ["refill"]
years = 3
[axes.trigger]
key = "plans.refill.trigger"
values = [0.3, 0.4, 0.5, 0.6]
"""


def ask(*words):
    return CliRunner().invoke(main, [str(word) for word in words])


def stop(*_, **__):
    raise KeyboardInterrupt


def test_a_stop_before_anything_is_written_says_so(monkeypatch, tmp_path):
    (tmp_path / "summary.csv").write_text("of a run before")
    monkeypatch.setattr(drysward, "run", stop, raising=False)
    told = ask("compare", "--draws", "0", "--out", tmp_path, "--force")
    assert told.exit_code == stopping.STOPPED
    assert told.stderr.endswith(NOTHING)
    assert [path.name for path in tmp_path.iterdir()] == ["summary.csv"]
    assert (tmp_path / "summary.csv").read_text() == "of a run before"


def test_a_stop_between_two_files_says_which_are_written(monkeypatch, tmp_path):
    (tmp_path / "summary.csv").write_text("of a run before")
    place = os.replace

    def first(part, path):
        if Path(path).name != "results.nc":
            stop()
        place(part, path)

    monkeypatch.setattr(os, "replace", first)
    told = ask("compare", *SHORT, "--out", tmp_path, "--force")
    assert told.exit_code == stopping.STOPPED
    assert told.stderr.splitlines()[-1] == (
        f"Stopped: results.nc in {tmp_path} is new and complete, other files there are unchanged; "
        "run the same command to write them all."
    )
    left = {path.name for path in tmp_path.iterdir()}
    assert left == {RECORD_OF_FILES, "results.nc", "summary.csv"}
    assert (tmp_path / "summary.csv").read_text() == "of a run before"
    # The next command in this process knows nothing of it.
    monkeypatch.setattr(drysward, "run", stop, raising=False)
    assert ask("compare", "--draws", "0").stderr.endswith(NOTHING)


def test_a_stopped_sweep_counts_the_chunks_that_are_kept(monkeypatch, tmp_path):
    path, out = tmp_path / "mine.toml", tmp_path / "out"
    path.write_text(SWEEP)
    write = sweep_run.write_chunk

    def two(folder, manifest, chunk, kept):
        if len(list(folder.glob("chunk-*.nc"))) == 2:
            stop()
        write(folder, manifest, chunk, kept)

    monkeypatch.setattr(sweep_run, "write_chunk", two)
    told = ask("sweep", path, "--out", out)
    assert told.exit_code == stopping.STOPPED
    assert told.stderr.splitlines()[-1] == (
        f"Stopped: 2 of 4 chunks are kept in {out}; run the same command to go on."
    )
    monkeypatch.undo()
    told = ask("sweep", path, "--out", out)
    assert told.exit_code == 0
    assert "2 chunks are done" in told.stderr


# --- files half written -------------------------------------------------------------------------


@posix
def test_leftovers_of_dead_processes_are_cleared_and_those_of_others_stay(tmp_path):
    dead = subprocess.Popen([sys.executable, "-c", ""])
    dead.wait()
    for process in (dead.pid, os.getppid()):
        part = half_written(tmp_path / "results.nc").name
        (tmp_path / part.replace(f"-{os.getpid()}.", f"-{process}.")).touch()
    (tmp_path / f".results.nc-another_machine-{dead.pid}.part").touch()
    (tmp_path / "a.part").touch()  # not ours
    claim_folder(tmp_path)
    runs = part.replace(f"-{os.getpid()}.", f"-{os.getppid()}.")
    left = {path.name for path in tmp_path.iterdir()}
    assert left == {runs, f".results.nc-another_machine-{dead.pid}.part", "a.part"}


def test_a_stop_waits_for_the_file_that_is_written_and_clears_it(monkeypatch, tmp_path):
    from drysward import files

    monkeypatch.setattr(files, "_PLACING", threading.Lock())
    monkeypatch.setattr(files, "_STOPPING", threading.Event())
    claim_folder(tmp_path)
    begun, stopping_now = threading.Event(), threading.Event()

    def write(part):
        begun.set()
        assert stopping_now.wait(10)
        part.write_text("whole")

    where = {tmp_path / "results.nc": write, tmp_path / "summary.csv": write}
    threading.Thread(target=write_whole, args=(where,), daemon=True).start()
    assert begun.wait(10)
    threading.Timer(0.1, stopping_now.set).start()
    files.stop_writing()  # until the first is whole; the second does not begin
    assert list(tmp_path.iterdir()) == [half_written(tmp_path / "results.nc")]
    files.remove_parts()
    assert list(tmp_path.iterdir()) == []


# --- processes ----------------------------------------------------------------------------------


def process(*words):
    """A command in a process, when it has said what it runs."""
    code = "from drysward.cli import start; start()"
    ran = subprocess.Popen(
        [sys.executable, "-c", code, *map(str, words)], stderr=subprocess.PIPE,
        stdout=subprocess.DEVNULL, text=True, start_new_session=True,
    )  # fmt: skip
    first = ran.stderr.readline()
    assert first, "nothing is said"
    return ran


@posix
@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
@pytest.mark.slow
def test_a_process_ends_at_once_whatever_its_threads_are_at(number, tmp_path):
    # Minutes of draws in threads.
    ran = process("compare", "--draws", "4096", "--out", tmp_path / "out")
    time.sleep(0.3)
    start = time.perf_counter()
    os.killpg(ran.pid, number)
    _, told = ran.communicate(timeout=30)
    assert ran.returncode == stopping.STOPPED
    assert time.perf_counter() - start < 5.0  # milliseconds on a machine with nothing else to do
    assert told.endswith(NOTHING)
    assert "Traceback" not in told
    assert not (tmp_path / "out").exists()


@posix
def test_what_was_to_be_left_alone_by_ctrl_c_is(tmp_path):
    """As a shell starts what runs in the background."""
    code = (
        "import os, signal; signal.signal(signal.SIGINT, signal.SIG_IGN)\n"
        "from drysward.cli import stopping; stopping.end_when_stopped()\n"
        "os.kill(os.getpid(), signal.SIGINT); import time; time.sleep(0.3); print('goes on')"
    )
    told = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True)
    assert (told.returncode, told.stdout, told.stderr) == (0, "goes on\n", "")


@posix
def test_a_stop_after_the_end_changes_nothing():
    code = (
        "import os, signal, time; from drysward.cli import stopping; stopping.end_when_stopped()\n"
        "stopping.is_over(); os.kill(os.getpid(), signal.SIGTERM); time.sleep(0.3); print('done')"
    )
    told = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True)
    assert (told.returncode, told.stdout, told.stderr) == (0, "done\n", "")


@posix
@pytest.mark.slow
def test_kills_at_any_moment_leave_nothing_broken():
    # In a process without the threads of other tests: a fork of those could wait for ever.
    script = Path(__file__).parents[1] / "benchmarks" / "kills.py"
    told = subprocess.run([sys.executable, script, "3"], capture_output=True, text=True)
    assert told.returncode == 0, told.stdout + told.stderr
