"""Sweeps: a point is the scenario run alone, whoever runs it and however often it was stopped."""

from __future__ import annotations

import itertools
import json
import os
import signal
import subprocess
import sys
import time
from contextlib import contextmanager
from pathlib import Path

import numpy as np
import pytest
import xarray as xr
from scipy.io import netcdf_file

import drysward
from drysward.faults import FaultyInput
from drysward.scenario.load import loads
from drysward.studies.sweep.chunk import run_points
from drysward.studies.sweep.description import Sweep, read_sweep, sweep_of
from drysward.studies.sweep.design import FIELDS, PLANS, WEATHER, Design, depth_of, design_of
from drysward.studies.sweep.folder import chunk_path, chunks_there
from drysward.studies.sweep.points import point_at, tree_at
from drysward.studies.sweep.run import Work, plan_work, run_sweep
from drysward.studies.sweep.shared import Held

AXES = """
[axes.trigger]
key = "plans.refill.trigger"
values = [0.3, 0.6]
[axes.turf]
key = "fields.*.species"
values = ["kentucky_bluegrass", "tall_fescue"]
"""
PLANS_RUN = 'plans = ["refill", "restricted"]'


def made(text: str, base: str | None = None) -> Sweep:
    """A sweep in memory over the demo scenario, or over ``base``."""
    shipped = drysward.shipped()
    return sweep_of("sweep.toml", text, "demo.toml", base or shipped.text, shipped.folder)


def small(more: str = "", axes: str = AXES, years: int = 3) -> Sweep:
    return made(f'scenario = "demo"\nyears = {years}\n{PLANS_RUN}\n{more}\n{axes}')


def same(one, other):
    """Every bit is the same; the state of the program's files is not looked at."""
    one.attrs.pop("identity"), other.attrs.pop("identity", None)
    xr.testing.assert_identical(one, other)
    other.attrs["identity"] = ""


def work_of(sweep: Sweep) -> Work:
    return plan_work(sweep)


def ran(sweep: Sweep, folder: Path, **how) -> xr.Dataset:
    run_sweep(work_of(sweep), folder, **how)
    return drysward.open(folder).load()


def test_a_point_may_lack_what_the_scenario_has_prices_of():
    """Sand or native as an axis: at each point one of the two prices has no field."""
    zones = ["sand_over_gravel_12in", "native_loam"]
    prices = "\n[costs.construction]\n" + "".join(f'{zone} = "1 per ft2"\n' for zone in zones)
    axis = f'[axes.ground]\nkey = "fields.*.root_zone"\nvalues = {json.dumps(zones)}\n'
    sweep = made('scenario = "demo"\nyears = 3\n' + axis, drysward.shipped().text + prices)
    for place, zone in enumerate(zones):
        fields = point_at(sweep, np.array([place])).scenario.fields
        assert {field.root_zone.like for field in fields} == {zone}


# --- a point is the scenario itself -------------------------------------------------------------


