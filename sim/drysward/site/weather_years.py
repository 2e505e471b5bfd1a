"""The weather of a scenario: its record, or years simulated from it or from normals."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from functools import lru_cache, partial
from hashlib import sha256
from importlib.resources import files
from pathlib import Path
from threading import Lock
from typing import Any, TypeVar

import numpy as np

from drysward.catalog import Catalog
from drysward.faults import Fault, FaultyInput, listed
from drysward.files import user_cache, write_whole
from drysward.scenario.invented import INVENTED, still_invented
from drysward.scenario.model import GENERATOR, RECORD, RESAMPLE, Scenario, Site
from drysward.weather.checking.plausibility import Finding, findings, month_findings
from drysward.weather.checking.spread import LEAST_SHARE_OF_YEARS, SpreadComparison, compare_spread
from drysward.weather.checking.trend import LEAST_YEARS, drift_note, record_trends
from drysward.weather.file.columns import ColumnSpec
from drysward.weather.file.fill import FillRule
from drysward.weather.file.marks import file_without_marks
from drysward.weather.file.read import WeatherFile, mildest_rule, read_table, to_record
from drysward.weather.record import DailyRecord
from drysward.weather.reference_et import reference_et
from drysward.weather.series import Series, recorded, simulated
from drysward.weather.simulated import climate as curves
from drysward.weather.simulated.climate import (
    DAYS_IN_MONTH,
    MONTH_OF_DAY,
    WET_MM,
    ClimateModel,
    calendar_day,
)
from drysward.weather.simulated.climate_fit import fit
from drysward.weather.simulated.generator import generate
from drysward.weather.simulated.normals import from_monthly_table, means_of_normals
from drysward.weather.simulated.refits import (
    FittedClimates,
    climate_years,
    fit_with_refits,
    normals_with_refits,
)
from drysward.weather.simulated.resampling import ChangeFactors, change, drawn_years, resample

Climate = TypeVar("Climate", ClimateModel, DailyRecord)
FromClimate = TypeVar("FromClimate")

# Faults of single lines that are listed after faults of the file as a whole.
LINES_BESIDE = 3


def read_record(scenario: Scenario) -> DailyRecord:
    """The daily record of the scenario, checked against the location of its site.

    FaultyInput with every fault of the file, and for a file that is clearly wrong as a whole in a
    column that the scenario does not trust.
    """
    source, site = scenario.weather, scenario.site
    file = _file_of(scenario)
    if file.table is None or file.header_faults:
        return to_record(file, source.fill or FillRule())
    file = file_without_marks(file, source.missing)
    assert file.table is not None
    found = findings(file.table, site.latitude_deg, site.elevation_m, file.wind_height_m)
    refused = [f for f in found if f.beyond_doubt and not set(f.quantities) <= set(source.trust)]
    try:
        record = to_record(file, source.fill or FillRule())
    except FaultyInput as refusal:
        raise FaultyInput(_refusals(file, refused, refusal.faults)) from None
    if refused:
        raise FaultyInput(_refusals(file, refused))
    sentences = tuple(
        f.what + (" (trusted by the scenario)" if f.beyond_doubt else "") for f in found
    )
    return replace(record, findings=sentences)


def _file_of(scenario: Scenario) -> WeatherFile:
    """The scenario's weather file as its rows say."""
    source = scenario.weather
    assert source.file is not None
    try:
        stat = source.file.stat()
        written = (stat.st_mtime_ns, stat.st_size)
    except (OSError, ValueError):  # the reader reports it
        written = (0, 0)
    return _read(
        source.file,
        written,
        tuple(source.columns.items()),
        source.wind_height_m,
        source.ignore,
        source.record_years,
        source.hours_from_utc,
        tuple((source.monthly_temperature or {}).items()),
    )


def filling_rule(scenario: Scenario) -> FillRule | None:
    """The mildest rule that fills every blank of the scenario's weather file; None if none does."""
    file = _file_of(scenario)
    if file.table is None or file.header_faults:
        return None
    _, rule, left = mildest_rule(file_without_marks(file, scenario.weather.missing))
    return None if left else rule


def _refusals(
    file: WeatherFile, refused: Sequence[Finding], single: Sequence[Fault] = ()
) -> list[Fault]:
    """Faults of the file as a whole, then of single values, which may have the same cause."""
    faults = [
        Fault(
            f"{file.path}, {columns_text(file, finding)}",
            finding.what,
            f"{finding.remedy}; or, if the file is right, {finding.trust_line}",
        )
        for finding in refused
    ]
    if faults and len(single) > LINES_BESIDE:
        more = "and more faults of single values, which may have the same cause"
        left = Fault(str(file.path), more)
        return [*faults, *single[:LINES_BESIDE], left]
    return [*faults, *single]


