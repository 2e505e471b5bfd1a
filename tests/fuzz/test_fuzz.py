"""Mutants of weather files and scenarios end in a value or in clean lines; past failures do too."""

from __future__ import annotations

import importlib.util
import sys
from pathlib import Path

import pytest

HERE = Path(__file__).parent
KEPT = sorted(path for path in (HERE / "kept").iterdir() if path.is_file())
SHORT = 40  # cases of each kind; long.py has more


@pytest.fixture(scope="module")
def mutants():
    """The makers of cases, whose folder is no package."""
    if "mutants" not in sys.modules:
        spec = importlib.util.spec_from_file_location("mutants", HERE / "mutants.py")
        module = importlib.util.module_from_spec(spec)
        sys.modules["mutants"] = module
        spec.loader.exec_module(module)
    return sys.modules["mutants"]


@pytest.mark.parametrize("kind", ["weather", "scenario"])
def test_mutants_end_as_they_must(mutants, kind, tmp_path):
    failed = list(mutants.failures(kind, 20_000, range(SHORT), tmp_path))
    assert not failed, failed[0]


def test_a_case_is_always_the_same(mutants):
    for kind in mutants.KINDS:
        assert mutants.case(kind, 3, 7) == mutants.case(kind, 3, 7) != mutants.case(kind, 3, 8)


@pytest.mark.parametrize("path", KEPT, ids=lambda path: path.name)
def test_what_failed_once(mutants, path, tmp_path):
    assert mutants.unclean(path.name.partition("--")[2], path.read_bytes(), tmp_path) == ""


def test_what_must_not_happen_is_seen(mutants, tmp_path, monkeypatch):
    """A crash, a loop without end, memory without end and a line that is no line of ours."""
    from drysward.faults import Fault, FaultyInput

    def reads(what):
        monkeypatch.setattr(mutants, "read_weather_file", lambda path: what())
        return mutants.unclean("a.csv", b"", tmp_path)

    def refusal(what):
        raise FaultyInput(Fault("a.csv", what))

    def forever():
        while True:
            pass

    monkeypatch.setattr(mutants, "MOST_SECONDS", 0.05)
    assert "ZeroDivisionError" in reads(lambda: 1 / 0)
    assert "took more than" in reads(forever)
    assert "MemoryError" in reads(lambda: bytearray(10**9))
    assert "inside of the program" in reads(lambda: refusal("is <object object at 0x7f00>"))
    assert "characters in one line" in reads(lambda: refusal("x" * 10_000))
    assert "says nothing" in reads(lambda: refusal(""))
    assert reads(lambda: refusal("is a folder")) == ""
