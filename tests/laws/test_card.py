"""Laws of runs on a graphics card: they do what the day loop does on the processor.

The kernels are compared where there is no card too: as plain Python, compiled for the processor,
and in numba's simulator of a card.
"""

from __future__ import annotations

import importlib.util
import os
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from pathlib import Path
from time import sleep
from types import SimpleNamespace

import numpy as np
import pytest

import drysward
from drysward.card import devices, drive
from drysward.card.devices import Cards, cards_for, cards_of, refuse_for_cards, require_equal
from drysward.card.drive import Card, Processor, Windows, patches_from_tiles, patches_in_tiles
from drysward.card.kernels import FILL, SUM, on_processor
from drysward.card.native import natives
from drysward.card.source import TILE
from drysward.drive.runs import advance_all, start_runs
from drysward.faults import FaultyInput
from drysward.site.stretches import prepare
from drysward.studies.sweep.chunk import Member, _groups, points_at
from drysward.studies.sweep.description import read_sweep
from drysward.studies.sweep.design import design_of

RESULTS = ("years", "play", "fed", "states", "patches", "odds", "green", "shortage")
needs_numba_cuda = pytest.mark.skipif(
    importlib.util.find_spec("numba_cuda") is None, reason="numba-cuda, the extra gpu, is not here"
)

SWEEP = """
scenario = "demo"
plans = ["refill", "deficit"]
years = 3
keep = ["irrigation_gross"]
[design]
kind = "latin hypercube"
samples = 20
[axes.trigger]
key = "plans.refill.trigger"
from = 0.3
to = 0.7
[axes.kc]
catalog = "species.kentucky_bluegrass.kc_summer"
[search]
plan = "refill"
field = "practice"
days_below = 50
tries = 10
"""


def same(ours, theirs):
    for name in RESULTS:
        one, other = getattr(ours, name), getattr(theirs, name)
        assert one.tobytes() == other.tobytes(), name


def runs_of(site, n=1):
    return start_runs([(site, plan) for plan in site.scenario.plans * n])


def days_of(site, n):
    """The first days of a site, which end a turf year."""
    calendar = site.calendar[:n].copy()
    return replace(site, calendar=calendar, days=site.days[:n])


@pytest.fixture(scope="module")
def sites(scenes):
    """All that a field can have under plans of every rule, and the same without play and feeding;
    nothing that fields share.
    """
    whole = replace(scenes.everything(), supply=None)
    bare = [replace(f, play=None, feeding=None, establish=None) for f in whole.fields[:2]]
    plain = replace(whole, fields=tuple(bare), plans=tuple(
        replace(plan, syringe=None) for plan in whole.plans
    ))  # fmt: skip
    return {
        "everything": prepare(whole, scenes.hard_weather()),
        "plain": prepare(plain, scenes.hard_weather()),
    }


@pytest.mark.parametrize("kind", ["plain", "everything"])
def test_a_kernel_does_what_the_day_loop_does(sites, kind):
    site = days_of(sites[kind], 240)
    ours, theirs = advance_all(site, runs_of(site)), runs_of(site)
    same(ours, advance_all(site, theirs, windows=Windows(Processor(compiled=False))))
    assert ours.years.irrigation_gross.max() > 0.0


