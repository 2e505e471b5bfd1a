"""Daily demand, thresholds and turf rates of one field, before any plan runs.

Everything here is the same for all plans and patches of a field, so it is computed once, in one
compiled pass over the days, and the day step only reads it.
"""

from __future__ import annotations

from collections.abc import Sequence
from types import SimpleNamespace
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from drysward.catalog import Catalog, Entry
from drysward.compiled import compiled, jitable
from drysward.day.records import CALENDAR, CALENDAR_DAYS, DAY, FIELD, records
from drysward.physics.arithmetic import clamp, larger
from drysward.physics.crop_coefficient import height_effect, soil_warmth, turf_kc, under_snow
from drysward.physics.curve_number import (
    INITIAL_ABSTRACTION,
    abstraction_slope,
    reference_moisture_mm,
)
from drysward.physics.evaporation import LEAST_OVER_KCB, height_term, kc_max, total_evaporable_mm
from drysward.physics.freezing import (
    air_resistance,
    cold_spell_step,
    crown_mean_c,
    crown_night_c,
    death_odds,
    felt_cold_c,
    freeze_kill_share,
    frozen_losses_c,
    hardiness_sought,
    hardiness_step,
    lt50_c,
    worst_odds_step,
)
from drysward.physics.frost import intake_share
from drysward.physics.growth import daily_rate_to_share, growth_potential, reseed_rate
from drysward.physics.heat import crown_clock, heat_kill_share, median_lethal_days
from drysward.physics.leaf_loss import browning_drive, summer_decline
from drysward.physics.roots import (
    HOLDS_NOTHING_MM,
    root_floor_shift,
    root_share_step,
    rooting_of_year,
    sand_cap_rooting_mm,
)
from drysward.physics.thresholds import depletion_fraction, wilt_threshold
from drysward.physics.winter_rest import awake_share, winter_rest_at_start, winter_rest_step
from drysward.physics.young_turf import young_root_share
from drysward.scenario.model import SKINNED, FieldSpec
from drysward.site.profile import Curves, node_above, water_above_mm
from drysward.site.root_zone import NATIVE, SAND_CAP, RootZone
from drysward.site.site_weather import WEATHER, SiteWeather
from drysward.weather.simulated.climate import MONTH_OF_DAY, calendar_day

FloatArray = NDArray[np.float64]

SURFACE_LAYER_MM = 100.0  # FAO-56: the evaporation layer is 0.10 to 0.15 m deep
THINNEST_LAYER_MM = 5.0
FIRST_OF_JULY = 182  # in a leap-year calendar
ANY_SPECIES = "tall_fescue"
SURFACE_UPTAKE_WEIGHT = 2.0  # roots are denser near the surface; own estimate
TURF_HEIGHT_TERM = height_term(0.10)  # of 0.10 m, FAO-56 Table 12
# New sod gets no water from below up to this share of its full rooting depth, and all of it from
# this much more on (own estimate).
SOD_UNFED, SOD_FED_SPAN = 0.55, 0.3
MOST_OF_SURFACE = 0.5  # limit of the crown layer under very short roots
LEAST_RAMP = 1e-9  # width in depletion fraction used for 0
SOD = "first-year sod"


def calendar_records(dates: NDArray[np.datetime64], southern: bool) -> np.recarray:
    """CALENDAR of each day; turf years start in winter. The caller sets counted years."""
    out = records(CALENDAR, dates.size)
    out.day_of_year = calendar_day(dates)
    out.month = MONTH_OF_DAY[out.day_of_year]
    out.weekday = weekday(dates)
    months = dates.astype("datetime64[M]")
    out.month_left = (months + 1).astype("datetime64[D]") - dates
    years = (months - 6 if southern else months).astype("datetime64[Y]") + 1
    out.year_left = (years.astype("datetime64[M]") + 6 * southern).astype("datetime64[D]") - dates
    out.first = out.day_of_year == (FIRST_OF_JULY if southern else 0)
    out.year = -1
    return out


