"""A result as a page and as pictures, as a person meets them."""

from __future__ import annotations

import calendar
import json
import re
import subprocess
import sys
from dataclasses import replace
from html.parser import HTMLParser
from importlib.resources import files
from itertools import pairwise
from pathlib import Path
from xml.etree import ElementTree

import matplotlib as mpl
import netCDF4
import numpy as np
import pytest
import xarray as xr
from click.testing import CliRunner, Result

import drysward
from drysward.cli import main
from drysward.day.records import CAUSES, TRACE, records
from drysward.faults import FaultyInput
from drysward.pages import (
    causes,
    clippings,
    front,
    nitrogen_status,
    open_result,
    page,
    play_calendar,
    storage,
)
from drysward.pages import figures as drawn
from drysward.pages.gallery import (
    NAMES,
    OF_SEASON,
    PICTURES,
    SWEEP_PICTURES,
    chart,
    choose,
    compose,
    fitting,
    named,
)
from drysward.pages.style import COVERS, DARK, LINES, STAGES, look, new_figure
from drysward.pages.supply_figures import CAUSE_ORDER, HATCHES
from drysward.pages.sweep_figures import odds_and_error
from drysward.pages.tables import tables
from drysward.pages.words import answer, chance
from drysward.results.choice import best_plan, shown_plan_and_which
from drysward.results.feeding_text import state_of
from drysward.results.text import CAUSES as CAUSE_WORDS
from drysward.results.text import money_text, odds_text, signed, water_notes, with_range
from drysward.studies.chosen_years import PLAY_STATES, play_states
from drysward.studies.sweep.surface import strongest, surface

mpl.use("agg")

NASTY = '<script>alert("x")</script> & $x_1$ _[b]'
MONTH_NAMES = calendar.month_name[1:]
DEMO_PICTURE = Path(__file__).parents[1] / "data" / "demo-wilt-odds.svg"


@pytest.fixture(scope="session")
def kept(scenes, tmp_path_factory):
    """A result of two fields and two plans over three years, kept as a folder; and its scenario."""
    sand = replace(scenes.field("sand_over_gravel_12in", key="sand"), label=NASTY)
    native = replace(scenes.field("native_loam", key="native"), label="Practice")
    plans = [
        scenes.plan(key="none"),
        replace(scenes.plan("refill", key="refill", trigger=0.5), label="_Refill"),
    ]
    scenario = scenes.scenario([sand, native], plans)
    record = scenes.weather(years=3)
    result = drysward.run(scenario, record=record, daily=True)
    folder = tmp_path_factory.mktemp("kept")
    drysward.save(result, folder, scenario, settings="--seed 3")
    return folder, scenario, record


@pytest.fixture(scope="session")
def result(kept):
    # As if its years were many: so few have no 1-in-10 year.
    return open_result(kept[0]).assign_attrs(n_years=30)