@pytest.mark.parametrize("n", [1, TILE - 1, TILE, TILE + 1, 3 * TILE])
def test_tiles_hold_what_they_are_made_of(n):
    patches, names = np.random.default_rng(n).random((2, 5, n)), [3, 0, 4]
    line, back = patches_in_tiles(patches, names), np.zeros_like(patches)
    patch, name, run = np.indices((2, 3, n))
    tile = (run // TILE * 2 + patch) * 3 * TILE
    np.testing.assert_array_equal(line[tile + name * TILE + run % TILE], patches[:, names])
    patches_from_tiles(line, back, names)
    np.testing.assert_array_equal(back[:, names], patches[:, names])


@pytest.mark.slow
def test_kernels_do_what_the_day_loop_does_in_random_scenarios():
    """200 of those of ``test_random_scenarios.py``, without what fields share."""
    there = Path(__file__).with_name("test_random_scenarios.py")
    spec = importlib.util.spec_from_file_location("random_scenarios", there)
    assert spec is not None
    module = sys.modules[spec.name] = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    windows, done = Windows(Processor()), 0
    for number in range(200):
        site = module.Case(number).run(nothing_shared).site
        if not site.supply.site["on"].any():
            done += 1
            ours, theirs = advance_all(site, runs_of(site)), runs_of(site)
            same(ours, advance_all(site, theirs, windows=windows))
    assert done > 150


def nothing_shared(tree):
    tree.pop("supply", None)
    tree["site"].pop("crew", None)
    for field in tree["fields"].values():
        field["delivery"].pop("machine", None)


# --- sweeps and draws, on cards that are the processor ------------------------------------------


@pytest.fixture
def stand_in(monkeypatch):
    processor = Processor()
    monkeypatch.setattr(devices, "_cards_there", lambda: ((0, 1), ""))
    monkeypatch.setattr(Cards, "_card", lambda self, number: processor)
    # Days of own fields come a few weeks at a time, so that not every window begins a turf year.
    monkeypatch.setattr(drive, "WINDOW_BYTES", 2**19)


@pytest.fixture
def sweep_file(tmp_path):
    file = tmp_path / "little.toml"
    file.write_text(SWEEP)
    return file


def test_more_plans_on_one_played_ground_than_are_made_ready_at_once(stand_in, sweep_file):
    text = sweep_file.read_text(encoding="utf-8").partition("[axes.kc]")[0]
    text = text.replace('"demo"', '"match-days"').replace('["refill", "deficit"]', '["none"]')
    text = text.replace("plans.refill.trigger", "plans.refill_evening.trigger")
    sweep_file.write_text(text.replace("samples = 20", "samples = 40"), encoding="utf-8")
    points = points_at(design_of(read_sweep(sweep_file)), range(40))
    members = [Member(point, row, 0) for row, point in enumerate(points)]
    years = SimpleNamespace(most_in_a_part=1)
    groups = list(_groups(members, 1, Cards((0,), checked=0), years))
    assert all(groups)
    assert sorted(one.row for group in groups for one in group) == list(range(40))


def equal(ours, theirs):
    assert set(ours.data_vars) == set(theirs.data_vars)
    for name in ours.data_vars:
        np.testing.assert_array_equal(ours[name], theirs[name], name)


@pytest.mark.slow
def test_a_sweep_is_the_same_on_a_card_and_goes_on_there(stand_in, sweep_file, tmp_path):
    """Its points have fields of their own, whose days are worked out on the card."""
    ours = drysward.sweep(sweep_file, tmp_path / "here").load()
    equal(ours, drysward.sweep(sweep_file, tmp_path / "there", device="gpu"))
    for chunk in sorted((tmp_path / "here").glob("*.nc"))[1:3]:
        chunk.unlink()
    equal(ours, drysward.sweep(sweep_file, tmp_path / "here", device="gpu:1"))


@pytest.mark.slow
def test_a_sweep_of_fields_under_covers_is_the_same_on_a_card(stand_in, sweep_file, tmp_path):
    text = sweep_file.read_text(encoding="utf-8").partition("[search]")[0]
    text = text.replace('"demo"', '"match-days"').replace('["refill", "deficit"]', '["none"]')
    text = text.replace("plans.refill.trigger", "plans.refill_evening.trigger")
    sweep_file.write_text(text, encoding="utf-8")
    ours = drysward.sweep(sweep_file, tmp_path / "here").load()
    assert ours["play_covered_days_mean"].max() > 0.0
    equal(ours, drysward.sweep(sweep_file, tmp_path / "there", device="gpu"))


@pytest.mark.slow
def test_a_search_finds_the_same_on_a_card(stand_in, sweep_file):
    ours, theirs = (drysward.search(sweep_file, device=device) for device in ("cpu", "gpu"))
    assert ours.best.positions.tolist() == theirs.best.positions.tolist()
    assert ours.best.water_mm == theirs.best.water_mm
    assert ours.fresh.days_below == theirs.fresh.days_below


@pytest.mark.slow
def test_draws_are_the_same_on_a_card(stand_in):
    scenario = drysward.shipped("demo")
    equal(*(drysward.draws(scenario, 4, years=(1, 4), device=one) for one in ("cpu", "gpu")))


@pytest.mark.slow
def test_draws_with_and_without_feeding_are_the_same_on_a_card(stand_in):
    scenario, settings = drysward.shipped("feeding"), {"years": (1, 3), "feeding_effect": True}
    equal(*(drysward.draws(scenario, 2, device=one, **settings) for one in ("cpu", "gpu")))


def test_an_account_that_is_not_a_number_is_not_closed():
    values = np.array([[[1.0, 2.0], [np.nan, 5.0], [0.5, 3.0]]])
    total, most = np.zeros((1, 2)), np.zeros((1, 2))
    on_processor(SUM, compiled=False)(2, 2, 3, values, total, most)
    np.testing.assert_array_equal(most, [[np.nan, 5.0]])


def add(values, place, more):
    values[place] += more


@pytest.mark.slow
@pytest.mark.parametrize(
    "spoil, found",
    [(lambda of: add(of.yearly["irrigation_gross"], (0, 0, 0), 1e-6), "irrigation_gross by 1e-06"),
     (lambda of: add(of.total, (0, 0, 1), 3e-8), "irrigation_gross by 1e-08"),
     (lambda of: add(of.most, (0, 0, 2), 1e-6), "irrigation_landed by 1e-06")],
)  # fmt: skip
def test_a_card_that_counts_wrong_is_found_out(
    stand_in, sweep_file, tmp_path, monkeypatch, spoil, found
):
    whole = Windows.__call__

    def wrong(self, *arguments):
        whole(self, *arguments)
        spoil(self.reduced)

    monkeypatch.setattr(Windows, "__call__", wrong)
    with pytest.raises(ArithmeticError, match=f"differ in {found}"):
        drysward.sweep(sweep_file, tmp_path / "out", device="gpu")
    drysward.sweep(sweep_file, tmp_path / "out", device="gpu", check_device=0)


# --- what a card is not for ---------------------------------------------------------------------


def test_what_fields_share_is_refused(scenes):
    with pytest.raises(FaultyInput, match=r"fields share.*device \"cpu\" runs it"):
        refuse_for_cards(scenes.everything())
    plain = replace(scenes.everything(), supply=None)
    refuse_for_cards(plain)
    with pytest.raises(FaultyInput, match="daily series"):
        refuse_for_cards(plain, daily=True)
    with pytest.raises(FaultyInput, match="Python function"):
        refuse_for_cards(plain.with_plan("mine", lambda morning: 0.0))


def test_auto_takes_the_processor_for_what_fields_share(stand_in, scenes):
    work = 10**9
    assert cards_for(scenes.everything(), "auto", work, 0) is None
    assert cards_for(replace(scenes.everything(), supply=None), "auto", work, 0) is not None
    with pytest.raises(FaultyInput, match="fields share"):
        cards_for(scenes.everything(), "gpu", work, 0)


def test_cards_go_by_number(stand_in):
    assert cards_of("cpu", 10**9) is None
    assert cards_of("gpu", 1).numbers == (0, 1)
    assert cards_of("gpu:1", 1).numbers == (1,)
    assert cards_of("auto", 10**9).numbers == (0,)
    assert cards_of("auto", 1000) is None
    for wrong in ("gpu:2", "gpu:x", "cuda", "auto:1", "gpu0"):
        with pytest.raises(FaultyInput, match="device"):
            cards_of(wrong, 10**9)


def test_without_a_card_one_sentence_says_so(monkeypatch, tmp_path):
    monkeypatch.setattr(devices, "_cards_there", lambda: ((), "there is no NVIDIA card"))
    assert cards_of("auto", 10**9) is None
    with pytest.raises(FaultyInput, match=r'no card can be used.*device "cpu" runs it'):
        drysward.sweep("sweep-demo", tmp_path / "out", device="gpu")


def test_runs_that_differ_are_refused(sites):
    site = days_of(sites["plain"], 60)
    ours, theirs = (advance_all(site, runs_of(site)) for _ in range(2))
    require_equal(ours, theirs)
    theirs.odds[0, 0, 1, 5] += 1
    with pytest.raises(ArithmeticError, match="stages are reached by 1"):
        require_equal(ours, theirs)


# --- numba's simulator, and a card --------------------------------------------------------------

IN_A_SIMULATOR = """
import sys
sys.path.insert(0, {folder!r})
from conftest import Scenes
from dataclasses import replace
from drysward.card.drive import Card, Windows
from drysward.drive.runs import advance_all, start_runs
from drysward.site.stretches import prepare
scenes = Scenes()
whole = replace(scenes.everything(patches=1), supply=None)
if {plain}:
    fields = [replace(f, play=None, feeding=None, establish=None) for f in whole.fields[:2]]
    plans = tuple(replace(plan, syringe=None) for plan in whole.plans)
    whole = replace(whole, fields=tuple(fields), plans=plans)
site = prepare(whole, scenes.hard_weather(1))
site = replace(site, calendar=site.calendar[:{days}], days=site.days[:{days}])
runs, others = (start_runs([(site, plan) for plan in whole.plans]) for _ in range(2))
advance_all(site, runs, compiled={days} > 100)
advance_all(site, others, windows=Windows(Card()))
for name in {names}:
    assert getattr(runs, name).tobytes() == getattr(others, name).tobytes(), name
print("the same")
"""


@needs_numba_cuda
@pytest.mark.parametrize(
    "plain, days",
    [(True, 20), pytest.param(True, 250, marks=pytest.mark.slow),
     pytest.param(False, 250, marks=pytest.mark.slow)],
)  # fmt: skip
def test_the_simulator_of_a_card_does_the_same(plain, days):
    folder = str(Path(__file__).parents[1])
    code = IN_A_SIMULATOR.format(folder=folder, plain=plain, days=days, names=RESULTS)
    environment = {**os.environ, "NUMBA_ENABLE_CUDASIM": "1"}
    done = subprocess.run(
        [sys.executable, "-c", code], env=environment, capture_output=True, text=True, check=False
    )
    assert done.stdout.strip() == "the same", done.stderr[-2000:]


def test_threads_start_kernels_of_a_card_one_at_a_time(monkeypatch):
    starting = []

    class Kernel:
        overloads = (None,)

        def __getitem__(self, _):
            return self.start

        def start(self, *_):
            starting.append(None)
            sleep(0.005)
            assert len(starting) == 1
            starting.pop()

    monkeypatch.setattr(drive, "on_card", lambda source: Kernel())
    turns, cards = drive.Turns(), [object.__new__(Card) for _ in range(3)]
    for card in cards:
        card.stream, card._turns = None, turns
    with ThreadPoolExecutor(3) as pool:
        list(pool.map(lambda card: card.launch(FILL, 1, []), cards * 4))


def has_card():
    there, _ = devices._cards_there()
    return bool(there)


@pytest.mark.skipif(not has_card(), reason="there is no NVIDIA card here")
def test_a_card_does_what_the_processor_does(sites):
    for site in sites.values():
        ours, theirs = runs_of(site, 5), runs_of(site, 5)
        advance_all(site, theirs, windows=Windows(Card()))
        require_equal(advance_all(site, ours), theirs)


@pytest.mark.skipif(not has_card(), reason="there is no NVIDIA card here")
def test_a_card_divides_as_the_processor_does():
    """IEEE 754 division, but for numbers too small to be a depth of water."""
    from numba import cuda

    quotient, quotient_of = natives()["quotient"], natives()["quotient_of"]

    @cuda.jit
    def divide(a, b, out, thirds):
        i = cuda.grid(1)
        if i < out.size:
            out[i] = quotient(a[i], b[i])
            thirds[i] = quotient_of(a[i], 3.0, 1.0 / 3.0)

    rng = np.random.default_rng(1)
    wide = rng.uniform(-1.0, 1.0, (2, 1_000_000)) * 10.0 ** rng.integers(-140, 140, (2, 1_000_000))
    odd = np.array([0.0, -0.0, 1.0, -3.0, 1e-300, 1e300, np.inf, -np.inf, np.nan])
    a, b = np.concatenate([wide, np.stack(np.meshgrid(odd, odd)).reshape(2, -1)], axis=1)
    out, thirds = np.zeros((2, a.size))
    divide[-(-a.size // 128), 128](a, b, out, thirds)
    with np.errstate(all="ignore"):
        expected = a / b
    np.testing.assert_array_equal(out, expected)
    np.testing.assert_array_equal(thirds, a / 3.0)


@pytest.mark.skipif(not has_card(), reason="there is no NVIDIA card here")
def test_powers_on_a_card():
    from numba import cuda

    power = natives()["power"]

    @cuda.jit
    def raise_all(a, b, out):
        i = cuda.grid(1)
        if i < out.size:
            out[i] = power(a[i], b[i])

    rng = np.random.default_rng(1)
    b = rng.uniform(-2.0, 30.0, 100_000)
    a = np.exp(rng.uniform(np.log(1e-3), np.log(600.0), b.size))
    a[:3], b[:3] = (0.0, 0.0, 1.0), (2.0, 0.5, 3.0)
    out = np.zeros(a.size)
    raise_all[-(-a.size // 128), 128](a, b, out)
    np.testing.assert_allclose(out, a**b, rtol=1e-13)