def weekday(dates: NDArray[np.datetime64]) -> NDArray[np.int64]:
    """Monday 0 to Sunday 6 of dates (n,)."""
    return (dates.astype(int) + 3) % 7  # 1970-01-01 was a Thursday


def in_season(day_of_year: NDArray[np.int64], season: tuple[int, int]) -> NDArray[np.bool_]:
    """Whether calendar days lie in a season that may cross the new year."""
    first, last = season
    if first <= last:
        return (day_of_year >= first) & (day_of_year <= last)
    return (day_of_year >= first) | (day_of_year <= last)


def rooting_mm(spec: FieldSpec, species: Entry, zone: RootZone) -> float:
    """Full rooting depth on this root zone (mm)."""
    in_sand, in_native = species["root_depth_sand"], species["root_depth_native"]
    if zone.kind == NATIVE:
        depth = in_native * zone.root_factor
    elif zone.kind == SAND_CAP:
        depth = sand_cap_rooting_mm(in_sand, in_native, zone.profile.sand_depth_mm)
    else:
        depth = in_sand
    if spec.stand == SOD:
        depth *= species["sod_root_factor"]
    return min(depth, zone.profile.depth_mm)


def days_since(day: int, calendar_day: NDArray[np.int64]) -> NDArray[np.int64]:
    """Days since the last ``day`` of the year, 0 to 365, on calendar days (n,)."""
    return (calendar_day - day) % CALENDAR_DAYS


def layers_mm(spec: FieldSpec, zone: RootZone, catalog: Catalog) -> tuple[float, float]:
    """Depth of the surface layer, and full rooting depth, below which the subsoil begins."""
    if spec.surface == SKINNED:
        # One layer that dries from the top: bare ground has no root zone below it.
        return zone.profile.depth_mm - THINNEST_LAYER_MM, zone.profile.depth_mm
    species = species_of(spec, catalog)
    full = rooting_mm(spec, species, zone)
    return min(SURFACE_LAYER_MM, 0.7 * full * species["root_floor"]), full


def species_of(spec: FieldSpec, catalog: Catalog) -> Entry:
    """The field's species in the catalog."""
    # Nothing grows on a skinned surface, so any species will do.
    return catalog.get("species", ANY_SPECIES if spec.surface == SKINNED else spec.species)


