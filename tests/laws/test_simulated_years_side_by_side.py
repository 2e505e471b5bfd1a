"""The same question asked of a record, of years made of it, and of its resampled years.

Observed weather: Baltimore/Washington airport, NOAA daily summaries (public domain), see
tests/data/README.md. The answers must agree within their 90% limits.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
import xarray as xr

import drysward
from drysward.scenario.load import with_weather

RECORD = Path(__file__).parents[1] / "data" / "baltimore-washington-2010-2019.csv"
SOURCES = ("record", "generator", "resample")


@pytest.fixture(scope="module")
def told() -> dict[str, xr.Dataset]:
    demo = drysward.shipped()
    site = replace(demo.site, latitude_deg=39.17, elevation_m=47.0)
    asked = {key: with_weather(replace(demo, site=site), RECORD, source=key) for key in SOURCES}
    plans = ["refill", "deficit"]
    return {key: drysward.answers(drysward.run(one, only=plans)) for key, one in asked.items()}


@pytest.mark.parametrize("field", ["stadium", "practice"])
@pytest.mark.parametrize("plan", ["refill", "deficit"])
@pytest.mark.parametrize("other", ["generator", "resample"])
@pytest.mark.slow
def test_odds_and_demand_agree_within_their_limits(told, field, plan, other):
    one, two = (told[key].sel(field=field, plan=plan) for key in ("record", other))
    for name, where in (
        ("probability", {"stage": "wilt"}),
        ("probability", {"stage": "dormant"}),
        ("demand", {"period": 10}),
    ):
        low, high = (
            [float(part[f"{name}_{end}"].sel(where)) for part in (one, two)]
            for end in ("low", "high")
        )
        assert max(low) <= min(high), (name, where, low, high)


def test_neither_simulated_nor_resampled_years_know_the_climate_better_than_the_record(told):
    """Simulated years narrow limits, but never to those of 200: the climate is of nine years."""

    def width(key: str) -> float:
        wilt = told[key].sel(field="practice", plan="refill", stage="wilt")
        return float(wilt.probability_high - wilt.probability_low)

    assert told["generator"].attrs["independent_years"] < 50
    assert 0.3 * width("record") < width("generator") < width("record")
    assert width("resample") == pytest.approx(width("record"), rel=0.3)
