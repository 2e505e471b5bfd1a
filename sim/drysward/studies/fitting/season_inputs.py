"""What a fit reads: weather, irrigation log and readings, all of one turf year."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from drysward.faults import Fault, FaultyInput
from drysward.scenario.model import RECORD, Scenario
from drysward.site.stretches import turf_new_year, turf_year_of
from drysward.site.weather_years import read_record
from drysward.studies.fitting.readings import Readings, read_readings
from drysward.studies.season.logs import Log, read_log
from drysward.weather.record import DailyRecord

_ALWAYS = np.datetime64("0001-01-01")


@dataclass(frozen=True, eq=False)
class SeasonInputs:
    """Readings and log of one turf year, and the weather that both lie in."""

    readings: Readings
    log: Log
    record: DailyRecord


def read_inputs(scenario: Scenario, readings: Path, log: Path) -> SeasonInputs:
    """The files of a fit; the turf year is that of the last reading that weather is known of.

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
    first = max(
        turf_new_year(int(turf_year_of(np.array([max(known)]), southern)[0]), southern),
        record.dates[0],
    )
    of_season = read_readings(readings, scenario, first, stop)
    return SeasonInputs(of_season, read_log(log, scenario, first, max(known) + 1), record)