def field_record(spec: FieldSpec, zone: RootZone, catalog: Catalog) -> np.recarray:
    """FIELD (1,): numbers of a field that stay the same from day to day."""
    skinned = spec.surface == SKINNED
    species = species_of(spec, catalog)
    turf = catalog.get("turf_processes", "all")
    profile = zone.profile
    surface, full = layers_mm(spec, zone, catalog)
    fc1, wp1, sat1 = (float(water) for water in profile.above(surface))
    field = SimpleNamespace()
    field.surface_mm = surface
    field.fc1, field.wp1, field.sat1, field.dry1 = fc1, wp1, sat1, 0.5 * wp1
    field.inv_taw1 = 1.0 / (fc1 - wp1)
    crown_mm = min(turf["crown_layer_mm"], MOST_OF_SURFACE * surface)
    crown_fc, crown_wp, _ = (float(water) for water in profile.above(crown_mm))
    field.crown_fc, field.crown_wp, field.crown_dry = (
        crown_fc, crown_wp, turf["crown_dry_share"] * crown_wp
    )
    field.inv_crown_wet = 1.0 / ((crown_fc - crown_wp) * turf["crown_wet_share"])
    tew = total_evaporable_mm(fc1, wp1)
    rew = min(zone.rew_mm * surface / SURFACE_LAYER_MM, 0.9 * tew)
    field.tew, field.inv_tew_less_rew = tew, 1.0 / (tew - rew)
    field.drain1 = profile.drain_share(0.0, surface)
    field.drain2 = profile.drain_share(surface, full)
    field.drain3 = profile.drain_share(full, profile.depth_mm)
    field.percolation_limit = profile.percolation_limit_mm_d
    field.retention = zone.retention_mm
    field.abstraction = INITIAL_ABSTRACTION * zone.retention_mm
    field.upward_max = zone.upward_max_mm_d
    field.thatch_storage = 0.0 if skinned else turf["thatch_storage_mm"]
    field.ground_cover = species["ground_cover_full"]
    field.mulch = 1.0 if skinned else turf["dead_cover_mulch"]
    field.uptake_weight = SURFACE_UPTAKE_WEIGHT
    field.inv_ramp = 1.0 / max(2.0 * turf["stress_ramp_half_width"], LEAST_RAMP)
    field.dormant_shade = turf["dormant_shade"]
    field.inv_browning_start = 1.0 / species["browning_start_ks"]
    field.browning_rate = species["browning_rate"]
    field.inv_firing_ks = 1.0 / turf["firing_ks"]
    field.firing_rate = turf["firing_rate"]
    field.inv_moist_root_zone = 1.0 / turf["moist_root_zone_share"]
    field.root_zone_speed = turf["root_zone_clock_speed"]
    # Soil continues below the profile, and stays moist.
    field.subsoil_least = turf["subsoil_least_moisture"]
    fed_share = 1.0
    if spec.stand == SOD:
        fed_share = min(max((species["sod_root_factor"] - SOD_UNFED) / SOD_FED_SPAN, 0.0), 1.0)
    fed_share *= species["crown_feeding"]
    held = zone.subsoil_feeding * (1.0 - turf["subsoil_clock_speed"])
    field.subsoil_slowing = fed_share * held
    field.crown_refill = turf["crown_refill_rate"] / (
        species["median_death_25c"] * _sod_death_factor(spec, species)
    )
    field.inv_age_slowing = 1.0 / turf["dormant_age_slowing_days"]
    field.heat_shelter = species["heat_shelter"]
    return _record(FIELD, field)


def _record(dtype: np.dtype, numbers: SimpleNamespace) -> np.recarray:
    """A record (1,) from numbers by name, all of them required; faster than setting each field."""
    row = tuple(getattr(numbers, name) for name in dtype.names or ())
    return np.array([row], dtype).view(np.recarray)


def _sod_death_factor(spec: FieldSpec, species: Entry) -> float:
    return species["sod_death_factor"] if spec.stand == SOD else 1.0


# Numbers of a species, and of ``turf_processes.all``, under their names in the catalog.
_OF_SPECIES = (
    "growth_optimum_c", "growth_spread_c", "greenup_soil_c", "root_heat_loss", "root_floor",
    "winter_kc", "p_footprint", "wilt_ks", "summer_decline", "median_death_25c",
    "median_death_35c", "heat_kill_from_c", "heat_kill_rate", "spread_rate", "lt50_hardened_c",
    "lt50_unhardened_c",
)  # fmt: skip
_OF_PROCESSES = (
    "frost_brown_c", "greenup_weeks", "browning_days", "decline_from_c", "root_regrowth_days",
    "kc_winter_frost", "basal_difference", "kc_max", "reseed_days", "frozen_intake_share",
    "hardening_from_c", "hardening_full_c", "hardening_weeks", "hardiness_loss_days",
    "day_frozen_loss_c", "freeze_kill_steepness", "turf_insulation",
)  # fmt: skip
TURF = np.dtype(
    [
        *((name, "f8") for name in (*_OF_SPECIES, *_OF_PROCESSES)),
        ("warm_season", "f8"),  # 1 or 0
        ("awake_kc", "f8", (12,)),  # by month
        ("sod_death_factor", "f8"),
        ("rooting_cv", "f8"),
        ("recovery_rate", "f8"),
        ("rooting_mm", "f8"),
        # calendar days of seeding and of new turf, and their numbers
        ("reseed_day", "i8"),
        ("reseed_rate", "f8"),
        ("new_day", "i8"),
        ("new_root_start", "f8"),
        ("new_rooting_days", "f8"),
    ]
)
"""Numbers of a field from which its days are computed."""