class Reader(HTMLParser):
    """What stands on a page: tags with attributes, numbers with their origin, text."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.cells: dict[str, str] = {}
        self.text = ""
        self._of: str | None = None
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))
        self._of = dict(attrs).get("data-of")

    def handle_data(self, data):
        self.text += data
        if self._of:
            self.cells[self._of] = data
            self._of = None


@pytest.fixture(scope="session")
def text(result):
    return page(result)


@pytest.fixture(scope="session")
def read(text):
    return Reader(text)


def drysward_says(*arguments: object) -> Result:
    return CliRunner().invoke(main, [str(argument) for argument in arguments])


# What is kept with a result


def test_the_daily_account_kept_is_that_of_the_ledger(kept, result):
    _, scenario, record = kept
    for case in ("dry", "middling", "wet"):
        year = int(result["chosen_year"].sel(case=case))
        account = drysward.ledger(scenario, "sand", "refill", year, record)
        for name in ("green", "dormant", "depletion", "irrigation_landed"):
            here = result[f"daily_{name}"].sel(field="sand", plan="refill", case=case).values
            n = account.sizes["day"]
            np.testing.assert_allclose(here[:n], account[name].values, rtol=1e-6, atol=1e-6)
            assert np.isnan(here[n:]).all()


def test_the_years_chosen_are_the_driest_the_middle_and_the_wettest(result):
    deficit = result["deficit"].sel(year=result["chosen_year"].values).values
    assert list(deficit) == sorted(result["deficit"].values, reverse=True)
    assert int(result["chosen_year"][0]) == drawn.driest(result)[0]


def test_nothing_changes_when_days_are_kept(kept):
    _, scenario, record = kept
    plain, daily = (drysward.run(scenario, record=record, daily=kept) for kept in (False, True))
    more = [name for name in daily.data_vars if str(name).startswith("daily_")]
    assert more
    xr.testing.assert_identical(daily.drop_vars(more).drop_dims(["case", "turf_day"]), plain)


def test_limits_of_daily_odds_hold_the_odds(result):
    assert (result["odds_low"] <= result["odds"]).all()
    assert (result["odds"] <= result["odds_high"]).all()
    # Three years say little: a day without wilt may still have it in two years of five.
    assert float(result["odds_high"].min()) > 0.3


def test_states_of_play_come_in_order():
    account = records(TRACE, (5, 1))
    account["hard"][1:] = 0.3
    account["standing"][2:] = 0.5
    account["frozen"][3] = 1.0
    account["hard"][4] = 0.1
    found = play_states(account, np.array([0.25]))[:, 0]
    assert [PLAY_STATES[i] for i in found] == ["fit", "hard", "hard", "frozen", "wet"]


# Numbers


@pytest.mark.slow
def test_the_command_writes_the_page_as_processes_side_by_side_draw_it(kept, tmp_path):
    """The same bytes from the same file: nothing depends on the hour, the process or the order of
    a set.
    """
    out = tmp_path / "page.html"
    code = (
        "import os, sys\n"
        "os.cpu_count = lambda: 2\n"
        "from drysward.cli import start\n"
        f"sys.argv = ['drysward', 'report', {str(kept[0])!r}, '--out', {str(out)!r}]\n"
        "try: start()\nexcept SystemExit as end: assert end.code == 0, end.code\n"
        "from drysward.pages import drawing\n"
        "assert not hasattr(drawing._Here, 'result')\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    text = out.read_text(encoding="utf-8")
    assert text == page(open_result(kept[0]))
    assert len(text) < 1_000_000


def test_water_is_summed_over_fields_that_are_all_built(result):
    """The two fields of the file are alternatives, of which one is built."""
    for kept, is_summed in ((result, False), (result.assign_attrs(alternatives="[]"), True)):
        volumes = next(one for one in tables(kept, "us") if one.caption == "Water by volume")
        places = {place for group in volumes.groups for place, _ in group.rows}
        assert ("Whole site" in places) is is_summed
        assert ("only one is built" in volumes.note) is not is_summed


@pytest.mark.parametrize("units, mm, decimals", [("us", 1 / 25.4, 1), ("metric", 1.0, 0)])
@pytest.mark.usefixtures("text", "undrawn")  # the whole page is drawn before
def test_numbers_on_the_page_are_those_of_the_file(kept, result, text, units, mm, decimals):
    cells = Reader(text).cells
    if units == "metric":
        cells = Reader(page(result.sel(field=["native"]), units)).cells
    file = xr.load_dataset(kept[0] / "results.nc")
    seen = set()
    for of, told in cells.items():
        name, _, rest = of.rstrip("]").partition("[")
        where = dict(part.split("=") for part in rest.split(", "))
        if "period" in where:
            where["period"] = float(where["period"])
        value = file[name].sel(where).item()
        if name == "probability":
            low, high = (100 * file[f"{name}_{end}"].sel(where).item() for end in ("low", "high"))
            error = 100 * file[f"{name}_se"].sel(where).item()
            if value == 0:
                expected = f"none (at most {np.ceil(high):.0f})"
            elif value == 1:
                expected = f"all (at least {np.floor(low):.0f})"
            else:
                expected = f"{100 * value:.0f}±{error:.0f}"
        elif name == "days_below_condition_mean":
            expected = f"{value:.0f} ({file['days_below_condition_1in10'].sel(where).item():.0f})"
        elif name == "days_mean":
            expected = f"{value:,.0f}"
        elif name.endswith("_volume"):
            # 1 Mgal = 3785.411784 m3, by the definition of the gallon.
            expected = f"{value / 3785.411784:,.3f}" if units == "us" else f"{value:,.0f}"
        else:
            expected = f"{value * mm:,.{decimals}f}"
        assert told == expected, of
        seen.add(name)
    assert seen == {
        "days_below_condition_mean", "probability", "days_mean", "season_water",
        "peak_week_most", "demand", "season_volume", "peak_week_volume", "demand_volume",
    }  # fmt: skip
    # Two plans: days below playing condition, four odds, two numbers of days, water, peak week,
    # five periods. Of the plan that waters the volumes of a year, a peak week and five periods, of
    # each field; both are alternatives, so there is no sum.
    fields = 2 if units == "us" else 1
    assert len(cells) == fields * 2 * (1 + 4 + 2 + 2 + 5) + fields * (2 + 5)


def test_lines_of_a_figure_are_the_numbers_of_the_file(result):
    axes = drawn.stages(result, "sand", "none", axes=new_figure().add_subplot())
    for line, stage in zip(axes.lines, result["stage"].values, strict=True):
        odds = result["odds"].sel(field="sand", plan="none", stage=stage).values
        np.testing.assert_array_equal(line.get_ydata(), 100 * odds)
    axes = drawn.demand(result, "sand", axes=new_figure().add_subplot(), units="metric")
    demand = result["demand"].sel(field="sand", plan="refill").values
    np.testing.assert_array_equal(axes.lines[0].get_ydata(), demand)


def test_the_answer_has_a_line_for_each_field(result, read):
    said = answer(result, "us")
    assert [one.field for one in said.fields] == [NASTY, "Practice"]
    for key, one in zip(("sand", "native"), said.fields, strict=True):
        best = best_plan(result.sel(field=[key]))
        here = result.sel(field=key, plan=best)
        assert one.plan == str(here["plan_label"].item())
        assert one.days_below == f"{here['days_below_condition_mean'].item():.0f}"
        assert one.days_below_dry == f"{here['days_below_condition_1in10'].item():.0f}"
        assert one.water == f"{here['season_water'].item() / 25.4:.1f} in"
        assert one.water_dry == f"{here['demand'].sel(period=10.0).item() / 25.4:.1f} in"
        # Nothing was drawn, and there are no matches.
        assert one.days_below_range == one.playable == one.measure == ""
        assert one.plan in read.text
    days = result["days_below_condition_mean"].sel(plan="none")
    whole, compared, counted, least, uncertain = said.sentences
    assert counted.startswith("Days below count drought only: mud and hard ground")
    best = result["plan_label"].sel(plan=best_plan(result)).item()
    assert whole.startswith(f"With the likely soil and grass: “{best}” keeps")
    assert compared.startswith("Alike but for the root zone, under “_Refill”: “<script>")
    assert f"are {days.sel(field='sand').item():.0f} on “<script>" in least
    assert "--draws 64" in uncertain
    for sentence in said.sentences:
        assert sentence in read.text
    # Parts of a head stay apart without tags; how to read it is folded; each chart has its title.
    assert "Days below, average year" in " ".join(read.text.split())
    folded = next(i for i, (tag, _) in enumerate(read.tags) if tag == "details")
    assert folded < next(i for i, (tag, _) in enumerate(read.tags) if tag == "nav")
    assert "Odds of dormancy through the year" in read.text
    assert "Odds of wilt through the year: dormancy" not in read.text


def test_what_is_not_known_is_said_so(result):
    unknown = result.assign(season_water=result["season_water"] * np.nan)
    line = answer(unknown, "us").fields[1]
    assert line.water == "not known"
    assert line.days_below.isdigit()
    old = result.drop_vars([name for name in result if "condition" in str(name)])
    said = answer(old, "us")
    assert {one.days_below for one in said.fields} == {"not known"}
    assert "The best plan is “_Refill”: wilt comes" in said.sentences[0]
    bare = changed(result, days_below_condition_mean=np.nan, days_below_condition_1in10=np.nan)
    bare["days_below_condition_mean"].loc[{"field": "sand"}] = 3.0
    assert [one.days_below for one in answer(bare, "us").fields] == ["3", "no turf"]


def test_matches_stand_in_the_answer_and_choose_for_a_field_without_turf(result):
    share = xr.zeros_like(result["season_water"])
    share.loc[{"plan": "refill"}] = 0.874
    played = result.assign(events_playable_share=share)
    none = changed(played, days_below_condition_mean=np.nan, days_below_condition_1in10=np.nan)
    none["days_below_condition_mean"].loc[{"field": "sand"}] = result[
        "days_below_condition_mean"
    ].sel(field="sand")
    turf, bare = tables(none.drop_vars("events_playable_share"), "us")[0].groups
    # Days below, three odds, water.
    for (_, with_turf), (_, without) in zip(turf.rows, bare.rows, strict=True):
        assert [cell.text for cell in without[:4]] == ["-"] * 4
        assert "-" not in [cell.text for cell in with_turf[1:4]]
        assert without[4].text != "-"
    lines = answer(none, "us").fields
    assert lines[1].plan == "_Refill"
    assert lines[1].playable == "87%"


def test_in_the_south_the_year_begins_in_july(result):
    south = result.assign_attrs(turf_year_starts="07-01")
    assert drawn.turf_order(south)[0] == 182
    axes = drawn.plans(south, "sand", axes=new_figure().add_subplot())
    assert [tick.get_text() for tick in axes.get_xticklabels()] == list("JASONDJFMAMJ")
    assert axes.lines[0].get_ydata()[0] == 100 * result["odds"].sel(
        field="sand", plan="none", stage="wilt", day_of_year=183
    )


# The page


def test_the_page_needs_nothing_else(read):
    links = [
        value
        for _, attributes in read.tags
        for name, value in attributes.items()
        if name in ("src", "href", "xlink:href", "srcset", "action", "data")
    ]
    assert links
    assert [link for link in links if not link.startswith(("#", "data:,"))] == []
    assert "@import" not in read.text
    assert not [tag for tag, _ in read.tags if tag in ("iframe", "object", "embed")]
    # One script of our own, within the page.
    assert [attributes for tag, attributes in read.tags if tag == "script"] == [{}]
    assert len(files("drysward.pages").joinpath("page.js").read_bytes()) < 10_000


def test_names_from_a_scenario_are_text(text, read):
    assert text.count("<script") == 1
    assert "alert(" not in text.partition("<script>")[2]
    assert text.count("&lt;script&gt;alert(") > 5
    # A dollar sign is no formula and a leading underscore no reason to leave a name out.
    assert "$x_1$" in read.text
    assert "_Refill" in read.text


def test_every_chart_has_a_text_alternative_and_every_name_is_used_once(result, read):
    drawings = [attributes for tag, attributes in read.tags if tag == "svg"]
    figures = [one for one in drawings if one.get("aria-hidden") != "true"]
    assert len(figures) > 10
    names = [a["id"] for _, a in read.tags if "id" in a]
    assert len(names) == len(set(names))
    for attributes in figures:
        assert attributes["role"] == "img"
        assert attributes["aria-labelledby"] in names
    for attribute in ("href", "xlink:href"):
        for _, attributes in read.tags:
            target = attributes.get(attribute) or ""
            assert not target.startswith("#") or target[1:] in names


def test_headings_and_tables_can_be_followed(read):
    levels = [int(tag[1]) for tag, _ in read.tags if re.fullmatch("h[1-6]", tag)]
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(b - a <= 1 for a, b in pairwise(levels))
    assert ("html", {"lang": "en"}) in read.tags
    tables = [tag for tag, _ in read.tags if tag in ("table", "caption")]
    assert tables == ["table", "caption"] * (len(tables) // 2)
    assert all(a.get("scope") in ("row", "col", "rowgroup") for tag, a in read.tags if tag == "th")


def test_the_page_tells_what_it_rests_on(result, read):
    assert "wilt ks" in read.text
    # Name, value, unit and range as a person of the scenario's units reads them; the file's beside.
    held = {one["key"]: one for one in json.loads(result.attrs["resolved"])}
    height = held["species.kentucky_bluegrass.usual_height_mm"]
    assert height["unit"] == "mm"
    low, high = (end / 25.4 for end in height["ends"])
    us = f"usual height{height['value'] / 25.4:.2f}in{low:.3g} to {high:.3g}, "
    assert us.replace(" ", "") in "".join(read.text.split())
    assert any(a.get("data-value") == f"{height['value']} mm" for _, a in read.tags)
    in_metric = Reader(page(result.sel(field=["native"]), "metric")).text
    assert f"usualheight{height['value']:g}mm" in "".join(in_metric.split())
    assert "estimate" in read.text
    assert "FAO" in read.text
    assert "screening estimate" in read.text
    assert f"--seed 3 --years {result.attrs['years']}" in read.text
    assert result.attrs["catalog_digest"] in read.text


# Odd results


def alt(result: xr.Dataset, name: str) -> str:
    """The text alternative of a chart's first panel, after it was drawn."""
    picture = named(name)
    panels = choose(result, picture, {})[:1]
    compose(result, picture, panels, "us")
    return picture.alt(result, panels[0], "us")


