"""Laws of feeding: the nitrogen account closes, fields without it stay the same to the bit, and
more of what moves or feeds nitrogen never does less.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

import drysward
from drysward.catalog import load_catalog, read_catalog
from drysward.day.records import NITROGEN, YEAR, as_values
from drysward.drive.runs import NITROGEN_TOLERANCE, advance_all, run_plan, start_runs
from drysward.scenario.model import DoseSpec, EstablishSpec, EventSpec, PlaySpec
from drysward.site.stretches import prepare, stretches
from drysward.studies.sweep.description import sweep_of
from drysward.studies.sweep.design import design_of
from drysward.studies.sweep.points import point_at
from drysward.studies.sweep.run import plan_work, run_sweep
from drysward.weather.series import recorded

# What a year of the account gains and loses.
GAINS = ("brought_n", "freed_n")
LOSSES = ("leached_n", "ammonia_n", "gas_n", "runoff_n", "removed_n", "built_in_n")


@pytest.fixture(scope="module")
def record(scenes):
    return scenes.weather(4, 6)


def quick(day, n_kg_ha, **other):
    """A dose of urea."""
    return replace(DoseSpec(day, n_kg_ha, 0.0, 0.0, (), 0.0, 0.0, 0.0, "46-0-0"), **other)


def fed_run(scenes, record, feeding, root_zone="native_loam", plan=None, **field):
    """The feeding of one field under one plan, by year."""
    spec = scenes.field(root_zone, feeding=feeding, **field)
    plan = plan or scenes.plan("refill", trigger=0.4)
    site = prepare(scenes.scenario([spec], [plan]), record)
    return run_plan(site, plan)


@pytest.mark.parametrize("root_zone", ["sand_over_gravel_12in", "native_loam", "native_clay"])
@pytest.mark.parametrize("returned", [True, False])
def test_the_account_of_every_year_closes(scenes, record, root_zone, returned):
    feeding = scenes.feeding(clippings_returned=returned, water_n_mg_l=12.0)
    run = fed_run(scenes, record, feeding, root_zone)
    fed = run.fed[0]
    assert fed.residual.max() <= NITROGEN_TOLERANCE
    gained = sum(fed[name] for name in GAINS) - sum(fed[name] for name in LOSSES)
    np.testing.assert_allclose(fed.n_end - fed.n_start, gained, rtol=0.0, atol=1e-7)
    # What is fed is what the doses say, unless a dose was skipped; water brings the rest.
    doses = sum(dose.n_kg_ha for dose in feeding.doses)
    np.testing.assert_allclose(fed.applied_n + fed.skipped_n, doses, rtol=1e-12)
    landed = run.years[0].irrigation_landed
    np.testing.assert_allclose(fed.brought_n, fed.applied_n + 0.12 * landed, rtol=1e-9)
    assert (as_values(run.patches[list(NITROGEN)]) >= 0.0).all()


def test_an_account_that_does_not_close_is_a_fault(scenes, record, monkeypatch):
    monkeypatch.setattr("drysward.drive.runs.NITROGEN_TOLERANCE", -1.0)
    with pytest.raises(ArithmeticError, match="nitrogen account"):
        fed_run(scenes, record, scenes.feeding())


def test_fields_without_feeding_do_not_notice_that_others_are_fed(scenes, record):
    fields = [scenes.field(key="fed"), scenes.field("sand_over_gravel_12in", key="unfed")]
    plans = [scenes.plan("refill", trigger=0.4), scenes.plan("none")]
    plain = prepare(scenes.scenario(fields, plans), record)
    fields[0] = replace(fields[0], feeding=scenes.feeding())
    mixed = prepare(scenes.scenario(fields, plans), record)
    for plan in plans:
        alone, beside = run_plan(plain, plan), run_plan(mixed, plan)
        assert alone.years[1].tobytes() == beside.years[1].tobytes()
        assert alone.odds[1].tobytes() == beside.odds[1].tobytes()
        assert not as_values(beside.fed[1]).any()
        # And the other one does.
        assert alone.years[0].transpiration.tobytes() != beside.years[0].transpiration.tobytes()


def test_compiled_days_are_the_plain_ones(scenes):
    record = scenes.weather(1, 3)
    plan = scenes.plan("refill", trigger=0.4)
    spec = scenes.field(feeding=scenes.feeding(water_in_mm=5.0, on_paving=0.05))
    site = prepare(scenes.scenario([spec], [plan], fewest_days=1), record)
    fast, slow = run_plan(site, plan), run_plan(site, plan, compiled=False)
    for name in ("patches", "states", "fed", "years"):
        one, other = (as_values(getattr(run, name)[0]) for run in (fast, slow)) if (
            name != "states"
        ) else (fast.states.last_week, slow.states.last_week)
        np.testing.assert_allclose(one, other, rtol=1e-9, atol=1e-9)


def test_the_length_of_stretches_changes_nothing(scenes, record):
    plan = scenes.plan("refill", trigger=0.4)
    scenario = scenes.scenario([scenes.field(feeding=scenes.feeding())], [plan])
    whole = run_plan(prepare(scenario, record), plan)
    runs = None
    for site in stretches(scenario, recorded(record), years_at_once=1):
        runs = start_runs([(site, plan)]) if runs is None else runs
        advance_all(site, runs)
    assert runs is not None
    # The soil remembers the temperature of all days before, of which a stretch sees two years.
    for one, other in ((whole.fed, runs.fed[0]), (whole.years, runs.years[0])):
        np.testing.assert_allclose(as_values(one), as_values(other), rtol=1e-10, atol=1e-9)


def test_more_nitrogen_grows_and_leaches_more(scenes, record):
    runs = [fed_run(scenes, record, scenes.feeding(times)).fed[0] for times in (0.0, 1.0, 2.0)]
    for name in ("clippings", "uptake_n", "leached_n"):
        means = [run[name].mean() for run in runs]
        assert means[0] < means[1] < means[2], (name, means)


@pytest.mark.parametrize(
    "root_zone, returned", [("sand_over_gravel_12in", False), ("native_loam", True)]
)
def test_the_less_a_species_grows_the_fuller_it_is_and_the_more_it_leaches(
    scenes, record, root_zone, returned
):
    """At the same feed, soil, weather and water: full turf must not drink more than hungry turf."""
    plan = scenes.plan("refill", trigger=0.4)
    spec = scenes.field(root_zone, feeding=scenes.feeding(clippings_returned=returned))
    same_water = {"feeding.turf.water_use_effect": 0.0, "feeding.turf.lush_root_loss": 0.0}
    runs = []
    for most in (54.0, 40.0, 27.0):
        growth = {"feeding.nitrogen_kentucky_bluegrass.clippings_most_kg_ha_d": most}
        scenario = scenes.scenario([spec], [plan], overrides={**same_water, **growth})
        runs.append(run_plan(prepare(scenario, record), plan, slice(0, None)))
    status = [run.trace.nitrogen_status.mean() for run in runs]
    leached = [run.fed.leached_n.mean() for run in runs]
    assert status[0] + 0.05 < status[1] < status[2] - 0.05, status
    assert leached[0] <= leached[1] <= leached[2], leached


def two_pounds(scenes, record, species, catalog=None):
    """A field of the species fed 2 lb/1000 ft2 in a year, clippings carried off, where it is
    warm.
    """
    doses = tuple(quick(day, 48.8) for day in (130, 200))
    feeding = replace(scenes.feeding(clippings_returned=False, water_n_mg_l=0.0), doses=doses)
    plan = scenes.plan("refill", trigger=0.4)
    scenario = scenes.scenario([scenes.field(species=species, feeding=feeding)], [plan])
    if catalog is not None:
        scenario = replace(scenario, catalog=catalog)
    warm = replace(record, tmin_c=record.tmin_c + 6.0, tmax_c=record.tmax_c + 6.0)
    return run_plan(prepare(scenario, warm), plan, slice(0, None))


def test_centipedegrass_is_full_on_what_leaves_bermudagrass_hungry(scenes, record):
    """1 to 3 against 3 to 5 lb/1000 ft2 a year, McAfee (Texas AgriLife Extension)."""
    centipede, bermuda = (
        two_pounds(scenes, record, species) for species in ("centipedegrass", "bermudagrass")
    )
    status = [run.trace.nitrogen_status.mean() for run in (centipede, bermuda)]
    assert status[0] > status[1] + 0.05, status
    assert centipede.fed.days_hungry.mean() < bermuda.fed.days_hungry.mean()


def test_a_species_like_another_is_fed_like_it(scenes, record):
    """With a growth of its own where the catalog has one."""
    texts = dict(load_catalog().texts)
    texts["species"] += '\n[own]\nlike = "centipedegrass"\n'
    own = 'clippings_most_kg_ha_d = { value = 40, low = 30, high = 50, unit = "kg/ha/d", '
    own += 'source = "own_estimate", grade = "estimate" }\n'
    plain = two_pounds(scenes, record, "centipedegrass")
    alike = two_pounds(scenes, record, "own", read_catalog(texts))
    assert alike.fed.tobytes() == plain.fed.tobytes()
    texts["feeding"] += f'\n[nitrogen_own]\nlike = "nitrogen_centipedegrass"\n{own}'
    grown = two_pounds(scenes, record, "own", read_catalog(texts))
    assert grown.fed.clippings.mean() > plain.fed.clippings.mean()


def test_sand_and_heavy_watering_leach_more(scenes, record):
    usual = scenes.plan("refill", trigger=0.4)
    heavy = scenes.plan("fixed", depth_by_weekday=(12.0,) * 7)
    feeding = scenes.feeding()
    loam, wet, sand = (
        fed_run(scenes, record, feeding, zone, plan).fed[0].leached_n.mean()
        for zone, plan in (
            ("native_loam", usual), ("native_loam", heavy), ("sand_over_gravel_12in", usual)
        )
    )  # fmt: skip
    assert loam < wet
    assert loam < sand


def test_carried_off_clippings_starve_the_turf(scenes, record):
    kept, gone = (
        fed_run(scenes, record, scenes.feeding(clippings_returned=returned)).fed[0]
        for returned in (True, False)
    )
    assert gone.clippings.mean() < kept.clippings.mean()
    assert gone.removed_n.min() > 0.0
    assert not kept.removed_n.any()


def test_watering_in_saves_ammonia(scenes, record):
    doses = (quick(150, 49.0),)
    dry, watered = (
        fed_run(scenes, record, scenes.feeding(doses=doses, water_in_mm=mm, soil_ph=7.5))
        for mm in (0.0, 8.0)
    )
    assert watered.fed[0].ammonia_n.mean() < 0.5 * dry.fed[0].ammonia_n.mean()
    assert watered.years[0].irrigation_gross.sum() > dry.years[0].irrigation_gross.sum()


def test_dormant_turf_and_frozen_ground_are_not_fed(scenes, record):
    never = scenes.plan("none")
    droughty = replace(record, rain_mm=np.where(np.arange(record.n_days) % 365 < 90, 5.0, 0.0))
    summer = scenes.feeding(doses=(quick(240, 49.0),), hold_days=5)
    run = fed_run(scenes, droughty, summer, plan=never)
    assert run.years[0].peak_dormant.min() > 0.5
    assert run.fed[0].skipped_n.min() == 49.0
    assert not run.fed[0].applied_n.any()
    assert not run.fed[0].doses_late.any()
    cold = replace(record, tmin_c=record.tmin_c - 30.0, tmax_c=record.tmax_c - 30.0)
    winter = scenes.feeding(doses=(quick(20, 49.0),), hold_days=5)
    run = fed_run(scenes, cold, winter, plan=never)
    assert run.fed[0].skipped_n.max() == 49.0


def test_a_dose_that_waited_is_counted_as_late(scenes, record):
    """Ground full of water holds a dose until it has drained."""
    doses, stormy = (quick(150, 49.0),), np.isin(np.arange(record.n_days) % 365, range(146, 152))
    wet = replace(record, rain_mm=record.rain_mm + 60.0 * stormy)
    on_time, late = (
        fed_run(scenes, one, scenes.feeding(doses=doses)).fed[0] for one in (record, wet)
    )
    assert on_time.doses.any()
    assert not on_time.doses_late.any()
    assert late.doses_late.any()
    np.testing.assert_array_equal(late.doses_late, late.doses)
    assert not late.skipped_n.any()


def test_a_dose_that_goes_with_one_that_waited_is_late(scenes, record):
    daily, stormy = range(149, 160), np.isin(np.arange(record.n_days) % 365, range(146, 152))
    wet = replace(record, rain_mm=record.rain_mm + 60.0 * stormy)
    feeding = scenes.feeding(doses=tuple(quick(day, 5.0) for day in daily))
    fed = fed_run(scenes, wet, feeding).fed[0]
    together = fed.doses < len(daily)
    assert together.all()
    assert (fed.doses_late[together] >= 1.0).all()
    np.testing.assert_allclose(fed.applied_n[together], 5.0 * len(daily))


def test_granules_on_paving_are_lost_with_the_first_rain(scenes, record):
    run = fed_run(scenes, record, scenes.feeding(on_paving=0.1))
    fed = run.fed[0]
    np.testing.assert_allclose(fed.paving_n.sum(), 0.1 * fed.applied_n.sum(), rtol=0.2)
    assert (fed.paving_p > 0.0).any()


def test_hungry_and_lush_turf_wear_more(scenes, record):
    """Wear is least in the middle, as of ryegrass under football (Canaway 1984, from memory)."""
    some_days = tuple(day in (1, 3, 5) for day in range(7))
    play = PlaySpec((EventSpec("practice", some_days, hours=0.5),))
    worn = [
        fed_run(
            scenes, record, scenes.feeding(times, clippings_returned=False, water_n_mg_l=0.0),
            play=play,
        ).play[0].peak_worn.mean()
        for times in (0.0, 1.0, 3.0)
    ]  # fmt: skip
    assert worn[1] < worn[0], worn
    assert worn[1] < worn[2], worn


def test_seed_comes_up_faster_where_it_is_fed(scenes, record):
    """Ryegrass seed covers in about 4 weeks (university extension), tall fescue is played on after
    6 to 10; fed at seeding, as is common practice.
    """
    seeded = EstablishSpec(244, "seed", 3.0, 3, 21)  # 1 September
    plan = scenes.plan("refill", trigger=0.4)

    def green_after(days, feeding):
        spec = scenes.field(feeding=feeding, establish=seeded)
        site = prepare(scenes.scenario([spec], [plan], turf="continuous"), record)
        trace = run_plan(site, plan, slice(0, None)).trace[:, 0]
        return trace.green[np.flatnonzero(site.play.days.sown[:, 0]) + days]

    fed = replace(scenes.feeding(), doses=(quick(244, 49.0), quick(274, 24.5)))
    starved = replace(fed, doses=())
    for days in (28, 56):
        assert (green_after(days, starved) < green_after(days, fed)).all()
    assert (green_after(56, fed) > 0.8).all()
    np.testing.assert_allclose(green_after(56, fed), green_after(56, None), atol=0.15)


def test_the_water_of_a_year_stays_in_balance(scenes, record):
    run = fed_run(scenes, record, scenes.feeding(2.0))
    assert run.years[0].residual.max() <= 1e-9
    assert "residual" in (YEAR.names or ())


def test_points_of_a_sweep_are_fed_as_their_scenarios(tmp_path):
    """Each point by itself, with grounds that points share and with grounds of their own."""
    shipped = drysward.shipped("feeding")
    axes = (
        '[axes.clippings]\nkey = "fields.stadium.feeding.clippings"\n'
        'values = ["removed", "returned"]\n[axes.trigger]\nkey = "plans.refill.trigger"\n'
        "values = [0.3, 0.6]\n"
    )
    text = f'scenario = "feeding"\nyears = 4\nplans = ["refill", "none"]\n{axes}'
    sweep = sweep_of("sweep.toml", text, "feeding.toml", shipped.text, shipped.folder)
    run_sweep(plan_work(sweep), tmp_path)
    swept = drysward.open(tmp_path).load()
    for number in range(4):
        point = point_at(sweep, design_of(sweep).positions[number])
        alone = drysward.run(point.scenario)
        of = swept.isel(point=number) if "point" in swept.dims else swept.stack(
            point=["clippings", "trigger"]
        ).isel(point=number)
        for name in ("leached_n", "clippings", "days_hungry", "applied_n"):
            mean = alone[f"feed_{name}"].mean("year").sel(plan=list(swept["plan"].values))
            np.testing.assert_allclose(
                of[f"feed_{name}_mean"].transpose("field", "plan"),
                mean.transpose("field", "plan"),
                rtol=1e-12,
            )
    assert swept["feed_leached_n_mean"].attrs["units"] == "kg ha-1"
