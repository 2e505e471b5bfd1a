"""``drysward sweep``, ``front``, ``effects`` and ``search`` as a person sees them."""

from __future__ import annotations

import re
import shutil
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from drysward.cli import main

GOOD = """
title = "Two triggers"
scenario = "demo"
plans = ["refill"]
years = 3
[axes.trigger]
key = "plans.refill.trigger"
values = [0.3, 0.6]
[axes.depth]
key = "fields.stadium.root_zone.depth"
values = ["10 in", "12 in"]
"""


def ask(*words: object) -> Result:
    return CliRunner().invoke(main, [str(word) for word in words])


@pytest.fixture
def sweep(tmp_path: Path) -> Path:
    path = tmp_path / "mine.toml"
    path.write_text(GOOD)
    return path


def closed_pipe(text, err=False):
    raise BrokenPipeError


def test_a_sweep_from_file_to_front(sweep, tmp_path, monkeypatch):
    out = tmp_path / "out"
    ran = ask("sweep", sweep, "--out", out)
    assert ran.exit_code == 0, ran.output
    assert "4 points x 1 plan x 3 years = 12 site-years of 2 fields, in 4 chunks" in ran.output
    assert "on the disk" in ran.output
    again = ask("sweep", "--out", out, sweep)
    assert again.exit_code == 0
    assert "4 chunks are done; 0 site-years left to run" in again.output
    (out / "chunk-000003.nc").unlink()
    told = ask("sweep", "status", out)
    assert ["points", "3", "4", "75"] in [line.split() for line in told.output.splitlines()]
    assert f"Go on with drysward sweep {sweep} --out" in " ".join(told.output.split())
    chunk = out / "chunk-000001.nc"
    chunk.write_bytes(chunk.read_bytes()[:-4] + b"half")
    told = ask("sweep", "status", out)
    assert ["points", "2", "4", "50"] in [line.split() for line in told.output.splitlines()]
    assert "Damaged     chunk-000001.nc; " in told.output
    (out / "chunk-000001.nc").rename(tmp_path / "damaged")
    for command in ("front", "effects"):
        told = ask(command, out, "--force") if command == "front" else ask(command, out)
        assert "2 of 4 points are done; the others are not in it" in told.output
    (tmp_path / "damaged").rename(out / "chunk-000001.nc")
    again = ask("sweep", sweep, "--out", out)
    assert "Damaged: chunk-000001.nc; run again now\n" in again.output
    assert "2 chunks are done; 6 site-years left to run" in again.output
    told = ask("front", out, "--risk", "footprinting", "--field", "stadium", "--units", "metric")
    assert told.exit_code == 0, told.output
    assert "water against footprinting on stadium" in told.output
    assert re.search("± +standard error of the years", told.output)
    lines = (out / "front-water-footprinting-stadium.csv").read_text().splitlines()
    assert "trigger,depth (mm)," in lines[0]
    odds = "risk: footprinting (share of years),risk_se (share of years)"
    assert lines[0].endswith(f",cost: water (mm),{odds}")
    assert "points are done" not in told.output
    told = ask("front", out, "--risk", "days below")
    assert told.exit_code == 0, told.output
    assert (
        "water (mean over the area) against days below (worst field), plan refill"
        in " ".join(told.output.split())
    )
    assert (out / "front-water-days-below.csv").exists()
    (out / "front-water-days-below.csv").unlink()
    with monkeypatch.context() as patch:  # as for "| head", which ends before all is printed
        patch.setattr("drysward.screen.formats.say", closed_pipe)
        assert ask("front", out, "--risk", "days below", "--format", "csv").exit_code != 0
    assert (out / "front-water-days-below.csv").exists()
    told = ask("front", out, "--cost", "irrigation")
    assert told.exit_code == 2
    assert "cost: no 'irrigation' that is one number for each point; did you mean 'water'?" in (
        " ".join(told.output.split())
    )
    told = ask("effects", out, "--of", "water")
    assert told.exit_code == 0, told.output
    assert "what drives water, plan refill" in told.output


