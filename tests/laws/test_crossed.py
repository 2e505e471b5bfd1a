"""Draws crossed with years: each draw is a run, sums are those of a slow count, and chance, what is
not known and the order of plans stay apart.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import beta

import drysward
from drysward.faults import FaultyInput
from drysward.results.band import stands
from drysward.results.frequency import demand_estimates, thinned
from drysward.results.odds import worst_in_ten
from drysward.results.play import play_answers
from drysward.results.spread import split, split_of_sums
from drysward.results.volumes import site_volumes
from drysward.scenario.load import loads, shipped
from drysward.studies.doubt import answers as doubt
from drysward.studies.doubt.answers import BELOW, doubt_answers
from drysward.studies.doubt.crossed import (
    CHANGES,
    OUTCOMES,
    PAIRED,
    PLAYED,
    RECOVERED,
    SHARES,
    WATER,
    Crossed,
    crossed,
    share_of_years,
)
from drysward.studies.doubt.draws import doubtful, drawn_scenarios
from drysward.studies.feeding_effect import without_feeding

YEARS = (1, 8)
PLANS = ("none", "deficit", "restricted")


def edited(*changes):
    """The shipped demo with pieces of its text replaced."""
    text = shipped("demo").text
    for old, new in changes:
        assert old in text
        text = text.replace(old, new)
    return loads(text, ".", "mine.toml")


def followed(scenario, keys=PLANS):
    return tuple(scenario.plan_named(key) for key in keys)


def ran(scenario, n, keys=PLANS, years=YEARS, workers=None):
    return crossed(scenario, n, followed(scenario, keys), years, workers)


@pytest.fixture(scope="module")
def demo():
    return shipped("demo")


@pytest.fixture(scope="module")
def found(demo):
    return ran(demo, 32)


@pytest.fixture(scope="module")
def cells(demo, found):
    """Outcomes (F, P, 4, Y) of the first four draws, each from a run of its own scenario."""
    runs = [
        drysward.run(one, years=YEARS, only=PLANS)
        for one in drawn_scenarios(demo, found.draws.rows()[:4])
    ]
    return outcomes_of(runs)


def outcomes_of(runs):
    out = {}
    for name in OUTCOMES:
        kind, _, stage = name.partition("_")
        each = []
        for one in runs:
            if kind == "reached":
                enough = one[f"longest_{stage}"].values >= int(one.attrs["reached_days"])
                each.append(enough.astype(float))
            else:
                each.append(one[name].values)
        out[name] = np.stack(each, axis=2)
    return out


# --- a draw is a run, and sums are sums ---------------------------------------------------------


@pytest.mark.parametrize("name", OUTCOMES)
def test_a_draw_is_the_run_of_its_scenario(found, cells, name):
    np.testing.assert_allclose(
        found.rows[name][..., :4], cells[name].mean(axis=-1), rtol=1e-12, atol=1e-12
    )


def test_fields_that_are_alike_keep_their_draws_in_any_order():
    """Two fields of one ground stand before a third of another."""
    text = shipped("demo").text
    fields = text[text.index("[fields.stadium]") : text.index("[plans.none]")]
    sand = fields[: fields.index("[fields.practice]")]
    loam = fields[fields.index("[fields.practice]") :]
    doubled = sand + sand.replace("fields.stadium", "fields.second") + loam
    doubled += loam.replace("fields.practice", "fields.fourth")
    four = edited((fields, doubled))
    found = ran(four, 3, ("deficit", "refill"))
    runs = [
        drysward.run(one, years=YEARS, only=("deficit", "refill"))
        for one in drawn_scenarios(four, found.draws.rows())
    ]
    for name, values in outcomes_of(runs).items():
        np.testing.assert_allclose(
            found.rows[name], values.mean(axis=-1), rtol=1e-12, atol=1e-12, err_msg=name
        )


def test_sums_are_those_of_a_slow_count(demo, cells):
    """Draws of 4 are not those of 32: a run of each again, and every sum cell by cell."""
    four = ran(demo, 4)
    x = outcomes_of(
        [drysward.run(one, YEARS, PLANS) for one in drawn_scenarios(demo, four.draws.rows())]
    )
    for name in OUTCOMES:
        n_fields, n_plans, k, y = x[name].shape
        assert (k, y) == (4, 8)
        np.testing.assert_allclose(four.columns[name], x[name].mean(axis=2), rtol=1e-12)
        np.testing.assert_allclose(four.squares[name], (x[name] ** 2).mean(axis=(2, 3)), rtol=1e-12)
    for name in PAIRED:
        for f in range(n_fields):
            for p in range(n_plans):
                for q in range(n_plans):
                    wanted = ((x[name][f, p] - x[name][f, q]) ** 2).mean()
                    assert four.plans[name][f, p, q] == pytest.approx(wanted, rel=1e-12)
                for g in range(n_fields):
                    wanted = ((x[name][f, p] - x[name][g, p]) ** 2).mean()
                    assert four.fields[name][p, f, g] == pytest.approx(wanted, rel=1e-12)
    periods = demo.answers.return_periods
    np.testing.assert_allclose(four.demand, demand_estimates(x[WATER], periods), rtol=1e-12)
    whole = split(x[WATER])
    parts = split_of_sums(four.rows[WATER], four.columns[WATER], four.squares[WATER])
    for name in ("between_draws", "between_years", "interaction"):
        # Sums of mm squared, of years of up to 1,000 mm.
        np.testing.assert_allclose(getattr(parts, name), getattr(whole, name), rtol=1e-9, atol=1e-9)


def test_sums_keep_the_digits_of_water():
    """Hundreds of mm whose draws differ by a hundredth: sums tell it as single cells do."""
    rng = np.random.default_rng(5)
    noise = rng.normal(0.0, 0.02, (64, 200))
    x = 900.0 + rng.normal(0.0, 0.01, (64, 1)) + rng.normal(0.0, 30.0, 200) + noise
    whole = split(x)
    parts = split_of_sums(x.mean(axis=1), x.mean(axis=0), (x * x).mean())
    for name in ("between_draws", "between_years", "interaction"):
        assert getattr(parts, name) == pytest.approx(getattr(whole, name), rel=1e-4)


def test_threads_change_nothing(demo):
    one, two = (ran(demo, 8, workers=n) for n in (1, 2))
    for name in ("rows", "columns", "squares", "plans", "fields"):
        for key, values in getattr(one, name).items():
            np.testing.assert_array_equal(values, getattr(two, name)[key])
    np.testing.assert_array_equal(one.demand, two.demand)


def test_the_first_draws_of_more_are_those_of_fewer(demo, found):
    half = ran(demo, 16)
    for name in OUTCOMES:
        np.testing.assert_array_equal(half.rows[name], found.rows[name][..., :16])


def test_plans_come_in_the_order_asked_for(demo):
    there, back = (ran(demo, 2, keys) for keys in (("none", "deficit"), ("deficit", "none")))
    for name in OUTCOMES:
        np.testing.assert_array_equal(there.rows[name], back.rows[name][:, ::-1])


# --- what is not known --------------------------------------------------------------------------


def test_without_ranges_all_draws_are_one(demo, monkeypatch):
    monkeypatch.setattr("drysward.studies.doubt.crossed.drawn_numbers", lambda scenario: ())
    closed = ran(demo, 4)
    out = doubt_answers(closed, demo, PLANS)
    for name in OUTCOMES:
        assert (closed.rows[name] == closed.rows[name][..., :1]).all()
        parts = split_of_sums(closed.rows[name], closed.columns[name], closed.squares[name])
        assert np.abs(parts.between_draws).max() <= 1e-12 * max(closed.squares[name].max(), 1.0)
    for name in ("probability", "days", "days_below_condition", "water", "demand"):
        gap = out[f"doubt_{name}_high"] - out[f"doubt_{name}_low"]
        assert float(np.abs(gap).max()) < 1e-9
        assert np.allclose(out[f"doubt_{name}_low"], out[f"doubt_{name}"])
    for name in ("probability", "days", "days_below_condition", "water"):
        assert not out[f"doubt_{name}_distinct"].any()


def test_more_years_shrink_the_sampling_error_only(demo, monkeypatch):
    """Of a climate that is known: what is not known of it no number of simulated years narrows."""
    monkeypatch.setattr(
        "drysward.site.weather_years._years_of_climate",
        lambda scenario, record: scenario.weather.years,
    )
    few, many = (
        doubt_answers(ran(demo, 32, ("none",), years), demo, ("none",))
        for years in ((1, 10), (1, 160))
    )
    error = [float(out["doubt_days_below_condition_error"].mean()) for out in (few, many)]
    # Sixteen times the years: a quarter of the error.
    assert error[1] < 0.6 * error[0]
    spread = [
        float((o["doubt_days_below_condition_high"] - o["doubt_days_below_condition_low"]).mean())
        for o in (few, many)
    ]
    assert 0.5 < spread[1] / spread[0] < 2.0


def test_one_range_gets_all_of_the_spread(monkeypatch):
    """All that the catalog is unsure of held, and one number written with a range."""
    key = "fields.practice.delivery.uniformity"
    mine = edited(("uniformity = 0.6", 'uniformity = "0.6 (0.4 to 0.8)"'))
    only = tuple(one for one in doubtful(mine) if one.key == key)
    monkeypatch.setattr("drysward.studies.doubt.crossed.drawn_numbers", lambda scenario: only)
    out = doubt_answers(ran(mine, 32, ("deficit",)), mine, ("deficit",))
    at = {"field": "practice", "plan": "deficit"}
    assert out["doubt_days_below_condition_distinct"].sel(at)
    low, high = (
        float(out[f"doubt_days_below_condition{end}"].sel(at)) for end in ("_low", "_high")
    )
    assert high - low > 0.1
    assert out["numbers"].values.tolist() == [key]
    assert float(out["doubt_explained"].sel(field="practice")) > 0.8
    share = float(out["doubt_share_of_numbers"].sel(field="practice", numbers=key))
    assert share == pytest.approx(float(out["doubt_explained"].sel(field="practice")), abs=1e-9)
    by_measure = out["doubt_share_of_measures"].sel(field="practice")
    assert by_measure["measures"].values.tolist() == ["a catch-can audit"]
    assert float(by_measure[0]) == pytest.approx(share, abs=1e-9)
    # The other field has no part in it.
    assert np.isnan(out["doubt_share_of_numbers"].sel(field="stadium", numbers=key))
    gap = out["doubt_days_below_condition_high"] - out["doubt_days_below_condition_low"]
    assert float(gap.sel(field="stadium", plan="deficit")) < 1e-9


# --- the order of plans and fields --------------------------------------------------------------


def test_order_is_antisymmetric_and_a_plan_ties_with_itself(demo, found):
    out = doubt_answers(found, demo, PLANS)
    for name, other in (("fewer", "other"), ("better", "other_field")):
        first = "plan" if name == "fewer" else "field"
        share, by = out[f"doubt_{name}"], out[f"doubt_{name}_by"]
        back = {first: other, other: first}
        dims = share.dims
        np.testing.assert_allclose(share + share.rename(back).transpose(*dims).values, 1.0)
        np.testing.assert_allclose(by + by.rename(back).transpose(*dims).values, 0.0, atol=1e-12)
        itself = np.arange(share.sizes[other])
        for end in ("_by", "_by_low", "_by_high", "_by_error"):
            values = np.abs(out[f"doubt_{name}{end}"].values[:, itself, itself])
            assert (values == 0.0).all(), end
        assert (share.values[:, itself, itself] == 0.5).all()
    assert (out["doubt_fewer"].sel(plan="deficit", other="none") > 0.9).all()


def test_order_is_that_of_the_single_cells(found, cells):
    x = cells[BELOW]
    slow = stands(x[:, 1].mean(axis=-1), x[:, 0].mean(axis=-1), split(x[:, 1] - x[:, 0]))
    rows, columns = x.mean(axis=-1), x.mean(axis=-2)
    apart = ((x[:, 1] - x[:, 0]) ** 2).mean(axis=(-2, -1))
    sums = split_of_sums(rows[:, 1] - rows[:, 0], columns[:, 1] - columns[:, 0], apart)
    fast = stands(rows[:, 1], rows[:, 0], sums)
    for name in ("share_less", "difference", "low", "high", "sampling_error"):
        np.testing.assert_allclose(getattr(fast, name), getattr(slow, name), rtol=1e-9, atol=1e-9)


def test_a_plan_that_never_waters_has_no_water(demo, found):
    out = doubt_answers(found, demo, PLANS)
    for end in ("", "_low", "_high", "_error"):
        assert (out[f"doubt_water{end}"].sel(plan="none") == 0.0).all()
    for end in ("", "_low", "_high"):
        assert (out[f"doubt_demand{end}"].sel(plan="none") == 0.0).all()
    assert (out["doubt_water"].sel(plan="deficit") > 0.0).all()


def test_limits_of_few_draws_keep_to_the_season_and_to_the_order_of_years(demo, found):
    """Few draws have limits by moments, which reach beyond all that the draws themselves gave."""
    first = {name: rows[..., :16].copy() for name, rows in found.rows.items()}
    first[BELOW][:] = np.where(np.arange(16) < 5, 210.0, 4.0)
    first[WATER][:, 1:] = np.where(np.arange(16) < 5, 900.0, 100.0)
    columns = {name: values.copy() for name, values in found.columns.items()}
    squares = {name: (rows**2).mean(axis=-1) for name, rows in first.items()}
    for name in (BELOW, WATER):
        columns[name] = np.broadcast_to(first[name].mean(axis=-1)[..., None], columns[name].shape)
    few = replace(
        found, draws=replace(found.draws, values=found.draws.values[:16]), rows=first,
        columns=columns, squares=squares,
        demand=1.05 * first[WATER][..., None] * np.ones(found.demand.shape[-1]),
        demand_of_halves=found.demand_of_halves[:, :, :16],
    )  # fmt: skip
    out = doubt_answers(few, demo, PLANS)
    season = 30 + 31 + 30 + 31 + 31 + 30 + 31  # April to October
    assert (out["doubt_days_below_condition_high"] == season).all()
    assert (out["doubt_days_below_condition_low"] >= 0.0).all()
    for end in ("_low", "_high"):
        assert (out[f"doubt_demand{end}"] >= out[f"doubt_water{end}"]).all()
    waters = out.sel(plan="deficit")
    assert (waters["doubt_water_high"] > 1.05 * 900.0).all()


def test_skinned_fields_have_no_days_below():
    skinned = (
        "[fields.infield]\n"
        'area = "0.3 acre"\nsurface = "skinned"\nroot_zone = "infield_mix"\n'
        'delivery = "in_ground_rotors"\n\n[plans.none]'
    )
    mine = edited(("[plans.none]", skinned))
    out = doubt_answers(ran(mine, 4, years=(1, 2)), mine, PLANS)
    for end in ("", "_low", "_high", "_error"):
        values = out[f"doubt_days_below_condition{end}"]
        assert np.isnan(values.sel(field="infield")).all()
        assert np.isfinite(values.sel(field="stadium")).all()
    assert np.isnan(out["doubt_fewer"].sel(field="infield")).all()
    assert np.isnan(out["doubt_better"].sel(field="infield")).all()
    assert np.isnan(out["doubt_better"].sel(other_field="infield")).all()
    assert np.isfinite(out["doubt_fewer"].sel(field="stadium")).all()


# --- play, and what feeding changes ---------------------------------------------------------------


@pytest.fixture(scope="module")
def fed_and_played():
    """The scenario `feeding` with play on the practice field alone."""
    text = shipped("feeding").text
    head = "[fields.practice]\n"
    assert head in text
    play = '[[fields.practice.play.events]]\nlabel = "Match"\ndays = ["Sat"]\nhours = 2.0\n\n'
    return loads(text.replace(head, play + head), ".", "both.toml")


@pytest.fixture(scope="module")
def both(fed_and_played):
    mine = fed_and_played
    return crossed(mine, 3, followed(mine, ("none", "refill")), (1, 4), feeding_effect=True)


def of_draws(found, n_draws, seed=7):
    """``found`` as if so many draws had these numbers in every year alike: no chance of the years.

    The yearly numbers are the same in all of them, so that the range is that of the draws.
    """
    rng = np.random.default_rng(seed)
    shape = (*found.squares[WATER].shape, n_draws)
    rows, by_draw = {}, {}
    for name in found.rows:
        is_share = name in (*SHARES, "play_peak_worn", "play_peak_root_loss")
        drawn = rng.gamma(2.0, 0.05 if is_share else 5.0, shape)
        rows[name] = drawn - 8.0 if name in CHANGES else np.minimum(drawn, 1.0 if is_share else 99)
    for name in found.by_draw:
        by_draw[name] = rng.normal(3.0, 9.0, shape)
    by_draw[RECOVERED][..., :5] = np.nan
    years = found.years
    return replace(
        found,
        draws=replace(found.draws, u=np.zeros((n_draws, 0)), values=np.zeros((n_draws, 0)),
                      doubtful=()),
        rows=rows,
        columns={
            name: np.broadcast_to(x.mean(axis=-1)[..., None], (*x.shape[:-1], years))
            for name, x in rows.items()
        },
        squares={name: (x**2).mean(axis=-1) for name, x in rows.items()},
        demand=np.zeros((*shape, found.demand.shape[-1])),
        demand_of_halves=np.zeros((*shape, found.demand.shape[-1], 2)),
        by_draw=by_draw,
    )  # fmt: skip


def test_ranges_of_play_and_of_what_feeding_changes_are_quantiles_of_the_draws(
    both, fed_and_played
):
    """64 draws without chance of the years: 5 and 95% as numpy has them, at i/(K+1)."""
    hand = of_draws(both, 64)
    out = doubt_answers(hand, fed_and_played, ("none", "refill"))
    names = [*PLAYED, *CHANGES, *hand.by_draw]
    assert len(names) == 10 + 3 + 2
    fields = list(out["field"].values)
    for name in names:
        values = hand.by_draw.get(name, hand.rows.get(name))
        wanted = np.nanquantile(values, [0.05, 0.95], axis=-1, method="weibull")
        has = np.array([name.startswith("feed_") or field == "practice" for field in fields])
        for end, limit in zip(("_low", "_high"), wanted, strict=True):
            got = out[f"doubt_{name}{end}"].values
            np.testing.assert_allclose(got[has], limit[has], rtol=1e-9, atol=1e-9, err_msg=name)
            assert np.isnan(got[~has]).all(), name
        mean = out[f"doubt_{name}"].values[has]
        np.testing.assert_allclose(mean, np.nanmean(values, axis=-1)[has], rtol=1e-9)
    for name in SHARES:  # as odds: a Beta distribution with the moments of the draws
        x = hand.rows[name][1]
        m, v = x.mean(axis=-1), x.var(axis=-1, ddof=1)
        nu = m * (1.0 - m) / v - 1.0
        for end, u in (("_low", 0.05), ("_high", 0.95)):
            wanted = beta.ppf(u, m * nu, (1.0 - m) * nu)
            np.testing.assert_allclose(out[f"doubt_{name}{end}"].values[1], wanted, rtol=1e-6)
    for name, values in out.data_vars.items():
        if str(name).startswith(("doubt_play", "doubt_feed")):
            assert values.attrs["units"], name
            assert values.attrs["long_name"], name


def test_chance_of_the_years_is_no_range_of_play(both, fed_and_played):
    """Draws that are all alike differ by chance alone: both limits are the mean."""
    rng = np.random.default_rng(11)
    hand = of_draws(both, 40)
    x = 20.0 + rng.normal(0.0, 6.0, (2, 2, 40, 30)).clip(-18.0)
    x -= x.mean(axis=-1, keepdims=True) - x.mean()
    mud = "play_days_mud"
    hand = replace(
        hand,
        years=30,
        independent_years=30,
        distinct_years=30,
        rows={**hand.rows, mud: x.mean(axis=-1)},
        columns={**hand.columns, mud: x.mean(axis=-2)},
        squares={**hand.squares, mud: (x**2).mean(axis=(-2, -1))},
    )
    out = doubt_answers(hand, fed_and_played, ("none", "refill")).sel(field="practice")
    assert not out[f"doubt_{mud}_distinct"].any()
    np.testing.assert_allclose(out[f"doubt_{mud}_low"], out[f"doubt_{mud}"], rtol=1e-9)
    np.testing.assert_allclose(out[f"doubt_{mud}_high"], out[f"doubt_{mud}"], rtol=1e-9)


def test_a_draw_of_play_and_of_what_feeding_changes_is_two_runs(both, fed_and_played):
    mine = fed_and_played
    for k, one in enumerate(drawn_scenarios(mine, both.draws.rows())):
        fed, plain = (
            drysward.run(scenario, (1, 4), ("none", "refill"))
            for scenario in (one, without_feeding(one))
        )
        for name, of in CHANGES.items():
            wanted = (fed[of] - plain[of]).mean("year").values
            np.testing.assert_allclose(both.rows[name][..., k], wanted, rtol=1e-9, atol=1e-9)
        recovered = (fed["recovery_days"] - plain["recovery_days"]).mean("year").values
        np.testing.assert_allclose(both.by_draw[RECOVERED][..., k], recovered, rtol=1e-9)
        played = play_answers(fed).sel(field="practice")
        for name in PLAYED:
            wanted = played[f"{name.removeprefix('play_')}_mean"].values
            np.testing.assert_allclose(both.rows[name][1, :, k], wanted, rtol=1e-9, atol=1e-12)
        for name in SHARES:
            wanted = played[f"{name.removeprefix('play_')}_share"].values
            np.testing.assert_allclose(both.rows[name][1, :, k], wanted, rtol=1e-9, atol=1e-12)
        most = played["longest_airless_most"].values
        np.testing.assert_array_equal(both.by_draw["play_longest_airless"][1, :, k], most)
    assert (abs(both.rows["feed_water_change"][:, 1]) > 0.01).any()


def test_the_effect_of_feeding_needs_a_field_that_is_fed(demo):
    with pytest.raises(FaultyInput, match="no field is fed"):
        crossed(demo, 2, followed(demo), YEARS, feeding_effect=True)
    plain = ran(demo, 2)
    assert not plain.by_draw
    assert set(plain.rows) == set(OUTCOMES)


def test_shares_of_events_scatter_as_a_ratio():
    """Mean and scatter over the years are those of the share in ``play_answers``."""
    events = np.array([10.0, 12.0, 0.0, 8.0])
    these = np.array([[5.0, 12.0, 0.0, 1.0], [0.0, 0.0, 0.0, 0.0]])
    x = share_of_years(these, events)
    np.testing.assert_allclose(x.mean(axis=-1), [18.0 / 30.0, 0.0])
    about = (these - 0.6 * events)[0] / events.mean()
    np.testing.assert_allclose(x[0].std(), about.std())
    assert np.isnan(share_of_years(these, 0.0 * events)).all()


# --- chance of the years ------------------------------------------------------------------------


def of_cells(found, x):
    """``Crossed`` of cells (F, P, K, Y) in place of every outcome."""
    n = x.shape[-1]
    apart = x[:, :, None] - x[:, None]
    by_plan = (apart**2).mean(axis=(-2, -1))
    by_field = ((x[:, None] - x[None]) ** 2).mean(axis=(-2, -1)).transpose(2, 0, 1)
    every = {name: x.mean(axis=-1) for name in OUTCOMES}
    return Crossed(
        draws=found.draws,
        years=n,
        independent_years=n,
        distinct_years=n,
        rows=every,
        columns={name: x.mean(axis=-2) for name in OUTCOMES},
        squares={name: (x**2).mean(axis=(-2, -1)) for name in OUTCOMES},
        plans=dict.fromkeys(PAIRED, by_plan),
        fields=dict.fromkeys(PAIRED, by_field),
        demand=found.demand,
        demand_of_halves=found.demand_of_halves,
        site_demand=found.site_demand,
        below_in_ten=found.below_in_ten,
    )


def test_years_drawn_again_tell_no_more_than_the_record(found):
    """15 years of chance, 20 times over: spread and sampling error are those of 15 years."""
    rng = np.random.default_rng(3)
    true = 40.0 + 3.0 * rng.normal(size=(400, 32, 1))
    x = true + 5.0 * rng.normal(size=(400, 1, 15)) + 8.0 * rng.normal(size=(400, 32, 15))
    again = x[..., rng.integers(0, 15, 300)]
    once, more, naive = (
        doubt._of_independent(
            split(cells), replace(found, independent_years=n, distinct_years=n)
        )
        for cells, n in ((x, 15), (again, 15), (again, 300))
    )
    assert once.between_draws.mean() == pytest.approx(9.0, rel=0.1)
    assert more.between_draws.mean() == pytest.approx(9.0, rel=0.12)
    assert naive.between_draws.mean() > 1.2 * 9.0
    ratio = more.sampling_error.mean() / once.sampling_error.mean()
    assert ratio == pytest.approx(1.0, abs=0.1)
    assert naive.sampling_error.mean() < 0.4 * once.sampling_error.mean()


def test_chance_of_a_mean_over_plans_is_that_of_the_mean(found):
    """Plans that share their noise keep it in the mean; chance of each tells nothing of that."""
    rng = np.random.default_rng(4)
    noise = rng.normal(size=(1, 1, 32, 40))
    x = np.concatenate([30.0 + noise, 30.0 - noise, 30.0 + noise], axis=1)
    x = x + rng.normal(size=(1, 1, 32, 1))
    x = np.concatenate([x, x])
    one = of_cells(found, x)
    for plans in ([0, 1], [0, 2], [0, 1, 2]):
        parts = doubt._split_of_mean(one, 0, np.array(plans))
        whole = split(x[0, plans].mean(axis=0))
        for name in ("mean", "between_draws", "interaction", "chance"):
            assert getattr(parts, name) == pytest.approx(getattr(whole, name), abs=1e-9)
    assert doubt._split_of_mean(one, 0, np.array([0, 1])).chance < 1e-9


def test_the_noise_of_dry_years_is_taken_out():
    """400 cases of 32 draws, 60 years each: the 5 to 95% of the 1-in-10 year is as wide as the
    truth, where draws as they are make it half as wide again.
    """
    rng = np.random.default_rng(8)
    k, years, spread, noise = 32, 60, 10.0, 60.0
    true = 500.0 + spread * rng.normal(size=(400, k))
    water = np.maximum(true[..., None] + noise * rng.normal(size=(400, k, years)), 0.0)
    demand = demand_estimates(water, (10.0,))
    parts = (water[..., : years // 2], water[..., years // 2 :])
    halves = np.stack([demand_estimates(part, (10.0,)) for part in parts], axis=-1)
    factor = np.sqrt(doubt._repeated(halves[None])[0])
    rest = demand - demand.mean(axis=1, keepdims=True)
    plain = rest[..., 0].var(axis=1, ddof=1).mean()
    assert plain > 1.5 * spread**2
    drawn = (rest * factor[:, None])[..., 0].var(axis=1, ddof=1).mean()
    assert drawn == pytest.approx(spread**2, rel=0.25)


def test_dry_years_of_a_record_drawn_again_are_thinned(demo, tmp_path):
    """Demand of each draw as ``drysward.answers`` gives it of a resampled record."""
    start, days = np.datetime64("2001-01-01"), 365 * 12 + 3
    dates = start + np.arange(days)
    rng = np.random.default_rng(2)
    warm = 18.0 - 14.0 * np.cos(2.0 * np.pi * (np.arange(days) - 20) / 365.25)
    rain = np.where(rng.random(days) < 0.25, rng.gamma(0.8, 10.0, days), 0.0)
    lines = ["date,rain_mm,tmax_c,tmin_c"]
    lines += [
        f"{d},{r:.1f},{t + 6 + e:.1f},{t - 6 + e:.1f}"
        for d, r, t, e in zip(dates, rain, warm, rng.normal(0, 3, days), strict=True)
    ]
    (tmp_path / "weather.csv").write_text("\n".join(lines) + "\n")
    text = demo.text
    head, _, tail = text.partition("[weather]")
    fields = tail[tail.index("[fields.stadium]") :]
    weather = '[weather]\nfile = "weather.csv"\nsource = "resample"\nyears = 40\nseed = 1\n\n'
    mine = loads(head + weather + fields, tmp_path, "mine.toml")
    found = crossed(mine, 2, followed(mine, ("deficit",)))
    assert found.years == 40
    assert found.independent_years < 13
    assert np.isnan(found.demand_of_halves).all()
    first = next(iter(drawn_scenarios(mine, found.draws.rows())))
    result = drysward.run(first, only=["deficit"])
    assert found.independent_years == int(result.attrs["independent_years"])
    told = drysward.answers(result)["demand"].sel(plan="deficit")
    np.testing.assert_allclose(found.demand[:, 0, 0], told, rtol=1e-12)
    water = result["irrigation_gross"].values
    assert thinned(water, found.independent_years).shape[-1] < water.shape[-1]
    out = doubt_answers(found, mine, ("deficit",))
    assert out.attrs["doubt_independent_years"] == found.independent_years


# --- from Python --------------------------------------------------------------------------------


def test_draws_from_python(demo, found):
    out = drysward.draws(demo, n=32, plans=PLANS, years=YEARS, keep=True)
    assert out.attrs["doubt_draws"] == 32
    assert out["plan"].values.tolist() == list(PLANS)
    plain = doubt_answers(found, demo, PLANS)
    for name in plain.data_vars:
        np.testing.assert_array_equal(out[name], plain[name])
    for name in OUTCOMES:
        assert out[f"draw_{name}"].dims == ("field", "plan", "draw")
        np.testing.assert_array_equal(out[f"draw_{name}"], found.rows[name])
    np.testing.assert_array_equal(out["drawn"], found.draws.values)
    assert out["drawn_number"].values.tolist() == [one.key for one in found.draws.doubtful]
    mean = out["draw_days_below_condition"].mean("draw")
    np.testing.assert_allclose(out["doubt_days_below_condition"], mean)


def test_a_scenario_replaced_in_python_is_refused(demo):
    """Its draws would be those of the text."""
    small = tuple(replace(field, area_m2=4000.0) for field in demo.fields)
    late = tuple(replace(plan, trigger=0.6) for plan in demo.plans)
    new = (*demo.plans, replace(demo.plans[-1], key="not_in_the_text"))
    north = replace(demo.site, latitude_deg=50.0)
    for part, other in (("fields", small), ("plans", late), ("plans", new), ("site", north)):
        with pytest.raises(FaultyInput, match=f"^scenario.{part}: replaced in Python, .*loads"):
            drysward.draws(replace(demo, **{part: other}), n=2, years=(1, 2))


def test_single_draws_are_left_out_unless_asked_for(demo):
    out = drysward.draws(demo, n=2, plans=["none"], years=(1, 2))
    assert "draw" not in out.dims


@pytest.mark.parametrize("n", [1, 0, -4])
def test_one_draw_has_no_spread(demo, n):
    with pytest.raises(ValueError, match=f"^n = {n}: a spread across draws needs 2 or more"):
        drysward.draws(demo, n=n)


def test_one_year_has_no_spread(demo):
    with pytest.raises(ValueError, match="two years or more, not 1"):
        drysward.draws(demo, n=2, years=(1, 1))


def test_a_scenario_without_text_or_an_unknown_plan_is_refused(demo, scenes):
    with pytest.raises(FaultyInput, match="no text"):
        drysward.draws(scenes.scenario([scenes.field()]))
    with pytest.raises(FaultyInput, match="refil"):
        drysward.draws(demo, plans=["refil"])


def test_bad_years_are_means_over_draws_of_the_bad_years_of_each(demo, found, cells):
    four = ran(demo, 4)
    runs = [drysward.run(one, years=YEARS, only=PLANS) for one in
            drawn_scenarios(demo, four.draws.rows())]  # fmt: skip
    days = [worst_in_ten(one[BELOW].values) for one in runs]
    np.testing.assert_allclose(four.below_in_ten, np.mean(days, axis=0), rtol=1e-12)
    for k, one in enumerate(runs):
        volumes = site_volumes(one, demo.answers.return_periods)["site_demand_volume"]
        np.testing.assert_allclose(four.site_demand[:, k], volumes.values, rtol=1e-9)
