"""Laws of the size that suffices with confidence across draws of what is not known."""

from __future__ import annotations

import math
from dataclasses import replace
from importlib.resources import files
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

import drysward
from drysward.cli import main
from drysward.faults import FaultyInput
from drysward.results.sizing_text import answer_text, confidence_lines
from drysward.scenario.load import loads
from drysward.studies.doubt.crossed import drawn_numbers
from drysward.studies.doubt.draws import draw, drawn_scenarios
from drysward.studies.doubt.sized import (
    CONFIDENCES,
    SizedDraws,
    _measures,
    draws_dataset,
    size_draws,
)
from drysward.studies.sizing import solve

YEARS = (1, 6)
# With six years one may fail.
ODDS = "odds = 0.2 }"


def pond(*changes):
    text = (files("drysward.scenarios") / "pond.toml").read_text(encoding="utf-8")
    for old, new in (("odds = 0.10 }", ODDS), *changes):
        assert old in text, old
        text = text.replace(old, new)
    read = loads(text, Path())
    return replace(read, sizing=replace(read.sizing, against=None))


@pytest.fixture(scope="module")
def shipped():
    return pond()


@pytest.fixture(scope="module")
def plain(shipped):
    return solve(shipped, YEARS)


@pytest.fixture(scope="module")
def spread(shipped):
    return size_draws(shipped, 8, YEARS, workers=2)


def test_certain_numbers_need_the_plain_least_size_in_every_draw(shipped, plain):
    sized = size_draws(shipped, 3, YEARS, numbers=())
    assert not math.isnan(plain.least.size)
    assert (sized.least == plain.least.size).all()
    suffices = len(plain.failing_at_stated_size) <= plain.allowed_years
    assert (sized.stated_suffices == suffices).all()


def test_a_draw_needs_what_its_scenario_alone_needs(shipped, spread):
    """Side by side with other draws, on shared weather, nothing changes."""
    rows = draw(drawn_numbers(shipped), 8, shipped.weather.seed).rows()
    for i in (0, 5):
        drawn = next(drawn_scenarios(shipped, rows[i : i + 1]))
        alone = solve(replace(drawn, sizing=shipped.sizing), YEARS)
        expected = math.inf if math.isnan(alone.least.size) else alone.least.size
        assert spread.least[i] == pytest.approx(expected, rel=1e-12)
        suffices = len(alone.failing_at_stated_size) <= alone.allowed_years
        assert spread.stated_suffices[i] == suffices


def test_workers_change_nothing(shipped, spread):
    alone = size_draws(shipped, 8, YEARS, workers=1)
    assert (alone.least == spread.least).all()
    assert (alone.stated_suffices == spread.stated_suffices).all()


def test_a_written_range_gives_a_spread():
    scenario = pond(
        (
            'delivery = { system = "in_ground_rotors", uniformity = 0.6, flow = "150 gpm" }\n'
            "priority = 2\n\n[fields.lower]",
            'delivery = { system = "in_ground_rotors", uniformity = "0.6 (0.45 to 0.75)", '
            'flow = "150 gpm" }\npriority = 2\n\n[fields.lower]',
        )
    )
    only = [one for one in drawn_numbers(scenario) if one.key in scenario.ranges]
    assert [one.key for one in only] == ["fields.practice.delivery.uniformity"]
    sized = size_draws(scenario, 4, YEARS, numbers=only)
    assert np.unique(sized.least).size > 1


def test_confidence_rises(spread):
    sizes = [spread.with_confidence(share) for share in np.linspace(0.01, 1.0, 50)]
    assert sizes == sorted(sizes)
    assert sizes[0] == spread.least.min()
    assert sizes[-1] == spread.least.max()