def changed(result: xr.Dataset, **values: float) -> xr.Dataset:
    out = result.copy()
    for name, value in values.items():
        out[name] = xr.full_like(out[name], value)
    return out


def test_no_risk_at_all(result):
    days = dict.fromkeys(("days_below_condition_mean", "days_below_condition_1in10"), 0.0)
    calm = changed(result, probability=0.0, odds=0.0, odds_low=0.0, **days)
    assert "wilt 0% all year" in alt(calm, "stages")
    for odds in (0.004, 0.005):
        assert "wilt below 1% all year" in alt(changed(result, odds=odds), "stages")
    said = answer(calm, "us")
    assert {(one.plan, one.days_below) for one in said.fields} == {("none", "0")}
    assert "The best plan is also the plan with the least water." in said.sentences
    none = changed(result, probability=0.0, probability_high=0.6)
    one = none.sel(field="sand", plan="none", stage="wilt")
    assert chance(one) == "in none of the years (at most 60 of 100)"


def test_everything_dead(result):
    dead = changed(result, daily_green=0.0, daily_dormant=0.0, daily_dead=1.0)
    assert "dead at most 100%" in alt(dead, "cover")


def test_one_plan_that_takes_no_water(result):
    text = Reader(page(result.sel(plan=["none"]))).text
    assert "There is no other plan to compare." in text
    assert "no plan uses water" in text


def test_one_year(scenes, tmp_path):
    scenario = scenes.scenario([scenes.field(key="a")], [scenes.plan(key="none")])
    record = scenes.weather(years=1)
    run = drysward.run(scenario, record=record, daily=True)
    drysward.save(run, tmp_path, scenario)
    text = Reader(page(open_result(tmp_path))).text
    assert "dry year 2001" in text
    assert text.count("1-in-10 year") == text.count("no 1-in-10 year is shown") == 1
    assert "wet year 2001" in text


def test_a_file_of_an_older_version_gives_what_it_has(result):
    new = [name for name in result.variables if str(name).startswith(("daily_", "odds_"))]
    old = result.drop_vars([*new, "case", "turf_day", "chosen_year", "water_saved"])
    old = old.drop_vars(["irrigation_month_quantile", "deficit", "irrigation_runoff_mean"])
    old = old.drop_vars([name for name in old.variables if "cause" in str(name)])
    old.attrs = {
        key: value
        for key, value in result.attrs.items()
        if key not in ("resolved", "sources", "settings", "turf_year_starts", "cautions")
    }
    old.attrs["drysward_version"] = "0.0.1"
    text = Reader(page(old)).text
    assert "Missing charts" in text
    assert "written by drysward 0.0.1" in text
    assert "daily_green" in text
    assert "Odds of each stage" in text
    assert "Treat it as a screening estimate" in text


@pytest.mark.parametrize("left", [0.0, 0.3, 0.9])
def test_a_truncated_file_is_told(kept, tmp_path, left):
    whole = (kept[0] / "results.nc").read_bytes()
    (tmp_path / "results.nc").write_bytes(whole[: int(len(whole) * left)])
    said = drysward_says("report", tmp_path, "--out", tmp_path / "page.html")
    assert said.exit_code == 2
    assert "damaged" in said.output
    assert said.output.count("\n") == 1
    assert not (tmp_path / "page.html").exists()


