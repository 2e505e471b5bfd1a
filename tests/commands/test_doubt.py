"""``drysward compare --draws``: what is not known, at a terminal, in files and on the page."""

from __future__ import annotations

import csv
import json
import re
from html import unescape
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pytest
import xarray as xr
from click.testing import CliRunner, Result

import drysward
from drysward.cli import main
from drysward.pages import open_result, page
from drysward.pages.gallery import chart, choose, fitting, named
from drysward.pages.words import answer
from drysward.results.answer_text import best_sentences
from drysward.results.choice import best_plan
from drysward.results.doubt_text import (
    doubt_sentences,
    draws_note,
    measure_text,
    spread_comes_from,
    too_wide,
)
from drysward.studies.doubt.answers import doubt_answers
from drysward.studies.doubt.crossed import crossed

YEARS = (1, 10)
DRAWS = 16


def ask(*words: str) -> Result:
    return CliRunner().invoke(main, list(words))


@pytest.fixture(scope="module")
def told(tmp_path_factory: pytest.TempPathFactory) -> tuple[Result, Path]:
    folder = tmp_path_factory.mktemp("doubt")
    words = ("--years", "1-10", "--detail", "--out", str(folder))
    done = ask("compare", "--draws", str(DRAWS), *words)
    assert done.exit_code == 0, done.stderr
    return done, folder


@pytest.fixture(scope="module")
def result(told: tuple[Result, Path]) -> xr.Dataset:
    return open_result(told[1])


@pytest.fixture(scope="module")
def doubt() -> xr.Dataset:
    scenario = drysward.shipped("demo")
    found = crossed(scenario, DRAWS, years=YEARS)
    return doubt_answers(found, scenario, tuple(plan.key for plan in scenario.plans))


@pytest.fixture(scope="module")
def shares(result: xr.Dataset) -> xr.Dataset:
    """The result as if its draws had been enough to tell what to measure."""
    numbers = ["species.kentucky_bluegrass.wilt_ks", "root_zones.sand.alpha", "soils.loam.clay"]
    measures = ["notes of wilt", "a laboratory test", "a soil test"]
    return result.assign(
        doubt_explained=("field", [0.9, 0.1]),
        doubt_share_of_groups=(("field", "groups"), [[0.3, 0.6], [0.5, 0.5]]),
        doubt_share_of_measures=(("field", "measures"), [[0.3, 0.5, 0.01], [0.2, 0.2, 0.2]]),
        doubt_share_of_numbers=(("field", "numbers"), [[0.1, 0.4, 0.01], [0.2, 0.2, 0.2]]),
    ).assign_coords(
        groups=["grass", "soil"], measures=measures, numbers=numbers,
        settled_by=("numbers", measures),
        meaning=("numbers", [
            "Transpiration at wilt.", "Suction of the sand; in a test.", "Clay. And sand.",
        ]),
    )  # fmt: skip


def spread(result: xr.Dataset, low: float, high: float) -> xr.Dataset:
    """The result as if draws spread the odds of wilt on the refilled stadium so far."""
    changed = {f"doubt_probability_{end}": result[f"doubt_probability_{end}"].copy()
               for end in ("low", "high", "distinct")}  # fmt: skip
    here = {"field": "stadium", "plan": "refill", "stage": "wilt"}
    for end, value in (("low", low), ("high", high), ("distinct", 1)):
        changed[f"doubt_probability_{end}"].loc[here] = value
    return result.assign(changed)


def of_doubt(result: xr.Dataset) -> list[str]:
    return [str(name) for name in result.data_vars if str(name).startswith("doubt_")]


def without(result: xr.Dataset) -> xr.Dataset:
    """The result as a run without draws writes it."""
    plain = result.drop_vars([*of_doubt(result), "other", "other_field"])
    plain.attrs = {k: v for k, v in plain.attrs.items() if not k.startswith("doubt_")}
    return plain


# Files


