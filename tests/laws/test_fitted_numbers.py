"""Seasons of draws, readings of them, and fitted numbers that a scenario names."""

import tomllib
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

import drysward
from drysward.faults import FaultyInput
from drysward.scenario.fitted import inputs_of
from drysward.site.weather_years import read_record
from drysward.studies.doubt.crossed import drawn_numbers, drawn_point
from drysward.studies.doubt.draws import draw
from drysward.studies.fitting.fit import _drawn_from
from drysward.studies.fitting.observe import errors_of, predicted, through_instruments
from drysward.studies.fitting.readings import Reading
from drysward.studies.fitting.seasons import seasons_so_far, span_of
from drysward.studies.season.ahead import DAILY, start_at
from drysward.studies.season.logs import Log

DATA = Path(__file__).parents[1] / "data"
DAY = np.datetime64
STOP = DAY("2013-07-20")
TEXT = (DATA / "two-fields.toml").read_text()
TEXT = TEXT.replace('"native_loam"', '{ like = "native_loam", depth = "36 in (30 to 40 in)" }')


@pytest.fixture(scope="module")
def scenario():
    return drysward.loads(TEXT, DATA)


@pytest.fixture(scope="module")
def record(scenario):
    return read_record(scenario)


@pytest.fixture(scope="module")
def log():
    sand = {DAY("2013-05-20") + 3 * i: 10.0 for i in range(15)}
    return Log("log", {"sand": sand, "loam": {}}, {"sand": {}, "loam": {DAY("2013-06-20"): 40.0}},
               (), None)  # fmt: skip


@pytest.fixture(scope="module")
def draws(scenario):
    rows = draw(drawn_numbers(scenario), 4, 1).rows()
    tree = tomllib.loads(scenario.text)
    return [drawn_point(scenario, tree, scenario.plans, row).scenario for row in rows]


@pytest.fixture(scope="module")
def seasons(scenario, record, log, draws):
    return seasons_so_far(draws, span_of(scenario, record, STOP), log)


def test_draws_side_by_side_are_the_season_of_each_alone(record, log, draws, seasons):
    for k in (0, 3):
        alone = start_at(draws[k], record, STOP, draws[k].plans, log.applied_mm(draws[k])).so_far
        for name in DAILY:
            assert np.array_equal(seasons.daily[name][k], alone[name][0]), name


def test_minutes_follow_the_rate_of_each_draw(draws, log):
    rates = [one.field_named("loam").delivery.precipitation_rate_mm_h for one in draws]
    depths = [log.applied_mm(one)["loam"][DAY("2013-06-20")] for one in draws]
    assert len(set(rates)) == len(rates)
    assert depths == pytest.approx([rate * 40.0 / 60.0 for rate in rates])


def reading(kind="moisture", field=1, depth_mm=76.2, day="2013-07-10", **other):
    probe = "probe" if kind == "moisture" else ""
    return Reading(2, DAY(day), field, kind, 0.2, depth_mm, other.get("place", ""), probe)


class TestPredicted:
    def test_rods_as_long_as_the_surface_layer_read_its_water(self, seasons):
        surface = float(seasons.surface_mm[0, 1])
        found = predicted(seasons, [reading(depth_mm=surface)])[0, 0]
        day = int((DAY("2013-07-10") - seasons.dates[0]).astype(int))
        assert found == pytest.approx(seasons.daily["surface_water"][0, day, 1] / surface)

    def test_rods_as_long_as_the_roots_read_all_their_water(self, seasons):
        day = int((DAY("2013-07-10") - seasons.dates[0]).astype(int))
        water = sum(seasons.daily[name][0, day, 0] for name in ("surface_water", "root_water"))
        rooted = float(seasons.daily["root_depth"][0, day, 0])
        found = predicted(seasons, [reading(field=0, depth_mm=rooted)])[0, 0]
        assert found == pytest.approx(water / rooted, rel=1e-6)

    def test_what_a_test_measures_is_the_number_itself(self, seasons, draws):
        rows = [reading("uniformity"), reading("precipitation rate"), reading("field capacity")]
        found = predicted(seasons, rows)
        deliveries = [one.fields[1].delivery for one in draws]
        assert found[:, 0].tolist() == [one.distribution_uniformity for one in deliveries]
        assert found[:, 1].tolist() == [one.precipitation_rate_mm_h for one in deliveries]
        profile = seasons.zones[2][1].profile
        assert found[2, 2] == pytest.approx(float(profile.above(76.2)[0]) / 76.2)

    def test_offset_and_gain_are_shared_by_all_readings_of_a_probe(self):
        rows = [reading(), reading("wilt"), reading(day="2013-07-11")]
        out = through_instruments(np.full((1, 3), 0.2), np.array([[1.0, -1.0]]), rows)
        assert out[0] == pytest.approx([0.03 + 0.85 * 0.2, 0.2, 0.03 + 0.85 * 0.2])


def test_errors_share_day_spot_and_model(scenario):
    rows = [reading(place="a"), reading(place="b"), reading(place="a", day="2013-07-11"),
            reading(field=0, place="a")]  # fmt: skip
    of = scenario.catalog.get("readings", "moisture")
    place, repeat, day, model = (
        of[f"reading_{name}"] ** 2 for name in ("place", "repeat", "day", "model")
    )
    found = errors_of(rows, scenario)
    assert np.diag(found) == pytest.approx([place + repeat + day + model] * 4)
    assert found[0, 1] == pytest.approx(day + model)  # one field and day, two spots
    assert found[0, 2] == pytest.approx(place)  # one spot, two days
    assert found[0, 3] == pytest.approx(day)  # one probe on a day, two fields
    assert found[2, 3] == 0.0


