"""Compiled code that was kept: used when it is whole, made again when it is not."""

from __future__ import annotations

import gc
import hashlib
import logging
import os
import time
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from pathlib import Path
from threading import Event, Thread
from types import SimpleNamespace

import numpy as np
import pytest
from numba import typeof

from drysward import code_cache
from drysward import compiled as module
from drysward.compiled import compiled, is_warm, parsed
from drysward.faults import FaultyInput
from drysward.files import half_written
from drysward.locks import locked

VALUES = np.array([1.0, 2.5, 4.0])


def doubled(values):
    """Twice the sum."""
    total = 0.0
    for value in values:
        total += 2.0 * value
    return total


def tripled(values):
    """Three times the sum."""
    total = 0.0
    for value in values:
        total += 3.0 * value
    return total


@pytest.fixture
def folder(tmp_path, monkeypatch):
    """An empty folder of compiled code, as a process that has not run yet finds it."""
    monkeypatch.setattr(module, "user_cache", lambda: tmp_path / "cache")
    code_cache._warn_damaged.cache_clear()
    yield module.cache_folder()
    code_cache._warn_damaged.cache_clear()


def anew(function=doubled):
    """What another process makes of a function: its result, and whether it had to be compiled."""
    made = compiled.__wrapped__(function)
    result = made(VALUES)
    return result, not made.stats.cache_hits


@pytest.fixture
def kept(folder):
    """The one file that is kept of ``doubled``."""
    assert not is_warm()
    assert anew() == (15.0, True)
    assert is_warm()
    (path,) = folder.iterdir()
    return path


def told(caplog):
    return [record.getMessage() for record in caplog.records if record.levelno >= logging.WARNING]


def test_cached_code_is_used_without_a_message(kept, caplog):
    before = kept.stat()
    assert anew() == (15.0, False)
    assert kept.stat().st_mtime_ns == before.st_mtime_ns
    assert told(caplog) == []


def flipped(whole, at=None):
    at = len(whole) // 2 if at is None else at
    return whole[:at] + bytes([whole[at] ^ 0x10]) + whole[at + 1 :]


def of_another_build(whole):
    """Whole, but no code: as a library leaves it that takes functions apart in another way."""
    return hashlib.sha256(b"not pickled").digest() + b"not pickled"