def test_all_of_it_is_kept_and_comes_back(result: xr.Dataset, doubt: xr.Dataset) -> None:
    assert set(of_doubt(result)) == set(map(str, doubt.data_vars))
    for name, values in doubt.data_vars.items():
        np.testing.assert_array_equal(result[name].values, values.values, err_msg=str(name))
        assert result[name].dims == values.dims
        assert result[name].attrs["long_name"], name
        assert result[name].attrs["units"], name
        assert "_" not in result[name].attrs["long_name"], name
        if values.dtype == bool:
            assert result[name].dtype == np.int8, name
    for name in ("other", "other_field"):
        assert list(result[name].values) == list(doubt[name].values)
    assert result.attrs["doubt_draws"] == DRAWS
    assert result.attrs["doubt_draw_years"] == 10
    assert result.attrs["doubt_numbers"] == doubt.attrs["doubt_numbers"] > 50
    assert 0.0 < result.attrs["doubt_least_explained"] < 1.0


def test_units_are_those_of_what_is_told(result: xr.Dataset) -> None:
    for name, units in (
        ("probability", "1"), ("days", "d"), ("days_below_condition", "d"), ("water", "mm"),
        ("demand", "mm"), ("fewer", "1"), ("fewer_by", "d"), ("better_by_high", "d"),
    ):  # fmt: skip
        assert result[f"doubt_{name}"].attrs["units"] == units


def test_a_row_for_every_number(told: tuple[Result, Path], result: xr.Dataset) -> None:
    assert f"Wrote {told[1] / 'doubt.csv'}" in told[0].stderr
    assert "doubt.csv has the means over the draws; the other CSV files have" in told[0].stderr
    with (told[1] / "doubt.csv").open(encoding="utf-8") as stream:
        rows = list(csv.DictReader(stream))
    assert list(rows[0]) == ["field", "plan", "what", "mean", "low", "high", "error", "unit"]
    by = {(row["field"], row["plan"], row["what"]): row for row in rows}
    assert len(by) == len(rows)
    fields, plans = (result.sizes[name] for name in ("field", "plan"))
    # Odds and days by stage, days below (and in 1 year of 10) and water, demand by period, and each
    # two by both.
    each = 2 * result.sizes["stage"] + 3 + result.sizes["period"] + 2 * (plans - 1) + 2
    assert len(rows) == (fields * each + result.sizes["period"]) * plans
    site = result["doubt_site_demand"].sel(plan="refill", period=10.0).item()
    row = by["", "refill", "site_demand_1in10"]
    assert float(row["mean"]) * 3.785411784e-3 == pytest.approx(site, rel=1e-6)
    one = result.sel(field="stadium", plan="refill")
    row = by["stadium", "refill", "probability_wilt"]
    for column, end in (("mean", ""), ("low", "_low"), ("high", "_high"), ("error", "_error")):
        value = one[f"doubt_probability{end}"].sel(stage="wilt").item()
        assert float(row[column]) == pytest.approx(value, rel=1e-6)
    row = by["stadium", "refill", "demand_1in10"]
    assert row["unit"] == "in"
    assert row["error"] == ""
    assert float(row["low"]) * 25.4 == pytest.approx(
        one["doubt_demand_low"].sel(period=10.0).item(), rel=1e-6
    )
    row = by["stadium", "refill", "fewer_by_than_none"]
    assert float(row["mean"]) == pytest.approx(one["doubt_fewer_by"].sel(other="none").item())
    assert ("stadium", "refill", "fewer_than_refill") not in by
    assert ("practice", "none", "better_than_stadium") in by


# Words


def test_the_sentences_say_what_a_board_reads(result: xr.Dataset) -> None:
    odds, choice, measure = doubt_sentences(spread(result, 0.003, 0.19), "refill")
    p = 100.0 * result["doubt_probability"].sel(field="stadium", plan="refill", stage="wilt").item()
    assert p >= 1.0
    assert (
        f"wilt comes under “Refill at 40% depletion” in {p:.0f} of 100 years on “Stadium”, "
        "<1 to 19 depending on what this soil and grass really are; in "
    ) in odds
    shares = result["doubt_fewer"].sel(field="stadium", plan="refill", other="inch_a_week").item()
    assert (
        "“Refill at 40% depletion” has fewer days below playing condition than “An inch a week”, "
        f"the next, in {DRAWS * shares:g} of {DRAWS} draws on “Stadium” and in "
    ) in choice
    assert measure == (
        "What to measure first: 16 draws are too few to say; run with --draws 64."
    )