@pytest.mark.parametrize(
    ("shipped", "plans", "axis"),
    [
        (
            "demo",
            ["refill", "restricted"],
            'alternatives.later = { "weather.future" = "warm_dry", "plans.refill.trigger" = 0.6 }',
        ),
        ("pond", ["refill", "thrifty"], 'key = "supply.storage.capacity"\nvalues = ["1 Mgal"]'),
        ("match-days", ["refill_morning"], 'key = "fields.*.delivery.uniformity"\nvalues = [0.6]'),
    ],
)
@pytest.mark.slow
def test_a_point_is_the_scenario_run_alone_bit_for_bit(tmp_path, shipped, plans, axis):
    """53 years are two stretches, so that what is carried over is looked at too."""
    base = drysward.shipped(shipped)
    only = "" if plans is None else f"plans = {json.dumps(plans)}"
    text = f'scenario = "{shipped}"\nyears = 53\n{only}\n[axes.a]\n{axis}\n'
    text += '[axes.area]\nkey = "fields.*.area"\nvalues = ["1 acre", "3 acre"]'
    sweep = sweep_of("sweep.toml", text, "base.toml", base.text, base.folder)
    swept = ran(sweep, tmp_path)
    design = design_of(sweep)
    last = design.n - 1
    scenario = point_at(sweep, design.positions[last]).scenario
    alone = drysward.run(scenario, only=plans)
    told = drysward.answers(alone)
    point = swept.isel(point=last)
    below = [f"days_below_condition_{name}" for name in ("mean", "se", "1in10")]
    for name in ("probability", "probability_se", "days_mean", "season_water", "demand", *below):
        np.testing.assert_array_equal(point[name].values, told[name].values, err_msg=name)
    for name in ("irrigation_gross", "days_below_condition", "longest_wilt", "longest_dead"):
        np.testing.assert_array_equal(point[name].values, alone[name].values.astype(np.float32))
    for name in ("drainage", "transpiration", "shortage", "irrigation_month"):
        values = alone[name].mean("year").values
        np.testing.assert_allclose(point[f"{name}_mean"].values, values, rtol=1e-12, atol=1e-12)
    for name in alone.data_vars:
        if str(name).startswith("play_") or str(name) in ("supply_spill", "supply_delivered"):
            values = alone[name].mean("year").values
            np.testing.assert_allclose(point[f"{name}_mean"].values, values, rtol=1e-12)
    assert point["peak_week_most"].values.max() == alone["peak_week"].values.max()


@pytest.mark.parametrize("shipped", ["demo", "match-days"])
@pytest.mark.slow
def test_points_with_fields_of_their_own_are_the_same_alone_and_in_a_group(tmp_path, shipped):
    """Species' numbers and soil, over two stretches, some points on common ground; with play too,
    where a cover lies. Eleven points of a chunk are more than a block holds.
    """
    base = drysward.shipped(shipped)
    kind = base.fields[0].species
    axes = f'''[axes.kc]
key = "overrides.species.{kind}.kc_summer"
from = 0.7
to = 0.9
steps = 7
[axes.depth]
key = "fields.{base.fields[0].key}.root_zone.depth"
values = ["10 in", "14 in"]
[axes.lost]
key = "overrides.species.{kind}.root_heat_loss"
values = [0.01]
'''
    text = f'scenario = "{shipped}"\nyears = 52\nplans = ["{base.plans[-1].key}"]\n{axes}'
    design = design_of(sweep_of("sweep.toml", text, "base.toml", base.text, base.folder))
    numbers = range(11)
    together = run_points(design, numbers, Held())
    for number in numbers:
        alone = run_points(design, range(number, number + 1), Held())
        assert alone.keys() == together.keys()
        for name, (_, values) in alone.items():
            assert values[0].tobytes() == together[name][1][number].tobytes(), name
    told = together["transpiration_mean"][1]
    assert len(np.unique(told.reshape(len(numbers), -1), axis=0)) == len(numbers)


def test_a_point_is_the_file_with_its_keys_written_by_hand():
    base = drysward.shipped()
    axes = '[axes.depth]\nkey = "fields.stadium.root_zone.depth"\nvalues = ["14 in"]'
    axes += '\n[axes.wilt]\nkey = "overrides.species.kentucky_bluegrass.wilt_ks"\nvalues = [0.7]'
    axes += '\n[axes.below]\nkey = "plans.restricted.stages[2].below"\nvalues = ["100 mm"]'
    sweep = made(f'scenario = "demo"\n{axes}')
    by_hand = base.text.replace(
        'root_zone = "sand_over_gravel_12in"',
        'root_zone = { like = "sand_over_gravel_12in", depth = "14 in" }',
    ).replace('below = "120 mm", crown_only', 'below = "100 mm", crown_only')
    by_hand += '\n[overrides]\n"species.kentucky_bluegrass.wilt_ks" = 0.7\n'
    wanted = loads(by_hand, base.folder)
    point = point_at(sweep, np.zeros(3)).scenario
    assert point.fields == wanted.fields
    assert point.plans == wanted.plans
    assert point.catalog.overrides == wanted.catalog.overrides
    # The base is left as it was for the next point.
    assert sweep.base["fields"]["stadium"]["root_zone"] == "sand_over_gravel_12in"
    assert tree_at(sweep, np.zeros(3)) == tree_at(sweep, np.zeros(3))


