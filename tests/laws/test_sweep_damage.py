"""What a sweep's folder is trusted for: damage is found before a number is read, and mended; one
process at a time writes.
"""

from __future__ import annotations

import json
import os
import shutil
import signal
import subprocess
import sys
from dataclasses import asdict, replace
from functools import partial
from io import BytesIO
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from scipy.io import netcdf_file

import drysward
from drysward.cli import main
from drysward.faults import FaultyInput
from drysward.locks import LOCK, locked
from drysward.seals import UNSEALED, is_whole, seal
from drysward.studies.sweep.description import sweep_of
from drysward.studies.sweep.effects import effects
from drysward.studies.sweep.folder import (
    chunk_path,
    claimed,
    look_through,
    read_manifest,
    write_chunk,
)
from drysward.studies.sweep.front import front
from drysward.studies.sweep.run import Work, plan_work, run_sweep

SWEEP = """
scenario = "demo"
plans = ["refill"]
years = 2
[axes.trigger]
key = "plans.refill.trigger"
values = [0.3, 0.4, 0.5, 0.6]
"""
AGAIN = "run 'drysward sweep {} --out {}' again: it makes"


@pytest.fixture(scope="module")
def whole(tmp_path_factory) -> tuple[Work, Path]:
    """A sweep of four chunks that is done; what runs it again, and its folder."""
    shipped = drysward.shipped()
    work = plan_work(sweep_of("mine.toml", SWEEP, "demo.toml", shipped.text, shipped.folder))
    folder = tmp_path_factory.mktemp("whole")
    run_sweep(work, folder)
    return work, folder


@pytest.fixture
def folder(whole, tmp_path) -> Path:
    """A copy to damage."""
    return shutil.copytree(whole[1], tmp_path / "out")


def ask(*words: object) -> Result:
    return CliRunner().invoke(main, [str(word) for word in words])


def files(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in folder.iterdir()}


def cut(path: Path, share: float) -> None:
    path.write_bytes(path.read_bytes()[: int(path.stat().st_size * share)])


def flip(path: Path, place: int) -> None:
    content = bytearray(path.read_bytes())
    content[place] ^= 4
    path.write_bytes(bytes(content))


def swap(folder: Path) -> None:
    first, second, aside = chunk_path(folder, 1), chunk_path(folder, 2), folder / "aside"
    first.rename(aside)
    second.rename(first)
    aside.rename(second)


def put_another(folder: Path) -> None:
    """The same points of a sweep over another scenario."""
    manifest = read_manifest(folder)
    other = replace(manifest, identity={**manifest.identity, "the base scenario": "0" * 64})
    with netcdf_file(chunk_path(folder, 1), mmap=False) as file:
        kept = {
            name: (variable.dimensions, variable.data.copy())
            for name, variable in file.variables.items()
            if name != "point"
        }
    write_chunk(folder, other, 1, kept)


def edit(folder: Path) -> None:
    path = folder / "sweep.json"
    path.write_text(path.read_text().replace("Demo", "Demi").replace("years = 2", "years = 9"))


# Damage, and the chunks that it makes of no use; None for the manifest.
DAMAGE = {
    "a bit of a number": (lambda at: flip(chunk_path(at, 1), -9), [1]),
    "a bit of a header": (lambda at: flip(chunk_path(at, 1), 11), [1]),
    "a bit of the digest": (lambda at: flip(chunk_path(at, 1), _digest_place(at)), [1]),
    "cut near its end": (lambda at: cut(chunk_path(at, 1), 0.98), [1]),
    "cut in the middle": (lambda at: cut(chunk_path(at, 1), 0.5), [1]),
    "cut in its header": (lambda at: cut(chunk_path(at, 1), 0.05), [1]),
    "empty": (lambda at: cut(chunk_path(at, 1), 0.0), [1]),
    "swapped": (swap, [1, 2]),
    "of another sweep": (put_another, [1]),
    "no chunk": (lambda at: chunk_path(at, 1).write_text("Field notes, 4 July\n"), [1]),
    "missing": (lambda at: chunk_path(at, 1).unlink(), [1]),
    "manifest edited": (edit, None),
    "manifest cut": (lambda at: cut(at / "sweep.json", 0.7), None),
    "manifest empty": (lambda at: cut(at / "sweep.json", 0.0), None),
}


def _digest_place(folder: Path) -> int:
    return chunk_path(folder, 1).read_bytes().index(b"sha256:") + 20


