"""A scenario of one's own: written by init, shown, read from standard input, completed."""

from __future__ import annotations

import json
import re
from collections.abc import Sequence
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

import drysward
from drysward.cli import main
from drysward.physics.pond import least_square_pond_m3
from drysward.results.text import FILE_MEANS, file_means_text
from drysward.scenario.keys import keys, meanings
from drysward.scenario.load import loads, shipped_texts
from drysward.scenario.starter import USUAL, NewField, NewScenario, keys_of, scenario_text
from drysward.site.weather_years import weather_series

PLACE = ("--latitude", "40", "--elevation", "140 m")
RECORD = Path(__file__).parents[1] / "data" / "baltimore-washington-2010-2019.csv"


@pytest.fixture(autouse=True)
def _in_a_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)


def run(*words: str, typed: str | None = None) -> Result:
    return CliRunner().invoke(main, list(words), input=typed)


def test_units_of_a_scenario_are_those_of_its_answers() -> None:
    assert run("init", "a.toml", "--units", "metric").exit_code == 0
    for words, unit in (((), "m2"), (("--units", "us"), "acre")):
        told = run("compare", "a.toml", "--years", "1-2", "--draws", "0", "--out", "out", *words)
        assert told.exit_code == 0, told.output
        heading = next(line for line in told.output.splitlines() if "Main field," in line)
        assert f" {unit}" in heading
    assert drysward.open("out").attrs["shown_in"] == "metric"
    assert " m2" in drysward.report("out")
    refused = Path("a.toml").read_text("utf-8").replace('units = "metric"', 'units = "si"')
    Path("b.toml").write_text(refused, "utf-8")
    assert "units: 'si' is not known" in run("check", "b.toml").output


def test_a_title_has_one_name_once() -> None:
    assert NewScenario("Plot", field_list=[NewField("Plot", "1 acre")]).title == "Plot"
    assert NewScenario("Plot", field_list=[NewField("East", "1 acre")]).title == "Plot: East"


def test_a_short_record_is_named_when_its_scenario_is_written() -> None:
    lines = RECORD.read_text(encoding="utf-8").splitlines()
    short = [lines[0], *(line for line in lines if line[:4] in ("2011", "2012", "2013"))]
    Path("short.csv").write_text("\n".join(short) + "\n")
    told = run("init", "c.toml", "--weather", "short.csv", *PLACE).output
    assert "rests on 3 recorded years: odds from so few are a guess" in told
    assert "years can be simulated from 5" in told


def test_without_options_a_scenario_is_written_that_runs() -> None:
    result = run("init", "my fields.toml")
    assert result.exit_code == 0, result.output
    assert result.output.splitlines()[-1] == "Next: drysward compare 'my fields.toml'"
    assert "invented town" in result.output
    scenario = drysward.load("my fields.toml")
    assert [plan.rule for plan in scenario.plans] == ["none", "fixed", "share of et", "refill"]
    assert "REPLACE THESE" in Path("my fields.toml").read_text(encoding="utf-8")


def test_place_and_area_as_people_type_them() -> None:
    result = run(
        "init", "a.toml", "--latitude", "33 54 S", "--elevation", "460ft",
        "--field", "Oval, 87,120 sq ft, native_clay", "--field", "Diamond 2,1,000 sq ft",
    )  # fmt: skip
    assert result.exit_code == 0, result.output
    scenario = drysward.load("a.toml")
    assert scenario.site.latitude_deg == pytest.approx(-33.9)
    assert scenario.site.elevation_m == pytest.approx(460 * 0.3048)
    assert [one.label for one in scenario.fields] == ["Oval", "Diamond 2"]
    assert scenario.fields[0].area_m2 == pytest.approx(2 * 4046.8564224)
    # Invented normals of the south.
    tmax = scenario.weather.climate["tmax_c"]  # type: ignore[index]
    assert max(tmax) == tmax[0]