def test_a_plan_that_an_axis_varies_is_not_called_by_its_label(tmp_path):
    swept = ran(small(axes=AXES), tmp_path)
    labels = dict(zip(swept["plan"].values, swept["plan_label"].values, strict=True))
    assert labels["refill"] == "refill, trigger varied"
    assert not [text for text in labels.values() if "40%" in text]


def test_all_points_have_the_same_weather(tmp_path):
    swept = ran(small(), tmp_path)
    rain = swept["precipitation_mean"].values
    np.testing.assert_array_equal(rain, np.broadcast_to(rain[:1, :1, :1], rain.shape))


def test_daily_series_on_request_are_those_of_the_ledger(tmp_path):
    sweep = small('daily = ["wilt", "depletion"]', '[axes.a]\nkey = "plans.refill.target"\n'
                  "values = [0.0, 0.1]")  # fmt: skip
    swept = ran(sweep, tmp_path)
    design = design_of(sweep)
    scenario = point_at(sweep, design.positions[1]).scenario
    days = drysward.ledger(scenario, "practice", "refill", 2)
    one = swept.isel(point=1).sel(field="practice", plan="refill")
    assert "date" not in swept.coords
    one = one.isel(day=(one["year_of_day"] == 2).values)
    np.testing.assert_array_equal(one["month_day"], days["month_day"])
    for name in ("wilt", "depletion"):
        np.testing.assert_array_equal(one[f"daily_{name}"], days[name].astype(np.float32))


# --- whoever runs it ----------------------------------------------------------------------------


def test_one_two_and_four_workers_agree_bit_for_bit(tmp_path):
    one, two, four = (ran(small(), tmp_path / str(n), workers=n) for n in (1, 2, 4))
    xr.testing.assert_identical(one, two)
    xr.testing.assert_identical(one, four)
    assert one.sizes["point"] == 4


@pytest.mark.slow
def test_a_cluster_that_loses_a_worker_gives_the_same_bits(tmp_path):
    distributed = pytest.importorskip("distributed")
    sweep = small(axes=AXES.replace("[0.3, 0.6]", "[0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 0.95]"))
    here = ran(sweep, tmp_path / "here")
    with distributed.LocalCluster(
        n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None
    ) as cluster:
        lost: list[int] = []

        def lose_one(done: int, chunks: int) -> None:
            if done == 2 and not lost:
                worker = next(iter(cluster.workers.values()))
                lost.append(worker.process.process.pid)
                os.kill(lost[0], signal.SIGKILL)

        run_sweep(
            work_of(sweep), tmp_path / "there",
            cluster=cluster.scheduler_address, on_chunk=lose_one,
        )  # fmt: skip
    assert lost
    same(drysward.open(tmp_path / "there").load(), here)


KILLED = """
import os, random, signal, sys, time
from pathlib import Path
sys.path.insert(0, "")
from drysward.drive.runs import compiled_run_site
from drysward.studies.sweep.description import read_sweep
from drysward.studies.sweep.run import plan_work, run_sweep

path, folder, tries = sys.argv[1], Path(sys.argv[2]), int(sys.argv[3])
sweep = read_sweep(path)
compiled_run_site()
rng = random.Random(1)
work = plan_work(sweep)
kills, rounds = 0, 0
while kills < tries:
    rounds += 1
    here = folder / str(rounds)
    ended = False
    while not ended:
        child = os.fork()
        if child == 0:
            run_sweep(work, here, workers=2)
            os._exit(0)
        time.sleep(rng.uniform(0.0, 0.25))
        os.kill(child, signal.SIGKILL)
        _, status = os.waitpid(child, 0)
        ended = os.WIFEXITED(status) and os.WEXITSTATUS(status) == 0
        kills += not ended
        if kills >= tries and not ended:
            run_sweep(work, here, workers=2)
            ended = True
print(kills, rounds)
"""