@pytest.mark.parametrize("kind", ["a bit", "a number", "a name", "a unit"])
@pytest.mark.slow
def test_a_file_whose_numbers_are_not_those_written_is_told(kept, tmp_path, kind):
    path = tmp_path / "results.nc"
    content = bytearray((kept[0] / "results.nc").read_bytes())
    if kind == "a bit":
        water = xr.load_dataset(kept[0] / "results.nc")["season_water"].values
        content[content.index(water.tobytes()) + 5] ^= 4
    path.write_bytes(content)
    if kind != "a bit":
        with xr.open_dataset(path, decode_cf=False) as raw:
            changed = raw.load()
        if kind == "a number":
            changed["season_water"][0, 1] *= 2.0
        if kind == "a name":
            changed["field_label"][0, :5] = np.frombuffer(b"Grass", "S1")
        if kind == "a unit":
            changed["season_water"].attrs["units"] = "in"
        changed.to_netcdf(path)
    for command in (["report"], ["picture", "-o", tmp_path / "a.svg"]):
        said = drysward_says(*command, tmp_path, *["plans"] * (command != ["report"]))
        assert said.exit_code == 2
        told = "is damaged: its numbers are not those that were written; run the command that"
        assert said.output == f"{path}: {told} wrote it again\n"


def test_a_file_packed_anew_is_the_same_result(kept, result, tmp_path):
    """Neither compression nor order nor what tools note of themselves is part of its numbers."""
    source, path = kept[0] / "results.nc", tmp_path / "results.nc"
    with netCDF4.Dataset(source) as old, netCDF4.Dataset(path, "w") as new:
        for name, dimension in reversed(old.dimensions.items()):
            new.createDimension(name, len(dimension))
        new.setncatts(old.__dict__ | {"history": "packed anew"})
        for name, variable in reversed(old.variables.items()):
            attrs = dict(variable.__dict__)
            made = new.createVariable(
                name, variable.dtype, variable.dimensions, zlib=True,
                fill_value=attrs.pop("_FillValue", None),
            )  # fmt: skip
            made.setncatts(attrs)
            for one in (variable, made):
                one.set_auto_maskandscale(False)
                one.set_auto_chartostring(False)
            made[...] = variable[...]
    again = open_result(tmp_path)
    assert again.attrs["history"] == "packed anew"
    again.attrs |= {"history": result.attrs["history"], "n_years": result.attrs["n_years"]}
    xr.testing.assert_identical(again, result)


def test_a_result_without_a_number_is_told(result, undrawn, tmp_path):
    def without(names):
        return {n: result[n] * np.nan for n in names if result[n].dtype.kind == "f"}

    result.assign(without(result.data_vars)).to_netcdf(tmp_path / "results.nc")
    for words in (["report", tmp_path], ["picture", tmp_path, "plans", "-o", tmp_path / "a.svg"]):
        said = drysward_says(*words)
        assert said.exit_code == 2
        assert "has no number in probability, season_water, days_mean: nothing is" in said.output
        assert said.output.count("\n") == 1
    odds = result.assign(without(["odds"]))
    with pytest.raises(FaultyInput, match=r"plans: the result, .*, lacks numbers of odds;"):
        choose(odds, named("plans"), {})
    assert "Odds of each stage (lacks numbers of odds)" in " ".join(Reader(page(odds)).text.split())


def test_what_is_no_result_is_told(result, tmp_path):
    assert "holds no result" in drysward_says("report", tmp_path).output
    xr.Dataset({"x": ("x", [1.0])}).to_netcdf(tmp_path / "results.nc")
    assert "is no result of drysward" in drysward_says("report", tmp_path).output
    (tmp_path / "other").mkdir()
    result.drop_vars("probability").to_netcdf(tmp_path / "other" / "results.nc")
    said = drysward_says("report", tmp_path / "other")
    assert "lacks probability; run the scenario again" in said.output
    assert said.exit_code == 2


# Supply and play


def cell_numbers(read: Reader, file: xr.Dataset, names: dict[str, tuple[float, int]]) -> int:
    """Cells of the variables named, each held to the file by its factor and decimals."""
    count = 0
    for of, text in read.cells.items():
        name, _, rest = of.rstrip("]").partition("[")
        if name in names:
            value = file[name].sel(dict(part.split("=") for part in rest.split(", "))).item()
            factor, decimals = names[name]
            told = "-" if np.isnan(value) else f"{value * factor:,.{decimals}f}"
            assert text == told, of
            count += 1
    return count


@pytest.fixture(scope="session")
def pond(tmp_path_factory):
    """The shipped supply over four years, of which the last is short under every plan that waters;
    as it was kept.
    """
    folder = tmp_path_factory.mktemp("pond")
    said = drysward_says("supply", "pond", "--years", "9-12", "--no-sizing", "--out", folder)
    assert said.exit_code == 0, said.output
    return open_result(folder)


@pytest.fixture(scope="session")
def short_of_water(pond):
    """The page of one plan on one field, in metric: a page of all takes its seconds."""
    return Reader(page(pond.sel(plan=["refill"], field=["stadium"]), "metric"))


@pytest.mark.slow
def test_a_supply_has_its_storage_its_shortage_and_its_numbers(pond, short_of_water):
    result, read = pond, short_of_water
    names = {
        "demand_mean": (1.0, 0),
        "delivered_mean": (1.0, 0),
        "shortage_mean": (1.0, 0),
        "worst_event": (1.0, 0),
        "time_reliability": (100.0, 1),
        "volume_reliability": (100.0, 1),
        "worst_year_share": (100.0, 1),
    }
    assert cell_numbers(read, result, names) == len(names)
    assert result["worst_year"].sel(plan="refill") == 12
    assert read.cells["worst_year[plan=refill]"] == "year 12"
    for name in ("no_shortage", "short_year", "shortage_odds"):
        assert read.cells[f"{name}[plan=refill]"] == odds_text(result.sel(plan="refill"), name)
    for heading in (
        "Demand, m3", "Delivered, m3", "Years without shortage, %", "Years short by over 5%, %",
        "Most short year by, %", "Years with any day short, %", "Days in full, %",
    ):  # fmt: skip
        assert heading in read.text, heading
    # A plan that demands nothing is not one of a good supply.
    found = next(one for one in tables(result, "us") if one.caption.startswith("Supply: reliab"))
    rows = dict(found.groups[0].rows)
    assert {cell.text for cell in rows["No irrigation"]} == {"-"}
    assert len(rows["No irrigation"]) == len(found.columns)
    costs = {of: text for of, text in read.cells.items() if "cost_" in of}
    for of, text in costs.items():
        name, _, rest = of.rstrip("]").partition("[")
        value = result[name].sel(dict(part.split("=") for part in rest.split(", "))).item()
        assert text == money_text(value), of
    assert {of.partition("[")[0] for of in costs} > {
        "cost_mean", "cost_storage", "cost_present", "field_cost_first", "field_cost_lost_turf_mean"
    }  # fmt: skip
    ids = {a["id"] for t, a in read.tags if t in ("h2", "details") and "id" in a}
    assert ids > {"storage", "shortage", "causes", "plans"}
    assert "No size was searched" in read.text
    assert "A pond drowns people" in read.text
    axes = storage(result, "refill", axes=new_figure().add_subplot(), units="metric")
    worst = result["supply_storage"].sel(plan="refill").values.ravel()
    np.testing.assert_array_equal(
        axes.lines[0].get_ydata(), worst[-axes.lines[0].get_xdata().size :]
    )