@pytest.mark.parametrize(
    "counts, verdict",
    [
        ((1.0, 0.9), "the choice stands."),
        ((0.95, 0.7), ": on “Stadium” the choice stands; on “Practice field” it is too close to "
         "call."),
        ((0.7, 0.5), "it is too close to call."),
        ((0.05, 0.1), "the draws favor the other."),
    ],
)
def test_whether_a_choice_stands(
    result: xr.Dataset, counts: tuple[float, float], verdict: str
) -> None:
    fewer = result["doubt_fewer"].copy()
    fewer.loc[{"plan": "refill"}] = np.array(counts)[:, None]
    said = doubt_sentences(result.assign(doubt_fewer=fewer), "refill")[1]
    assert said.endswith(verdict)


def test_odds_that_mean_nothing_are_told(shares: xr.Dataset) -> None:
    half = 0.0 * shares["doubt_probability_low"] + 0.5
    even = shares.assign(doubt_probability_low=half, doubt_probability_high=half)
    for high, wide in ((0.62, False), (0.64, True)):
        changed = spread(even, 0.03, high)
        text = too_wide(changed.sel(field="stadium"))
        sentence = doubt_sentences(changed, "refill")[0]
        assert ("On “Stadium” the range is too wide" in sentence) is wide
        assert bool(text) is wide
        assert not too_wide(changed.sel(field="practice"))
    assert text == (
        "the limits on wilt under “Refill at 40% depletion” are too wide to decide: more than 60 "
        "of 100 years apart. Measure first: a laboratory test, then notes of wilt"
    )


def test_what_to_measure_first(shares: xr.Dataset) -> None:
    said = doubt_sentences(shares, "refill")[2]
    assert said == (
        "What to measure first: on “Stadium” a laboratory test, then notes of wilt; on “Practice "
        "field” no single number stands out."
    )
    assert spread_comes_from(shares.sel(field="stadium")) == (
        "spread of days below: soil 60%, grass 30%. First: a laboratory test (50%, most of "
        "it for the suction of the sand; in a test); notes of wilt (30%)"
    )
    assert "too few to say" in spread_comes_from(shares.sel(field="practice"))


def test_a_field_without_turf_has_no_part_in_it(result: xr.Dataset) -> None:
    bare = result.copy()
    for name in ("days_below_condition", "fewer"):
        values = bare[f"doubt_{name}"].copy()
        values.loc[{"field": "practice"}] = np.nan
        bare[f"doubt_{name}"] = values
    days = bare["days_below_condition_mean"]
    bare["days_below_condition_mean"] = days.where(days["field"] == "stadium")
    said = " ".join(doubt_sentences(bare, "refill"))
    assert "Practice" not in said
    assert "nan" not in said
    assert not too_wide(bare.sel(field="practice"))
    assert not spread_comes_from(bare.sel(field="practice"))
    assert named("days").panels(bare) == [{"field": "stadium"}]


# Terminal and page


@pytest.mark.usefixtures("undrawn")
def test_terminal_and_page_say_the_same(told: tuple[Result, Path], result: xr.Dataset) -> None:
    shown = " ".join(told[0].stdout.split())
    assert draws_note(result) in shown
    assert best_plan(result) == "refill"
    for sentence in (*best_sentences(result), *doubt_sentences(result, "refill")[:2]):
        assert sentence in shown
    # That the draws do not say what to measure is said where it is asked for.
    assert f"Stadium: {measure_text(result)}" in shown
    # The question whether the choice stands is answered before any table.
    assert shown.index("the next, in ") < shown.index("Turf: mean")
    assert "does the choice stand" in shown.lower()
    lines = told[0].stdout.splitlines()
    assert max(map(len, lines)) <= 100
    text = unescape(page(result))
    assert draws_note(result)[1:] in text
    for sentence in (*best_sentences(result), *doubt_sentences(result, "refill")):
        assert sentence in text