@pytest.mark.slow
@pytest.mark.skipif(not hasattr(os, "fork"), reason="needs fork")
def test_killed_at_ten_moments_it_ends_with_the_same_dataset(tmp_path):
    text = f'scenario = "demo"\nyears = 3\n{PLANS_RUN}\n{AXES}'
    path = tmp_path / "sweep.toml"
    path.write_text(text.replace("[0.3, 0.6]", "[0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 0.95]"))
    whole = ran(read_sweep(path), tmp_path / "whole")
    folder = tmp_path / "killed"
    folder.mkdir()
    told = subprocess.run(
        [sys.executable, "-c", KILLED, str(path), str(folder), "10"],
        capture_output=True, text=True, check=True,
    )  # fmt: skip
    kills, rounds = map(int, told.stdout.split())
    assert kills >= 10
    for n in range(1, rounds + 1):
        again = folder / str(n)
        same(drysward.open(again).load(), whole)
        assert not [p for p in again.iterdir() if p.name.startswith(".")]


def test_a_sweep_has_its_seeds_and_names_its_causes(tmp_path):
    found = ran(small('seed = 5\n[design]\nkind = "grid"\nseed = 3\n'), tmp_path)
    assert (found.attrs["weather_seed"], found.attrs["design_seed"]) == (5, 3)
    run = drysward.run(drysward.shipped(), years=(1, 2))
    assert found["cause"].values.tolist() == run["cause"].values.tolist()


# --- going on -----------------------------------------------------------------------------------


def test_the_same_sweep_goes_on_and_runs_only_what_is_missing(tmp_path):
    whole = ran(small(), tmp_path)
    kept = chunk_path(tmp_path, 1)
    stamp = kept.stat().st_mtime_ns
    chunk_path(tmp_path, 2).unlink()
    (tmp_path / ".chunk-000002.nc-99.part").write_bytes(b"half")
    part = drysward.open(tmp_path)
    assert part.attrs["points_done"] == 3
    assert list(part["point"].values) == [0, 1, 3]
    xr.testing.assert_identical(
        part.load().drop_attrs(deep=False), whole.isel(point=[0, 1, 3]).drop_attrs(deep=False)
    )
    xr.testing.assert_identical(ran(small(), tmp_path), whole)
    assert kept.stat().st_mtime_ns == stamp
    assert not list(tmp_path.glob(".*"))


@pytest.mark.parametrize(
    ("change", "told"),
    [("sweep", "the sweep file"), ("scenario", "the base scenario"), ("program", "the program")],
)
@pytest.mark.slow
def test_what_has_changed_is_refused_and_nothing_is_touched(tmp_path, monkeypatch, change, told):
    ran(small(), tmp_path)
    chunk_path(tmp_path, 2).unlink()
    before = {path.name: path.read_bytes() for path in tmp_path.iterdir()}
    sweep = small()
    if change == "sweep":
        sweep = small(axes=AXES.replace("0.6", "0.7"))
    if change == "scenario":
        sweep = made(sweep.text, drysward.shipped().text.replace("140 m", "150 m"))
    if change == "program":
        monkeypatch.setattr("drysward.studies.sweep.folder.program_digest", lambda: "0" * 64)
    with pytest.raises(FaultyInput, match=told):
        run_sweep(work_of(sweep), tmp_path)
    assert {path.name: path.read_bytes() for path in tmp_path.iterdir()} == before


def test_a_changed_weather_file_is_refused(tmp_path, scenes):
    record = scenes.weather(3)
    rows = ["date,rain_mm,tmax_c,tmin_c"]
    rows += [
        f"{day},{rain:.2f},{high:.2f},{low:.2f}"
        for day, rain, high, low in zip(
            record.dates, record.rain_mm, record.tmax_c, record.tmin_c, strict=True
        )
    ]
    station = tmp_path / "station.csv"
    station.write_text("\n".join(rows) + "\n")
    head, _, tail = drysward.shipped().text.partition("[weather]")
    base = head + '[weather]\nfile = "station.csv"\n\n' + tail[tail.index("[fields.stadium]") :]
    (tmp_path / "base.toml").write_text(base)
    (tmp_path / "sweep.toml").write_text(f'scenario = "base.toml"\n{PLANS_RUN}\n{AXES}')
    sweep = read_sweep(tmp_path / "sweep.toml")
    assert ran(sweep, tmp_path / "out").sizes["year"] == 3
    station.write_text(station.read_text().replace("2002-07-04,0.00", "2002-07-04,1.00"))
    rows[200] = rows[200].rpartition(",")[0] + ",-1.00"
    station.write_text("\n".join(rows) + "\n")
    with pytest.raises(FaultyInput, match="a weather file"):
        run_sweep(work_of(sweep), tmp_path / "out")


