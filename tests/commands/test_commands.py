"""The command line as a person sees it."""

from __future__ import annotations

import csv
import json
import re
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import xarray as xr
from click.testing import CliRunner, Result

import drysward
from drysward.catalog import load_catalog
from drysward.cli import COMMANDS, main
from drysward.day.records import CAUSES
from drysward.faults import Fault, FaultyInput
from drysward.files import RECORD, claim_folder
from drysward.results.export import summary_rows
from drysward.results.summary import turf_summary
from drysward.results.text import procedures, water_notes
from drysward.screen.compare import Comparison, detail, months, overview
from drysward.screen.document import Part
from drysward.screen.formats import as_text

STAGES = ["footprint", "wilt", "dormant", "dead"]
YEARS = [2011, 2012, 2013, 2014]
PERIODS = [2.0, 10.0]


def made_up_run() -> xr.Dataset:
    """Two fields, two plans, four years; numbers chosen so that each can be told apart."""
    yearly = ("field", "plan", "year")
    base = np.arange(2 * 2 * 4, dtype=float).reshape(2, 2, 4)
    names = """precipitation irrigation_gross irrigation_landed spray_loss overspray runoff drainage
    leaf_evaporation soil_evaporation transpiration reference_et watering_days capped_days
    shortage peak_week longest_wilt longest_dormant least_green recovery_days peak_dead
    irrigation_runoff irrigation_drained labor_hours"""
    data: dict[str, tuple] = {
        name: (yearly, base + 25.4 * k) for k, name in enumerate(names.split())
    }
    data["residual"] = (yearly, np.full_like(base, 3e-13))
    by_cause = np.zeros((*base.shape, len(CAUSES)))
    by_cause[..., CAUSES.index("storage")] = base + 2.54
    data["shortage_cause"] = ((*yearly, "cause"), by_cause)
    data["irrigation_month"] = ((*yearly, "month"), np.full((*base.shape, 12), 25.4))
    data["odds"] = (("field", "plan", "stage", "day_of_year"), np.full((2, 2, 4, 366), 0.25))
    data["green_cover"] = (("field", "plan", "day_of_year"), np.full((2, 2, 366), 0.75))
    return xr.Dataset(
        data,
        coords={
            "field": ["sand", "native"],
            "plan": ["none", "inch"],
            "year": YEARS,
            "month": np.arange(1, 13),
            "stage": STAGES,
            "cause": list(CAUSES),
            "day_of_year": np.arange(1, 367, dtype=np.int32),
            "field_label": ("field", ["Stadium [north]", "Practice field"]),
            "plan_label": ("plan", ["No irrigation", "An inch a week, twice, with rain skip"]),
            "area_m2": ("field", [8000.0, 4046.8564224]),
        },
        attrs={
            "title": "A title",
            "site": "Tarrow Mills",
            "weather": "a record",
            "weather_kind": "record",
            "weather_notes": json.dumps(["that much is [assumed]"]),
            "independent_years": 4,
            "reached_days": 3,
            "condition_green": 0.75,
            "condition_wilt": 0.25,
            "years": "2011-2014",
            "years_left_out": "2010 (200 days)",
            "filled": "",
            "et_procedures": json.dumps({"2011": {"given": 365}, "2012": {"given": 366}}),
            "driest_years": "2012, 2011, 2013",
            "cautions": "A screening estimate.",
        },
    )