@pytest.mark.usefixtures("undrawn")
def test_tables_on_the_page_are_of_the_file(result: xr.Dataset) -> None:
    text = page(result)
    assert "Uncertainty of soil, turf and system</caption>" in text
    assert "Certainty of the ranking</caption>" in text
    cells = dict(re.findall(r'data-of="(doubt_[^"]+)">([^<]+)<', text))
    n = result.sizes["field"] * result.sizes["plan"]
    assert len(cells) == n * (1 + 3 + 2) + n * (result.sizes["plan"] - 1)
    for of, shown in cells.items():
        name, _, rest = of.rstrip("]").partition("[")
        where = dict(part.split("=") for part in rest.split(", "))
        factor = float(DRAWS) if name == "doubt_fewer" else 100.0
        if name == "doubt_days_below_condition":
            factor = 1.0
        elif name in ("doubt_water", "doubt_demand"):
            factor = 1.0 / 25.4
        if "period" in where:
            where["period"] = float(where["period"])  # type: ignore[assignment]
        ends = [""] if name == "doubt_fewer" else ["", "_low", "_high"]
        decimals = 1 if factor < 1.0 else 0
        numbers = [f"{result[name + end].sel(where).item() * factor:.{decimals}f}" for end in ends]
        if name == "doubt_probability":
            mean, low, high = numbers
            as_words = {"none": "0", "<1": mean, ">99": mean, "all": "100"}
            said, _, limits = unescape(shown).partition(" ")
            assert as_words.get(said, said) == mean, of
            assert limits == ("" if low == high else f"({low}-{high})"), of
            continue
        if name == "doubt_fewer":  # a tie counts half
            numbers = [f"{round(2.0 * factor * result[name].sel(where).item()) / 2.0:g}"]
        if len({*numbers}) == 1:  # a range that prints as its number is left out
            del numbers[1:]
        assert re.findall(r"[\d.]+", shown) == numbers, of
    assert f"--draws {DRAWS} --years" in " ".join(text.split())


def test_the_chart_names_each_plan_and_its_range_without_color(result: xr.Dataset) -> None:
    picture = named("days")
    panels = choose(result, picture, {})
    assert panels == [{"field": "stadium"}, {"field": "practice"}]
    one = result.sel(field="stadium", plan="none")
    low, high = (
        f"{one[f'doubt_days_below_condition_{end}'].item():.0f}" for end in ("low", "high")
    )
    assert f"across draws {low} to {high}" in picture.alt(result, panels[0], "us")
    facet = chart(result, picture, panels, "us", "key").facets[0]
    read = json.loads(facet.readings)
    assert read["cells"][2][read["rows"].index("No irrigation")] == f"{low} to {high} days"
    svg = ElementTree.fromstring(facet.svg)
    written = [element.text for element in svg.iter() if element.tag.endswith("}text")]
    # Each line of the chart bears the name of its plan, so that nothing rests on color.
    assert {str(label) for label in result["plan_label"].values} <= set(written)


def test_the_answer_has_the_range_across_draws_and_what_narrows_it(
    result: xr.Dataset, shares: xr.Dataset
) -> None:
    for field, one in zip(("stadium", "practice"), answer(shares, "us").fields, strict=True):
        best = str(shares["plan"].values[list(shares["plan_label"].values).index(one.plan)])
        here = shares.sel(field=field, plan=best)
        low, high = (here[f"doubt_days_below_condition_{end}"].item() for end in ("low", "high"))
        assert one.days_below_range == f"{low:.0f} to {high:.0f}"
    assert [one.measure for one in answer(shares, "us").fields] == [
        "a laboratory test, then notes of wilt", ""
    ]  # fmt: skip
    said = answer(result, "us")
    assert not said.has("measure")
    assert any("run with --draws 64" in sentence for sentence in said.sentences)
    assert any("draws on “" in sentence for sentence in said.sentences)


@pytest.mark.usefixtures("undrawn")
def test_a_file_without_draws_gives_the_page_as_before(result: xr.Dataset) -> None:
    old = without(result)
    assert "days" in {picture.name for picture in fitting(old)}
    assert "across draws" not in named("days").alt(old, {"field": "stadium"}, "us")
    text = page(old)
    assert "not known" not in text.partition("<main>")[2].partition("values")[0]
    assert "doubt" not in text
    # The command to run it again has none either; the answer says how to have them.
    assert "--draws" not in text.partition("Rerun</h2>")[2]
    assert "Run again with --draws 64" in text
    assert "Missing charts" not in text


# Bad input


@pytest.mark.parametrize("draws", ["-1", "1", "5000"])
def test_a_number_of_draws_that_has_no_spread_is_refused(draws: str) -> None:
    done = ask("compare", "--draws", draws)
    assert done.exit_code == 2
    assert not done.stdout
    assert f"{draws} cannot be run; allowed: 0 for none, or 2 to 4096, such as --draws 64" in (
        " ".join(done.stderr.split())
    )


def test_draws_of_a_single_year_are_refused() -> None:
    done = ask("compare", "--draws", "4", "--years", "3")
    assert done.exit_code == 2
    (line,) = (line for line in done.stderr.splitlines() if line.startswith("--draws"))
    assert "two years or more, not 1" in line
    assert "--draws 0 for none" in line


