"""Simulated years go by their number; recorded ones keep theirs; the file behind both is told."""

from __future__ import annotations

import json
import re
from dataclasses import replace

import numpy as np
import pytest

import drysward
from drysward.faults import FaultyInput
from drysward.results.export import ledger_rows
from drysward.results.text import (
    case_text,
    driest_years,
    year_mark,
    year_text,
    years_text,
    years_used,
)
from drysward.scenario.model import WeatherSource
from drysward.site.stretches import spans
from drysward.site.weather_years import weather_series
from drysward.weather.record import FileFacts
from drysward.weather.simulated.resampling import drawn_years, resample

MADE = {"simulated_years": 200, "years": "1-200", "driest_years": "42, 18"}
DRAWN = {**MADE, "simulated_years": 3, "drawn_years": json.dumps(["2013", "1998", "2013"])}
RECORD = {"years": "2011-2018", "driest_years": "2012, 2016"}
FACTS = FileFacts("station", "ab" * 32, "1997-01-01", "1999-12-31", 3, {}, (), {})


def test_the_words_of_a_year():
    assert year_text(MADE, 42.0) == "simulated year 42 of 200"
    assert year_text(DRAWN, 2) == "simulated year 2 of 3 (1998 again)"
    assert year_text(RECORD, 2012.0) == "2012"
    assert (year_mark(MADE, 42.0), year_mark(RECORD, 2012.0)) == ("year 42", "2012")
    assert case_text(MADE, "dry", 42) == "dry year, simulated year 42 of 200"
    assert case_text(RECORD, "dry", 2012) == "dry year 2012"
    assert years_text(DRAWN, [3, 1]) == "simulated years 3 (2013 again), 1 (2013 again) of 3"
    by = ": most reference ET less rain in the season"
    assert driest_years(MADE) == f"simulated years 42, 18 of 200{by}"
    assert driest_years(RECORD) == f"2012, 2016{by}"
    assert years_used(MADE, 200) == "simulated years 1-200 (200)"
    assert years_used(RECORD, 8) == "2011-2018 (8)"


@pytest.fixture
def resampled(scenes):
    """A scenario that draws seven years again from a record, and the record."""

    def of(latitude=39.0, draw="years"):
        scenario = scenes.scenario([scenes.field()], latitude=latitude, fewest_days=360)
        source = WeatherSource(None, source="resample", years=7, seed=4, draw=draw)
        return replace(scenario, weather=source), scenes.weather(3, start="1997-01-01")

    return of


def test_years_drawn_again_say_which_they_are(resampled):
    scenario, record = resampled()
    series = weather_series(scenario, record)
    whole = series.between(series.first, series.stop)
    assert len(series.drawn) == series.n_simulated == 7
    for number, drawn in enumerate(series.drawn, start=1):
        days = whole.between(2000 + number, 2000 + number)
        again = record.between(int(drawn), int(drawn))
        assert days.tmax_c[:59] == pytest.approx(again.tmax_c[:59])


def test_years_drawn_by_seasons_name_each_part(resampled):
    scenario, record = resampled(draw="blocks")
    series = weather_series(scenario, record)
    made = resample(record, 7, 4, "blocks")
    for drawn, places in zip(series.drawn, drawn_years(record, 7, 4, "blocks"), strict=True):
        assert drawn == "/".join(map(str, places))
    summer = np.datetime64("2003-07-01")
    recorded = int(series.drawn[2].split("/")[2])
    of_that_summer = record.tmax_c[record.dates == np.datetime64(f"{recorded}-07-01")]
    assert made.tmax_c[made.dates == summer] == pytest.approx(of_that_summer)


def test_southern_years_name_both_halves(resampled):
    scenario, record = resampled(latitude=-38.0)
    series = weather_series(scenario, record)
    whole = drawn_years(record, 7, 4)
    assert series.drawn[0] == f"{whole[0][0]}, then {whole[1][0]}"
    assert spans(scenario, series).years == (1, 2, 3, 4, 5, 6)


def test_simulated_years_are_selected_by_number_alone(resampled):
    scenario, record = resampled()
    series = weather_series(scenario, record)
    assert spans(scenario, series, (2, 4)).years == (2, 3, 4)
    refusals = {
        9: 'years: 9 is no simulated year; 1 to 7 (for more, raise "years" under [weather])',
        0: "years: 0 is no simulated year; 1 to 7",
        1998: "years: 1998 is no simulated year; 1 to 7 (for the record's 1998, "
        'source = "record")',
    }
    series = replace(series, file=FACTS)
    for year, text in refusals.items():
        with pytest.raises(FaultyInput, match=f"^{re.escape(text)}$"):
            spans(scenario, series, (min(year, 2), year))
    with pytest.raises(FaultyInput, match=r"^year: 1998 is no simulated year; 1 to 7"):
        drysward.ledger(scenario, scenario.fields[0].key, "none", 1998, record)
    assert spans(replace(scenario, weather=WeatherSource(None)), drawn_from(record)).years == (
        1997, 1998, 1999,
    )  # fmt: skip


def drawn_from(record):
    from drysward.weather.series import recorded

    return recorded(record)


@pytest.mark.slow
def test_results_and_ledgers_go_by_number(resampled):
    scenario, record = resampled()
    record = replace(record, name="station", digest="ab" * 32, filled={"rain: zero": 3})
    result = drysward.run(scenario, record=record, daily=True)
    assert result["year"].values.tolist() == [1, 2, 3, 4, 5, 6, 7]
    assert set(result["chosen_year"].values.tolist()) <= set(range(1, 8))
    attrs = result.attrs
    assert (attrs["years"], attrs["simulated_years"]) == ("1-7", 7)
    assert set(json.loads(attrs["et_procedures"])) == {str(year) for year in range(1, 8)}
    assert attrs["weather_file"] == "station"
    assert attrs["weather_digest"] == "ab" * 32
    assert attrs["weather_file_days"] == "1997-01-01 to 1999-12-31"
    assert attrs["weather_file_complete_years"] == 3
    assert attrs["filled"] == "rain: zero: 3 days"
    account = drysward.ledger(scenario, scenario.fields[0].key, "none", 3, record)
    again = json.loads(attrs["drawn_years"])[2]
    assert float(account["precipitation"].sum()) == pytest.approx(
        float(result["precipitation"].sel(year=3).squeeze())
    )
    header, first, *_ = ledger_rows(account, "metric")
    assert header[:2] == ["year", "date (MM-DD)"]
    assert first[:2] == [f"simulated year 3 of 7 ({again} again)", "01-01"]