@pytest.mark.usefixtures("short_of_water", "undrawn")
def test_shortage_by_cause_has_a_row_for_each_plan_and_field_that_is_short(pond, short_of_water):
    by_cause = pond["shortage_by_cause"].sel(plan="refill", field="stadium")
    named = [of for of in short_of_water.cells if of.startswith("shortage_by_cause[")]
    shown = {of.rstrip("]").rpartition("cause=")[2] for of in named}
    assert "restriction" in shown
    assert set(by_cause["cause"].values[by_cause.values > 1e-3]) <= shown
    names = {"shortage_by_cause": (1.0, 0), "shortage_by_field": (1.0, 0)}
    assert cell_numbers(short_of_water, pond, names) == len(shown) + 1
    assert "Shortage by cause" in short_of_water.text
    assert "Restricted, m3" in short_of_water.text
    assert "estricted: restrictions forbid it" in short_of_water.text
    none = pond.sel(plan=["none"], field=["stadium"])
    assert "Shortage by cause" not in page(none)


def test_water_that_never_comes_stands_below_its_field(pond, short_of_water):
    here = pond.sel(plan=["refill"], field="stadium")
    short = float(here["shortage_cause_mean"].sum())
    wanted = short + here["season_water"].item()
    notes = dict(water_notes(here, "metric"))
    never = f"{short:,.0f} mm of a yearly demand of {wanted:,.0f} mm under "
    assert notes["Unmet demand"].startswith(never)
    for name, told in notes.items():
        assert f"{name} {told}." in short_of_water.text
    # Volumes of all fields, by plan, are no depth of one.
    assert abs(short - here["shortage_mean"].item()) > 1.0


def test_bars_of_causes_are_the_shortages_of_the_months(pond):
    axes = causes(pond, "refill", axes=new_figure().add_subplot(), units="metric")
    values = pond["shortage_by_month_and_cause"].sel(plan="refill")
    shown = [c for c in CAUSES if float(values.sel(cause=c).sum()) > 1e-6 * float(values.sum())]
    assert len(axes.containers) == len(shown) >= 1
    base = np.zeros(12)
    for bars, cause in zip(axes.containers, shown, strict=True):
        heights = values.sel(cause=cause).values
        np.testing.assert_allclose([bar.get_height() for bar in bars], heights)
        np.testing.assert_allclose([bar.get_y() for bar in bars], base)
        base += heights
    words = [text.get_text() for text in axes.get_legend().get_texts()]
    assert words == [CAUSE_WORDS[cause][2] for cause in shown]
    picture = named("causes")
    panels = choose(pond, picture, {})
    assert {"plan": "none"} not in panels
    assert {"plan": "refill"} in panels
    said = picture.alt(pond, {"plan": "refill"}, "metric")
    most = max(range(12), key=lambda month: base[month])
    assert f"most in {MONTH_NAMES[most]}, {base[most]:,.0f} m3." in said
    assert "watering restrictions" in said


def test_causes_can_be_told_apart_without_color():
    assert set(CAUSE_ORDER) == set(CAUSES) == set(CAUSE_WORDS)
    looks = {(LINES[i % len(LINES)], HATCHES[i % len(HATCHES)]) for i in range(len(CAUSE_ORDER))}
    assert len(looks) == len(CAUSE_ORDER)
    # Longer names are cut off in a legend.
    assert max(len(CAUSE_WORDS[cause][2]) for cause in CAUSES) <= 34


def short_by(pond: xr.Dataset, **causes: float) -> xr.Dataset:
    """A supply that is short in 8 of 100 years, by so much (m3) for each cause."""
    odds = {"short_year": 0.08, "short_year_low": 0.044, "short_year_high": 0.139}
    out = changed(pond, **odds, worst_year=91.0, worst_year_share=0.112, shortage_by_cause=0.0)
    for cause, volume in causes.items():
        out["shortage_by_cause"].loc[{"field": "stadium", "cause": cause}] = volume
    return out


def test_the_answer_tells_how_often_how_far_and_why_a_supply_is_short(pond):
    first = answer(short_by(pond, storage=75.0, restriction=25.0), "us").sentences[0]
    assert (
        "the supply is short by more than 5% of the demand in 8 of 100 years (limits 4 to 14); "
        "the year short most, simulated year 91 of 200, is short by 11%. Over all years the "
        "main cause is storage with none left to draw, with 75% of the shortage. To be short less "
        "often, change what fills the storage: a larger well or catchment, or another source. It "
        "delivers "
    ) in first
    assert "of demand in the mean year." in first
    hardly = changed(short_by(pond, storage=75.0), worst_year_share=0.01)
    assert "cause" not in answer(hardly, "us").sentences[0]
    given = "With the supply as given and the likely numbers, under the plan "
    assert first.startswith(f"{given}of the goal, “Refill at 40% depletion”, the supply ")
    free = pond.copy()
    del free.attrs["sizing_plan"]
    assert answer(free, "us").sentences[0].startswith(f"{given}with the largest demand, ")
    calm = changed(
        short_by(pond), short_year=0.0, short_year_high=0.035, worst_year_share=0.0,
        worst_year=np.nan,
    )  # fmt: skip
    first = answer(calm, "us").sentences[0]
    assert "in none of the years (at most 4 of 100); no year is short at all. It del" in first
    assert "cause" not in first
    rare = changed(pond, short_year=0.005, short_year_low=0.001, short_year_high=0.028)
    assert "in 0.5 of 100 years (limits 0 to 3)" in answer(rare, "us").sentences[0]
    slight = changed(pond, worst_year_share=0.004)
    assert "is short by less than 1%" in answer(slight, "us").sentences[0]
    dry = changed(pond, demand_mean=0.0)
    assert answer(dry, "us").sentences[0] == "No plan wants water, so the supply is never short."


def test_a_sizing_leads_the_page_by_its_plan_and_its_goal(pond):
    sought = pond.assign_attrs(sizing_plan="deficit").assign(
        {f"sizing_{name}": n for name, n in
         {"failing_given": 3.0, "years": 200.0, "allowed_years": 10.0}.items()}
    )  # fmt: skip
    said = answer(sought, "us")
    label = str(pond["plan_label"].sel(plan="deficit").item())
    assert said.plan_head == "Plan of the goal"
    assert {one.plan for one in said.fields} == {label}
    goal = next(text for text in said.sentences if "fail the goal" in text)
    assert goal.startswith(f"With the likely soil and grass, under “{label}” dormancy comes in ")
    assert goal.endswith("3 of 200 years fail the goal; 10 may.")
    # No rule of its own beside the goal.
    assert not any("keeps" in text for text in said.sentences)
    assert "Best plan" not in said.note
    free = pond.copy()
    del free.attrs["sizing_plan"]
    assert answer(free, "us").plan_head == "Best plan"
    assert any("keeps" in text for text in answer(free, "us").sentences)


def test_the_cost_sentence_names_the_plan_of_the_goal(pond):
    """As the screen does: of a sizing the plan of its goal, else the best."""
    sought = pond.assign_attrs(sizing_plan="deficit")
    assert shown_plan_and_which(sought) == ("deficit", "plan of the goal")
    free = pond.copy()
    del free.attrs["sizing_plan"]
    assert shown_plan_and_which(free) == (best_plan(pond), "best plan")