MEMORY = np.dtype(
    [
        *((name, "f8") for name in ("rest", "browning_left", "root_share")),
        ("node", "i8"),
        *((name, "f8") for name in ("rooted_before", "fc2_before", "fc3_before")),
        ("rooting_score", "f8"),
        ("rooting_factor", "f8"),
        # depth of frost, mean of the crowns over a cold spell, hardiness, worst odds of the winter
        *((name, "f8") for name in ("spell_c", "hardiness", "worst_odds")),
    ]
)
"""State carried from one day of a field to the next."""


class Forcing(NamedTuple):
    """Input for the days of C fields that are computed while they run.

    ``turfs`` TURF, ``fields`` FIELD and ``memories`` MEMORY (C,); water above the nodes of their
    profiles, of which field f has ``n_nodes[f]``, in the order of ``Curves`` (4, C, N);
    ``weather`` WEATHER (n,); what covers keep off (C, n), mm; and DAY (lines, C), the
    output.
    """

    turfs: np.recarray
    fields: np.recarray
    memories: np.recarray
    curves: FloatArray
    n_nodes: NDArray[np.int64]
    weather: np.recarray
    kept_off_mm: FloatArray
    days: np.recarray


NOTHING_TO_FORCE = Forcing(
    records(TURF, 0),
    records(FIELD, 0),
    records(MEMORY, 0),
    np.empty((4, 0, 0)),
    np.empty(0, np.int64),
    records(WEATHER, 0),
    np.empty((0, 0)),
    records(DAY, (0, 0)),
)


def forcing_of(
    of_fields: Sequence[tuple[FieldSpec, RootZone, Catalog]], southern: bool, lines: int
) -> Forcing:
    """Input for the days of fields, computed some days at a time; without the weather."""
    profiles = [zone.profile for _, zone, _ in of_fields]
    n_nodes = np.array([profile.node_mm.size for profile in profiles])
    curves = np.zeros((4, len(profiles), n_nodes.max()))
    for f, profile in enumerate(profiles):
        curves[:, f, : n_nodes[f]] = profile.curves
    turfs = [turf_record(*one, southern) for one in of_fields]
    fields = [field_record(*one) for one in of_fields]
    return NOTHING_TO_FORCE._replace(
        turfs=np.concatenate(turfs).view(np.recarray),
        fields=np.concatenate(fields).view(np.recarray),
        memories=records(MEMORY, len(turfs)),
        curves=curves,
        n_nodes=n_nodes,
        days=records(DAY, (lines, len(turfs))),
    )


def force_first_day(forcing: Forcing, calendar: np.recarray) -> None:
    """Compute the first day of a stretch, from which runs start; it is computed again with the
    others.
    """
    for f, n in enumerate(forcing.n_nodes):
        curves = Curves(*(curve[f, :n] for curve in forcing.curves))
        compiled(field_pass, counted=False)(
            forcing.turfs, curves, forcing.weather, calendar, forcing.kept_off_mm[f],
            forcing.fields, forcing.days, f, forcing.memories, 0, 1,
        )  # fmt: skip