def columns_text(file: WeatherFile, finding: Finding) -> str:
    """``columns 'tmax_f' and 'tmin_f'``."""
    assert file.table is not None
    names = [f"'{file.table.columns[quantity].name}'" for quantity in finding.quantities]
    return f"column{'s' if len(names) > 1 else ''} {' and '.join(names)}"


# A command reads the file once to check it, and again for the run.
@lru_cache(maxsize=1)
def _read(
    file: Path,
    written: tuple[int, int],
    columns: tuple[tuple[str, ColumnSpec], ...],
    wind_height_m: float | None,
    ignore: tuple[str, ...],
    years: tuple[int, int] | None,
    hours_from_utc: float | None,
    monthly_temperature: tuple[tuple[str, tuple[float, ...]], ...],
) -> WeatherFile:
    """The rows of a file; with its time and size ``written``, a changed file is read again."""
    return read_table(
        file, dict(columns), wind_height_m, ignore, years, hours_from_utc,
        dict(monthly_temperature) or None,
    )  # fmt: skip


def weather_series(
    scenario: Scenario, record: DailyRecord | str | Path | None = None
) -> Series:
    """The days that the scenario runs on, under its future.

    ``record`` replaces the scenario's file; that of a path is read as the scenario reads its own.
    FaultyInput for a faulty file, a record that is too short, or an impossible climate table.
    """
    source = scenario.weather
    if isinstance(record, str | Path):
        record = read_record(replace(scenario, weather=replace(source, file=Path(record))))
    elif record is None and source.climate is None:
        record = read_record(scenario)
    notes = () if record is None else record_notes(record, scenario.site)
    file = None if record is None else record.facts
    future = ""
    if source.future:
        future = f"; future '{source.future}': {change_text(source.futures[source.future])}"
    if record is not None and source.source != GENERATOR:
        name, span = record.name, f"{record.dates[0]} to {record.dates[-1]}"
        record = _under_future(record, scenario)
        if source.source == RECORD:
            return replace(recorded(record, f"{name}, {span}{future}", notes), file=file)
        whole = len(record.complete_years())
        drawn = "each year whole" if source.draw == "years" else "season by season"
        return simulated(
            source.source,
            partial(_resampled, record, scenario),
            source.years,
            source.first_year,
            f"{source.years} simulated years, drawn {drawn} from the {whole} complete years of "
            f"{name}, {span}; seed {source.seed}{future}",
            notes=notes,
            known_years=lambda: min(whole, source.years),
            file=file,
            drawn=_drawn(record, scenario),
        )
    model = climate_model(scenario, record)
    series = simulated(
        GENERATOR,
        partial(_generated, model, scenario),
        source.years,
        source.first_year,
        f"{source.years} simulated years; daily weather generator, seed {source.seed}, "
        f"{model.origin}{future}",
        notes=(*notes, *model.notes),
        file=file,
        known_years=partial(_years_of_climate, scenario, record),
    )
    if record is not None or source.climate is None:
        return series
    return replace(
        series,
        findings_of_normals=tuple(_findings_of_normals(source.climate, scenario.site)),
        means_of_normals=means_of_normals(source.climate),
    )


def _findings_of_normals(climate: Mapping[str, Any], site: Site) -> Iterator[str]:
    """What is odd about monthly normals, sentences without a full stop."""
    if names := still_invented(climate):
        what = "the weather is that"
        if len(names) < len(INVENTED):
            what = f"under [weather.climate] {listed(names)} are still those"
        yield f"{what} of an invented town; give your own under [weather]"
    months = np.asarray(climate["tmax_c"]), np.asarray(climate["tmin_c"])
    for sentence in month_findings(*months, site.latitude_deg, site.elevation_m):
        yield f"{sentence}; check latitude and elevation under [site], and units of the normals"


# Independent years of climates by digest: points of a sweep share a climate, and it takes seconds.
_known_years: dict[str, int] = {}
_KNOWN_YEARS_LOCK = Lock()


def _years_of_climate(scenario: Scenario, record: DailyRecord | None) -> int:
    """Number of independent years of the scenario's simulated years.

    The errors of the climate and of sampling add up: 1/n = 1/simulated + 1/climate. A future
    changes the climate, but not how well it is known.
    """
    scenario = replace(scenario, weather=replace(scenario.weather, future=""))
    if record is None and scenario.weather.climate is None:
        record = read_record(scenario)
    key = _digest_of_climate(scenario, record)
    with _KNOWN_YEARS_LOCK:
        if key not in _known_years:
            _known_years[key] = _kept(key, lambda: climate_years(climates(scenario, record)))
    return max(round(1.0 / (1.0 / scenario.weather.years + 1.0 / _known_years[key])), 1)


