"""What a fit reads: weather, irrigation log and readings, of one turf year or several."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from drysward.faults import Fault, FaultyInput, listed
from drysward.scenario.model import RECORD, Scenario
from drysward.site.stretches import turf_new_year, turf_year_of
from drysward.site.weather_years import read_record
from drysward.studies.fitting.readings import Readings, read_readings
from drysward.studies.season.logs import Log, read_log
from drysward.weather.record import DailyRecord

_ALWAYS = np.datetime64("0001-01-01")


@dataclass(frozen=True, eq=False)
class SeasonInputs:
    """Readings and log of the same turf years, and the weather that both lie in."""

    readings: Readings
    log: Log
    record: DailyRecord


def read_inputs(scenario: Scenario, readings: Path, log: Path) -> SeasonInputs:
    """The files of a fit: readings of every turf year that weather is known of.

    Where the log has rows, readings of earlier years of which it has none do not count: what was
    put on then is not known. A log without any row says that nothing was watered.

    FaultyInput with every fault of a file, and where the scenario has no record of weather.
    """
    if scenario.fitted is not None:
        what = "the scenario names fitted numbers, and the same readings must not count twice"
        raise FaultyInput(Fault("fitted", what, "take the line out, and fit all readings at once"))
    if scenario.weather.file is None or scenario.weather.source != RECORD:
        what = "readings are of real days, and the scenario's weather is not a record"
        raise FaultyInput(Fault("weather", what, "--weather FILE, daily weather of this season"))
    record = read_record(scenario)
    stop = record.dates[-1] + 1
    every = read_readings(readings, scenario, _ALWAYS, np.datetime64("9999-12-31"))
    known = [one.date for one in every.each if record.dates[0] <= one.date < stop]
    if not known:
        what = f"no reading lies in the weather of {record.dates[0]} to {record.dates[-1]}"
        raise FaultyInput(Fault(every.path, what, "weather of the days of the readings"))
    southern = scenario.site.latitude_deg < 0.0

    def year_of(dates: Iterable[np.datetime64]) -> list[int]:
        return [int(y) for y in turf_year_of(np.array([*dates], "datetime64[D]"), southern)]

    counted = read_readings(readings, scenario, record.dates[0], stop)
    begins = max(turf_new_year(min(year_of(known)), southern), record.dates[0])
    applied = read_log(log, scenario, begins, max(known) + 1)
    rows = (applied.depths_mm, applied.minutes)
    logged = {*year_of(date for of in rows for days in of.values() for date in days)}
    if not logged:
        return SeasonInputs(counted, applied, record)
    logged |= {*year_of([max(known)])}
    years = year_of(one.date for one in counted.each)
    here = np.array([i for i, year in enumerate(years) if year in logged], int)
    notes = counted.notes
    if unlogged := sorted({*years} - logged):
        n = len(counted) - here.size
        of = listed([str(year) for year in unlogged])
        notes += (
            f"{applied.path} has no row of {of}, so {n} of {len(counted)} readings do not count; "
            "a row with depth 0 says that nothing was put on",
        )
    return SeasonInputs(replace(counted.some(here), notes=notes), applied, record)
