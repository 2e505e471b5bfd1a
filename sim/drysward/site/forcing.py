"""What weather, season and species make of every day on one field, before any plan runs.

Everything here is the same for all plans and patches of a field, so it is worked out once, on
arrays, and the day step only reads it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from drysward.catalog import Catalog, Entry
from drysward.compiled import compiled
from drysward.day.records import (
    CALENDAR,
    CALENDAR_DAYS,
    DAY,
    FIELD,
    columns,
    records,
)
from drysward.physics.evaporation import depletion_fraction, kc_max
from drysward.physics.growth import (
    daily_rate_to_share,
    growth_potential,
    heat_kill_share,
    median_lethal_days,
    trailing_mean,
)
from drysward.physics.season import root_depth_share, winter_rest_share
from drysward.physics.snow import frozen_days, snow_account
from drysward.scenario.model import SKINNED, EstablishSpec, FieldSpec
from drysward.site.root_zone import NATIVE, SAND_CAP, RootZone
from drysward.weather.record import DailyRecord
from drysward.weather.reference_et import ReferenceEt
from drysward.weather.simulated.climate import MONTH_OF_DAY, calendar_day

FloatArray = NDArray[np.float64]

SURFACE_LAYER_MM = 100.0  # FAO-56 gives 0.10 to 0.15 m to the evaporation layer
THINNEST_LAYER_MM = 5.0
FIRST_OF_JULY = 182  # in a leap-year calendar
ANY_SPECIES = "tall_fescue"
SURFACE_UPTAKE_WEIGHT = 2.0  # roots are denser near the surface; own estimate
SOIL_MEMORY_DAYS = 7  # trailing mean of air temperature that stands in for the top soil
COLD_BELOW_C = 10.0  # soil; cool-season roots and leaves work from here on up
SNOW_ET_SHARE = 0.4  # FAO-56 chapter 11: 0.4 mm/d under snow beside 1.0 without
TURF_HEIGHT_M = 0.10  # FAO-56 Table 12
NO_SUBSOIL_RISE_MM_D = 0.2  # upward flow at which moist subsoil keeps crowns hydrated in full
LEAF_LOSS_ETO_MM = 5.0  # demand at which leaves brown at the stated rate; own estimate
CROWN_CLOCK_ETO_MM = 6.0  # demand behind the species' median lethal times
LEAST_RAMP = 1e-9  # width in depletion fraction that stands in for none
HEIGHT_EFFECT_PER_MM = 0.003  # of ET, from low to high cut 5 to 15 % (from memory)


@dataclass(frozen=True, eq=False)
class SiteWeather:
    """Daily arrays that all fields of a site share; each (n,) unless told."""

    record: DailyRecord
    et: ReferenceEt
    calendar_day: NDArray[np.int64]  # 0..365 in a leap-year calendar
    tmean_c: FloatArray
    soil_c: FloatArray
    liquid_mm: FloatArray
    snow_water_mm: FloatArray
    frozen: FloatArray
    drought_index_mm: FloatArray
    rain_before_mm: FloatArray  # (n + 1,), of all days before each
    spray_loss: FloatArray  # (times of day, n)


def site_weather(
    record: DailyRecord, et: ReferenceEt, catalog: Catalog, drought_days: int
) -> SiteWeather:
    """Snow, frost, drought and spray losses of every day."""
    turf = catalog.get("turf_processes", "all")
    tmean = 0.5 * (record.tmax_c + record.tmin_c)
    liquid, snow = compiled(snow_account)(
        record.rain_mm, tmean, turf["snow_threshold_c"], turf["melt_factor"]
    )
    frozen = compiled(frozen_days)(
        tmean,
        snow,
        turf["frozen_index_decay"],
        turf["frozen_index_insulation_cold"],
        turf["frozen_index_insulation_warm"],
        turf["frozen_index_freeze"],
        turf["frozen_index_thaw"],
    )
    return SiteWeather(
        record=record,
        et=et,
        calendar_day=calendar_day(record.dates),
        tmean_c=tmean,
        soil_c=trailing_mean(tmean, SOIL_MEMORY_DAYS),
        liquid_mm=liquid,
        snow_water_mm=snow,
        frozen=frozen,
        drought_index_mm=rain_deficit(record.rain_mm, et.eto_mm, drought_days),
        rain_before_mm=np.concatenate([[0.0], np.cumsum(record.rain_mm)]),
        spray_loss=spray_losses(et, catalog),
    )


def rain_deficit(rain_mm: FloatArray, eto_mm: FloatArray, days: int) -> FloatArray:
    """Drought index: reference ET less rain over the last ``days``, not below 0 (mm)."""
    balance = np.concatenate([[0.0], np.cumsum(eto_mm - rain_mm)])
    stop = np.arange(1, rain_mm.size + 1)
    return np.maximum(balance[stop] - balance[np.maximum(stop - days, 0)], 0.0)


def spray_losses(et: ReferenceEt, catalog: Catalog) -> FloatArray:
    """Share of sprinkler water lost in flight, (times of day, n): midday by how dry the air is.

    Midday runs from the humid to the arid figure between minimum RH 45 and 25 % and takes the
    arid one in wind above 4 m/s (own estimate of the passage).
    """
    n = et.eto_mm.size

    def share(key: str) -> float:
        return catalog.get("losses", key)["spray_loss_share"]

    dry = np.clip((45.0 - et.rh_min_pct) / 20.0, 0.0, 1.0)
    dry = np.where(et.u2_m_s > 4.0, 1.0, dry)
    midday = share("midday_humid") + dry * (share("midday_arid") - share("midday_humid"))
    return np.stack(
        [
            np.full(n, share("night")),
            np.full(n, share("early_morning")),
            midday,
            np.full(n, share("evening")),
        ]
    )


def calendar_records(dates: NDArray[np.datetime64], southern: bool) -> np.recarray:
    """CALENDAR of each day; turf years start in winter. The caller fills in counted years."""
    out = records(CALENDAR, dates.size)
    out.day_of_year = calendar_day(dates)
    out.month = MONTH_OF_DAY[out.day_of_year]
    out.weekday = weekday(dates)
    out.first = out.day_of_year == (FIRST_OF_JULY if southern else 0)
    out.year = -1
    return out


def weekday(dates: NDArray[np.datetime64]) -> NDArray[np.int64]:
    """Monday 0 to Sunday 6 of dates (n,)."""
    return (dates.astype(int) + 3) % 7  # 1970-01-01 was a Thursday


def in_season(day_of_year: NDArray[np.int64], season: tuple[int, int]) -> NDArray[np.bool_]:
    """Whether calendar days lie in a season that may run over the turn of the year."""
    first, last = season
    if first <= last:
        return (day_of_year >= first) & (day_of_year <= last)
    return (day_of_year >= first) | (day_of_year <= last)


def rooting_mm(spec: FieldSpec, species: Entry, zone: RootZone) -> float:
    """Full working depth of roots on this root zone (mm)."""
    in_sand = species["root_depth_sand"]
    in_native = species["root_depth_native"] * zone.root_factor
    if zone.kind == NATIVE:
        depth = in_native
    elif zone.kind == SAND_CAP:
        # Fewer roots go below a deeper cap (Dyer et al. 2020); half of the reach is our estimate.
        below = max(species["root_depth_native"] - zone.profile.sand_depth_mm, 0.0)
        depth = max(in_sand, min(species["root_depth_native"], zone.profile.sand_depth_mm))
        depth = max(depth, zone.profile.sand_depth_mm + 0.5 * below) if below else depth
    else:
        depth = in_sand
    if spec.stand == "first-year sod":
        depth *= species["sod_root_factor"]
    return min(depth, zone.profile.depth_mm)


def turf_growth(species: Entry, tmean_c: FloatArray) -> FloatArray:
    """Growth potential of a species (0..1) at mean temperatures (n,)."""
    warm = species.words["season"] == "warm"
    return growth_potential(tmean_c, species["growth_optimum_c"], species["growth_spread_c"], warm)


def days_since(day: int, calendar_day: NDArray[np.int64]) -> NDArray[np.int64]:
    """Days since ``day`` of the year was last, 0 to 365, on calendar days (n,)."""
    return (calendar_day - day) % CALENDAR_DAYS


def young_rooting(
    new: EstablishSpec, catalog: Catalog, calendar_day: NDArray[np.int64]
) -> FloatArray:
    """Share of its full rooting that new turf has reached, linearly, on calendar days (n,).

    Source: own estimate of the form.
    """
    entry = catalog.get("play", f"establish_{new.kind}")
    start = entry["young_root_start"]
    grown = days_since(new.day, calendar_day) / entry["young_rooting_days"]
    return np.minimum(start + (1.0 - start) * grown, 1.0)


def crop_coefficient(
    spec: FieldSpec, species: Entry, catalog: Catalog, month: NDArray[np.int64], southern: bool
) -> FloatArray:
    """Well-watered Kc of awake turf against short-grass reference ET, (n,)."""
    row = catalog.get("kc_season", species.words["season"])
    by_month = np.array([row[f"m{m:02d}"] for m in range(1, 13)])
    if southern:
        by_month = np.roll(by_month, 6)
    kc = species["kc_summer"] * by_month[month]
    if spec.mowing_height_mm is not None:
        change = HEIGHT_EFFECT_PER_MM * (spec.mowing_height_mm - species["usual_height_mm"])
        kc = kc * (1.0 + np.clip(change, -0.1, 0.1))
    return kc


def field_forcing(
    spec: FieldSpec,
    zone: RootZone,
    weather: SiteWeather,
    catalog: Catalog,
    calendar: np.recarray,
    southern: bool,
    kept_off_mm: FloatArray | float = 0.0,
) -> tuple[np.recarray, Any]:
    """FIELD (1,) and the ``columns`` of DAY (n,) of one field; a cover keeps ``kept_off_mm`` (n,)
    off.
    """
    skinned = spec.surface == SKINNED
    # Nothing grows on a skinned surface: what a species would do there does not matter.
    species = catalog.get("species", ANY_SPECIES if skinned else spec.species)
    turf = catalog.get("turf_processes", "all")
    profile = zone.profile
    eto = weather.et.eto_mm
    n = eto.size
    sod = species["sod_death_factor"] if spec.stand == "first-year sod" else 1.0

    growth = turf_growth(species, weather.tmean_c)
    rest = compiled(winter_rest_share)(
        weather.record.tmin_c,
        weather.soil_c,
        species["greenup_soil_c"],
        turf["frost_brown_c"],
        turf["greenup_weeks"] * 7.0,
        turf["browning_days"],
    )

    # --- depth of roots and the water in each layer ------------------------------------------
    full = profile.depth_mm if skinned else rooting_mm(spec, species, zone)
    share = compiled(root_depth_share)(
        weather.soil_c,
        growth,
        species["root_heat_loss"],
        species["root_floor"],
        turf["root_regrowth_days"],
    )
    if spec.establish is not None:
        share = share * young_rooting(spec.establish, catalog, weather.calendar_day)
    surface = min(SURFACE_LAYER_MM, 0.7 * full * species["root_floor"])
    if skinned:
        # One layer that dries from the top: bare ground has no root zone below it.
        surface, share = full - THINNEST_LAYER_MM, np.ones(n)
    root = np.maximum(full * share, surface + THINNEST_LAYER_MM)
    fc1, wp1, sat1 = (float(x) for x in profile.above(surface))
    rooted_fc, rooted_wp, rooted_sat = profile.above(root)
    all_fc, all_wp, all_sat = (float(x) for x in profile.above(profile.depth_mm))
    fc2, wp2, sat2 = rooted_fc - fc1, rooted_wp - wp1, rooted_sat - sat1
    fc3, wp3, sat3 = all_fc - rooted_fc, all_wp - rooted_wp, all_sat - rooted_sat

    field = records(FIELD, 1)
    day = columns(DAY, n)
    field.surface_mm = surface
    field.fc1, field.wp1, field.sat1, field.dry1 = fc1, wp1, sat1, 0.5 * wp1
    field.inv_taw1 = 1.0 / (fc1 - wp1)
    tew = fc1 - 0.5 * wp1
    rew = min(zone.rew_mm * surface / SURFACE_LAYER_MM, 0.9 * tew)
    field.tew, field.rew, field.inv_tew_less_rew = tew, rew, 1.0 / (tew - rew)
    field.drain1 = profile.drain_share(0.0, surface)
    field.drain2 = profile.drain_share(surface, full)
    field.drain3 = profile.drain_share(full, profile.depth_mm)
    field.percolation_limit = profile.percolation_limit_mm_d
    field.infiltration_limit = zone.intake_mm_h * 24.0
    field.retention = zone.retention_mm
    field.abstraction = 0.2 * zone.retention_mm
    field.upward_max = zone.upward_max_mm_d
    # The short roots of new sod are not fed from below: set while looking at the one published
    # result, first-year bluegrass sod in Manhattan KS of which none recovered (Hong et al. 2019).
    rooted_in = spec.stand != "first-year sod"
    field.subsoil_reach = rooted_in * min(zone.upward_max_mm_d / NO_SUBSOIL_RISE_MM_D, 1.0)
    field.intake_rate = zone.intake_mm_h
    field.surface_storage = zone.surface_storage_mm
    field.thatch_storage = 0.0 if skinned else turf["thatch_storage_mm"]
    field.ground_cover = species["ground_cover_full"]
    field.mulch = 1.0 if skinned else turf["dead_cover_mulch"]
    field.uptake_weight = SURFACE_UPTAKE_WEIGHT
    field.inv_ramp = 1.0 / max(2.0 * turf["stress_ramp_half_width"], LEAST_RAMP)
    field.leaf_loss_start = turf["leaf_loss_start"]
    field.inv_leaf_loss_span = 1.0 / (turf["leaf_loss_start"] - turf["leaf_loss_full"])
    field.inv_crown_wet = 1.0 / turf["crown_wet_share"]
    field.crown_refill = turf["crown_refill_rate"] / (species["median_death_25c"] * sod)
    field.subsoil_speed = turf["subsoil_clock_speed"]
    field.inv_age_slowing = 1.0 / turf["dormant_age_slowing_days"]
    field.heat_shelter = species["heat_shelter"]

    # A cover keeps rain off, which is then no part of the field's account.
    day.precipitation = weather.record.rain_mm - kept_off_mm
    day.liquid = weather.liquid_mm - kept_off_mm
    day.snow_water = weather.snow_water_mm
    day.eto = eto
    day.fc2, day.wp2, day.sat2 = fc2, wp2, sat2
    day.fc3, day.wp3, day.sat3 = fc3, wp3, sat3
    taw = fc1 - wp1 + fc2 - wp2
    day.taw = taw
    day.inv_taw = 1.0 / taw
    day.inv_taw2 = 1.0 / (fc2 - wp2)
    held3 = fc3 - wp3
    day.inv_taw3 = np.divide(1.0, held3, out=np.zeros(n), where=held3 > 1e-9)
    day.root_depth = root
    day.shift = _shift(rooted_fc, fc2, fc3)
    # Initial abstraction is 0.2 S half-way between wilting point and field capacity, none at
    # field capacity and double at the wilting point; never faster than the water itself moves.
    day.moisture_reference = wp1 + wp2 + 0.5 * taw
    day.abstraction_slope = np.minimum(1.0, 0.2 * zone.retention_mm / (0.5 * taw))

    # --- demand ------------------------------------------------------------------------------
    awake = crop_coefficient(spec, species, catalog, calendar.month, southern)
    kc = awake * (1.0 - rest) + species["winter_kc"] * rest
    # Cold turf hardly transpires: FAO-56 chapter 11 has Kc 0.25 with frosts and 0.5 on open
    # winter days; the passage from 0 to 10 C of soil temperature is our own estimate.
    warmth = np.clip(weather.soil_c / COLD_BELOW_C, 0.0, 1.0)
    kc = np.minimum(kc, turf["kc_winter_frost"] + warmth * (kc - turf["kc_winter_frost"]))
    kc = np.where(weather.snow_water_mm > 0.0, kc * SNOW_ET_SHARE, kc)
    kcb = np.maximum(kc - turf["basal_difference"], 0.0)
    limit = kc_max(weather.et.u2_m_s, weather.et.rh_min_pct, TURF_HEIGHT_M, kcb, turf["kc_max"])
    limit = np.where(weather.snow_water_mm > 0.0, limit * SNOW_ET_SHARE, limit)
    day.kc, day.kcb, day.kc_max = kc, kcb, np.maximum(limit, kcb + 0.05)
    p_footprint = depletion_fraction(species["p_footprint"], kc * eto)
    day.p_footprint = p_footprint
    # Wilt moves with demand as the p of stress does, and always lies past it.
    ease = 0.04 * (5.0 - kc * eto)
    day.p_wilt = np.clip(species["p_wilt"] + ease, p_footprint + 0.05, 0.95)
    day.inv_one_less_p = 1.0 / (1.0 - p_footprint)

    # --- rates of the turf -------------------------------------------------------------------
    active = 1.0 - rest
    day.active = active
    browning = turf["leaf_loss_rate"] * np.clip(eto / LEAF_LOSS_ETO_MM, 0.2, 1.5)
    day.leaf_loss = browning * active * warmth
    median = sod * median_lethal_days(
        weather.tmean_c, species["median_death_25c"], species["median_death_35c"]
    )
    day.crown_clock = np.clip(0.5 + 0.5 * eto / CROWN_CLOCK_ETO_MM, 0.5, 1.5) / median
    day.heat_kill = heat_kill_share(
        weather.record.tmax_c, species["heat_kill_from_c"], species["heat_kill_rate"]
    )
    day.recovery = daily_rate_to_share(0.8, species["recovery_days"]) * growth * active
    day.spread = species["spread_rate"] * growth * active
    if spec.reseed_day is not None:
        since = days_since(spec.reseed_day, calendar.day_of_year)
        rate = daily_rate_to_share(0.9, turf["reseed_days"])
        day.reseed = np.where(since < turf["reseed_days"], rate, 0.0)
    day.intake_share = 1.0 - weather.frozen * (1.0 - turf["frozen_intake_share"])
    return field, day


def _shift(rooted_fc: FloatArray, fc2: FloatArray, fc3: FloatArray) -> FloatArray:
    """Share of the subsoil (above 0) or root layer (below 0) that changes hands each day."""
    change = np.diff(rooted_fc, prepend=rooted_fc[:1])
    before3 = np.concatenate([fc3[:1], fc3[:-1]])
    before2 = np.concatenate([fc2[:1], fc2[:-1]])
    grown = np.divide(change, before3, out=np.zeros_like(change), where=before3 > 1e-9)
    shrunk = change / before2
    return np.clip(np.where(change > 0.0, grown, shrunk), -1.0, 1.0)