def made_up_answers(run: xr.Dataset) -> xr.Dataset:
    """Wilt in one year of four, footprinting in all, the other stages in none."""
    size = (2, 2, 4)
    p = np.broadcast_to([1.0, 0.25, 0.0, 0.0], size)
    staged = ("field", "plan", "stage")
    by_period = ("field", "plan", "period")
    return xr.Dataset(
        {
            "days_below_condition_mean": (("field", "plan"), np.full((2, 2), 33.0)),
            "days_below_condition_se": (("field", "plan"), np.full((2, 2), 2.5)),
            "days_below_condition_1in10": (("field", "plan"), np.full((2, 2), 101.6)),
            "probability": (staged, p),
            "probability_se": (staged, np.sqrt(p * (1 - p) / 4)),
            "probability_low": (staged, np.broadcast_to([0.597, 0.06, 0.0, 0.0], size)),
            "probability_high": (staged, np.broadcast_to([1.0, 0.6, 0.403, 0.403], size)),
            "days_mean": (staged, np.broadcast_to([20.0, 11.0, 7.0, 0.0], size)),
            "season_water": (("field", "plan"), np.full((2, 2), 254.0)),
            "demand": (by_period, np.full((2, 2, 2), 508.0)),
            "demand_low": (by_period, np.full((2, 2, 2), 381.0)),
            "demand_high": (by_period, np.full((2, 2, 2), np.nan)),
            "demand_fitted": (by_period, np.broadcast_to([False, True], (2, 2, 2))),
        },
        coords={
            **{name: run[name] for name in ("field", "plan", "stage", "field_label")},
            "plan_label": run["plan_label"],
            "area_m2": run["area_m2"],
            "period": PERIODS,
        },
        attrs=dict(run.attrs),
    )


@pytest.fixture
def run() -> xr.Dataset:
    return made_up_run()


@pytest.fixture
def summary(run: xr.Dataset) -> xr.Dataset:
    return turf_summary(run, made_up_answers(run))


def ask(*words: str) -> Result:
    return CliRunner().invoke(main, list(words))


def flowing(text: str) -> str:
    return " ".join(text.split())


def comparison(summary: xr.Dataset, system: str = "us", years: int = 30) -> Comparison:
    """The comparison of a summary as if of so many years, its site twice one field."""
    by_period = summary["demand_volume"].sum("field")
    whole = summary.assign({
        "site_season_volume": summary["season_volume"].sum("field"),
        "site_peak_week_volume": summary["peak_week_volume"].sum("field"),
        "site_demand_volume": by_period,
    })  # fmt: skip
    return Comparison(whole.assign_attrs(n_years=years), system=system)


def everything(one: Comparison) -> list[Part]:
    return [*overview(one), *detail(one), months(one)]


# Speaking at the terminal