def test_restrictions_stand_by_the_water_of_the_supply(pond):
    water, reliability = tables(pond, "us")[:2]
    lines = [text for name, text in water.found if name == "Restricted"]
    assert lines[0] == (
        "from a drought index of 8.3 in until 6.3 in: Tue and Fri only, 80% of the demand, not "
        "Stadium"
    )
    assert " mm until " in tables(pond, "metric")[0].found[0][1]
    assert "not counted as shortage" in reliability.found[0][1]
    never = changed(pond, restricted_days_mean=0.0)
    assert not tables(never, "us")[1].found


def test_a_trade_off_has_its_costs_in_a_table(pond):
    money, volume = {"units": "USD"}, {"units": "m3", "long_name": "least storage"}
    against = {"units": "m3 h-1", "long_name": "source rate of well"}
    sized = pond.assign(
        sizing_against=("point", [2.0, 3.0], against),
        sizing_curve=("point", [np.nan, 5000.0], volume),
        sizing_curve_first_cost=("point", [np.nan, 70000.0], money),
        sizing_curve_yearly_cost=("point", [np.nan, 1100.0], money),
    )
    one = next(table for table in tables(sized, "metric") if "Trade-off" in table.caption)
    assert list(one.columns) == [
        "Least storage, m3", "First cost of the storage, USD", "Yearly cost, USD"
    ]  # fmt: skip
    cells = [[cell.text for cell in row] for _, row in one.groups[0].rows]
    assert cells == [["nothing suffices", "-", "-"], ["5,000", "70,000", "1,100"]]


def test_the_page_runs_again_with_the_draws_of_its_sizing(pond):
    one = pond.sel(plan=["refill"], field=["stadium"]).assign_attrs(sizing_draws=64)
    assert "--draws 64 --years 9-12" in " ".join(Reader(page(one, "us")).text.split())


def test_a_trade_off_that_was_not_asked_for_says_how_to_ask(pond):
    with pytest.raises(FaultyInput, match=r"no second size was varied; add against to \[sizing\]"):
        choose(pond, named("sizing"), {})


def test_a_supply_of_an_older_version_gives_what_it_has(pond):
    new = [name for name in pond.variables if str(name).startswith(("no_shortage", "short_year"))]
    new += [name for name in pond.variables if "cause" in str(name)]
    old = pond.sel(plan=["refill"], field=["stadium"]).drop_vars([*new, "worst_year_share"])
    del old.attrs["short_year"]
    read = Reader(page(old, "metric"))
    assert "Years with any day short, %" in read.text
    assert "Years without shortage" not in read.text
    assert "Most short year" not in read.text
    assert "Shortage by cause" not in read.text
    assert "Unmet demand" not in read.text
    assert "the supply falls short in" in read.text
    ids = {a["id"] for t, a in read.tags if t in ("h2", "details") and "id" in a}
    assert "shortage" in ids
    assert "causes" not in ids


@pytest.mark.usefixtures("undrawn")
def test_play_without_events_says_how_to_have_them(result):
    played = result.assign_coords(has_play=("field", [True, True])).assign(
        events_playable_share=result["season_water"] * np.nan
    )
    days = [f"{name}_mean" for name in ("days_hard", "days_mud", "days_standing", "days_airless")]
    names = [*days, "disease_nights_mean", "events_hard_share", "events_wet_share"]
    played = played.assign(dict.fromkeys(names, played["events_playable_share"]))
    text = Reader(page(played)).text
    missing = text.partition("Missing charts")[2].partition("Cautions")[0]
    assert "Playable events: no events are judged; add them under [[fields.KEY.play.ev" in missing
    assert "events_playable_share" not in missing
    assert "wear and roots lost in airless soil add to the days below" in text
    assert "without draws numbers of play have no range" in text
    assert "--show play" not in text


@pytest.mark.usefixtures("undrawn")
def test_the_page_of_a_supply_with_draws_asks_for_no_others(pond):
    uncertain = [one for one in answer(pond, "us").sentences if one.startswith("Uncertainty")]
    assert "Run again with --draws 64" in uncertain[0]
    drawn = pond.assign_attrs(sizing_draws=16)
    uncertain = [one for one in answer(drawn, "us").sentences if one.startswith("Uncertainty")]
    assert "Only the size was tried in 16 draws of what they may really be" in uncertain[0]
    assert "Run again" not in uncertain[0]


@pytest.mark.usefixtures("undrawn")
@pytest.mark.slow
def test_play_has_its_days_and_events(tmp_path):
    shown = ("compare", "match-days", "--draws", "0", "--years", "1-3", "--out", tmp_path)
    assert drysward_says(*shown).exit_code == 0
    result = open_result(tmp_path)
    read = Reader(page(result.sel(plan=["none"], field=["practice"])))
    names = {"days_mud_mean": (1.0, 1), "events_playable_share": (100.0, 0)}
    assert cell_numbers(read, result, names) == 2
    ids = {a["id"] for t, a in read.tags if t in ("h2", "details") and "id" in a}
    assert ids > {"events", "play"}
    for name in ("events", "play"):
        assert alt(result, name)
    # Days of a lane are the days of the file.
    axes = play_calendar(result, "practice", "none", axes=new_figure().add_subplot())
    hard = (result["daily_play"].sel(field="practice", plan="none", case="dry") == 1).sum()
    drawn = axes.collections[1].get_paths()
    assert sum(path.get_extents().width for path in drawn) == pytest.approx(int(hard))


def test_play_has_its_range_across_draws(tmp_path):
    """Table, answer and chart are of the likely numbers, 5 to 95% of the draws beside each."""
    shown = ("compare", "match-days", "--draws", "2", "--years", "1-3", "--out", tmp_path)
    assert drysward_says(*shown).exit_code == 0
    result = open_result(tmp_path).sel(plan=["none"], field=["practice"])
    read = Reader(page(result))
    for name, factor in (
        ("days_mud_mean", 1.0), ("events_playable_share", 100.0), ("disease_nights_mean", 1.0),
        ("peak_worn_mean", 100.0),
    ):  # fmt: skip
        of = f"doubt_play_{name.rpartition('_')[0]}"
        low, high = (result[f"{of}{end}"].item() * factor for end in ("_low", "_high"))
        cell = read.cells[f"{name}[field=practice, plan=none]"]
        likely = f"{result[name].item() * factor:.0f}"
        assert cell == with_range(likely, f"{low:.0f}", f"{high:.0f}"), name
        assert low < high, name
    assert "peak_root_loss_mean[field=practice, plan=none]" in read.cells
    assert "With the likely numbers; in brackets 5 to 95% of 2 draws" in read.text
    assert "Hard: over 130 g." in read.text
    two = tables(open_result(tmp_path), "us")
    groups = next(one for one in two if one.caption == "Playability").groups
    assert [one.heading for one in groups] == [
        "Stadium; hard: over 100 g", "Practice field; hard: over 130 g", "Skinned infield",
    ]  # fmt: skip
    assert any(one.caption == "Water by volume, with the likely numbers" for one in two)
    of = "doubt_play_events_playable"
    low, high = (f"{100.0 * result[f'{of}{e}'].item():.0f}" for e in ("_low", "_high"))
    mean = f"{100.0 * result['events_playable_share'].item():.0f}"
    assert answer(result, "us").fields[0].playable == f"{mean}% ({low} to {high})"
    assert f"No irrigation {mean}%" in alt(result, "events")
    picture = named("events")
    facet = chart(result, picture, choose(result, picture, {}), "us", "key").facets[0]
    read_out = json.loads(facet.readings)
    assert read_out["columns"][-1] == "playable, 5 to 95% across draws"
    assert read_out["cells"][-1] == [f"{low} to {high}"]