# By default, and by the scenario


def lines_of(done: Result) -> str:
    return " ".join(done.stdout.split())


@pytest.mark.slow
def test_draws_are_run_unless_they_are_switched_off(tmp_path: Path) -> None:
    by_default = ask("compare", "--years", "1-2", "--out", str(tmp_path))
    assert by_default.exit_code == 0, by_default.stderr
    assert open_result(tmp_path).attrs["doubt_draws"] >= 16
    without_draws = ask("compare", "--years", "1-2", "--draws", "0")
    assert "draws of" not in without_draws.stdout
    assert "sampling error of the years only" in lines_of(without_draws)
    # The first screen stays one.
    assert max(len(done.stdout.splitlines()) for done in (by_default, without_draws)) <= 52


def test_a_single_year_has_none_and_one_line_says_so() -> None:
    done = ask("compare", "--years", "3")
    assert done.exit_code == 0, done.stderr
    assert "no draws: the spread across draws needs two years or more, not 1" in (
        lines_of(done)
    )


def demo_with(folder: Path, text: str) -> str:
    path = folder / "demo.toml"
    path.write_text(f"{drysward.shipped('demo').text}\n{text}\n", encoding="utf-8")
    return str(path)


@pytest.mark.slow
def test_the_scenario_says_how_many_and_the_option_stands_over_it(tmp_path: Path) -> None:
    scenario = demo_with(tmp_path, "[doubt]\ndraws = 3")
    span = ("--years", "1-2")
    assert "; 3 draws of" in ask("compare", scenario, *span).stdout
    assert "; 2 draws of" in ask("compare", scenario, *span, "--draws", "2").stdout
    assert "uncertain numbers, as [doubt] says" in lines_of(ask("check", scenario))
    scenario = demo_with(tmp_path, "[doubt]\ndraws = 0")
    assert "draws of" not in ask("compare", scenario, *span).stdout
    assert "none, as [doubt] says" in lines_of(ask("check", scenario))


@pytest.mark.parametrize("draws", ["1", "-4", "5000"])
def test_a_scenario_s_number_of_draws_is_refused_like_any_key(tmp_path: Path, draws: str) -> None:
    done = ask("check", demo_with(tmp_path, f"[doubt]\ndraws = {draws}"))
    assert done.exit_code == 2
    assert f"doubt.draws: {draws} cannot be run; " in done.stderr
    assert "0 for none, or 2 to 4096, such as draws = 64" in done.stderr


@pytest.mark.parametrize("line", ['draws = "64"', "draws = 6.5", "draws = true", "drews = 4"])
def test_another_type_or_name_is_refused(tmp_path: Path, line: str) -> None:
    done = ask("check", demo_with(tmp_path, f"[doubt]\n{line}"))
    assert done.exit_code == 2
    (told,) = done.stderr.splitlines()
    assert "doubt." in told


def test_few_lines_stand_above_the_table_of_four_fields(tmp_path: Path) -> None:
    path = tmp_path / "four.toml"
    fields = [
        word
        for name in ("Stadium", "Practice")
        for zone in ("sand_over_gravel_12in", "native_loam")
        for word in ("--field", f"{name} {zone}, 2 acre, {zone}")
    ]
    made = CliRunner().invoke(main, ["init", str(path), *fields])
    assert made.exit_code == 0, made.output
    done = ask("compare", str(path), "--draws", "2", "--years", "1-5")
    assert done.exit_code == 0, done.stderr
    above, _, below = done.stdout.partition("────")
    paragraphs = above.split("\n\n")
    sentences = paragraphs[-2].splitlines()
    assert 2 <= len(sentences) <= 9  # one of them says the years
    # No line asks for more draws, and none is lost: what does not fit follows the table.
    assert "What to measure first" not in done.stdout
    assert "too few to say" not in done.stdout
    flowing = " ".join(done.stdout.split())
    assert flowing.count("Alike but for the root zone") == 1
    assert "drought only: mud and hard ground are not in it" in flowing
    assert "has fewer days below playing condition than" in " ".join(below.split())


def test_without_draws_the_screen_says_what_the_odds_are() -> None:
    done = ask("compare", "demo", "--draws", "0", "--years", "1-5")
    assert "without draws the odds are those of the likely numbers only" in (
        " ".join(done.stdout.split())
    )