@pytest.mark.parametrize("words", [["--help"], ["--version"], ["compare", "--help"]])
def test_help_and_version_load_no_heavy_library(words: list[str]) -> None:
    code = (
        "import sys\nfrom drysward.cli import main\n"
        f"try: main({words!r})\nexcept SystemExit as end: assert end.code == 0, end.code\n"
        "heavy = {'numpy', 'xarray', 'numba', 'scipy', 'pydantic', 'pint', 'rich'}\n"
        "assert not heavy & set(sys.modules), heavy & set(sys.modules)\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    assert "drysward" in done.stdout or "Usage" in done.stdout


def test_a_process_of_its_own_loads_nothing_only_to_ask_about_it() -> None:
    code = (
        "import sys\nfrom drysward.cli import start\n"
        "sys.argv = ['drysward', 'check', 'demo']\n"
        "try: start()\nexcept SystemExit as end: assert end.code == 0, end.code\n"
        "assert sys.modules['dask'] is None and sys.modules['pint'] is None\n"
        "from drysward.quantities import convert\n"
        "assert abs(convert(1.0, 'furlong', 'mm') - 201168.0) < 1.0\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    assert "What would run" in done.stdout


def test_special_functions_loaded_alone_are_those_of_scipy() -> None:
    code = (
        "import sys\nfrom drysward.loading import collect_rarely\n"
        "collect_rarely()\n"
        "from drysward import special as alone\n"
        "assert 'scipy.special' not in sys.modules\n"
        "from scipy import special\n"
        "for name, given in {\n"
        "    'expit': (0.2,), 'logit': (0.2,), 'ndtri': (0.2,),\n"
        "    'gammaincinv': (3.0, 0.2), 'gammainccinv': (3.0, 0.2),\n"
        "}.items():\n"
        "    assert getattr(alone, name)(*given) == getattr(special, name)(*given), name\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True)
    assert done.returncode == 0, done.stderr


def test_every_command_has_help() -> None:
    listed = ask("--help").output
    for name in COMMANDS:
        assert name in listed
        assert ask(name, "--help").exit_code == 0


def test_version() -> None:
    assert drysward.__version__ in ask("--version").output


def test_each_fault_is_one_line_on_stderr(monkeypatch: pytest.MonkeyPatch) -> None:
    def faulty(*_: object) -> None:
        raise FaultyInput([Fault("a.toml: site", "no\nname"), Fault("b", "bad", "good")])

    monkeypatch.setattr("drysward.load", faulty, raising=False)
    told = ask("compare", "some.toml")
    assert told.exit_code == 2
    assert told.stderr.splitlines() == ["a.toml: site: no name", "b: bad; good"]
    assert told.stdout == ""


def test_other_errors_are_one_line_unless_debugging(monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(*_: object) -> None:
        raise ArithmeticError("the account\ndoes not close")

    monkeypatch.setattr("drysward.load", broken, raising=False)
    told = ask("compare", "some.toml")
    assert told.exit_code == 1
    assert told.stderr.count("\n") == 1
    assert "ArithmeticError: the account does not close" in told.stderr
    shown = ask("--debug", "compare", "some.toml")
    assert shown.exit_code == 1
    assert isinstance(shown.exception, ArithmeticError)


@pytest.mark.parametrize("years", ["2018-2016", "20166", "all", "2016-"])
def test_years_that_are_none_are_refused(years: str) -> None:
    told = ask("compare", "--years", years)
    assert told.exit_code == 2
    assert years in told.stderr


def test_a_file_that_is_not_there_is_a_fault(tmp_path: Path) -> None:
    told = ask("check", str(tmp_path / "absent.toml"))
    assert told.exit_code == 2
    assert "absent.toml" in told.stderr


@pytest.mark.parametrize(
    ("units", "short"),
    [
        ("us", "2.8 in of a yearly demand of 18.9 in"),
        ("metric", "71 mm of a yearly demand of 480 mm"),
    ],
)
def test_water_that_is_lost_and_that_never_comes_in_words(units: str, short: str) -> None:
    """A loss under several plans names the irrigation once; a depth has its unit each time."""
    keys = ["none", "inch", "refill"]
    missing = np.zeros((3, len(CAUSES)))
    missing[2, CAUSES.index("restriction")] = 71.0
    of_field = xr.Dataset(
        {
            "irrigation_landed_mean": ("plan", [0.0, 500.0, 400.0]),
            "irrigation_drained_mean": ("plan", [0.0, 60.0, 100.0]),
            "irrigation_runoff_mean": ("plan", [0.0, 40.0, 80.0]),
            "shortage_cause_mean": (("plan", "cause"), missing),
            "season_water": ("plan", [0.0, 500.0, 409.0]),
        },
        coords={
            "plan": keys, "plan_label": ("plan", ["None", "An inch", "Refill"]),
            "cause": list(CAUSES),
        },
    )  # fmt: skip
    notes = dict(water_notes(of_field, units))
    assert notes["Drains"].startswith("12% of the irrigation under An inch, 25% under Refill; to ")
    assert notes["Runs off"].startswith("20% of the irrigation under Refill; to save it, stop ")
    depth = short.split()[0]
    text = f"{short} under Refill: {depth} because restrictions forbid it"
    assert notes["Unmet demand"] == text


# The catalog


def test_catalog_lists_kinds_and_entries() -> None:
    told = ask("catalog").output
    for kind in load_catalog().entries:
        assert kind in told
    for kind in ("species", "soils", "root-zones", "delivery", "plans"):
        assert ask("catalog", kind).exit_code == 0
    assert "native_loam" in ask("catalog", "root-zones").output


def test_catalog_entry_shows_value_source_and_grade() -> None:
    told = ask("catalog", "Kentucky bluegrass").output
    number = load_catalog().get("species", "kentucky_bluegrass").parameter("root_depth_sand")
    line = next(line for line in told.splitlines() if "root_depth_sand" in line)
    assert f"{number.value:g}" in line
    assert number.grade in line
    assert number.source[0] in line
    assert load_catalog().sources[number.source[0]][:40] in told


def test_catalog_shows_a_word_that_is_entry_and_number() -> None:
    told = ask("catalog", "sand").output
    assert "soils.sand" in told
    assert "intake.sand" in told
    assert load_catalog().meanings["sand"].meaning in told


@pytest.mark.parametrize("start", ["", "overrides."])
def test_catalog_takes_the_names_that_overrides_write(start: str) -> None:
    told = ask("catalog", f"{start}species.kentucky_bluegrass.wilt_ks").output
    assert "species.kentucky_bluegrass: Kentucky bluegrass" in told
    assert "root_depth_sand" not in told
    assert load_catalog().meanings["wilt_ks"].meaning in told
    whole = ask("catalog", f"{start}species.kentucky_bluegrass").output
    assert whole == ask("catalog", "kentucky_bluegrass").output


@pytest.mark.parametrize(
    ("name", "told"),
    [("species.kentucky_bluegrass.wilt_k", "did you mean 'wilt_ks'?"),
     ("species.kentucky_blugrass", "did you mean 'kentucky_bluegrass'?"),
     ("specie.kentucky_bluegrass", "did you mean 'species'?"),
     ("a.b.c.d", "nothing is called 'a.b.c.d'")],
)  # fmt: skip
def test_catalog_suggests_the_nearest_part_of_a_dotted_name(name: str, told: str) -> None:
    refused = ask("catalog", name)
    assert refused.exit_code == 2
    assert told in refused.stderr


def test_catalog_suggests_the_nearest_name() -> None:
    told = ask("catalog", "kentucky_blugrass")
    assert told.exit_code == 2
    assert "did you mean 'kentucky_bluegrass'?" in told.stderr


@pytest.mark.parametrize("name", ["", "plans", *load_catalog().entries, "tall_fescue"])
def test_catalog_pages_fit_100_columns(name: str) -> None:
    assert max(map(len, ask("catalog", name).output.splitlines())) <= 100


# The comparison


def test_the_first_screen_answers(summary: xr.Dataset) -> None:
    text = as_text(overview(comparison(summary)))
    assert max(map(len, text.splitlines())) <= 100
    assert "Stadium [north], 1.98 acre" in text
    assert "Practice field, 1.00 acre" in text
    row = next(line for line in text.splitlines() if line.startswith("No irrigation"))
    # Days below in a mean year and the worst in ten, dormancy in none of four years, water.
    assert row.split()[2:8] == ["33", "(102)", "none", "(0-40)", "10.0", "(20.0)"]
    said = flowing(text)
    # Both plans keep both fields in the mean; the limits of four years leave all of it open.
    kept = "keeps both fields (dormancy in no more than 10 of 100 years)"
    assert f"{kept} with the least water" in said
    assert "keeps is not certain: depending on chance in the years, dormancy may come" in said
    for note in (
        "less than 75% of the field green or more than 25% of it wilting",
        "covers its share of the field for 3 days in a row", "a record", "A screening estimate.",
        "90% limits: sampling error of the years only",
    ):  # fmt: skip
        assert note in said, note


def test_the_first_screen_says_where_much_of_a_demand_is_never_put_on(tmp_path: Path) -> None:
    text = drysward.shipped("demo").text
    systems = 'delivery = { system = "in_ground_rotors", uniformity = 0.6 }'
    path = tmp_path / "small.toml"
    path.write_text(text.replace(systems, 'delivery = "small_traveler"'), encoding="utf-8")
    said = flowing(ask("compare", str(path), "--draws", "0", "--years", "1-5").stdout)
    found = re.search(
        r"Unmet demand “Practice field”: (\S+) in of a yearly demand of (\S+) in under An inch a "
        r"week: \S+ because the night is too short for the system", said
    )  # fmt: skip
    assert found is not None
    short, demand = map(float, found.groups())
    assert 0.5 * demand < short < demand
    assert "“Stadium”:" not in said.partition("Unmet demand")[2].partition("All: --detail")[0]


def test_too_few_years_have_no_dry_year(summary: xr.Dataset) -> None:
    for years, parts in ((9, everything), (10, overview)):
        text = as_text(parts(comparison(summary, years=years)), 200)
        row = next(line for line in text.splitlines() if line.startswith("No irrigation"))
        assert ("(102)" in row) == (years >= 10)
        assert ("1-in-10 dry year" in text) == (years >= 10)
    assert "no 1-in-10 year is shown" in as_text(overview(comparison(summary, years=9)), 200)


def test_a_mean_above_its_bad_year_is_explained_where_one_is(summary: xr.Dataset) -> None:
    why = "the mean is the larger where fewer than 1 year in 10 has nearly all of the days"
    assert why not in flowing(as_text(overview(comparison(summary))))
    rare = summary["days_below_condition_1in10"] * 0.0
    shown = comparison(summary.assign(days_below_condition_1in10=rare))
    assert f"(1 year in 10 is worse than); {why}" in flowing(as_text(overview(shown)))


def test_the_headline_stands_first(summary: xr.Dataset) -> None:
    heads = {
        word: as_text(overview(comparison(summary), word), 200) for word in ("wilt", "water")
    }
    row = {
        word: next(line for line in text.splitlines() if line.startswith("No irrigation"))
        for word, text in heads.items()
    }
    assert row["wilt"].split()[2:4] == ["25", "(6-60)"]
    assert row["water"].split()[2] == "10.0"
    assert "wilt in no more than 10 of 100 years" in flowing(heads["wilt"])


def test_a_plan_that_keeps_nothing_is_no_answer(summary: xr.Dataset) -> None:
    worse = summary["probability"].where(summary["stage"] != "dormant", 0.5)
    said = flowing(as_text(overview(comparison(summary.assign(probability=worse)))))
    assert "No plan keeps any field" in said
    assert "The best of them is “No irrigation”: dormancy in 50 of 100 years on" in said


def test_detail_has_every_stage_and_what_it_rests_on(summary: xr.Dataset) -> None:
    text = as_text(everything(comparison(summary)))
    assert max(map(len, text.splitlines())) <= 100
    table = text.partition("Turf: mean")[2]
    row = next(line for line in table.splitlines() if line.startswith("No irrigation"))
    # All years, one in four, none and none; then days.
    assert row.split()[2:] == ["33", "(102)", "all", "25±22", "none", "none", "11", "7"]
    table = text.partition("Water on the field")[2]
    row = next(line for line in table.splitlines() if line.startswith("No irrigation"))
    assert row.split()[2:6] == ["10.0", "20.0", "14.1", "5.1"]
    said = flowing(text)
    for note in (
        "a record", "that much is [assumed]", "no limits", "2010 (200 days)",
        "2012, 2011, 2013", "given: 2011-2012", "2011-2014 (30)", "3e-13 mm",
        "A screening estimate.", "read from a fitted curve",
    ):  # fmt: skip
        assert note in said, note


def test_comparison_in_metric(summary: xr.Dataset) -> None:
    summary["demand"] = summary["demand"] * 10.0
    summary["demand_low"] = summary["demand_low"] * 10.0
    summary["demand_high"][:] = 12345.0
    text = as_text(everything(comparison(summary, "metric")))
    assert max(map(len, text.splitlines())) <= 100
    assert "3,810-12,345" in text
    assert "8,000 m2" in text
    table = text.partition("Water on the field")[2]
    row = next(line for line in table.splitlines() if line.startswith("No irrigation"))
    assert row.split()[2:5] == ["254", "5,080", "359"]


def test_water_that_is_not_known_is_not_a_number_on_the_screen(summary: xr.Dataset) -> None:
    for name in ("season_water", "season_volume", "demand", "demand_volume"):
        summary[name] = summary[name] * np.nan
    assert "nan" not in as_text(everything(comparison(summary))).lower()


def test_procedures_of_a_mixed_year_tell_the_days() -> None:
    by_year = {"2011": {"a": 365}, "2012": {"a": 300, "b": 66}, "2013": {"a": 365}}
    assert procedures(by_year) == ["a: 2011, 2012 (300 days), 2013", "b: 2012 (66 days)"]


# Files


def test_summary_has_a_row_for_each_field_and_plan_with_units(summary: xr.Dataset) -> None:
    header, *rows = summary_rows(summary, "us")
    assert len(rows) == 4
    assert len(set(header)) == len(header)
    native = dict(zip(header, rows[3], strict=True))
    assert (native["field"], native["plan"]) == ("native", "inch")
    assert float(native["area (acre)"]) == pytest.approx(1.0, abs=1e-6)
    assert float(native["season_water (in)"]) == pytest.approx(10.0, abs=1e-5)
    # An acre-inch is 27,154 gal (common practice).
    assert float(native["season_volume (gal)"]) == pytest.approx(271_543, abs=1)
    assert float(native["probability_wilt"]) == 0.25
    assert float(native["days_below_condition_mean (d)"]) == 33.0
    assert float(native["days_below_condition_1in10 (d)"]) == pytest.approx(101.6)
    assert native["demand_high_1in10 (in)"] == ""
    assert native["demand_fitted_1in10"] == "1"
    # 12 to 15 h of labor and 25.4 for each name before it.
    assert float(native["labor_mean (h)"]) == pytest.approx(13.5 + 22 * 25.4)
    # 12 to 15 mm and a tenth of an inch.
    assert float(native["shortage_cause_mean_storage (in)"]) == pytest.approx(
        0.1 + 13.5 / 25.4, rel=1e-6
    )
    assert float(native["shortage_cause_mean_crew (in)"]) == 0.0


def test_files_are_whole_and_replace_older_ones(
    run: xr.Dataset, summary: xr.Dataset, tmp_path: Path
) -> None:
    folder = tmp_path / "here"
    drysward.save(run, folder, summary=summary)
    paths = drysward.save(run, folder, summary=summary, units="metric")
    names = sorted([RECORD, *(path.name for path in paths)])
    assert sorted(path.name for path in folder.iterdir()) == names
    with (folder / "summary.csv").open() as stream:
        assert "season_water (mm)" in next(csv.reader(stream))
    with (folder / "daily-odds.csv").open() as stream:
        days = list(csv.DictReader(stream))
    assert len(days) == 2 * 2 * 366
    assert days[59]["date (MM-DD)"] == "02-29"
    assert days[365]["date (MM-DD)"] == "12-31"


def test_netcdf_round_trip_and_attributes(
    run: xr.Dataset, summary: xr.Dataset, tmp_path: Path
) -> None:
    run["recovery_days"][0, 0, 0] = np.nan
    path = drysward.save(run, tmp_path, summary=summary)[0]
    back = xr.load_dataset(path)
    for name in run.variables:
        np.testing.assert_array_equal(back[name].values, run[name].values)
    assert back.attrs["title"] == run.attrs["title"]
    raw = xr.load_dataset(path, decode_cf=False)
    for name, variable in raw.variables.items():
        assert variable.attrs.get("long_name"), name
        if variable.dtype.kind in "fi":
            assert variable.attrs.get("units"), name
    assert raw["runoff"].attrs["units"] == "mm"
    assert raw["runoff"].attrs["_FillValue"] == pytest.approx(9.969209968386869e36)
    assert "_FillValue" not in raw["year"].attrs


def test_an_out_folder_that_cannot_be_made_is_a_fault(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(FaultyInput) as refusal:
        claim_folder(tmp_path / "file" / "out")
    assert "cannot be written" in str(refusal.value)


# End to end, on the scenario that ships with the program


@pytest.mark.slow
def test_compare_runs_the_shipped_scenario(tmp_path: Path) -> None:
    out = tmp_path / "out"
    told = ask("compare", "--draws", "0", "--years", "16-18", "--out", str(out))
    assert told.exit_code == 0, told.stderr
    scenario = drysward.shipped()
    assert f"{len(scenario.plans)} plans on {len(scenario.fields)} fields" in told.stderr
    assert max(map(len, told.stdout.splitlines())) <= 100
    assert "…" not in told.stdout
    for spec in scenario.fields:
        assert spec.label in told.stdout
    assert "Simulated years 16-18 (3)" in told.stdout
    assert "A screening estimate" in told.stdout
    with (out / "summary.csv").open() as stream:
        assert len(list(csv.DictReader(stream))) == len(scenario.plans) * len(scenario.fields)
    results = xr.load_dataset(out / "results.nc")
    assert results["year"].values.tolist() == [16, 17, 18]
    assert float(results["residual"].max()) < 1e-9


@pytest.mark.slow
def test_ledger_of_the_shipped_scenario(tmp_path: Path) -> None:
    scenario = drysward.shipped()
    words = ["--field", scenario.fields[0].key, "--plan", scenario.plans[0].key, "--year", "16"]
    told = ask("ledger", "demo", *words)
    assert told.exit_code == 0, told.stderr
    assert "simulated year 16 of 200" in told.stdout
    assert sum(line.strip()[:5].count("-") for line in told.stdout.splitlines()) == 366
    assert "02-29" in told.stdout
    assert "2016" not in told.stdout
    assert "…" not in told.stdout
    assert max(map(len, told.stdout.splitlines())) <= 100
    path = tmp_path / "days.csv"
    assert ask("ledger", "demo", *words, "--units", "metric", "--out", str(path)).exit_code == 0
    with path.open() as stream:
        days = list(csv.DictReader(stream))
    assert len(days) == 366
    assert "precipitation (mm)" in days[0]


def test_check_of_the_shipped_scenario() -> None:
    told = ask("check", "demo")
    assert told.exit_code == 0, told.stderr
    assert max(map(len, told.stdout.splitlines())) <= 100
    fields, plans = drysward.shipped().fields, drysward.shipped().plans
    for spec in (*fields, *plans):
        assert spec.key in told.stdout
    lines = told.stdout.splitlines()
    assert lines[1] == "No faults."
    assert sum(line.split()[:1] == ["refill"] for line in lines) == len(fields)
    assert len(lines) < 40
    assert "Assumed" not in told.stdout
    told = ask("check", "demo", "--all")
    assert "species.kentucky_bluegrass\n" in told.stdout
    assert "\nwilt_ks " in told.stdout
    assert "goldsby2015" in told.stdout
    assert "Assumed" in told.stdout


def test_check_says_what_a_restriction_leaves() -> None:
    told = ask("check", "pond")
    assert told.exit_code == 0, told.stderr
    said = " ".join(told.stdout.split())
    assert (
        "Restricted from a drought index of 8.3 in until 6.3 in: Tue and Fri only, 80% of the "
        "demand, not Stadium"
    ) in said
    assert max(map(len, told.stdout.splitlines())) <= 100
    cells = [line.split() for line in told.stdout.splitlines() if line.startswith("refill ")]
    # The strictest stage lets crowns live only.
    assert [row[row.index("refill", 1) + 1 :][:2] for row in cells] == [["7", "0"]] * len(cells)
    assert {"nights", "last", "stage"} <= set(told.stdout.split())
    assert "stage" not in ask("check", "demo").stdout.split()


def test_ledger_names_the_nearest_plan() -> None:
    told = ask("ledger", "demo", "--field", "stadium", "--plan", "defict", "--year", "2016")
    assert told.exit_code == 2
    assert "did you mean 'deficit'?" in told.stderr


def test_another_weather_file_that_is_not_there_is_a_fault() -> None:
    told = ask("compare", "--weather", "absent.csv")
    assert told.exit_code == 2
    assert "absent.csv" in told.stderr
    assert "Traceback" not in told.stderr


def test_a_folder_does_not_hide_a_scenario_that_ships(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "demo").mkdir()
    monkeypatch.chdir(tmp_path)
    said = ask("check", "demo")
    assert said.exit_code == 0, said.output
    assert "No faults." in said.output


TWO_ALIKE = """
title = "Two alike"
[site]
name = "Two alike"
latitude = "40 deg"
elevation = "100 m"
[weather]
source = "generator"
years = 5
[weather.climate]
rain = { unit = "in", months = [3, 3, 3, 3, 4, 4, 4, 4, 3, 3, 3, 3] }
wet_days = [10, 9, 10, 11, 11, 10, 9, 9, 8, 8, 9, 10]
tmax = { unit = "degF", months = [37, 41, 51, 63, 72, 81, 86, 84, 77, 65, 54, 42] }
tmin = { unit = "degF", months = [21, 23, 31, 40, 50, 60, 64, 64, 55, 44, 35, 26] }
[plans.twice]
rule = "fixed"
depth = "0.5 in"
days = ["Tue", "Fri"]
"""
ONE_OF_THEM = """
[fields.{key}]
label = "{label}"
area = "1 acre"
species = "kentucky_bluegrass"
root_zone = "{zone}"
delivery = "in_ground_rotors"
feeding = "{feeding}"
[fields.{key}.play]
blackout = "2 days"
[[fields.{key}.play.events]]
label = "Match"
days = ["Sat"]
season = {{ from = "{start}", to = "11-30" }}
hours = 2
"""


def test_check_says_once_what_fields_have_in_common(tmp_path: Path) -> None:
    path = tmp_path / "two.toml"
    native, sand = (
        {"zone": "native_loam", "feeding": "cool-season on native soil"},
        {"zone": "sand_over_gravel_12in", "feeding": "cool-season on sand"},
    )
    path.write_text(
        TWO_ALIKE
        + ONE_OF_THEM.format(key="a", label="North", start="09-01", **native)
        + ONE_OF_THEM.format(key="b", label="South", start="09-01", **native)
        + ONE_OF_THEM.format(key="c", label="West", start="11-01", **sand)
    )
    told = ask("check", str(path))
    assert told.exit_code == 0, told.stderr
    text = told.output
    assert text.count("twice  twice  fixed") == 1
    assert re.search(r"North \(a\), 1.00 acre: .*\nSouth \(b\), .*\nWest \(c\), ", text)
    assert "North (a): cool-season on native soil, clippings returned\nSouth (b)" in text
    assert text.count("30-0-10, 75% polymer-coated") == 1
    assert "\n\nWest (c): cool-season on sand" in text
    flowing = " ".join(text.split())
    assert flowing.count("events keep twice from watering") == 2
    assert "North and South: events keep twice from watering on 13 of 52 Fridays" in flowing
    outside = "events lie outside the season that counts (04-01 to 10-31): set season under"
    assert f"North and South: 4 of 13 {outside} [answers]" in flowing
    assert f"West: 4 of 4 {outside} [answers]" in flowing
    # Data for machines keep a row for each field and plan.
    tables = json.loads(ask("check", str(path), "--format", "json").output)["tables"]
    rows = {table["key"]: table["rows"] for table in tables}
    assert [row["field"] for row in rows["runs"]] == ["a", "b", "c"]
