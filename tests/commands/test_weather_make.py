"""``drysward weather make`` and simulated years in ``compare``, as a person sees them."""

from __future__ import annotations

import shutil
from importlib.resources import files
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner, Result

from drysward import load
from drysward.cli import main
from drysward.site.weather_years import compare_with_origin, month_means, weather_series
from drysward.weather.file.read import read_weather

DATA = Path(__file__).parents[1] / "data"


def ask(*words: str) -> Result:
    return CliRunner().invoke(main, list(words))


def scenario_with(tmp_path: Path, weather: str) -> str:
    """The shipped scenario under another [weather]."""
    text = (files("drysward.scenarios") / "demo.toml").read_text(encoding="utf-8")
    head, _, rest = text.partition("[weather]")
    _, _, fields = rest.partition("[fields.stadium]")
    path = tmp_path / "mine.toml"
    path.write_text(f"{head}[weather]\n{weather}\n[fields.stadium]{fields}", encoding="utf-8")
    return str(path)


def with_baltimore(tmp_path: Path, more: str = "") -> str:
    shutil.copy(DATA / "baltimore-washington-2010-2019.csv", tmp_path / "ours.csv")
    return scenario_with(tmp_path, f'file = "ours.csv"\n{more}')


@pytest.mark.parametrize("name", ["made.csv", "made.nc"])
@pytest.mark.parametrize("units", ["us", "metric"])
def test_what_is_made_can_be_read_again(tmp_path: Path, name: str, units: str) -> None:
    path = tmp_path / name
    told = ask(
        "weather", "make", "demo", "--years", "4", "--seed", "9", "--out", str(path),
        "--units", units,
    )  # fmt: skip
    assert told.exit_code == 0, told.stderr
    assert max(map(len, told.stdout.splitlines())) <= 100
    assert "4 simulated years" in told.stdout
    assert "seed 9" in told.stdout
    record = read_weather(path)
    assert (str(record.dates[0]), str(record.dates[-1])) == ("2001-01-01", "2004-12-31")
    assert record.wind_height_m == 2.0
    assert 700 < record.rain_mm.sum() / 4 < 1400
    other = read_weather(_made(tmp_path / f"again-{name}", "metric"))
    np.testing.assert_allclose(record.rain_mm, other.rain_mm, atol=0.02)
    np.testing.assert_allclose(record.tmax_c, other.tmax_c, atol=0.08)


def _made(path: Path, units: str) -> Path:
    words = ("--years", "4", "--seed", "9", "--out", str(path), "--units", units)
    assert ask("weather", "make", "demo", *words).exit_code == 0
    return path


def test_same_seed_same_bytes(tmp_path: Path) -> None:
    one, two = (_made(tmp_path / name, "us").read_bytes() for name in ("a.csv", "b.csv"))
    assert one == two


def test_a_record_is_set_beside_what_is_made_of_it(tmp_path: Path) -> None:
    told = ask("weather", "make", with_baltimore(tmp_path), "--years", "60", "--units", "metric")
    assert told.exit_code == 0, told.stderr
    assert "fitted to 2010-09-20 to 2019-09-01" in told.stdout
    assert "rain of the three summer months" in told.stdout
    assert "observed" in told.stdout
    assert max(map(len, told.stdout.splitlines())) <= 100


@pytest.mark.slow
def test_compare_tells_what_was_made(tmp_path: Path) -> None:
    mine = with_baltimore(tmp_path)
    for source, years, said in (
        ("generator", "12-14", "daily weather generator, seed 3"),
        ("resample", "12-14", "drawn each year whole from the 8 complete years of ours"),
        ("record", "2012-2014", "ours.csv, 2010-09-20 to 2019-09-01"),
    ):
        words = ("--source", source, "--seed", "3", "--years", years, "--draws", "0")
        told = ask("compare", mine, *words)
        assert told.exit_code == 0, told.stderr
        assert said in " ".join(told.stdout.split())
        assert ("Trust" in told.stdout) == (source != "record")


def test_a_future_is_told_and_dries(tmp_path: Path) -> None:
    now = ask("compare", "demo", "--draws", "0", "--years", "1-10")
    later = ask("compare", "demo", "--draws", "0", "--years", "1-10", "--future", "warm_dry")
    assert later.exit_code == 0, later.stderr
    assert "temperature +2 C, rain of a wet day x 1.05" in " ".join(later.stdout.split())
    assert now.stdout != later.stdout