def test_a_full_disk_keeps_what_is_done(tmp_path, monkeypatch):
    work = work_of(small())
    written: list[object] = []

    def full(path, *mode, **how):
        if len(written) == 2:
            Path(path).write_bytes(b"half")
            raise OSError(28, "No space left on device")
        written.append(path)
        return netcdf_file(path, *mode, **how)

    monkeypatch.setattr("drysward.studies.sweep.folder.netcdf_file", full)
    with pytest.raises(FaultyInput, match=r"No space left on device.*make room"):
        run_sweep(work, tmp_path)
    assert len(chunks_there(tmp_path, work.manifest)) == 2
    assert not list(tmp_path.glob(".*"))


@contextmanager
def without_leave(folder):
    """Nobody may write in ``folder`` meanwhile; the superuser always may, so as someone else."""
    folder.chmod(0o500)
    was = os.geteuid()
    if was == 0:
        os.seteuid(65534)
    try:
        yield
    finally:
        os.seteuid(was)
        folder.chmod(0o700)


@pytest.mark.skipif(os.name != "posix", reason="leave to write is told otherwise")
def test_a_read_only_folder_is_told_and_what_is_done_is_kept(tmp_path):
    sweep = small()
    run_sweep(work_of(sweep), tmp_path)
    whole = {path.name: path.read_bytes() for path in tmp_path.iterdir()}
    (tmp_path / "chunk-000000.nc").unlink()
    work = work_of(sweep)
    with without_leave(tmp_path), pytest.raises(FaultyInput, match=r"Permission denied"):
        run_sweep(work, tmp_path)
    assert len(chunks_there(tmp_path, work.manifest)) == work.manifest.chunks - 1
    run_sweep(work, tmp_path)
    assert {path.name: path.read_bytes() for path in tmp_path.iterdir()} == whole


# --- designs ------------------------------------------------------------------------------------

RANGES = """
[axes.trigger]
key = "plans.refill.trigger"
from = 0.3
to = 0.7
[axes.depth]
key = "fields.stadium.root_zone.depth"
from = "8 in"
to = "16 in"
[axes.turf]
key = "fields.*.species"
values = ["kentucky_bluegrass", "tall_fescue"]
"""


def designed(kind: str, samples: int, axes: str = RANGES) -> Design:
    text = f'scenario = "demo"\n[design]\nkind = "{kind}"\nsamples = {samples}\n{axes}'
    return design_of(made(text))


def test_a_latin_hypercube_has_one_point_in_every_stratum():
    design = designed("latin hypercube", 40)
    for i in (0, 1):
        strata = np.sort(np.floor(design.positions[:, i] * 40))
        np.testing.assert_array_equal(strata, np.arange(40))
    counts = np.bincount(design.positions[:, 2].astype(int))
    assert list(counts) == [20, 20]
    values = design.coordinates()
    assert values["depth"].attrs["units"] == "in"
    assert values["depth"].attrs["long_name"] == "Depth of the root zone"
    assert values["depth"].attrs["comment"].endswith(".root_zone.depth")
    assert 8.0 <= values["depth"].values.min() < 9.0
    assert 15.0 < values["depth"].values.max() <= 16.0