def _kept(key: str, work_out: Callable[[], int]) -> int:
    """The result of ``work_out``, from the user's cache folder if it is there: it is the same in
    every run of these sources.
    """
    folder = user_cache() / "climates"
    path = folder / f"{key}.txt"
    with suppress(OSError, ValueError):
        return int(path.read_text(encoding="ascii"))
    found = work_out()

    def write(part: Path) -> None:
        part.write_text(f"{found}\n", encoding="ascii")

    with suppress(OSError, FaultyInput):  # not cached: the next run computes it
        folder.mkdir(parents=True, exist_ok=True)
        write_whole({path: write})
    return found


def _digest_of_climate(scenario: Scenario, record: DailyRecord | None) -> str:
    """SHA-256 over everything that the scenario's climate depends on, as hexadecimal."""
    place = scenario.site.latitude_deg, scenario.site.elevation_m
    digest = sha256(repr(place).encode())
    for source in sorted(files("drysward.weather.simulated").iterdir(), key=lambda f: f.name):
        if source.name.endswith(".py"):
            digest.update(source.read_bytes())
    if record is None:
        entry = scenario.catalog.get("generated_weather", "all")
        assumed = [(name, number.value, number.grade) for name, number in entry.numbers.items()]
        digest.update(repr((scenario.weather.climate, assumed)).encode())
    else:
        for name, values in {"date": record.dates, **record.columns()}.items():
            digest.update(name.encode() + values.tobytes())
    return digest.hexdigest()


def climates(scenario: Scenario, record: DailyRecord | None = None) -> FittedClimates:
    """The scenario's climate and its refits, all under its future.

    Refits of a record are fits to its resampled years; refits of normals are equally plausible
    climates. FaultyInput as ``weather_series``.
    """
    found: FittedClimates = _of_climate(scenario, record, normals_with_refits, fit_with_refits)
    return FittedClimates(
        _under_future(found.model, scenario),
        tuple(_under_future(model, scenario) for model in found.refits),
    )


def _of_climate(
    scenario: Scenario,
    record: DailyRecord | None,
    of_normals: Callable[[Mapping[str, Any], str, Catalog], FromClimate],
    of_record: Callable[[DailyRecord, float, float], FromClimate],
) -> FromClimate:
    """A climate from the scenario's table of normals, or from its record."""
    source, site = scenario.weather, scenario.site
    if record is None and source.climate is not None:
        place = {"latitude_deg": site.latitude_deg, "elevation_m": site.elevation_m}
        return of_normals({**place, **source.climate}, "weather.climate", scenario.catalog)
    record = read_record(scenario) if record is None else record
    return of_record(record, site.latitude_deg, site.elevation_m)


# Distance of a file's location from the site that is reported; estimates.
APART_DEG = 1.0
APART_M = 200.0


def record_notes(record: DailyRecord, site: Site) -> tuple[str, ...]:
    """Notes on a record: assumptions of the reader, distance from the site, drift."""
    notes = list(record.notes)
    there, height = record.latitude_deg, record.elevation_m
    if there is not None and abs(there - site.latitude_deg) > APART_DEG:
        notes.append(f"the file is from latitude {there:.1f}, the site at {site.latitude_deg:.1f}")
    if height is not None and abs(height - site.elevation_m) > APART_M:
        notes.append(f"the file is from {height:.0f} m, the site at {site.elevation_m:.0f} m")
    if len(record.complete_years()) >= LEAST_YEARS:
        et = reference_et(record, site.latitude_deg, site.elevation_m, site.coastal, site.arid)
        if note := drift_note(record_trends(record, et.eto_mm)):
            notes.append(note)
    return tuple(notes)


def change_text(factors: ChangeFactors) -> str:
    """``temperature +2 C, wet days x 0.85 to 1``: changes of a future over the months."""
    parts = []
    for name, values, sign, unit, neutral in (
        ("temperature", factors.temperature_add_c, "+", " C", 0.0),
        ("rain of a wet day", factors.rain_amount_x, "", "", 1.0),
        ("wet days", factors.wet_days_x, "", "", 1.0),
        ("radiation", factors.radiation_x, "", "", 1.0),
    ):
        low, high = float(values.min()), float(values.max())
        if low == high == neutral:
            continue
        span = f"{low:{sign}.3g}" + (f" to {high:{sign}.3g}" if low != high else "")
        parts.append(f"{name} {'' if sign else 'x '}{span}{unit}")
    return ", ".join(parts) or "no change"


def climate_model(scenario: Scenario, record: DailyRecord | None = None) -> ClimateModel:
    """The scenario's climate, from its table of normals or fitted to its record.

    FaultyInput as ``weather_series``.
    """
    model = _of_climate(scenario, record, from_monthly_table, _fitted)
    return _under_future(model, scenario)