@pytest.mark.parametrize(
    "weather, words, said",
    [
        ('source = "generator"', (), "has neither file nor climate"),
        ('file = "ours.csv"\nyears = 20', (), "years: is for simulated years"),
        ('file = "ours.csv"\ndraw = "years"\nsource = "generator"', (), "is for resampled years"),
        ('file = "ours.csv"\nfuture = "hot"', (), "'hot' is not one of the futures"),
        ('file = "ours.csv"', ("--future", "hot"), "the scenario has no 'hot'"),
        (
            'file = "ours.csv"\n[weather.futures.hot]\ntemperature = 2.0',
            (),
            "weather.futures.hot.temperature: 2.0 has no unit",
        ),
        (
            'file = "ours.csv"\n[weather.futures.hot]\nwet_days = { Juni = 0.9 }',
            (),
            "'Juni' is not known; did you mean 'Jun'?",
        ),
        ('file = "short.csv"', ("--source", "generator"), "5 years"),
    ],
)
def test_bad_input_is_told_by_key(
    tmp_path: Path, weather: str, words: tuple[str, ...], said: str
) -> None:
    text = (DATA / "baltimore-washington-2010-2019.csv").read_text(encoding="utf-8")
    (tmp_path / "ours.csv").write_text(text, encoding="utf-8")
    (tmp_path / "short.csv").write_text("\n".join(text.splitlines()[:1200]), encoding="utf-8")
    told = ask("compare", scenario_with(tmp_path, weather), *words)
    assert told.exit_code == 2, told.stdout
    assert said in told.stderr
    assert "Traceback" not in told.stderr


def test_a_climate_table_that_contradicts_itself_is_told_in_the_files_words(
    tmp_path: Path,
) -> None:
    text = (files("drysward.scenarios") / "demo.toml").read_text(encoding="utf-8")
    path = tmp_path / "mine.toml"
    path.write_text(text.replace("months = [3.1, 2.8,", "months = [0.0, 2.8,"), encoding="utf-8")
    told = ask("compare", str(path))
    assert told.exit_code == 2
    assert "weather.climate.rain, January" in told.stderr
    assert "rain_mm" not in told.stderr


def test_years_cannot_be_drawn_from_normals() -> None:
    told = ask("compare", "demo", "--source", "resample")
    assert told.exit_code == 2
    assert "needs a weather file" in told.stderr


def test_a_folder_that_cannot_be_written_is_a_fault(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("x")
    told = ask("weather", "make", "demo", "--years", "1", "--out", str(tmp_path / "file" / "a.csv"))
    assert told.exit_code == 2
    told = ask("weather", "make", "demo", "--years", "1", "--out", str(tmp_path / "a.txt"))
    assert told.exit_code == 2
    assert ".csv or .nc" in told.stderr


BRIGHT = "[weather.futures.bright]\nradiation = 1.2"


def test_a_brighter_future_of_a_record(tmp_path: Path) -> None:
    """Radiation of a record's future needs the site's latitude, and gets it."""
    ask("weather", "make", "demo", "--years", "6", "--out", str(tmp_path / "sunny.csv"))
    scenario = scenario_with(tmp_path, f'file = "sunny.csv"\n{BRIGHT}')
    solar = {}
    for future in ("none", "bright"):
        for source in ("resample", "generator"):
            path = tmp_path / f"{future}-{source}.csv"
            told = ask(
                "weather", "make", scenario, "--source", source, "--future", future,
                "--years", "3", "--out", str(path),
            )  # fmt: skip
            assert told.exit_code == 0, told.stderr
            solar[future, source] = read_weather(path).solar_mj_m2.mean()
    for source in ("resample", "generator"):
        assert 1.05 < solar["bright", source] / solar["none", source] < 1.2


def test_a_brighter_future_without_radiation_is_refused(tmp_path: Path) -> None:
    scenario = with_baltimore(tmp_path, BRIGHT)
    for source in ("resample", "generator"):
        told = ask("weather", "make", scenario, "--source", source, "--future", "bright")
        assert told.exit_code == 2
        assert told.stderr.strip() == (
            "weather.futures.bright.radiation: there is neither radiation nor sunshine to "
            "change; leave it out"
        )


def test_drawn_years_stand_beside_the_years_they_are_drawn_from(tmp_path: Path) -> None:
    """The record's odd days of 2010 hold a wet end of September that no resampled year has."""
    scenario = load(Path(with_baltimore(tmp_path, 'source = "resample"\nyears = 24')))
    found = compare_with_origin(scenario, weather_series(scenario))
    record = read_weather(tmp_path / "ours.csv")
    assert found.expected["rain"] == pytest.approx(month_means(record.between(2011, 2018))["rain"])
    assert month_means(record)["rain"][8] > 1.1 * found.expected["rain"][8]
