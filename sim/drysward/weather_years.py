"""The weather that a scenario asks for: its record, or years made from it or from normals."""

from __future__ import annotations

from dataclasses import replace
from functools import partial
from typing import TypeVar

from drysward.scenario.model import GENERATOR, RECORD, Scenario
from drysward.weather.climate import ClimateModel
from drysward.weather.climate_fit import fit
from drysward.weather.generator import generate
from drysward.weather.normals import from_monthly_table
from drysward.weather.read import read_weather
from drysward.weather.record import DailyRecord
from drysward.weather.resampling import change, resample
from drysward.weather.series import Series, made, recorded

Climate = TypeVar("Climate", ClimateModel, DailyRecord)


def read_record(scenario: Scenario) -> DailyRecord:
    """The daily record that the scenario names. FaultyInput with every fault of the file."""
    source = scenario.weather
    assert source.file is not None
    return read_weather(
        source.file,
        columns=source.columns or None,
        fill=source.fill,
        wind_height_m=source.wind_height_m,
        ignore=source.ignore,
    )


def weather_series(scenario: Scenario, record: DailyRecord | None = None) -> Series:
    """The days that the scenario runs on, under the future that it has chosen.

    ``record`` stands in for the scenario's file. FaultyInput for a faulty file, a record too
    short for what is asked, or a climate table that cannot be.
    """
    source = scenario.weather
    if source.climate is None and record is None:
        record = read_record(scenario)
    future = f"; future '{source.future}'" if source.future else ""
    if record is not None and source.source != GENERATOR:
        name, span = record.name, f"{record.dates[0]} to {record.dates[-1]}"
        record = _under_future(record, scenario)
        if source.source == RECORD:
            return recorded(record, f"{name}, {span}{future}")
        whole = len(record.complete_years())
        drawn = "each year whole" if source.draw == "years" else "season by season"
        return made(
            source.source,
            partial(_resampled, record, scenario),
            source.years,
            source.first_year,
            f"{source.years} made years, drawn {drawn} from the {whole} complete years of {name}, "
            f"{span}; seed {source.seed}{future}",
            independent_years=min(whole, source.years),
        )
    model = climate_model(scenario, record)
    return made(
        GENERATOR,
        partial(_generated, model, scenario),
        source.years,
        source.first_year,
        f"{source.years} made years; daily weather generator, seed {source.seed}, "
        f"{model.origin}{future}",
        notes=model.notes,
    )


def climate_model(scenario: Scenario, record: DailyRecord | None = None) -> ClimateModel:
    """The scenario's climate, from its table of normals or fitted to its record.

    FaultyInput as ``weather_series``.
    """
    source, site = scenario.weather, scenario.site
    if record is None and source.climate is not None:
        place = {"latitude_deg": site.latitude_deg, "elevation_m": site.elevation_m}
        table = {**place, **source.climate}
        model = from_monthly_table(table, "weather.climate", scenario.catalog)
    else:
        record = read_record(scenario) if record is None else record
        model = fit(record, site.latitude_deg, site.elevation_m)
        if record.name:
            model = replace(model, origin=f"{model.origin} of {record.name}")
    return _under_future(model, scenario)


def _under_future(climate: Climate, scenario: Scenario) -> Climate:
    """The climate moved by the factors of the chosen future."""
    source = scenario.weather
    if not source.future:
        return climate
    return change(climate, source.futures[source.future], source.seed)


def _generated(model: ClimateModel, scenario: Scenario, skip: int, n_years: int) -> DailyRecord:
    source = scenario.weather
    return generate(model, n_years, source.seed, source.first_year, skip)


def _resampled(record: DailyRecord, scenario: Scenario, skip: int, n_years: int) -> DailyRecord:
    source = scenario.weather
    return resample(record, n_years, source.seed, source.draw, source.first_year, skip)