def test_what_is_not_fitted_is_drawn_from_the_misfit():
    """Against the exact posterior of one number and two readings with effects 1 and 2."""
    rng = np.random.default_rng(1)
    aside, error = np.array([[1.0], [2.0]]), np.diag([0.5, 1.0])
    off = np.tile([1.0, 1.5], (20_000, 1))
    found = _drawn_from(off, aside, error, np.ones(2), rng)[:, 0]
    precision = 1.0 + 1.0 / 0.5 + 4.0 / 1.0
    assert found.mean() == pytest.approx((1.0 / 0.5 + 2.0 * 1.5) / precision, abs=0.01)
    assert found.var() == pytest.approx(1.0 / precision, rel=0.03)


# --- the file ----------------------------------------------------------------------------------

KC = "overrides.species.tall_fescue.kc_summer"
DEPTH = "fields.loam.root_zone.depth"


@pytest.fixture
def folder(tmp_path, scenario):
    """A scenario that names a file of two fitted numbers, correlated by 0.9."""
    rng = np.random.default_rng(3)
    z = rng.standard_normal((200, 2)) @ np.linalg.cholesky([[1.0, 0.9], [0.9, 1.0]]).T
    lines = ["[inputs]"]
    lines += [f'"{k}" = "{v}"' for k, v in inputs_of(tomllib.loads(TEXT)).items()]
    for key, unit, values in ((KC, "", 0.8 + 0.02 * z[:, 0]), (DEPTH, "in", 33 + z[:, 1])):
        text = ", ".join(f"{x:.6f}" for x in values)
        lines += [f'[numbers."{key}"]', f'unit = "{unit}"', f"draws = [{text}]"]
    (tmp_path / "my-fit.toml").write_text("\n".join(lines) + "\n")
    (tmp_path / "fields.toml").write_text('fitted = "my-fit.toml"\n' + TEXT)
    return tmp_path


def test_likely_numbers_are_the_medians(folder):
    named = drysward.load(folder / "fields.toml")
    kc, depth = (np.median(named.fitted.draws[key]) for key in (KC, DEPTH))
    assert named.catalog.get("species", "tall_fescue")["kc_summer"] == pytest.approx(kc)
    assert named.field_named("loam").root_zone.numbers["depth_mm"] == pytest.approx(25.4 * depth)


def test_draws_come_from_the_file_with_their_correlation(folder, scenario):
    named = drysward.load(folder / "fields.toml")
    numbers = drawn_numbers(named)
    assert {one.key for one in numbers} == {one.key for one in drawn_numbers(scenario)}
    at = {one.key: i for i, one in enumerate(numbers)}
    found = draw(numbers, 512, 1)
    kc, depth = (found.values[:, at[key]] for key in (KC, DEPTH))
    rows = np.array(named.fitted.draws[KC])
    for q in (0.1, 0.5, 0.9):
        assert np.quantile(kc, q) == pytest.approx(np.quantile(rows, q), abs=0.003)
    assert np.corrcoef(kc, depth)[0, 1] == pytest.approx(0.9, abs=0.06)
    tree = tomllib.loads(named.text)
    one = drawn_point(named, tree, named.plans, found.rows()[0]).scenario
    assert one.catalog.get("species", "tall_fescue")["kc_summer"] == pytest.approx(kc[0])
    before = drawn_numbers(scenario)
    sand = [i for i, one in enumerate(before) if "sand_over_gravel" in one.key]
    kept = [at[before[i].key] for i in sand]
    assert found.values[:, kept] == pytest.approx(draw(before, 512, 1).values[:, sand], rel=1e-6)


def test_other_fields_are_refused(folder):
    text = (folder / "fields.toml").read_text()
    (folder / "fields.toml").write_text(text.replace("tall_fescue", "kentucky_bluegrass"))
    with pytest.raises(FaultyInput, match=r"fitted: my-fit.toml was fitted before fields.loam"):
        drysward.load(folder / "fields.toml")


def test_what_readings_have_no_part_in_may_change(folder):
    text = (folder / "fields.toml").read_text()
    (folder / "fields.toml").write_text(text.replace("1.8 acre", "1.9 acre"))
    assert drysward.load(folder / "fields.toml").fitted is not None


@pytest.mark.parametrize(
    "change, expected",
    [
        (("[inputs]", "[input]"), "is not a file of fitted numbers"),
        (('unit = "in"\ndraws = [', 'unit = "in"\ndraws = ["x", '), "has no draws"),
        (('unit = "in"\ndraws = [', 'unit = "in"\ndraws = [33.0, '), "unequal counts"),
    ],
)
def test_a_damaged_file_is_refused(folder, change, expected):
    path = folder / "my-fit.toml"
    path.write_text(path.read_text().replace(*change))
    with pytest.raises(FaultyInput, match=expected):
        drysward.load(folder / "fields.toml")


def test_a_missing_file_is_named(folder):
    (folder / "my-fit.toml").unlink()
    with pytest.raises(FaultyInput, match=r"my-fit\.toml: no such file"):
        drysward.load(folder / "fields.toml")


def test_a_word_is_no_number(scenario):
    looked = replace(reading("wilt"), word="first spots")
    model = scenario.catalog.get("readings", "wilt")["reading_model"]
    seen = scenario.catalog.get("readings", "seen_first_spots")["reading_repeat"]
    assert errors_of([looked], scenario)[0, 0] == pytest.approx(model**2 + seen**2)