# Feeding


@pytest.mark.usefixtures("undrawn")
@pytest.mark.slow
def test_feeding_has_its_charts_tables_and_cautions(tmp_path):
    shown = ("compare", "feeding", "--show", "feeding", "--years", "1-12", "--out", tmp_path,
             "--draws", "2")  # fmt: skip
    assert drysward_says(*shown).exit_code == 0
    result = open_result(tmp_path)
    text = page(result, "metric")
    read = Reader(text)
    names = {
        "feed_applied_n_mean": (1.0, 0), "feed_clippings_mean": (1.0, 0),
        "feed_leached_n_mean": (1.0, 0), "feed_leached_mg_l_mean": (1.0, 1),
        "feed_runoff_p_1in10": (1.0, 1),
    }  # fmt: skip
    assert cell_numbers(read, result, names) == len(names) * 2 * 3
    of = "feed_water_fed[field=practice, plan=refill]"
    one = result.sel(field="practice", plan="refill")
    fed, plain = (one[f"feed_water_{end}"].item() for end in ("fed", "plain"))
    assert read.cells[of] == f"{fed:,.0f} ({plain:,.0f})"
    mean, low, high = (one[f"doubt_feed_leached_n{e}"].item() for e in ("", "_low", "_high"))
    of = "doubt_feed_leached_n[field=practice, plan=refill]"
    assert read.cells[of] == f"{mean:,.0f} ({low:,.0f} to {high:,.0f})"
    ends = ("", "_low", "_high")
    mean, low, high = (signed(one[f"doubt_feed_water_change{e}"].item(), 0) for e in ends)
    of = "doubt_feed_water_change[field=practice, plan=refill]"
    assert read.cells[of] == f"{mean} ({low} to {high})"
    doses = "feed_doses_mean[field=stadium, plan=none]"
    assert read.cells[doses].endswith(" of 12")
    ids = {a["id"] for t, a in read.tags if t in ("h2", "details") and "id" in a}
    assert ids > {"status", "clippings", "leaching"}
    for part in (
        "Feeding calendar, kg/ha", "April 15", "75% polymer-coated urea", "“Stadium” gets",
        "Local law on fertilizer and phosphorus, the label, a soil test and licensed advice",
    ):  # fmt: skip
        assert part in read.text, part
    # It prints: what is folded does not.
    assert re.search(r"<caption[^>]*>Feeding calendar", text)


@pytest.mark.slow
def test_charts_of_feeding_are_those_of_the_file(tmp_path):
    shown = ("compare", "feeding", "--draws", "0", "--years", "1-4", "--out", tmp_path)
    assert drysward_says(*shown).exit_code == 0
    result = open_result(tmp_path)
    axes = clippings(result, "stadium", axes=new_figure().add_subplot(), units="metric")
    by_plan = result["feed_clippings_month_mean"].sel(field="stadium")
    assert len(axes.lines) == by_plan.sizes["plan"]
    for line, plan in zip(axes.lines, by_plan["plan"].values, strict=True):
        assert line.get_ydata() == pytest.approx(by_plan.sel(plan=plan).values)
    axes = nitrogen_status(result, "stadium", axes=new_figure().add_subplot())
    limits = [line.get_ydata()[0] for line in axes.lines[-2:]]
    assert limits == [result.attrs["hungry_below"], result.attrs["lush_above"]]
    one = by_plan.sel(plan="refill") * 0.0204816
    most = MONTH_NAMES[int(np.argmax(one.values))]
    text = alt(result, "clippings")
    assert f"most in {most}, {one.max().item():.1f} of {one.sum().item():.1f} lb/1000 ft2" in text
    status = result["feed_status_month_mean"].sel(field="stadium", plan="none")
    least = f"{status.min().item():.2f} ({state_of(status.min().item(), result.attrs)})"
    assert f"No irrigation lowest in {MONTH_NAMES[int(np.argmin(status.values))]}, {least}" in alt(
        result, "status"
    )
    assert "Nitrogen leached by month, Stadium" in alt(result, "leaching")
    # A file of another version has no tables of feeding, and says which charts it lacks.
    bare = result.drop_vars([n for n in result if str(n).startswith("feed_")])
    assert not any("clippings" in table.caption for table in tables(bare, "us"))
    lacking = {picture.name for picture in fitting(bare) if picture.lacks(bare)}
    assert lacking >= {"status", "clippings", "leaching"}


# Sweeps


@pytest.fixture
def sweep() -> xr.Dataset:
    """Nine points of two axes; water falls as the trigger rises and wilt rises with it alone."""
    trigger, depth = (part.ravel() for part in np.meshgrid([0.3, 0.5, 0.7], [10.0, 12.0, 14.0]))
    odds = np.zeros((9, 1, 1, 4))
    odds[:, 0, 0, 1] = trigger
    staged = ("point", "field", "plan", "stage")
    return xr.Dataset(
        {
            "season_water": (("point", "field", "plan"), (1000 * (1 - trigger)).reshape(9, 1, 1)),
            "probability": (staged, odds),
            "probability_se": (staged, np.full(odds.shape, 0.03)),
            "area_m2": (("point", "field"), np.ones((9, 1))),
            "days_below_condition_mean": (
                ("point", "field", "plan"), (100 * trigger).reshape(9, 1, 1), {"units": "d"}
            ),
        },
        coords={
            "point": np.arange(9),
            "sample": ("point", np.arange(9)),
            "trigger": ("point", trigger),
            "depth": ("point", depth),
            "field": ["f"],
            "field_label": ("field", ["F"]),
            "plan": ["p"],
            "plan_label": ("plan", [NASTY]),
            "stage": ["footprint", "wilt", "dormant", "dead"],
        },
        attrs={
            "title": "A sweep",
            "source": "drysward",
            "weather": "sixty years",
            "identity": "",
            "design": "grid",
            "axes": '["trigger", "depth"]',
            "linked": "{}",
            "points": 12,
            "points_done": 9,
            "independent_years": 60,
            "precision": "double",
            "sweep": "sweep text",
            "scenario": "",
        },
    )