def _fitted(record: DailyRecord, latitude_deg: float, elevation_m: float) -> ClimateModel:
    model = fit(record, latitude_deg, elevation_m)
    return replace(model, origin=f"{model.origin} of {record.name}") if record.name else model


@dataclass(frozen=True)
class Origin:
    """Monthly means of simulated weather and of its origin; arrays (12,).

    ``expected`` and ``simulated`` are by quantity: rain (mm a month), wet days (a month), Tmax and
    Tmin (deg C). ``spread`` compares dry and wet years; None without a record of three.
    """

    expected: dict[str, np.ndarray]
    simulated: dict[str, np.ndarray]
    spread: SpreadComparison | None


def compare_with_origin(scenario: Scenario, series: Series) -> Origin:
    """Simulated weather compared with its record or normals, under the same future.

    FaultyInput as ``weather_series``.
    """
    simulated_days = series.between(series.first, series.stop)
    months = month_means(simulated_days)
    if scenario.weather.climate is not None:
        model = climate_model(scenario)
        rain = model.wet_fraction * model.rain_per_wet_day_mm * DAYS_IN_MONTH
        wet = model.wet_fraction[MONTH_OF_DAY]
        expected = {"rain": rain, "wet days": model.wet_fraction * DAYS_IN_MONTH}
        for i, name in enumerate(("Tmax", "Tmin")):
            mean = (1.0 - wet) * model.mean_dry[i] + wet * model.mean_wet[i]
            expected[name] = curves.month_means(mean)
        return Origin(expected, months, None)
    record = _under_future(read_record(scenario), scenario)
    complete = record.complete_years()
    if scenario.weather.source == RESAMPLE and complete:
        record = record.between(complete[0], complete[-1])  # all days come from the record
    spread = None
    enough = len(complete) * LEAST_SHARE_OF_YEARS
    if 3 * LEAST_SHARE_OF_YEARS <= enough <= scenario.weather.years:
        southern = scenario.site.latitude_deg < 0.0
        spread = compare_spread(record, simulated_days, "south" if southern else "north")
    return Origin(month_means(record), months, spread)


def month_means(record: DailyRecord) -> dict[str, np.ndarray]:
    """Mean rain (mm) and wet days of a month, mean Tmax and Tmin (deg C), each (12,)."""
    month = MONTH_OF_DAY[calendar_day(record.dates)]
    days = np.maximum(np.bincount(month, minlength=12), 1)

    def mean(values: np.ndarray) -> np.ndarray:
        return np.bincount(month, values, minlength=12) / days

    return {
        "rain": mean(record.rain_mm) * DAYS_IN_MONTH,
        "wet days": mean(record.rain_mm >= WET_MM) * DAYS_IN_MONTH,
        "Tmax": mean(record.tmax_c),
        "Tmin": mean(record.tmin_c),
    }


def _under_future(climate: Climate, scenario: Scenario) -> Climate:
    """The climate changed by the factors of the scenario's future."""
    source = scenario.weather
    if not source.future:
        return climate
    factors = source.futures[source.future]
    try:
        return change(climate, factors, source.seed, scenario.site.latitude_deg)
    except FaultyInput as refusal:
        # The scenario's key of change.radiation_x is radiation.
        where = f"weather.futures.{source.future}"
        raise FaultyInput(
            Fault(
                where + fault.where.removeprefix("change").removesuffix("_x"),
                fault.what,
                fault.allowed,
            )
            for fault in refusal.faults
        ) from None


def _drawn(record: DailyRecord, scenario: Scenario) -> tuple[str, ...]:
    """The recorded year behind each resampled year; by seasons ``1998/2004/2004/2011/1999``.

    A turf year of the south begins in the middle of one and ends in the middle of the next.
    """
    source = scenario.weather
    drawn = drawn_years(record, source.years, source.seed, source.draw)
    numbers = ["/".join(map(str, years)) for years in drawn]
    if scenario.site.latitude_deg >= 0.0:
        return tuple(numbers)
    following = [*numbers[1:], ""]
    return tuple(
        f"{one}, then {after}" if after else one
        for one, after in zip(numbers, following, strict=True)
    )


def _generated(model: ClimateModel, scenario: Scenario, skip: int, n_years: int) -> DailyRecord:
    source = scenario.weather
    return generate(model, n_years, source.seed, source.first_year, skip)


def _resampled(record: DailyRecord, scenario: Scenario, skip: int, n_years: int) -> DailyRecord:
    source = scenario.weather
    return resample(record, n_years, source.seed, source.draw, source.first_year, skip)