@pytest.mark.parametrize("kind", DAMAGE)
def test_damage_is_found_and_mended(whole, folder, kind):
    damage, bad = DAMAGE[kind]
    damage(folder)
    # What cannot be trusted names no sweep.
    again = AGAIN.format("SWEEP" if bad is None else "mine.toml", folder)
    told = ask("sweep", "status", folder)
    if bad is None:
        assert told.exit_code == 2
        assert f"sweep.json: is not what was written; {again} it anew" in told.output
    else:
        assert told.exit_code == 0, told.output
        counts = " ".join(told.output.split())
        assert f"chunks {4 - len(bad)} 4" in counts, told.output
        names = ", ".join(chunk_path(folder, i).name for i in bad)
        assert (f"Damaged {names};" in counts) == (kind != "missing")
    if kind != "missing":
        refused = [ask("front", folder), ask("effects", folder), ask("report", folder)]
        for said in refused:
            assert said.exit_code == 2
            name = "sweep.json" if bad is None else chunk_path(folder, bad[0]).name
            assert f"{folder / name}: is not what was written" in said.output
            assert again in said.output
            assert said.output.count("\n") == 1
    begun = []
    run_sweep(whole[0], folder, on_chunk=lambda done, chunks: begun.append(done))
    assert begun[0] == 4 - len(bad or [])
    assert files(folder) == files(whole[1])


def test_every_byte_of_a_file_is_sealed():
    file = BytesIO(b"head " + UNSEALED.encode() + b" and data")
    seal(file, "a file")
    content = file.getvalue()
    assert is_whole(file, "a file")
    assert not is_whole(file, "another")
    for place in range(len(content)):
        changed = bytearray(content)
        changed[place] ^= 1
        assert not is_whole(BytesIO(changed), "a file"), place
    assert not is_whole(BytesIO(content[:-1]), "a file")
    assert not is_whole(BytesIO(content + b"\0"), "a file")


def test_chunks_that_are_not_of_the_sweep_stay_though_its_manifest_is_lost(whole, folder):
    (folder / "sweep.json").write_text("{")
    for i in range(4):
        cut(chunk_path(folder, i), 0.5)
    before = files(folder)
    with pytest.raises(FaultyInput, match=r"holds no whole sweep\.json, and no whole chunk of"):
        run_sweep(whole[0], folder)
    assert files(folder) == before


def test_a_folder_of_an_earlier_version_is_told(whole, folder):
    text = json.dumps(asdict(read_manifest(folder)))
    (folder / "sweep.json").write_text(text)
    for said in (ask("sweep", "status", folder), ask("front", folder), ask("report", folder)):
        assert said.exit_code == 2
        assert "was written by another version of drysward" in said.output
        assert "run the sweep again into a new folder" in said.output
    with pytest.raises(FaultyInput, match="another version"):
        run_sweep(whole[0], folder)
    assert (folder / "sweep.json").read_text() == text


def test_numbers_that_are_known_at_no_point_are_told(whole):
    sweep = drysward.open(whole[1]).load()
    sweep["probability"] = sweep["probability"] * float("nan")
    for ask_of in (front, partial(effects, of="wilt")):
        with pytest.raises(FaultyInput, match="'wilt' is not known at any point"):
            ask_of(sweep)


# --- one process at a time ----------------------------------------------------------------------


def test_a_second_process_is_told_who_has_the_folder_and_may_read(whole, folder):
    work, _ = whole
    part = folder / ".chunk-000001.nc-99.part"
    with claimed(folder, work.manifest):
        part.write_bytes(b"under way")
        who = rf"is in use by process {os.getpid()} on \S+ since \d{{4}}-\d\d-\d\d \d\d:\d\d"
        with pytest.raises(FaultyInput, match=who):
            run_sweep(work, folder)
        assert part.exists()
        assert ask("sweep", "status", folder).exit_code == 0
        assert ask("front", folder).exit_code == 0
    reading = folder / ".front.csv-99.part"
    reading.write_text("of another process that reads")
    run_sweep(work, folder)
    assert not part.exists()
    assert reading.exists()


HOLDS = """
import sys, time
from pathlib import Path
from drysward.locks import locked
with locked(Path(sys.argv[1])):
    print("has it", flush=True)
    time.sleep(60)
"""


def test_a_process_that_is_killed_leaves_the_folder_free(tmp_path):
    with subprocess.Popen(
        [sys.executable, "-c", HOLDS, str(tmp_path)], stdout=subprocess.PIPE, text=True
    ) as other:
        assert other.stdout is not None
        assert other.stdout.readline() == "has it\n"
        with pytest.raises(FaultyInput, match=f"in use by process {other.pid} on "), locked(
            tmp_path
        ):
            pass
        other.send_signal(signal.SIGTERM if os.name == "nt" else signal.SIGKILL)
    with locked(tmp_path):
        pass
    assert {path.name for path in tmp_path.iterdir()} <= {LOCK}


def test_a_folder_that_cannot_be_locked_is_told(tmp_path, monkeypatch):
    def refuse(*_: object, **__: object) -> None:
        raise OSError(37, "No locks available")

    monkeypatch.setattr("drysward.locks.FileLock.acquire", refuse)
    with pytest.raises(FaultyInput) as told, locked(tmp_path):
        pass
    expected = f"{tmp_path}: cannot be locked (No locks available); choose a folder"
    assert str(told.value).startswith(expected)


def test_all_of_a_sweep_is_looked_through_in_order(whole):
    work, folder = whole
    assert look_through(folder, work.manifest).done == (0, 1, 2, 3)