def test_a_sweep_has_its_front_what_drives_it_and_its_surface(sweep):
    text = page(sweep)
    read = Reader(text)
    assert "3 of 9 choices are best trade-offs" in read.text
    assert "from 11.8 in of water a year with wilt in 70±3 of 100 years" in read.text
    by_days = drysward.front(sweep, risk="days below")
    first, last = (by_days.isel(choice=place) for place in (0, -1))
    assert (
        f"are: from {first['cost'] / 25.4:.1f} in of water a year with "
        f"{first['risk']:.0f} such days to {last['cost'] / 25.4:.1f} in"
    ) in read.text
    assert [float(one["risk"]) for one in (first, last)] == [70.0, 30.0]
    odds = (0.0, 0.0), (0.3, 0.2), (12.0, 3.4), (100.0, 0.0)
    assert [odds_and_error(*one) for one in odds] == ["none", "<1", "12±3", "all"]
    drives = "trigger drives wilt of the worst field most: it accounts for 100% of the variance"
    assert f"{drives}, with 30% of years at 0.3" in read.text
    assert "rests on 9 of 12 points" in read.text
    assert "sweep text" in read.text
    assert text.count("<script") == 1
    assert {a["id"] for t, a in read.tags if t == "h2"} > {"front", "drivers", "surface"}


def test_a_surface_is_the_mean_over_all_else(sweep):
    found = surface(sweep, "trigger", "depth")
    np.testing.assert_allclose(found["mean"], np.tile([0.3, 0.5, 0.7], (3, 1)))
    assert (found["count"] == 1).all()
    assert strongest(sweep) == ["trigger", "depth"]
    other = surface(sweep.isel(point=slice(0, 8)), "depth", "trigger")
    assert list(other["across"].values) == ["10", "12", "14"]
    assert np.isnan(other["mean"].sel(across="14", up="0.7"))
    with pytest.raises(FaultyInput, match="did you mean 'depth'"):
        surface(sweep, "dept", "trigger")


def test_the_front_drawn_is_the_front_found(sweep):
    axes = front(sweep, axes=new_figure().add_subplot(), units="metric")
    np.testing.assert_allclose(axes.lines[0].get_xdata(), [300.0, 500.0, 700.0])
    np.testing.assert_allclose(axes.lines[0].get_ydata(), [70.0, 50.0, 30.0])


# The commands


@pytest.mark.slow
def test_picture_writes_each_kind_of_file_twice_the_same(kept, tmp_path):
    for ending, begins in ((".svg", b"<?xml"), (".png", b"\x89PNG"), (".pdf", b"%PDF")):
        paths = [tmp_path / f"{n}{ending}" for n in "ab"]
        for path in paths:
            said = drysward_says("picture", kept[0], "cover", "-o", path, "--plan", "none")
            assert said.exit_code == 0, said.output
        first, second = (path.read_bytes() for path in paths)
        assert first.startswith(begins)
        assert first == second


def test_picture_tells_what_it_cannot_do(kept, tmp_path):
    out = tmp_path / "x.svg"
    assert "did you mean 'cover'?" in drysward_says("picture", kept[0], "covr", "-o", out).output
    said = drysward_says("picture", kept[0], "cover", "-o", out, "--plan", "refil")
    assert "did you mean 'refill'?" in said.output
    said = drysward_says("picture", kept[0], "demand", "-o", out, "--stage", "wilt")
    assert "has no such choice" in said.output
    assert ".svg or .png" in drysward_says("picture", kept[0], "cover", "-o", "x.bmp").output
    assert "lacks" in drysward_says("picture", kept[0], "storage", "-o", out).output


def test_every_figure_can_be_drawn_in_both_units(result):
    for picture in fitting(result):
        for units in ("us", "metric"):
            figure = compose(result, picture, choose(result, picture, {})[:1], units)
            assert figure.axes[0].has_data()
    assert {picture.name for picture in fitting(result)} == set(NAMES) - {
        "storage", "shortage", "causes", "sizing", "events", "play", "status", "clippings",
        "leaching", "front", "drivers", "surface", *(picture.name for picture in OF_SEASON),
    }  # fmt: skip


def test_names_are_unique_and_known():
    assert len(set(NAMES)) == len(NAMES) == len((*PICTURES, *SWEEP_PICTURES, *OF_SEASON))
    with pytest.raises(FaultyInput, match="no chart is called 'x'"):
        named("x")


# Color


def luminance(color: str) -> float:
    """Relative luminance (WCAG 2.1)."""
    parts = [int(color[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(a: str, b: str) -> float:
    high, low = sorted((luminance(a), luminance(b)), reverse=True)
    return (high + 0.05) / (low + 0.05)


def test_lines_stand_out_from_light_and_dark_paper():
    # 3 : 1 for parts of graphics, WCAG 2.1 success criterion 1.4.11.
    paper = "#fcfbf7"
    for color in (*LINES, *STAGES.values()):
        assert contrast(color, paper) >= 3.0, color
        assert contrast(DARK[color], DARK[paper]) >= 3.0, color


def test_covers_differ_in_lightness():
    # What is beside one another is told apart without any color.
    for one, other in (("green", "dormant"), ("dormant", "dead"), ("green", "dead")):
        assert contrast(COVERS[one], COVERS[other]) > 1.5
        assert contrast(DARK[COVERS[one]], DARK[COVERS[other]]) > 1.4


# The README's picture


def curves(text: str) -> list[np.ndarray]:
    """Points of the long lines of an SVG, in their order."""
    out = []
    for path in ElementTree.fromstring(text).iter("{http://www.w3.org/2000/svg}path"):
        numbers = np.array(re.findall(r"-?\d*\.?\d+", path.get("d", "")), float)
        if "z" not in path.get("d", "") and numbers.size > 200:
            out.append(np.cumsum(numbers[: numbers.size // 2 * 2].reshape(-1, 2), axis=0))
    return out


def words(text: str) -> list[str]:
    root = ElementTree.fromstring(text)
    return [e.text or "" for e in root.iter("{http://www.w3.org/2000/svg}text")]


def test_the_picture_of_the_readme_is_that_of_the_demo(tmp_path):
    out = tmp_path / "demo"
    assert drysward_says("compare", "--draws", "0", "--out", out).exit_code == 0
    said = drysward_says("picture", out, "plans", "--stage", "wilt", "-o", tmp_path / "new.svg")
    assert said.exit_code == 0, said.output
    new, kept = (p.read_text(encoding="utf-8") for p in (tmp_path / "new.svg", DEMO_PICTURE))
    assert words(new) == words(kept)
    lines = list(zip(curves(new), curves(kept), strict=True))
    # Two fields, six plans; a plan that hardly ever wilts is a straight line and no curve.
    assert 2 * 4 <= len(lines) <= 2 * 6
    for here, there in lines:
        # Another version of the plotting library may simplify or place a line a little otherwise.
        across = np.linspace(there[0, 0] + 2, there[-1, 0] - 2, 100)
        found = [np.interp(across, xy[:, 0], xy[:, 1]) for xy in (here, there)]
        assert np.median(np.abs(found[0] - found[1])) < 1.5


def test_look_does_not_leak():
    before = mpl.rcParams["text.parse_math"]
    with look():
        assert mpl.rcParams["text.parse_math"] is False
    assert mpl.rcParams["text.parse_math"] is before
