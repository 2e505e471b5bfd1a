"""``drysward fit readings``: refusals, and a twin whose truth is known."""

import shutil
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

import drysward
from drysward.cli import main
from drysward.site.weather_years import read_record
from drysward.studies.fitting.fit import Model, fit
from drysward.studies.fitting.observe import errors_of, through_instruments
from drysward.studies.fitting.readings import read_readings
from drysward.studies.fitting.season_inputs import read_inputs

DATA = Path(__file__).parents[1] / "data"
WEATHER = "baltimore-washington-2010-2019.csv"
TEXT = (DATA / "two-fields.toml").read_text()
HEAD = "date,field,kind,value,unit,place,depth,instrument,note"
DAY = np.datetime64
STOP = DAY("2018-09-20")


@pytest.fixture
def folder(tmp_path):
    shutil.copy(DATA / WEATHER, tmp_path)
    (tmp_path / "fields.toml").write_text(TEXT)
    rows = ["date,field,depth_mm"]
    rows += [f"{DAY('2018-05-20') + 4 * i},sand,12" for i in range(24)]
    rows += [f"{DAY('2018-06-20') + 9 * i},loam,20" for i in range(6)]
    (tmp_path / "log.csv").write_text("\n".join([*rows, ""]))
    return tmp_path


def command(folder, *words):
    names = [str(folder / word) if word.endswith((".toml", ".csv")) else word for word in words]
    return CliRunner().invoke(main, ["fit", "readings", *names])


def write_twin(folder, seed):
    """60 readings of a truth drawn from the prior, with the errors of the catalog."""
    scenario = drysward.load(folder / "fields.toml")
    rng = np.random.default_rng([seed, 5])
    dates = np.sort(rng.choice(np.arange(DAY("2018-05-01"), STOP), 30, replace=False))
    cells = [
        (day, field, "wilt", 0.0, "") if i % 6 == 5 else
        (day, field, "moisture", 0.0, ("3 in", "12 cm")[i % 2])
        for i, day in enumerate(dates) for field in ("sand", "loam")
    ]  # fmt: skip

    def write(values):
        rows = [
            f"{day},{field},{kind},{100 * max(value, 0.0):.2f},%,,{depth},,"
            for (day, field, kind, _, depth), value in zip(cells, values, strict=True)
        ]
        (folder / "readings.csv").write_text("\n".join([HEAD, *rows, ""]))

    write(np.zeros(len(cells)))
    inputs = read_inputs(scenario, folder / "readings.csv", folder / "log.csv")
    asked = inputs.readings.each
    model = Model(scenario, inputs.log, inputs.record, asked[-1].date + 1)
    values, states = model.run(rng.standard_normal((1, len(model.numbers))), asked)
    error = np.linalg.cholesky(errors_of(asked, scenario)) @ rng.standard_normal(len(asked))
    write(through_instruments(values, rng.standard_normal((1, 2)), asked)[0] + error)
    return scenario, states["depletion"][0]


@pytest.mark.parametrize(
    "readings, log, expected",
    [
        (f"{HEAD}\n2018-07-01,sand,moisture,12,%,,,,\n", None, "line 2, column 'depth': is blank"),
        (f"{HEAD}\n2025-07-01,sand,wilt,none,,,,,\n", None, "no reading lies in the weather of"),
        (f"{HEAD}\n2018-07-01,sand,wilt,none,,,,,\n", None, "has 1 readings that count; 3 or"),
        (f"{HEAD}\n2018-07-01,sand,wilt,none,,,,,\n", "date,field,depth_mm\n2018-06-01,snd,1\n",
         "log.csv line 2, column 'field': 'snd' is not known; did you mean 'sand'?"),
    ],
)  # fmt: skip
def test_refusals(folder, readings, log, expected):
    (folder / "readings.csv").write_text(readings)
    if log is not None:
        (folder / "log.csv").write_text(log)
    out = command(folder, "fields.toml", "readings.csv", "--log", "log.csv")
    assert out.exit_code == 2
    assert expected in out.output


def test_simulated_weather_is_refused(folder):
    (folder / "readings.csv").write_text(f"{HEAD}\n")
    (folder / "demo.toml").write_text(drysward.shipped("demo").text)
    out = command(folder, "demo.toml", "readings.csv", "--log", "log.csv")
    assert out.exit_code == 2
    assert "weather is not a record; --weather FILE" in out.output