def test_sizes_with_confidence_are_those_of_draws(shipped):
    """By hand: of ten draws 5 are 50%, 8 are 80% and all ten are 95%."""
    least = np.array([9.0, math.inf, 1.0, 3.0, 2.0, 8.0, 7.0, 4.0, 6.0, 5.0])
    told = draws_dataset(
        SizedDraws(
            shipped, least, least <= 2.0, least > 1e9, (least > 1e9)[:, None] & [0, 1, 0], 5
        )
    )
    assert told["confidence"].values.tolist() == list(CONFIDENCES)
    assert told["sizing_confidence"].values.tolist() == [5.0, 8.0, math.inf]
    assert told["sizing_confidence_suffices"].values.tolist() == [0.5, 0.8, 0.9]
    assert told["sizing_given_suffices"].item() == 0.2
    assert told["sizing_nothing_suffices"].item() == 0.1
    for name in told.data_vars:
        assert {"units", "long_name"} <= set(told[name].attrs), name
    told["sizing_as_given"] = ((), 2.0, {"units": "m3"})
    lines = dict(confidence_lines(told, "metric"))
    assert lines["With 50% confidence"] == (
        "5 m3: suffices in 5 of 10 draws of soil, turf and system"
    )
    said = "nothing suffices: some size suffices in only 9 of 10 draws"
    assert lines["With 95% confidence"] == said
    assert lines["Nothing suffices"] == (
        "in 1 of 10 draws, even with all the water that the plan demands: “practice” fails in 1. "
        "'drysward compare --draws 64' says which numbers to measure"
    )
    assert "sampling error of the years" in lines["Draws"]
    told["sizing_size"] = ((), 4.0, {"units": "m3"})
    told["sizing_as_given"].attrs["long_name"] = "storage of the scenario"
    assert answer_text(told, "metric") == (
        "With 80% confidence 8 m3 keeps the goal, in 8 of 10 draws. With the likely soil and grass "
        "4 m3 keeps the goal, which it does in 4 of the 10 draws."
    )
    told["sizing_size"] = ((), math.nan, {"units": "m3"})
    assert answer_text(told, "metric").endswith(
        "With the likely soil and grass no size tried keeps the goal."
    )
    unsure = told.assign(sizing_confidence=told["sizing_confidence"] * math.inf)
    assert answer_text(unsure, "metric").startswith(
        "With 80% confidence nothing suffices: in 1 of 10 draws no size tried does, and there the "
        "plan or the system falls short, not the water. With the likely"
    )
    of_water = unsure.assign(sizing_fails_anyhow=0.0 * told["sizing_fails_anyhow"])
    assert answer_text(of_water, "metric").startswith(
        "With 80% confidence nothing suffices: in 1 of 10 draws no size tried does. With the likely"
    )
    none = told["sizing_draw_least"].copy(data=[math.inf] * 6 + [1.0] * 4)
    assert answer_text(unsure.assign(sizing_draw_least=none), "metric").startswith(
        "With even odds nothing suffices: in 6 of 10 draws no size tried does, and in 1 of them "
        "the plan or the system falls short, not the water."
    )
    many = dict(confidence_lines(told.assign_attrs(sizing_draws=64), "metric"))
    assert "drysward compare" not in many["Nothing suffices"]
    assert answer_text(told.drop_vars("sizing_draw_least"), "metric").endswith(
        "--draws 64 tries others."
    )


def test_what_fails_most_is_what_to_measure(shipped):
    """Of 64 draws those fail that stand high in one number alone."""
    draws = draw(drawn_numbers(shipped), 64, 1)
    first = draws.doubtful[0].measure
    failing = np.floor(200.0 * draws.u[:, 0] ** 4)
    named = _measures(draws, failing)
    assert named[0][0] == first
    assert named[0][1] > 0.5
    assert _measures(draws, np.zeros(64)) == ()
    few = draw(drawn_numbers(shipped), 16, 1)
    assert _measures(few, failing[:16]) == ()


def test_too_few_draws_or_no_sizing_are_refused(shipped):
    with pytest.raises(FaultyInput, match=r"^draws: 1 draw .*; 2 or more, such as 64"):
        size_draws(shipped, 1, YEARS)
    with pytest.raises(FaultyInput, match="sizing: is missing"):
        size_draws(replace(shipped, sizing=None), 4, YEARS)
    with pytest.raises(FaultyInput, match="supply: is missing"):
        size_draws(drysward.shipped("demo"), 4, YEARS)


@pytest.mark.parametrize("more", [("--draws", "1"), ("--draws", "4", "--no-sizing")])
def test_the_command_refuses_before_it_runs(more):
    done = CliRunner().invoke(main, ["supply", "pond", *more])
    assert done.exit_code == 2
    assert "--draws" in done.stderr
    assert done.stdout == ""


@pytest.mark.slow
def test_the_command_tells_and_keeps_sizes_with_confidence(tmp_path):
    import xarray as xr

    words = ["supply", "pond", "--years", "1-3", "--draws", "2", "--out", str(tmp_path)]
    done = CliRunner().invoke(main, words)
    assert done.exit_code == 0, done.stderr
    # One line for all shares of the draws in which nothing suffices.
    assert "With 50% confidence" in done.stdout
    assert ("With 95% confidence" in done.stdout) != ("confidence or more" in done.stdout)
    assert max(map(len, done.stdout.splitlines())) <= 100
    with xr.open_dataset(tmp_path / "results.nc") as kept:
        assert kept["sizing_confidence"].dims == ("confidence",)
        assert kept["sizing_draw_least"].sizes == {"draw": 2}
        assert 0.0 <= kept["sizing_given_suffices"].item() <= 1.0