def turf_record(spec: FieldSpec, zone: RootZone, catalog: Catalog, southern: bool) -> np.recarray:
    """TURF (1,): numbers of a field from which its days are computed."""
    skinned = spec.surface == SKINNED
    species, processes = species_of(spec, catalog), catalog.get("turf_processes", "all")
    turf = SimpleNamespace(
        **{name: species[name] for name in _OF_SPECIES},
        **{name: processes[name] for name in _OF_PROCESSES},
    )
    # A skinned surface has no roots that move.
    turf.new_day, turf.new_root_start, turf.new_rooting_days = 0, 1.0, 1.0
    turf.rooting_cv = processes["rooting_year_cv"]
    if skinned:
        turf.root_heat_loss = turf.rooting_cv = 0.0
    elif spec.establish is not None:
        new = catalog.get("play", f"establish_{spec.establish.kind}")
        turf.new_day = spec.establish.day
        turf.new_root_start = new["young_root_start"]
        turf.new_rooting_days = new["young_rooting_days"]
    turf.warm_season = species.words["season"] == "warm"
    turf.awake_kc = awake_kc(spec, species, catalog, southern)
    turf.sod_death_factor = _sod_death_factor(spec, species)
    turf.recovery_rate = daily_rate_to_share(0.8, species["recovery_days"])
    _, turf.rooting_mm = layers_mm(spec, zone, catalog)
    seeds = spec.reseed_day is not None
    turf.reseed_day = spec.reseed_day or 0
    turf.reseed_rate = daily_rate_to_share(0.9, processes["reseed_days"]) if seeds else 0.0
    return _record(TURF, turf)


def awake_kc(
    spec: FieldSpec, species: Entry, catalog: Catalog, southern: bool
) -> tuple[float, ...]:
    """Kc of well-watered active turf relative to short-grass reference ET, by month."""
    row = catalog.get("kc_season", species.words["season"])
    by_month = [row[f"m{month:02d}"] for month in range(1, 13)]
    if southern:
        by_month = by_month[6:] + by_month[:6]
    cut = 1.0
    if spec.mowing_height_mm is not None:
        cut = height_effect(spec.mowing_height_mm, species["usual_height_mm"])
    return tuple(float(species["kc_summer"] * month * cut) for month in by_month)


def force_field(
    spec: FieldSpec,
    zone: RootZone,
    catalog: Catalog,
    weather: SiteWeather,
    calendar: np.recarray,
    southern: bool,
    kept_off_mm: FloatArray,
    fields: np.recarray,
    days: np.recarray,
    f: int,
) -> None:
    """Write FIELD and DAY of a field into ``fields[f]`` and ``days[:, f]``, in place.

    ``calendar`` is CALENDAR (n,), ``fields`` FIELD (F,), ``days`` DAY (n, F); a cover keeps
    ``kept_off_mm`` (n,) off.
    """
    fields[f] = field_record(spec, zone, catalog)[0]
    turf = turf_record(spec, zone, catalog, southern)
    compiled(field_pass, counted=False)(
        turf, zone.profile.curves, weather.days, calendar, kept_off_mm, fields, days, f,
        records(MEMORY, 1), 0, days.shape[0],
    )  # fmt: skip


