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
from drysward.studies.fitting.fit import Model, _drawn_from, fit
from drysward.studies.fitting.observe import errors_of, predicted, through_instruments
from drysward.studies.fitting.readings import Reading, Readings
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
            there = seasons.daily[name][k]
            assert np.array_equal(there, alone[name][0], equal_nan=True), name


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

    def test_a_rating_rises_with_green_cover(self, seasons):
        """From the brown end of the scale up, and below 9 where all is green."""
        days = np.arange(DAY("2013-03-01"), STOP, 7)
        rows = [reading(kind, day=str(day)) for day in days for kind in ("green cover", "quality")]
        found = predicted(seasons, rows)
        green, rating = found[:, 0::2].ravel(), found[:, 1::2].ravel()
        assert np.ptp(green) > 0.1
        order = np.argsort(green)
        assert (np.diff(rating[order]) >= 0.0).all()
        assert rating == pytest.approx(1.0 + 7.0 * green)

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


def test_ratings_of_a_field_share_an_error_and_are_wide(scenario):
    rows = [reading("quality"), reading("quality", day="2013-07-17"), reading("quality", field=0)]
    found = errors_of(rows, scenario)
    of = scenario.catalog.get("readings", "quality")
    assert found[0, 1] == pytest.approx(of["reading_rating_shared"] ** 2)
    assert found[0, 2] == 0.0
    # 95% of ratings at one greenness lie within 1.25 to 2.1 points (Lee, Bremer et al. 2011).
    assert 1.25 < 1.96 * np.sqrt(found[0, 0]) < 2.5


POND = """
[supply.sources.well]
kind = "well"
rate = "2 gpm"
[supply.storage]
kind = "pond"
capacity = "0.5 Mgal"
depth = "8 ft"
side_slope = 2
lining = "clay"
"""


class TestLevels:
    @pytest.fixture
    def ponds(self, record, log):
        scenario = drysward.loads(TEXT + POND, DATA)
        rows = draw(drawn_numbers(scenario), 3, 1).rows()
        tree = tomllib.loads(scenario.text)
        drawn = [drawn_point(scenario, tree, scenario.plans, row).scenario for row in rows]
        return drawn, seasons_so_far(drawn, span_of(scenario, record, STOP), log, has_books=True)

    def test_levels_are_those_of_the_books_of_each_draw_alone(self, ponds, record, log):
        drawn, seasons = ponds
        assert np.ptp(seasons.storage_m3[:, -1]) > 1.0
        for k, one in enumerate(drawn):
            start = start_at(one, record, STOP, one.plans[:1], log.applied_mm(one))
            alone = float(start.runs.supply.storage["volume"][0, 0])
            assert seasons.storage_m3[k, -1] == pytest.approx(alone)
        level = reading("pond level", field=-1, day=str(STOP - 1))
        full = drawn[0].supply.storage.volumes_m3[-1]
        found = predicted(seasons, [level])[:, 0]
        assert found == pytest.approx(seasons.storage_m3[:, -1] / full)

    def test_soil_is_the_same_with_and_without_books(self, ponds, record, log):
        drawn, seasons = ponds
        alone = seasons_so_far(drawn, span_of(drawn[0], record, STOP), log)
        for name in DAILY:
            here = seasons.daily[name], alone.daily[name]
            assert np.array_equal(*here, equal_nan=True), name

    @pytest.mark.slow
    def test_levels_of_a_leaky_pond_raise_its_seepage(self, record, log):
        """A truth that seeps three times as much; no reading of the fields."""
        scenario = drysward.loads(TEXT + POND, DATA)
        leaky = drysward.loads(
            scenario.text + "[overrides.supply.clay_lining]\nseepage_mm_d = 6.0\n", DATA
        )
        seasons = seasons_so_far([leaky], span_of(leaky, record, STOP), log, has_books=True)
        days = np.arange(DAY("2013-04-01"), STOP, 7)
        asked = [reading("pond level", field=-1, day=str(day)) for day in days]
        values = predicted(seasons, asked)[0]
        read = Readings("levels", tuple(
            replace(one, value=float(y)) for one, y in zip(asked, values, strict=True)
        ), ())  # fmt: skip
        found = fit(scenario, read, log, record, STOP)
        row = next(row for row in found.rows if row.key.endswith("clay_lining.seepage_mm_d"))
        assert row.name == "water that seeps out of a pond (Compacted clay)"
        assert row.after[1] > row.before[1] + 0.5
        # As theory of lines says, but for the error of 100 draws.
        assert row.fall == pytest.approx(row.expected, abs=0.12)
        storage = found.today["storage"]
        assert np.std(storage) < 0.7 * np.std(found.today_before["storage"])
        assert abs(np.median(storage) - values[-1]) < 0.05


@pytest.mark.slow
def test_two_seasons_say_more_than_one(scenario, record):
    """Readings of two turf years, each on its own log, fitted together."""
    both = {DAY(f"{year}-05-20") + 3 * i: 10.0 for year in (2012, 2013) for i in range(15)}
    log = Log("log", {"sand": both, "loam": {}}, {"sand": {}, "loam": {}}, (), None)
    year_1, year_2 = (
        [reading(field=f, day=str(DAY(f"{y}-06-01") + 5 * i)) for i in range(10) for f in (0, 1)]
        for y in (2012, 2013)
    )  # fmt: skip
    model = Model(scenario, log, record, STOP)
    truth = np.zeros((1, len(model.numbers)))
    at = [one.key for one in model.numbers].index(
        "overrides.soil_errors.texture.field_capacity_error"
    )
    truth[0, at] = 1.0
    together, _ = model.run(truth, [*year_1, *year_2])
    n = len(year_1)
    for rows, values in ((year_1, together[:, :n]), (year_2, together[:, n:])):
        alone, _ = model.run(truth, rows)
        assert np.array_equal(alone, values)

    def row_of(rows):
        values, _ = model.run(truth, rows)
        each = tuple(replace(one, value=float(y)) for one, y in zip(rows, values[0], strict=True))
        found = fit(scenario, Readings("two years", each, ()), log, record, STOP)
        return next(row for row in found.rows if row.key.endswith("field_capacity_error"))

    two, one = row_of([*year_1, *year_2]), row_of(year_2)
    assert two.expected > one.expected
    assert two.fall == pytest.approx(two.expected, abs=0.12)


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


def test_offsets_and_gains_of_a_probe_are_kept(folder):
    path = folder / "my-fit.toml"
    whole = path.read_text()
    path.write_text(whole + '[probes."probe A"]\noffset = [0.01, 0.02]\ngain = [1, 0.9]\n')
    named = drysward.load(folder / "fields.toml")
    assert named.fitted.probes == {"probe A": ((0.01, 0.02), (1.0, 0.9))}
    path.write_text(whole + '[probes."probe A"]\noffset = [0.01, 0.02]\n')
    with pytest.raises(FaultyInput, match="'probe A': has no offsets and gains; as many of each"):
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