def test_options_say_all_of_it() -> None:
    result = run(
        "init", "a.toml", "--name", 'The "Oval"', "--latitude", "-33.9", "--elevation", "50 m",
        "--field", "Oval, 2 ha, native clay, Bermudagrass", "--field", "Oval, 1 acre",
        "--plan", "Half, refill, trigger 0.5, window 6 h",
        "--plan", "Twice, fixed, depth 0.5 in, days Tue Fri",
    )  # fmt: skip
    assert result.exit_code == 0, result.output
    scenario = drysward.load("a.toml")
    assert scenario.site.latitude_deg == -33.9
    assert scenario.site.name == 'The "Oval"'
    first, second = scenario.fields
    assert (first.key, second.key) == ("oval", "oval_2")
    assert (first.species, first.root_zone.like) == ("bermudagrass", "native_clay")
    assert first.area_m2 == pytest.approx(20_000.0)
    half, twice = scenario.plans
    assert (half.trigger, half.window_h) == (0.5, 6.0)
    assert twice.allowed == (False, True, False, False, True, False, False)
    # Watering is in the summer of the south, and so are its invented warm months.
    assert half.season == (274, 120)
    tmax = scenario.weather.climate["tmax_c"]  # type: ignore[index]
    assert max(tmax) == tmax[0]


def test_blanks_of_a_weather_file_get_the_line_that_fills_them() -> None:
    text = RECORD.read_text(encoding="utf-8").replace("precipitation_mm", "rain_mm", 1)
    Path("records").mkdir()
    Path("records/ours.csv").write_text(text.replace("2011-10-21,0,", "2011-10-21,,"))
    Path("sites").mkdir()
    result = run(
        "init", "sites/b.toml", "--weather", "records/ours.csv",
        "--latitude", "39.17", "--elevation", "45 m",
    )  # fmt: skip
    assert result.exit_code == 0, result.output
    written = Path("sites/b.toml").read_text(encoding="utf-8")
    assert 'file = "../records/ours.csv"' in written
    assert '\nfill = { rain = "zero" }\n' in written
    # Or the rule that the options state.
    own = ("--fill", "rain=neighbor-years,temperature=interpolate")
    stated = ("init", "sites/c.toml", "--weather", "records/ours.csv", *PLACE, *own)
    assert run(*stated).exit_code == 0
    fill = '\nfill = { rain = "neighbor-years", temperature = "interpolate" }\n'
    assert fill in Path("sites/c.toml").read_text(encoding="utf-8")


def ordered_in_us_units() -> Path:
    """The record as ordered from a station archive, in units that its header does not state."""
    rows = ["DATE,PRCP,TMAX,TMIN"]
    for line in RECORD.read_text(encoding="utf-8").splitlines()[1:]:
        day, rain, high, low = line.split(",")[:4]
        fahrenheit = (f"{float(value) * 1.8 + 32:.0f}" for value in (high, low))
        rows.append(",".join([day, f"{float(rain) / 25.4:.2f}", *fahrenheit]))
    path = Path("ordered.csv")
    path.write_text("\n".join(rows) + "\n")
    return path


def test_a_file_whose_units_are_not_stated_is_read_with_the_line_that_declares_them() -> None:
    weather = ["--weather", str(ordered_in_us_units()), "--latitude", "39.2 N"]
    refused = run("init", "a.toml", *weather, "--elevation", "150 ft")
    assert refused.exit_code == 2
    assert "its levels fit US units" in refused.output
    line = refused.output.splitlines()[-1].strip()
    for name, typed in (("a.toml", line), ("b.toml", line.removeprefix("columns = "))):
        result = run("init", name, *weather, "--elevation", "150 ft", "--columns", typed)
        assert result.exit_code == 0, result.output
        columns = drysward.load(name).weather.columns
        assert columns["tmax"].unit == "degF"
    checked = run(
        "weather", "check", "ordered.csv", "--latitude", "39 12 N", "--elevation", "150ft",
        "--columns", line,
    )  # fmt: skip
    assert checked.exit_code == 0, checked.output
    assert "3,269 days" in checked.output
    wrong = run("init", "c.toml", *weather, "--elevation", "150 ft", "--columns", "{ TMAX }")
    assert wrong.exit_code == 2
    assert "declares no columns; as --columns '{" in wrong.output
    typed = "\n".join(["us", "", "39.2 N", "150 ft", "ordered.csv", line, "", *[""] * 20])
    prompted = run("init", "d.toml", "--ask", typed=typed)
    assert prompted.exit_code == 0, prompted.output
    assert drysward.load("d.toml").weather.columns["rain"].unit == "in"