def test_a_sweep_with_draws_from_file_to_front(sweep, tmp_path):
    sweep.write_text(GOOD.replace("[axes.trigger]", "[doubt]\ndraws = 4\n[axes.trigger]"))
    out = tmp_path / "out"
    ran = ask("sweep", sweep, "--out", out)
    assert ran.exit_code == 0, ran.output
    assert "4 points x 4 draws x 1 plan x 3 years = 48 site-years" in ran.output
    told = ask("sweep", "status", out)
    assert " 4 of " in told.output.partition("Draws")[2]
    assert ["site-years", "48", "48", "100"] in [line.split() for line in told.output.splitlines()]
    told = ask("front", out, "--risk", "days below", "--high")
    assert told.exit_code == 0, told.output
    assert "against days below, high (worst field)" in told.output
    assert "means over 4 draws of soil, grass and delivery" in told.output.replace("\n", " ")
    told = ask("effects", out, "--of", "water")
    assert "means over 4 draws of soil, grass and delivery" in told.output.replace("\n", " ")
    sweep.write_text(sweep.read_text().replace("draws = 4", "draws = 1"))
    refused = ask("sweep", sweep, "--out", tmp_path / "other")
    assert refused.exit_code == 2
    assert "doubt.draws: 1 is too few for a spread; 2 or more" in refused.output


def test_a_forecast_runs_nothing(sweep, tmp_path):
    told = ask("sweep", sweep, "--out", tmp_path / "out", "--forecast")
    assert told.exit_code == 0
    assert "About" in told.output
    assert not (tmp_path / "out").exists()


FAULTS = [
    ("plans.refill.trigger", "plans.refill.triger", "plans.refill.triger: is not known here"),
    ("plans.refill.trigger", "plans.refil.trigger", "no 'refil'; did you mean 'refill'?"),
    ("fields.stadium.root", "fields.stadum.root", "no 'stadum'; did you mean 'stadium'?"),
    ("[0.3, 0.6]", "[]", "axes.trigger.values: is empty; one value at least"),
    ("[0.3, 0.6]", "[0.3, 1.6]", "trigger = 1.6: plans.refill.trigger: 1.6 is refused"),
    ('"10 in"', '"10 furlongs per"', "unit 'furlongs per' is not known"),
    ("values = [0.3, 0.6]", "from = 0.3", "axes.trigger.from: goes with to"),
    ("values = [0.3, 0.6]", "from = 0.6\nto = 0.3", "0.6 is not below 0.3"),
    ("values = [0.3, 0.6]", "from = 0.3\nto = 0.6", "steps = 5 here, or samples = 32"),
    ("values = [0.3, 0.6]", "values = [0.3]\nlinked = 'a'\n[axes.b]\nkey = 'fields.*.area'\n"
     "values = ['1 acre', '2 acre']\nlinked = 'a'", "linked axes differ in length: trigger 1, b 2"),
    ("values = [0.3, 0.6]", "from = 0.3\nto = 0.6\nsteps = 500000000000",
     "axes.trigger.steps: 500000000000 is refused; 2 to 1,000,000"),
    ("values = [0.3, 0.6]", "from = 0.3\nto = 0.6\nsteps = 700000",
     "has 1,400,000 points; at most 1,000,000"),
    ('"demo"', '"dmeo"', "scenario: 'dmeo' is no file"),
    ("years = 3", "years = 3\ndaily = ['wlit']", "daily[1]: 'wlit' is not known"),
    ("[axes.trigger]", "[axes.plan]", "'plan' is a name of the results; another name"),
    ("plans.refill.trigger", "weather.years", "must be the same at all points"),
    ('plans = ["refill"]', 'plans = ["refil"]', "plans: no plan 'refil'; did you mean 'refill'?"),
    ("years = 3", "years = 3\n[design]\nkind = 'sobol sequence'\nsamples = 100",
     "100 is no power of 2; 64 or 128"),
    ("years = 3", "years = 3\n[design]\nkind = 'latin'", "design.kind: 'latin' is not known"),
    ('key = "plans.refill.trigger"\nvalues = [0.3, 0.6]',
     'catalog = "species.kentucky_bluegrass.wilt_sk"',
     "no number 'wilt_sk'; did you mean 'wilt_ks'?"),
    ("years = 3", "years = 3 3", "mine.toml line 5"),
]  # fmt: skip


