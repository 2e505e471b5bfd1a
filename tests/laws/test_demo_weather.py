"""The shipped weather of Tarrow Mills is what its maker makes, and a plausible place."""

from __future__ import annotations

import importlib.util
from importlib.resources import files
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest

from drysward.weather.procedures import reference_et
from drysward.weather.read import read_weather
from drysward.weather.record import DailyRecord

MAKER = Path(__file__).parents[1] / "data" / "make_demo_weather.py"
HEADER = "date,rain_mm,tmax_c,tmin_c,dewpoint_c,wind_2m_m_s,solar_mj_m2"


@pytest.fixture(scope="module")
def maker() -> ModuleType:
    spec = importlib.util.spec_from_file_location("make_demo_weather", MAKER)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="module")
def shipped() -> DailyRecord:
    return read_weather(Path(str(files("drysward.scenarios") / "tarrow-mills.csv")))


def test_header_and_period(shipped: DailyRecord) -> None:
    text = (files("drysward.scenarios") / "tarrow-mills.csv").read_text(encoding="utf-8")
    assert text.splitlines()[0] == HEADER
    assert str(shipped.dates[0]) == "1990-01-01"
    assert str(shipped.dates[-1]) == "2019-12-31"


def test_shipped_is_what_the_maker_makes(maker: ModuleType, shipped: DailyRecord) -> None:
    made = maker.make()
    np.testing.assert_array_equal(made.dates, shipped.dates)
    for name in maker.COLUMNS.values():
        # Half the last digit, and room for libraries that differ in the last bit.
        np.testing.assert_allclose(
            shipped.columns()[name], made.columns()[name], atol=0.0501, rtol=0, err_msg=name
        )


def test_written_text_is_the_shipped_text(
    maker: ModuleType, shipped: DailyRecord, tmp_path: Path
) -> None:
    # The shipped values written again are the shipped file: one decimal, no negative zero.
    maker.write(shipped, tmp_path / "again.csv")
    again = (tmp_path / "again.csv").read_text(encoding="utf-8")
    text = (files("drysward.scenarios") / "tarrow-mills.csv").read_text(encoding="utf-8")
    assert again == text
    assert ",-0.0" not in text


def test_the_climate_is_a_humid_temperate_one(maker: ModuleType, shipped: DailyRecord) -> None:
    et = reference_et(shipped, maker.LATITUDE_DEG, maker.ELEVATION_M)
    assert len(et.labels) == 1  # everything measured on every day
    month = shipped.dates.astype("datetime64[M]").astype(int) % 12 + 1
    summer = (month >= 6) & (month <= 8)
    assert 950 < et.eto_mm.sum() / 30 < 1100
    assert 4.0 < et.eto_mm[summer].mean() < 5.0
    assert 950 < shipped.rain_mm.sum() / 30 < 1080
    by_summer = shipped.rain_mm[summer].reshape(30, 92).sum(axis=1)
    assert by_summer.min() < 150 < np.median(by_summer)  # now and then a dry one