@pytest.mark.parametrize(("units", "area_m2", "first_depth_mm"), [
    ("us", 1.8 * 4046.8564224, 12.7), ("metric", 7000.0, 12.5),
])  # fmt: skip
def test_units_of_a_new_scenario(units: str, area_m2: float, first_depth_mm: float) -> None:
    result = run("init", "a.toml", "--units", units)
    assert result.exit_code == 0, result.output
    scenario = drysward.load("a.toml")
    assert scenario.units == units
    assert scenario.fields[0].area_m2 == pytest.approx(area_m2)
    assert max(scenario.plans[1].depth_by_weekday) == pytest.approx(first_depth_mm)
    assert scenario.site.elevation_m == pytest.approx(140.0, abs=0.3)
    rain = scenario.weather.climate["rain_mm"]  # type: ignore[index]
    assert rain[0] == pytest.approx(3.1 * 25.4, abs=0.05)
    stated = Path("a.toml").read_text(encoding="utf-8")
    wrong = ("degF", "acre", "gal", '"0.5 in"') if units == "metric" else ("degC", '"12.5 mm"')
    keys = [line for line in stated.splitlines() if not line.startswith("#")]
    assert not [word for word in wrong if word in "\n".join(keys)]
    prompted = run("init", "b.toml", "--ask", typed=f"{units}\n" + "\n" * 20)
    assert prompted.exit_code == 0, prompted.output
    assert Path("b.toml").read_text("utf-8").replace("b.toml", "a.toml") == stated


def test_comments_have_a_plan_for_the_site_as_it_is_run() -> None:
    assert run("init", "a.toml", "--field", "A, 2 acre").exit_code == 0
    assert "as_run" not in Path("a.toml").read_text(encoding="utf-8")
    assert run("init", "b.toml", "--field", "A, 2 acre", "--field", "B, 1 acre").exit_code == 0
    stated = Path("b.toml").read_text(encoding="utf-8")
    begins = stated.index("#[plans.as_run]")
    ends = stated.index("\n\n", begins)
    lines = stated[begins:ends].splitlines()
    used = "\n".join(line if line.startswith("# ") else line[1:] for line in lines)
    plan = loads(stated[:begins] + used + stated[ends:], ".").plan_named("as_run")
    assert (plan.on("a").rule, plan.on("b").rule) == ("none", "refill")


def test_comments_of_a_us_scenario_have_degrees_fahrenheit() -> None:
    assert run("init", "a.toml").exit_code == 0
    stated = Path("a.toml").read_text(encoding="utf-8")
    assert '{ unit = "degF", months = [...] }' in stated
    assert "degC" not in stated


def test_comments_of_a_metric_scenario_are_metric() -> None:
    assert run("init", "a.toml", "--units", "metric").exit_code == 0
    stated = Path("a.toml").read_text(encoding="utf-8")
    of_us = re.findall(r"\b(?:gpm|Mgal|gal|acre|ft|ft2|degF|mph|lb|[0-9.]+ in\b(?! \())", stated)
    assert not of_us
    # What is in comments runs as it stands.
    assert run("init", "b.toml", "--units", "metric", "--supply").exit_code == 0
    supply = drysward.load("b.toml").supply
    assert supply is not None
    assert supply.storage is not None
    assert supply.storage.volumes_m3[-1] == pytest.approx(1500.0)


