"""How far a long command is: lines where stderr is a file, bars at a terminal."""

from __future__ import annotations

import re
import time

import pytest

import drysward
from drysward import progress as module
from drysward.progress import progress


def test_a_line_now_and_then_where_nobody_watches(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(module, "LINE_EVERY_S", 0.05)
    with progress() as begin:
        advance, over = begin("Running the plans"), begin("Reading")
        over(1.0)
        for done in (0.25, 0.5, 0.75):
            advance(done)
            time.sleep(0.12)
    out, err = capsys.readouterr()
    assert not out
    assert re.search(r"Running the plans: 50% done, \d+ s so far, about \d+ s left\n", err)
    assert "Reading" not in err


def test_what_is_over_at_once_says_nothing(capsys: pytest.CaptureFixture[str]) -> None:
    with progress() as begin:
        begin("Running the plans")(1.0)
    assert capsys.readouterr() == ("", "")


def test_the_time_left_does_not_count_what_was_done_before() -> None:
    work = module._Work("Running the sweep")
    work.advance(0.9)
    assert work.left == ""
    work.begun -= 10.0
    work.advance(0.95)
    assert work.left == "about 10 s left"
    work.advance(1.0)
    assert work.left == ""


def test_bars_at_a_terminal(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(module, "PATIENCE_S", 0.0)
    monkeypatch.setattr("sys.stderr.isatty", lambda: True, raising=False)
    monkeypatch.setenv("FORCE_COLOR", "1")
    with progress() as begin:
        begin("Running the plans")(0.5)
        # A busy machine may take longer than a frame to draw one.
        said, until = "", time.monotonic() + 10.0
        while "Running the plans" not in said and time.monotonic() < until:
            time.sleep(0.1)
            said += capsys.readouterr().err
    assert "Running the plans" in said


def test_a_fault_ends_the_progress() -> None:
    def broken(done: float) -> None:
        raise ArithmeticError

    with pytest.raises(ArithmeticError), progress():
        broken(0.5)


def test_a_call_in_python_is_silent_unless_progress_is_on(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(module, "LINE_EVERY_S", 0.001)
    scenario = drysward.shipped("demo")
    drysward.run(scenario, only=["none"])
    assert capsys.readouterr() == ("", "")
    shares: list[float] = []
    drysward.run(scenario, only=["none"], progress=shares.append)
    assert capsys.readouterr() == ("", "")
    assert shares == sorted(shares)
    assert shares[-1] == 1.0
    assert len(shares) > 1
    drysward.run(scenario, only=["none"], progress=True)
    out, err = capsys.readouterr()
    assert not out
    assert "Running the plans: " in err


def test_a_sizing_names_its_steps(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(module, "LINE_EVERY_S", 0.001)
    drysward.size(drysward.shipped("pond"), years=(1, 10), draws=0, progress=True)
    assert "Trying sizes: " in capsys.readouterr().err