@pytest.mark.parametrize(("good", "bad", "told"), FAULTS)
def test_bad_input_is_told_by_its_key_and_nothing_is_written(sweep, tmp_path, good, bad, told):
    assert good in GOOD
    sweep.write_text(GOOD.replace(good, bad))
    out = tmp_path / "out"
    ran = ask("sweep", sweep, "--out", out)
    assert ran.exit_code == 2, ran.output
    assert told in ran.output
    assert "mine.toml" in ran.output
    assert "Traceback" not in ran.output
    assert not out.exists()


def test_a_folder_that_cannot_be_used_is_told(sweep, tmp_path, monkeypatch):
    (tmp_path / "file").write_text("")
    ran = ask("sweep", sweep, "--out", tmp_path / "file" / "out")
    assert ran.exit_code == 2
    assert "cannot be written" in ran.output
    empty = shutil.disk_usage(tmp_path)._replace(free=1000)
    monkeypatch.setattr(shutil, "disk_usage", lambda path: empty)
    ran = ask("sweep", sweep, "--out", tmp_path / "full")
    assert ran.exit_code == 2
    assert "GB free and the sweep takes about" in ran.output
    assert not list((tmp_path / "full").glob("chunk-*"))


@pytest.mark.parametrize("command", [["sweep", "status"], ["front"], ["effects"]])
def test_a_folder_without_a_sweep_is_told(command, tmp_path):
    ran = ask(*command, tmp_path)
    assert ran.exit_code == 2
    assert "holds no result and no sweep" in ran.output or "holds no sweep" in ran.output


def test_a_cluster_that_is_not_there_is_told(sweep, tmp_path, monkeypatch):
    pytest.importorskip("distributed")
    monkeypatch.setattr("drysward.studies.sweep.cluster.PATIENCE", "1s")
    ran = ask("sweep", sweep, "--out", tmp_path / "out", "--cluster", "tcp://127.0.0.1:9")
    assert ran.exit_code == 2
    assert "no scheduler answers at 'tcp://127.0.0.1:9'" in ran.output


def test_the_sweep_that_ships_can_be_read():
    told = ask("sweep", "sweep-demo", "--out", "nowhere", "--forecast")
    assert told.exit_code == 0, told.output
    assert "1,728 points" in told.output
    assert ask("sweep", "sweep-dmeo", "--out", "nowhere").exit_code == 2


def test_a_search_tells_what_it_found_and_how_it_fares_on_fresh_years(sweep):
    more = '[search]\nplan = "refill"\nfield = "practice"\nstage = "dormancy"\nodds = 0.4\n'
    sweep.write_text(GOOD.replace("years = 3", "years = 10") + more + "tries = 20\n")
    told = ask("search", sweep)
    assert told.exit_code == 0, told.output
    assert "trigger = 0.6" in told.output
    assert "fresh" in told.output
    assert "on the same 10 years" in told.output
    below = '[search]\nplan = "refill"\nfield = "practice"\ndays_below = 30\n'
    sweep.write_text(GOOD.replace("years = 3", "years = 10") + below + "tries = 20\n")
    told = ask("search", sweep)
    assert told.exit_code == 0, told.output
    assert "least water with at most 30 days a year below playing condition" in told.output
    assert "on the same 10 years" in told.output.replace("\n", " ")
    sweep.write_text(GOOD)
    refused = ask("search", sweep)
    assert refused.exit_code == 2
    assert "search: is missing" in refused.output