def test_wind_normals_have_their_height() -> None:
    place = ("--latitude", "40", "--elevation", "100 m", "--field", "A, 1 ha")
    normals = [
        word for one in (
            "rain mm 80 70 90 90 95 90 100 90 90 80 75 80", "wet_days 9 9 9 9 9 9 9 9 9 9 9 9",
            "tmax degC 3 5 11 17 22 27 30 29 25 18 12 6",
            "tmin degC -6 -5 0 4 10 15 18 18 13 7 2 -3",
        ) for word in ("--normal", one)
    ]  # fmt: skip
    wind = ("--normal", "wind m/s 3 3 3 3 3 2 2 2 2 3 3 3")
    made = run("init", "a.toml", *place, *normals, *wind, "--wind-height", "10 m")
    assert made.exit_code == 0, made.output
    assert 'wind_height = "10 m"' in Path("a.toml").read_text(encoding="utf-8")
    assert drysward.load("a.toml").weather.climate["wind_height_m"] == 10.0  # type: ignore[index]
    refused = run("init", "b.toml", *place, *normals, *wind)
    assert refused.exit_code == 2
    assert "--normal 'wind ...' needs --wind-height" in " ".join(refused.output.split())
    refused = run("init", "b.toml", *place, *normals, "--wind-height", "10 m")
    assert refused.exit_code == 2
    assert "or --normal 'wind UNIT JAN ... DEC'" in " ".join(refused.output.split())


def test_questions_are_asked_until_the_answers_can_be_read() -> None:
    typed = "\n".join([
        "us", "Here", "141", "100 m",  # no such latitude
        "Here", "41", "100 m", "no.csv", "", "n",
        "Stadium", "2 acre", "tall fescu", "native_loam", "hand_hose",  # no such grass
        "Stadium", "2 acre", "Tall Fescue", "native_loam", "hand_hose", "n",
        "y", "n", "n", "y", "",
    ])  # fmt: skip
    result = run("init", "c.toml", "--ask", typed=typed)
    assert result.exit_code == 0, result.output
    assert "did you mean 'tall_fescue'?" in result.output
    scenario = drysward.load("c.toml")
    assert scenario.site.latitude_deg == 41.0
    assert [field.species for field in scenario.fields] == ["tall_fescue"]
    assert [plan.rule for plan in scenario.plans] == ["none", "refill"]


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["--field", "A"], "needs a name and an area"),
        (["--field", "A, 2"], 'fields.a.area: \'2\' has no unit; write "2 acre"'),
        (["--field", "A, 2 acre, bluegrass"], "'annual_bluegrass' or 'kentucky_bluegrass'?"),
        (["--field", "A, 2 acre, sand_over_gravel_10in"],
         'root_zone = { like = "sand_over_gravel_12in", depth = "10 in" }'),
        (["--field", "A, 2 acre, native_clay, native_loam"], "has two entries of 'root_zones'"),
        (["--plan", "A, refil"], "did you mean 'refill'?"),
        (["--plan", "A, refill, triger 1"], "did you mean 'trigger'?"),
        (["--plan", "A, refill"], "plans.a.trigger: is missing"),
        (["--normal", "tmax degF 1 2"], "does not hold twelve numbers"),
        (["--normal", "tmax degF" + " 50" * 12, *PLACE], "rain, wet_days, tmin are missing"),
        (["--normal", "tmax degF" + " 50" * 12, *PLACE], "--normal 'wet_days JAN ... DEC'"),
        (["--normal", "wet_days in" + " 9" * 12, *PLACE], "wet_days takes no unit"),
        (["--field", "A, 2 acre, sand over gravel"],
         "'sand_over_gravel_12in' or 'sand_over_gravel_16in' or 'sand_over_gravel_8in'?"),
        (["--weather", "w.csv"], "--weather needs --latitude and --elevation of the place"),
        (["--latitude", "95"], "site.latitude: '95 deg' is refused; -90 to 90"),
        (["--weather", "none.csv", *PLACE], "no such file"),
        (["--fill", "rain=zero"], "--fill needs --weather FILE"),
        (["--weather", "w.csv", "--fill", "rain=nought"], "not 'nought'; such as rain=zero"),
    ],
)
def test_what_cannot_be_is_refused_and_nothing_written(words: list[str], told: str) -> None:
    result = run("init", "x.toml", *words)
    assert result.exit_code == 2, result.output
    assert told in result.output
    assert not Path("x.toml").exists()


