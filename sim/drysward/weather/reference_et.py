"""Reference evapotranspiration of a record, each day by the best procedure for its data.

FAO-56 chapter 3 has substitutes for humidity, wind and radiation that were not measured; the result
names those used on each day.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from drysward.faults import Fault, FaultyInput
from drysward.physics import reference_et as fao
from drysward.weather.record import DailyRecord, FloatArray

USUAL_WIND_M_S = 2.0  # FAO-56 chapter 3, where wind is not known
LEAST_WIND_M_S = 0.5  # FAO-56 chapter 3: air over warm ground is never still
FROM_FILE = "Reference ET from the file"


@dataclass(frozen=True, eq=False)
class ReferenceEt:
    """Reference evapotranspiration of every day and its procedure; arrays (n,)."""

    dates: NDArray[np.datetime64]
    eto_mm: FloatArray
    procedure: NDArray[np.intp]  # index into labels
    labels: tuple[str, ...]
    solar_mj_m2: FloatArray
    u2_m_s: FloatArray
    rh_min_pct: FloatArray
    vapor_pressure_kpa: FloatArray

    def by_year(self, from_day: int = 0) -> list[tuple[int, dict[str, int]]]:
        """Days by procedure in each calendar year, the most used procedure first."""
        year = self.dates[from_day:].astype("datetime64[Y]").astype(int) + 1970
        procedure = self.procedure[from_day:]
        by_year = []
        for one in np.unique(year):
            days = np.bincount(procedure[year == one], minlength=len(self.labels))
            order = [i for i in np.argsort(-days, kind="stable") if days[i]]
            by_year.append((int(one), {self.labels[i]: int(days[i]) for i in order}))
        return by_year


def reference_et(
    record: DailyRecord,
    latitude_deg: float,
    elevation_m: float,
    coastal: bool = False,
    arid: bool = False,
) -> ReferenceEt:
    """Short-grass reference evapotranspiration of a record, never negative.

    Reference ET in the file is used as it is. Otherwise Penman-Monteith (FAO-56 Eq 6) with the
    day's best humidity (vapor pressure; dew point; largest and least, largest, mean relative
    humidity; Tmin for the dew point), wind (measured, or 2 m/s) and radiation (measured; from
    sunshine, Eq 35; from the temperature range, Eq 50).

    Parameters
    ----------
    latitude_deg : north positive.
    coastal : the site is on a coast, for Eq 50 (kRs 0.19, else 0.16).
    arid : the air is not saturated at dawn, for Eq 48 (dew point 2.5 deg C under Tmin).

    Raises FaultyInput for a latitude or elevation that no site on earth has.
    """
    _check_site(latitude_deg, elevation_m)
    day = fao.day_of_year(record.dates)
    tmax, tmin = record.tmax_c, record.tmin_c
    tmean = (tmax + tmin) / 2
    ra = np.asarray(fao.extraterrestrial_radiation_mj_m2(latitude_deg, day))
    rso = np.asarray(fao.clear_sky_solar_mj_m2(ra, elevation_m))
    daylight_h = np.asarray(fao.daylight_hours(latitude_deg, day))

    ea, humidity = _best(_humidity_routes(record, arid))
    u2, wind = _best(_wind_routes(record))
    solar, radiation = _best(_radiation_routes(record, ra, rso, daylight_h, coastal))

    net = fao.net_radiation_mj_m2(
        fao.net_shortwave_mj_m2(solar), fao.net_longwave_mj_m2(tmax, tmin, ea, solar, rso)
    )
    gamma = fao.psychrometric_constant_kpa_c(fao.atmospheric_pressure_kpa(elevation_m))
    # Vapor pressure measured over a day can exceed the mean of two saturation pressures.
    deficit = np.maximum(fao.mean_saturation_vapor_pressure_kpa(tmax, tmin) - ea, 0.0)
    computed = fao.penman_monteith_mm(
        tmean, u2, net, 0.0, deficit, fao.vapor_pressure_slope_kpa_c(tmean), gamma
    )
    from_file = _column(record, "reference_et_mm")
    taken = np.isfinite(from_file)
    eto = np.maximum(np.where(taken, from_file, computed), 0.0)

    labels = np.array(
        [f"Penman-Monteith; {h}; {w}; {r}" for h in humidity[1] for w in wind[1]
         for r in radiation[1]] + [FROM_FILE]
    )  # fmt: skip
    code = (humidity[0] * len(wind[1]) + wind[0]) * len(radiation[1]) + radiation[0]
    code = np.where(taken, labels.size - 1, code)
    used, procedure = np.unique(code, return_inverse=True)

    rh_min, _ = _best(
        [
            ("measured", _column(record, "rh_min_pct")),
            ("from vapor pressure", np.asarray(fao.rh_min_from_vapor_pressure_pct(tmax, ea))),
        ]
    )
    return ReferenceEt(
        dates=record.dates,
        eto_mm=eto,
        procedure=procedure,
        labels=tuple(str(label) for label in labels[used]),
        solar_mj_m2=solar,
        u2_m_s=u2,
        rh_min_pct=rh_min,
        vapor_pressure_kpa=ea,
    )


Routes = Sequence[tuple[str, fao.Values]]


def _humidity_routes(record: DailyRecord, arid: bool) -> Routes:
    tmax, tmin = record.tmax_c, record.tmin_c
    dewpoint, rh_max = _column(record, "dewpoint_c"), _column(record, "rh_max_pct")
    rh_min, rh_mean = _column(record, "rh_min_pct"), _column(record, "rh_mean_pct")
    assumed = fao.dewpoint_from_tmin_c(tmin, arid)
    return [
        ("humidity from vapor pressure", _column(record, "vapor_pressure_kpa")),
        ("humidity from dew point", fao.vapor_pressure_from_dewpoint_kpa(dewpoint)),
        (
            "humidity from largest and least RH",
            fao.vapor_pressure_from_rh_extremes_kpa(tmax, tmin, rh_max, rh_min),
        ),
        ("humidity from largest RH", fao.vapor_pressure_from_rh_max_kpa(tmin, rh_max)),
        ("humidity from mean RH", fao.vapor_pressure_from_rh_mean_kpa(tmax, tmin, rh_mean)),
        (
            "humidity from Tmin less 2.5 deg C" if arid else "humidity from Tmin",
            fao.vapor_pressure_from_dewpoint_kpa(assumed),
        ),
    ]


def _wind_routes(record: DailyRecord) -> Routes:
    height_m = 2.0 if record.wind_height_m is None else record.wind_height_m
    measured = fao.wind_at_2m_m_s(_column(record, "wind_m_s"), height_m)
    return [
        ("wind as given", np.maximum(measured, LEAST_WIND_M_S)),
        ("wind taken as 2 m/s (4.5 mph)", np.full(record.n_days, USUAL_WIND_M_S)),
    ]


def _radiation_routes(
    record: DailyRecord, ra: FloatArray, rso: FloatArray, daylight_h: FloatArray, coastal: bool
) -> Routes:
    sunshine = _column(record, "sunshine_h")
    krs = fao.KRS_COAST if coastal else fao.KRS_INTERIOR
    return [
        ("radiation as given", _column(record, "solar_mj_m2")),
        ("radiation from sunshine", fao.solar_from_sunshine_mj_m2(sunshine, daylight_h, ra)),
        (
            "radiation from temperature range",
            fao.solar_from_temperature_mj_m2(record.tmax_c, record.tmin_c, ra, rso, krs),
        ),
    ]


def _column(record: DailyRecord, name: str) -> FloatArray:
    """The column (n,), NaN throughout when the record has none."""
    values = getattr(record, name)
    return np.full(record.n_days, np.nan) if values is None else np.asarray(values, dtype=float)


def _best(routes: Routes) -> tuple[FloatArray, tuple[NDArray[np.intp], tuple[str, ...]]]:
    """The first route with a value for each day: the values, the routes used, their names."""
    stacked = np.stack([np.asarray(values, dtype=float) for _, values in routes])
    choice = np.isfinite(stacked).argmax(axis=0)
    chosen = np.take_along_axis(stacked, choice[None], axis=0)[0]
    return chosen, (choice, tuple(name for name, _ in routes))


def _check_site(latitude_deg: float, elevation_m: float) -> None:
    faults = []
    if not -90 <= latitude_deg <= 90:
        faults.append(Fault("latitude_deg", f"is {latitude_deg:g}", "-90 to 90, north positive"))
    # The Dead Sea shore lies at -430 m, the highest summit at 8849 m (common knowledge).
    if not -450 <= elevation_m <= 8900:
        faults.append(Fault("elevation_m", f"is {elevation_m:g}", "-450 to 8900 m above the sea"))
    if faults:
        raise FaultyInput(faults)