@jitable
def field_pass(
    turfs: Any,
    curves: Curves,
    weather: Any,
    calendar: Any,
    kept_off_mm: FloatArray,
    fields: Any,
    days: Any,
    f: int,
    memories: Any,
    first: int,
    stop: int,
) -> None:
    """Write DAY of a field on the days from ``first`` to before ``stop`` into ``days[:, f]``.

    ``weather`` is WEATHER (n,), the rest as above. ``turfs`` TURF and ``memories`` MEMORY hold the
    field at ``f``, or only this field. Days must be computed in order from 0, without a gap.
    """
    mine = f if turfs.shape[0] > 1 else 0
    species = processes = turf = turfs[mine]
    memory = memories[mine]
    greenup_days = processes.greenup_weeks * 7.0
    night_loss, day_loss, spell_loss = frozen_losses_c(processes.day_frozen_loss_c)
    field = fields[f]
    fc1, wp1, sat1, abstraction = field.fc1, field.wp1, field.sat1, field.abstraction
    shallowest = field.surface_mm + THINNEST_LAYER_MM
    all_fc, all_wp = curves.field_capacity[-1], curves.wilting_point[-1]
    all_sat = curves.saturation[-1]
    deepest = larger(curves.node_mm[-1], shallowest)
    if first == 0:
        memory.rest = winter_rest_at_start(weather[0].soil_c, species.greenup_soil_c)
        memory.browning_left = 0.0
        memory.root_share, memory.node = 1.0, 0
        memory.rooting_score, memory.rooting_factor = 0.0, rooting_of_year(0.0, turf.rooting_cv)
        memory.hardiness = hardiness_sought(
            weather[0].soil_c, processes.hardening_from_c, processes.hardening_full_c
        )
        memory.spell_c, memory.worst_odds = 0.0, 0.0
    rest, browning_left = memory.rest, memory.browning_left
    root_share, node = memory.root_share, memory.node
    spell_c = memory.spell_c
    hardiness, worst_odds = memory.hardiness, memory.worst_odds
    rooted_before = memory.rooted_before
    fc2_before, fc3_before = memory.fc2_before, memory.fc3_before
    score_before, factor = memory.rooting_score, memory.rooting_factor
    root_before = -1.0
    rooted_fc = fc2 = wp2 = sat2 = fc3 = wp3 = sat3 = taw = 0.0
    inv_taw = inv_taw2 = inv_taw3 = reference = slope = 0.0
    for d in range(first, stop):
        day, today, on = days[d - first, f], weather[d], calendar[d]
        tmean, soil, eto, snow = today.tmean_c, today.soil_c, today.eto_mm, today.snow_water_mm

        # Rain kept off by a cover is not part of the field's water balance.
        day.precipitation = today.rain_mm - kept_off_mm[d]
        day.liquid = today.liquid_mm - kept_off_mm[d]
        day.snow_water = snow
        day.eto = eto
        day.intake_share = intake_share(today.frozen, processes.frozen_intake_share)

        growth = growth_potential(
            tmean, species.growth_optimum_c, species.growth_spread_c, turf.warm_season > 0.0
        )
        rest, browning_left = winter_rest_step(
            rest,
            browning_left,
            today.tmin_c,
            soil,
            species.greenup_soil_c,
            processes.frost_brown_c,
            greenup_days,
            processes.browning_days,
        )
        active = 1.0 - rest
        warmth = soil_warmth(soil)

        # --- depth of roots and the water in each layer
        root_share = root_share_step(
            root_share,
            soil,
            growth,
            species.root_heat_loss,
            species.root_floor,
            processes.root_regrowth_days,
        )
        age = (on.day_of_year - turf.new_day) % CALENDAR_DAYS
        young = young_root_share(age, turf.new_root_start, turf.new_rooting_days)
        if on.rooting_score != score_before:
            score_before = on.rooting_score
            factor = rooting_of_year(score_before, turf.rooting_cv)
        root = clamp(turf.rooting_mm * (root_share * young * factor), shallowest, deepest)
        # On most days the rooting depth does not change.
        if root != root_before:
            node = node_above(root, curves.node_mm, node)
            rooted_fc = water_above_mm(root, curves.node_mm, curves.field_capacity, node)
            rooted_wp = water_above_mm(root, curves.node_mm, curves.wilting_point, node)
            rooted_sat = water_above_mm(root, curves.node_mm, curves.saturation, node)
            fc2, wp2, sat2 = rooted_fc - fc1, rooted_wp - wp1, rooted_sat - sat1
            fc3, wp3, sat3 = all_fc - rooted_fc, all_wp - rooted_wp, all_sat - rooted_sat
            taw = fc1 - wp1 + fc2 - wp2
            inv_taw, inv_taw2 = 1.0 / taw, 1.0 / (fc2 - wp2)
            inv_taw3 = 1.0 / (fc3 - wp3) if fc3 - wp3 > HOLDS_NOTHING_MM else 0.0
            reference = reference_moisture_mm(wp1 + wp2, taw)
            slope = abstraction_slope(abstraction, taw)
            root_before = root
        day.root_depth = root
        day.fc2, day.wp2, day.sat2 = fc2, wp2, sat2
        day.fc3, day.wp3, day.sat3 = fc3, wp3, sat3
        day.taw, day.inv_taw, day.inv_taw2, day.inv_taw3 = taw, inv_taw, inv_taw2, inv_taw3
        day.shift = 0.0
        if d > 0 and rooted_fc != rooted_before:
            day.shift = root_floor_shift(rooted_fc - rooted_before, fc3_before, fc2_before)
        rooted_before, fc2_before, fc3_before = rooted_fc, fc2, fc3
        day.moisture_reference, day.abstraction_slope = reference, slope

        # --- demand
        awake = turf.awake_kc[on.month]
        kc = turf_kc(awake, species.winter_kc, rest, processes.kc_winter_frost, warmth)
        kc = under_snow(kc, snow)
        kcb = larger(kc - processes.basal_difference, 0.0)
        limit = kc_max(today.u2_m_s, today.rh_min_pct, TURF_HEIGHT_TERM, kcb, processes.kc_max)
        footprint = depletion_fraction(species.p_footprint, kc * eto)
        day.kc = kc
        day.kcb = kcb
        day.kc_max = larger(under_snow(limit, snow), kcb + LEAST_OVER_KCB)
        day.p_footprint = footprint
        day.wilt_threshold = wilt_threshold(species.wilt_ks, footprint)
        day.inv_one_less_p = 1.0 / (1.0 - footprint)

        # --- frost at the crowns
        to_air = air_resistance(processes.turf_insulation, today.snow_resistance)
        crown = crown_mean_c(tmean, soil, today.frost_mm, to_air)
        night = crown_night_c(crown, tmean, today.tmin_c, to_air)
        spell_c = cold_spell_step(spell_c, crown)
        sought = hardiness_sought(soil, processes.hardening_from_c, processes.hardening_full_c)
        hardiness = hardiness_step(
            hardiness, sought, processes.hardening_weeks, processes.hardiness_loss_days
        )
        odds = 0.0
        if night < 0.0 or spell_c < 0.0:
            odds = death_odds(
                felt_cold_c(night, crown, spell_c, night_loss, day_loss, spell_loss),
                lt50_c(hardiness, species.lt50_unhardened_c, species.lt50_hardened_c),
                processes.freeze_kill_steepness,
            )
        # New turf has not been through the winter so far.
        worst_odds = 0.0 if on.fresh == 1 else worst_odds
        day.freeze_kill = freeze_kill_share(odds, worst_odds)
        worst_odds = worst_odds_step(worst_odds, odds, soil, today.frost_mm)

        # --- rates of the turf
        day.active = active
        day.browning_drive = browning_drive(eto, active, warmth)
        day.summer_decline = summer_decline(
            tmean, processes.decline_from_c, species.summer_decline, active
        )
        day.awake = awake_share(rest, soil, tmean, snow)
        median = turf.sod_death_factor * median_lethal_days(
            tmean, species.median_death_25c, species.median_death_35c
        )
        day.crown_clock = crown_clock(eto, median)
        day.heat_kill = heat_kill_share(
            today.tmax_c, species.heat_kill_from_c, species.heat_kill_rate
        )
        day.recovery = turf.recovery_rate * growth * active
        day.spread = species.spread_rate * growth * active
        since = (on.day_of_year - turf.reseed_day) % CALENDAR_DAYS
        day.reseed = growth * reseed_rate(since, processes.reseed_days, turf.reseed_rate)
    memory.rest, memory.browning_left = rest, browning_left
    memory.root_share, memory.node = root_share, node
    memory.rooting_score, memory.rooting_factor = score_before, factor
    memory.spell_c = spell_c
    memory.hardiness, memory.worst_odds = hardiness, worst_odds
    memory.rooted_before = rooted_before
    memory.fc2_before, memory.fc3_before = fc2_before, fc3_before