@pytest.mark.parametrize(("words", "asks"), [
    ((), True), (("--name", "Here"), True), (("--field", "A, 2 acre"), False),
    (("--field", "A, 2 acre", "--ask"), True),
])  # fmt: skip
def test_at_a_terminal_who_states_the_fields_is_not_asked(
    words: Sequence[str], asks: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(
        "click.testing._NamedTextIOWrapper.isatty", lambda self: True, raising=False
    )
    result = run("init", "t.toml", *words, typed="\n" * 40)
    assert result.exit_code == 0, result.output
    assert ("Enter keeps what stands in brackets" in result.output) == asks


def test_an_odd_answer_to_yes_or_no_gets_what_to_write() -> None:
    typed = "\n" * 6 + "maybe\ny\n" + "\n" * 20
    result = run("init", "t.toml", "--ask", "--field", "A, 2 acre", typed=typed)
    assert result.exit_code == 0, result.output
    assert "Error: write y or n" in result.output


WET = "wet_days days" + " 9" * 12
OURS = ("--normal", "rain in" + " 3" * 12, "--normal", WET,
        "--normal", "tmax degF 41 45 53 65 74 83 87 85 79 67 56 46",
        "--normal", "tmin degF 24 26 33 42 52 61 66 65 58 45 36 28")  # fmt: skip


@pytest.mark.parametrize("words", [(), ("--units", "metric"), ("--latitude", "-33.9")])
def test_the_weather_of_an_invented_town_is_not_forgotten(words: Sequence[str]) -> None:
    run("init", "a.toml", *words)
    invented = "The weather is that of an invented town; give your own under [weather]."
    checked = run("check", "a.toml")
    assert invented in " ".join(checked.output.split())
    text = Path("a.toml").read_text(encoding="utf-8")
    rain = f"rain = {{ unit = 'mm', months = {[80.0] * 12} }}"
    changed = re.sub(r"(?m)^rain = .*$", rain, text)
    Path("a.toml").write_text(changed, encoding="utf-8")
    checked = run("check", "a.toml")
    left = "Under [weather.climate] wet_days, tmax, tmin are still those of an invented town"
    assert left in " ".join(checked.output.split())


def test_normals_of_ones_own_are_said_back_and_held_to_the_place() -> None:
    run("init", "a.toml", *OURS, "--latitude", "39.4", "--elevation", "450 ft")
    ours = weather_series(drysward.load("a.toml"))
    assert ours.findings == ()
    read = file_means_text({FILE_MEANS: json.dumps(dict(ours.means))}, "us")
    assert read.startswith("36 in of rain a year and highs of 87 F in the warmest month")
    # The longitude in place of the latitude.
    result = run("init", "b.toml", *OURS, "--latitude", "-76.6", "--elevation", "450 ft")
    assert result.exit_code == 0, result.output
    assert "The middle of the warm season is near 23 July" in result.output
    assert "check latitude and elevation under [site]" in result.output


def test_a_file_that_is_there_is_never_replaced() -> None:
    assert run("init", "a.toml").exit_code == 0
    before = Path("a.toml").read_bytes()
    result = run("init", "a.toml")
    assert result.exit_code == 2
    assert "a.toml: is there already" in result.output
    assert Path("a.toml").read_bytes() == before
    assert "has no file extension" in run("init", "a.txt").output
    assert "there is no folder" in run("init", "no/a.toml").output


def test_standard_input_is_a_scenario() -> None:
    written = run("init", "-").stdout.replace("years = 200", "years = 10")
    assert drysward.loads(written, ".").fields[0].key == "main_field"
    checked = run("check", "-", typed=written)
    assert checked.exit_code == 0, checked.output
    assert "Main field" in checked.output
    refused = run("check", "-", typed="[site]\nx = 1")
    assert refused.exit_code == 2
    assert "standard input: site.x: is not known here" in refused.output


def test_show_prints_what_ships() -> None:
    listed = run("show").output
    for name, text in shipped_texts().items():
        assert name in listed
        assert run("show", name).output == text
    assert "did you mean 'demo'?" in run("show", "demmo").output


@pytest.mark.parametrize(
    ("line", "expected"),
    [
        ("check de", {"demo"}),
        ("show sw", {"sweep-demo"}),
        ("ledger demo --field st", {"stadium"}),
        ("ledger pond --plan th", {"thrifty"}),
        ("ledger mine.toml --field ", {"main_field"}),
        ("check mi", {"mine.toml"}),
    ],
)
def test_the_shell_completes_names(line: str, expected: set[str]) -> None:
    run("init", "mine.toml")
    words = f"drysward {line}"
    environment = {
        "_DRYSWARD_COMPLETE": "bash_complete",
        "COMP_WORDS": words,
        "COMP_CWORD": str(words.count(" ")),
    }
    result = CliRunner().invoke(main, prog_name="drysward", env=environment)
    assert {word.partition(",")[2] for word in result.output.split()} == expected


def test_every_key_of_a_scenario_has_a_meaning_and_nothing_else_has() -> None:
    assert [key.name for key in keys() if not key.meaning] == []
    used = {key.table for key in keys()} | {"PlanTable"}
    assert set(meanings()) <= used, "tables that the schema no longer has"


def test_keys_of_labels_are_each_once() -> None:
    assert keys_of(["A b", "a-b", "A  B!", "%"]) == ["a_b", "a_b_2", "a_b_3", "unnamed"]


def test_a_comment_says_what_the_schema_allows() -> None:
    text = scenario_text(NewScenario(), "x.toml")
    assert "# Latitude, north positive." in text
    assert "-90 to 90" in text
    assert all(len(line) < 100 for line in text.splitlines())


@pytest.mark.parametrize("fields", [USUAL["us"].field_list, USUAL["us"].field_list * 2])
def test_the_supply_in_comments_runs_once_they_are_taken_out(fields: Sequence[NewField]) -> None:
    text = scenario_text(NewScenario(field_list=fields), "x.toml")
    assert loads(text, ".").supply is None
    scenario = loads(re.sub(r"^#(?=[\[a-z]|$)", "", text, flags=re.MULTILINE), ".")
    assert scenario.supply is not None
    assert scenario.supply.storage is not None
    assert scenario.sizing is not None
    assert scenario.sizing.plan == "refill_at_40_depletion"
    least = least_square_pond_m3(scenario.supply.storage.depth_m, 3.0)
    assert least < 0.25 * scenario.supply.storage.volumes_m3[-1]
    assert "priority" in text
    whole = scenario_text(NewScenario(field_list=fields, has_supply=True), "x.toml")
    short = re.sub(r"^keep = .*$", "", whole, flags=re.MULTILINE).replace("\n#keep", "\nkeep")
    sizing = loads(short, ".").sizing
    assert sizing is not None
    assert (sizing.outcome, sizing.share, sizing.odds) == ("shortage", 0.05, 0.10)
    assert loads(whole, ".").supply == scenario.supply
    of_ground = r"^#(?=\[supply\.catchments|label = .Parking|kind|area)"
    drained = re.sub(of_ground, "", whole, flags=re.MULTILINE)
    supply = loads(drained, ".").supply
    assert supply is not None
    assert [(one.label, one.kind) for one in supply.catchments] == [("Parking lot", "paved")]
    assert supply.catchments[0].area_m2 == pytest.approx(1.5 * 4046.8564224)
    assert loads(whole, ".").sizing == scenario.sizing