def test_a_sequence_is_balanced_and_longer_ones_begin_alike():
    short, long = designed("sobol sequence", 16), designed("sobol sequence", 64)
    by_sample = long.positions[np.argsort(long.sample)]
    np.testing.assert_array_equal(short.positions[np.argsort(short.sample)], by_sample[:16])
    quarters = np.bincount(np.floor(by_sample[:, 0] * 4).astype(int))
    assert list(quarters) == [16, 16, 16, 16]


def test_matrices_for_indices_differ_in_one_column():
    design = designed("sobol indices", 8)
    rows = design.positions[np.argsort(design.sample)].reshape(5, 8, 3)
    assert design.n == 8 * (3 + 2)
    a, b = rows[0], rows[1]
    for i in range(3):
        mixed = a.copy()
        mixed[:, i] = b[:, i]
        np.testing.assert_array_equal(rows[2 + i], mixed)


def test_common_draws_cross_a_grid():
    axes = AXES + '[axes.wilt]\ncatalog = "species.kentucky_bluegrass.wilt_ks"\n'
    axes += '[axes.kc]\ncatalog = "species.kentucky_bluegrass.kc_summer"\n'
    design = designed("grid", 5, axes)
    assert design.n == 2 * 2 * 5
    for draw in range(5):
        of_draw = design.positions[design.draw == draw]
        assert len(of_draw) == 4
        assert len(np.unique(of_draw[:, 2:], axis=0)) == 1
    values = design.coordinates()["wilt"].values
    assert 0.15 <= values.min() < values.max() <= 0.50


def test_linked_axes_move_together():
    axes = """
[axes.turf]
key = "fields.stadium.species"
values = ["kentucky_bluegrass", "tall_fescue"]
linked = "build"
[axes.depth]
key = "fields.stadium.root_zone.depth"
values = ["12 in", "14 in"]
linked = "build"
[axes.trigger]
key = "plans.refill.trigger"
values = [0.3, 0.6]
"""
    design = design_of(made(f'scenario = "demo"\n{axes}'))
    at = design.coordinates()
    pairs = set(zip(at["turf"].values, at["depth"].values, strict=True))
    assert pairs == {("kentucky_bluegrass", 12.0), ("tall_fescue", 14.0)}
    assert design.n == 4


def test_points_that_share_weather_and_fields_stand_together():
    axes = RANGES.replace("from = 0.3\nto = 0.7", "values = [0.3, 0.5, 0.7]")
    axes = axes.replace('from = "8 in"\nto = "16 in"', 'values = ["10 in", "12 in"]')
    axes += '[axes.seed]\nkey = "weather.seed"\nvalues = [1, 2]\n'
    sweep = made(f'scenario = "demo"\n{axes}')
    assert [depth_of(axis) for axis in sweep.axes] == [PLANS, FIELDS, FIELDS, WEATHER]
    design = design_of(sweep)
    seeds = design.positions[:, 3]
    assert np.all(np.diff(seeds) >= 0)
    fields = [tuple(row) for row in design.positions[:, 1:]]
    changes = sum(a != b for a, b in itertools.pairwise(fields))
    assert changes + 1 == len(set(fields)) == design.groups[1] == 8
    assert design.groups[0] == 2


def test_a_linear_and_a_logarithmic_range_end_where_they_say():
    axes = '[axes.a]\nkey = "fields.*.area"\nfrom = "1 acre"\nto = "16 acre"\nsteps = 5\n'
    for scale, wanted in (("linear", [1, 4.75, 8.5, 12.25, 16]), ("log", [1, 2, 4, 8, 16])):
        sweep = made(f'scenario = "demo"\n{axes}scale = "{scale}"')
        np.testing.assert_allclose(sweep.axes[0].labels, wanted)


def test_huge_designs_are_refused_before_they_are_made():
    start = time.perf_counter()
    axes = "\n".join(
        f'[axes.a{i}]\nkey = "plans.refill.trigger"\nfrom = 0.1\nto = 0.9\nsteps = 1000'
        for i in range(4)
    )
    with pytest.raises(FaultyInput, match=r"1,000,000,000,000 points; at most 1,000,000"):
        design_of(made(f'scenario = "demo"\n{axes}'))
    assert time.perf_counter() - start < 2.0