@pytest.mark.slow
def test_from_readings_to_a_scenario_that_names_them(folder):
    write_twin(folder, 1)
    words = ("fields.toml", "readings.csv", "--log", "log.csv", "--draws", "50")
    out = command(folder, *words, "--out", "my-fit.toml")
    assert out.exit_code == 0, out.output
    for part in ("The readings narrow", "Numbers before and after", "offset of probe, points",
                 "How well the readings come out", "Wrote"):  # fmt: skip
        assert part in out.output
    # The scenario is as it was; it may now name the file.
    assert (folder / "fields.toml").read_text() == TEXT
    (folder / "named.toml").write_text('fitted = "my-fit.toml"\n' + TEXT)
    named = drysward.load(folder / "named.toml")
    assert len(next(iter(named.fitted.draws.values()))) == 50
    assert [len(of) for of in named.fitted.probes["probe"]] == [50, 50]
    # Numbers are shown in words; their keys are in the CSV.
    assert "water at field capacity above the value from texture" in " ".join(out.output.split())
    assert "soil_errors.texture" not in out.output
    listed = command(folder, *words, "--format", "csv")
    assert "overrides.soil_errors.texture.field_capacity_error" in listed.output
    again = command(folder, "named.toml", "readings.csv", "--log", "log.csv")
    assert again.exit_code == 2
    assert "must not count twice" in again.output
    # Nothing of the user's is replaced.
    mine = folder / "mine.toml"
    mine.write_text("precious")
    refused = command(folder, *words, "--out", "mine.toml")
    assert refused.exit_code == 2
    assert mine.read_text() == "precious"
    refused = command(folder, *words, "--out", "readings.csv", "--force")
    assert refused.exit_code == 2
    assert "is an input of this command" in refused.output


@pytest.mark.slow
def test_twins_foretell_their_later_readings(folder):
    """Of several truths drawn from the prior, later readings lie in the middle 50% of what is
    foretold 40 to 60% of the time, and no spread falls much more than theory of lines says.
    """
    inside, n, falls = 0.0, 0, []
    for seed in range(1, 5):
        scenario, _ = write_twin(folder, seed)
        inputs = read_inputs(scenario, folder / "readings.csv", folder / "log.csv")
        found = fit(
            scenario, inputs.readings, inputs.log, inputs.record, hold_out=True, seed=seed
        )
        assert len(found.numbers) == 10
        for one in found.held_out:
            if one.kind == "moisture":
                inside, n = inside + one.inside_50 * one.n, n + one.n
        falls += [(row.fall, row.expected) for row in found.rows]
    assert 0.40 <= inside / n <= 0.60
    measured, theory = np.mean(falls, axis=0)
    assert abs(measured - theory) < 0.08


def test_earlier_seasons_without_a_log_do_not_count(folder):
    scenario = drysward.load(folder / "fields.toml")
    rows = ["2017-07-01,sand,wilt,none,,,,,", "2018-07-01,sand,wilt,none,,,,,", ""]
    (folder / "readings.csv").write_text("\n".join([HEAD, *rows]))
    inputs = read_inputs(scenario, folder / "readings.csv", folder / "log.csv")
    assert len(inputs.readings) == 1
    assert "has no row of 2017, so 1 of 2 readings do not count" in inputs.readings.notes[0]
    with (folder / "log.csv").open("a") as log:
        log.write("2017-05-01,sand,0\n")
    assert len(read_inputs(scenario, folder / "readings.csv", folder / "log.csv").readings) == 2
    (folder / "log.csv").write_text("date,field,depth_mm\n")
    assert len(read_inputs(scenario, folder / "readings.csv", folder / "log.csv").readings) == 2
    every = read_readings(folder / "readings.csv", scenario, DAY("2017-01-01"), STOP)
    assert len(every) == 2
    assert read_record(scenario).dates[-1] == inputs.record.dates[-1]


def test_help_and_tutorial_name_every_kind_of_reading_with_its_units() -> None:
    from drysward.studies.fitting.readings import _LEVEL_UNITS, KINDS, LEVEL

    told = CliRunner().invoke(main, ["fit", "readings", "--help"], terminal_width=100).output
    page = (Path(__file__).parents[2] / "sim/docs/tutorials/season.md").read_text("utf-8")
    rows = [line for line in page.splitlines() if line.startswith("|")]
    for name, kind in KINDS.items():
        (row,) = (line for line in rows if f"`{name}`" in line)
        units = (*kind.units, *(_LEVEL_UNITS if name == LEVEL else ()))
        assert not [unit for unit in units if f"`{unit}`" not in row], name
        assert name in told
        assert not [unit for unit in units if unit not in told], name