@pytest.mark.parametrize(
    "damage",
    [
        lambda whole: whole[: len(whole) // 3], lambda whole: whole[:7], lambda whole: b"", flipped,
        lambda whole: flipped(whole, 3), lambda whole: os.urandom(len(whole)),
        lambda whole: whole + b"\0", of_another_build,
    ],
    ids=["cut off", "cut in its digest", "empty", "a bit in the code", "a bit in the digest",
         "garbage", "longer", "another build"],
)  # fmt: skip
def test_damaged_code_is_compiled_again_and_one_line_says_so(kept, damage, caplog):
    kept.write_bytes(damage(kept.read_bytes()))
    assert anew() == (15.0, True)
    assert told(caplog) == [
        f"Compiled code in {kept.parent} was damaged. It was deleted and is compiled again."
    ]
    assert anew() == (15.0, False)
    assert len(told(caplog)) == 1


def test_no_bit_can_turn_unseen(kept):
    whole = kept.read_bytes()
    for at in range(0, len(whole), len(whole) // 40):
        kept.write_bytes(flipped(whole, at))
        assert loaded(kept) is None
        assert not kept.exists()


def loaded(path):
    """What a process finds of ``doubled`` for one array."""
    context = compiled.__wrapped__(doubled).targetctx
    return code_cache.CodeCache(doubled, path.parent).load_overload((typeof(VALUES),), context)


def test_many_damaged_files_are_reported_in_one_line(kept, caplog):
    anew(tripled)
    for path in kept.parent.iterdir():
        path.write_bytes(b"")
    assert anew() == (15.0, True)
    assert anew(tripled) == (22.5, True)
    assert len(told(caplog)) == 1


def test_missing_code_is_compiled(kept, caplog):
    kept.unlink()
    assert anew() == (15.0, True)
    assert told(caplog) == []


def test_what_is_being_written_is_not_read_and_dead_leftovers_go(kept, caplog):
    mine = str(half_written(kept))
    writing = Path(mine.replace(f"-{os.getpid()}.", f"-{os.getppid()}."))
    # Above any number of a process.
    dead = Path(mine.replace(f"-{os.getpid()}.", f"-{2**22 + 1}."))
    for part in (writing, dead):
        part.write_bytes(b"half")
    assert anew() == (15.0, False)
    kept.unlink()
    assert anew() == (15.0, True)
    assert writing.exists()
    assert not dead.exists()
    assert told(caplog) == []


def test_code_can_be_read_while_it_is_written(kept, caplog):
    whole = kept.read_bytes()

    done = Event()

    def write():
        while not done.is_set():
            code_cache.write_whole({kept: lambda part: part.write_bytes(whole)})

    writer = Thread(target=write)
    writer.start()
    try:
        for _ in range(5):
            assert loaded(kept) is not None
    finally:
        done.set()
        writer.join()
    assert told(caplog) == []


def folder_of(parent, digit, days, name=""):
    """A folder of machine code of other sources, used some days ago."""
    path = parent / (name or digit * 16)
    path.mkdir()
    (path / "some.code").write_bytes(b"code")
    ago = time.time() - days * 86_400.0
    os.utime(path, (ago, ago))
    return path


def used_anew(function=doubled):
    """As ``anew``, in a process of its own as far as the noting of use goes."""
    code_cache._note_use.cache_clear()
    return anew(function)


def test_folders_that_were_not_used_for_long_go(kept):
    parent = kept.parent.parent
    old, half = folder_of(parent, "a", 91.0), folder_of(parent, "", 1.0, "c" * 16 + ".removed")
    recent, climates = folder_of(parent, "b", 89.0), folder_of(parent, "", 400.0, "climates")
    assert used_anew() == (15.0, False)
    assert not old.exists()
    assert not half.exists()
    assert {recent, climates, kept.parent} <= set(parent.iterdir())


def test_use_keeps_a_folder(kept):
    """Also when its code is only read: 91 days later another version clears, and it stays."""
    ago = time.time() - 91 * 86_400.0
    os.utime(kept.parent, (ago, ago))
    assert used_anew() == (15.0, False)
    assert time.time() - kept.parent.stat().st_mtime < 60.0
    code_cache._clear_unused(kept.parent.parent)
    assert kept.exists()


def test_another_process_that_clears_is_left_alone(kept):
    parent = kept.parent.parent
    old = folder_of(parent, "a", 91.0)
    with locked(parent):
        assert used_anew() == (15.0, False)
        assert old.exists()
    assert used_anew() == (15.0, False)
    assert not old.exists()


def test_a_folder_that_goes_while_it_is_used_is_compiled_again(kept, caplog):
    """Four processes clear and compile at once; each has its result, and no part is left."""
    parent = kept.parent.parent
    ago = time.time() - 91 * 86_400.0

    def clear():
        for _ in range(20):
            with suppress(OSError):
                os.utime(kept.parent, (ago, ago))
            with suppress(FaultyInput):
                code_cache._clear_unused(parent)

    clearing = [Thread(target=clear) for _ in range(3)]
    for one in clearing:
        one.start()
    for _ in range(5):
        assert used_anew()[0] == 15.0
    for one in clearing:
        one.join()
    assert used_anew()[0] == 15.0
    assert used_anew() == (15.0, False)
    assert not list(parent.glob("*.removed"))
    assert told(caplog) == []


def test_without_a_cache_folder_nothing_is_cached(folder, caplog):
    folder.parent.parent.mkdir(parents=True, exist_ok=True)
    folder.parent.write_text("a file in the way")
    assert not is_warm()
    for _ in range(2):
        assert anew() == (15.0, True)
    assert told(caplog) == []


def test_a_file_that_cannot_be_replaced_keeps_nothing(kept, caplog):
    kept.unlink()
    kept.mkdir()
    (kept / "in the way").touch()
    for _ in range(2):
        assert anew() == (15.0, True)
    assert not list(kept.parent.glob(".*.part"))
    assert told(caplog) == []


@pytest.mark.skipif(os.name != "posix" or os.geteuid() == 0, reason="root may write anywhere")
def test_a_folder_without_leave_to_write_keeps_nothing(folder, caplog):
    folder.mkdir(parents=True)
    folder.chmod(0o500)
    for _ in range(2):
        assert anew() == (15.0, True)
    assert told(caplog) == []


def test_an_edited_file_has_other_code(kept, tmp_path, monkeypatch):
    edited = tmp_path / "edited.py"
    edited.write_text("FACTOR = 4.0\n")
    elsewhere = SimpleNamespace(getfile=lambda function: str(edited))
    monkeypatch.setattr(code_cache, "inspect", elsewhere)
    assert anew() == (15.0, True)
    assert len(list(kept.parent.iterdir())) == 2


def test_threads_may_parse_at_once():
    """Python 3.11 fails where another thread parses while one collects garbage."""

    def let_others_go(*_):
        time.sleep(0)

    code = "\n".join(f"x{i} = f(a[{i}], b + {i} * (c - d))" for i in range(60))
    usual = gc.get_threshold()
    gc.callbacks.append(let_others_go)
    gc.set_threshold(10)
    try:
        with ThreadPoolExecutor(4) as pool:
            trees = list(pool.map(parsed, [code] * 8))
    finally:
        gc.callbacks.remove(let_others_go)
        gc.set_threshold(*usual)
    assert [len(tree) for tree in trees] == [60] * 8
