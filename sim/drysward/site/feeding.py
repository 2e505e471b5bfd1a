"""Feeding of the fields of a scenario as records for the day step."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from drysward.catalog import Catalog, Entry
from drysward.compiled import compiled, jitable
from drysward.day.feeding import FeedInput
from drysward.day.records import FEED_DAY, FEED_FIELD, records
from drysward.physics.ammonia import ammonia_buffer, ammonia_warmth, lost_in_a_day
from drysward.physics.arithmetic import NO_LESS
from drysward.physics.fertilizer import coated_rate, cold_limit, day_share, q10_factor
from drysward.physics.growth import growth_potential
from drysward.physics.nitrogen import (
    KG_HA_PER_MG_L_MM,
    built_in_share,
    soil_nitrogen_kg_ha,
)
from drysward.physics.pedotransfer import PARTICLE_DENSITY
from drysward.physics.phosphorus import kept_in_a_day
from drysward.physics.turf_nitrogen import growth_by_status
from drysward.physics.young_turf import young_root_share
from drysward.scenario.feeding_tables import of_species, release_entry
from drysward.scenario.model import SEED, FeedingSpec, FieldSpec, Scenario, SlowPart
from drysward.site.forcing import days_since, species_of
from drysward.site.root_zone import NATIVE, RootZone
from drysward.site.site_weather import SiteWeather

FloatArray = NDArray[np.float64]

LEAST_STRUCTURED = 0.12  # field capacity of native soil from which it is no sand (own estimate)
SLOTS = 3  # slow fertilizers that a field can have beside one another
WEEK_DAYS = 7.0


def feed_input(
    scenario: Scenario,
    zones: Sequence[RootZone],
    fields: np.recarray,
    weather: SiteWeather,
) -> FeedInput:
    """FEED_FIELD (F,) and FEED_DAY (D, F) of a stretch; no days when no field is fed.

    ``fields`` is FIELD (F,).
    """
    row = records(FEED_FIELD, len(zones))
    days = records(FEED_DAY, (weather.record.n_days if scenario.fed else 0, len(zones)))
    for f, spec in enumerate(scenario.fields):
        if spec.feeding is not None:
            slow = slow_parts(spec.feeding)
            _write_field(row[f], spec, spec.feeding, slow, zones[f], fields[f], scenario.catalog)
            _write_doses(days[:, f], spec.feeding, slow, weather.calendar_day)
            young = young_shares(spec, scenario.catalog, weather.calendar_day)
            days["uptake"][:, f], days["living"][:, f] = young
            compiled(feed_pass, counted=False)(
                _numbers(spec, spec.feeding, slow, fields[f], scenario.catalog),
                weather.days,
                days,
                f,
            )
    return FeedInput(row, days)


def slow_parts(feeding: FeedingSpec) -> tuple[SlowPart, ...]:
    """The slow fertilizers of a feeding plan, each kind and rating once, in their order."""
    found = {(p.kind, p.rated_days): p for dose in feeding.doses for p in dose.slow}
    return tuple(found.values())


def _write_field(
    row: np.record,
    spec: FieldSpec,
    feeding: FeedingSpec,
    slow: Sequence[SlowPart],
    zone: RootZone,
    field: np.record,
    catalog: Catalog,
) -> None:
    turf, soil = catalog.get("feeding", "turf"), catalog.get("feeding", "soil")
    ammonia, runoff = catalog.get("feeding", "ammonia"), catalog.get("feeding", "phosphorus")
    limits = catalog.get("feeding", "limits")
    row.on = 1.0
    row.living = turf["living_kg_ha"]
    row.n_least, row.n_most = turf["n_least"], turf["n_most"]
    row.inv_n_span = 1.0 / (turf["n_enough"] - turf["n_least"])
    row.inv_n_room = 1.0 / (turf["n_most"] - turf["n_least"])
    row.clippings_ratio = turf["clippings_n_ratio"]
    row.returned = 1.0 if feeding.clippings_returned else 0.0
    row.water_use_effect, row.lush_root_loss = turf["water_use_effect"], turf["lush_root_loss"]
    row.wear_best, row.wear_rise = turf["wear_best_status"], turf["wear_rise"]
    row.wear_potassium = 1.0 if feeding.potassium_enough else turf["short_potassium"]
    row.inv_usual_growth = 1.0 / max(growth_by_status(turf["usual_status"]), NO_LESS)
    row.inv_drains1 = 1.0 / max(float(field.sat1 - field.fc1), NO_LESS)
    row.usual, row.hungry_browning = turf["usual_status"], turf["hungry_browning"]
    row.hungry_below, row.lush_above = limits["hungry_below"], limits["lush_above"]
    for k, part in enumerate(slow, start=1):
        entry = release_entry(part.kind, catalog)
        row[f"two_step{k}"] = 1.0 if is_two_step(entry) else 0.0
        row[f"wetness{k}"] = entry["wetness_weight"]
    row.most_ammonia = ammonia["ammonia_most_share"]
    row.ammonia_buffer = ammonia_buffer(
        feeding.soil_ph, ammonia["ammonia_buffer_acid"], ammonia["ammonia_buffer_neutral"]
    )
    row.wash_per_mm = ammonia["ammonia_per_mm"]
    row.ammonia_day = lost_in_a_day(ammonia["ammonia_half_life_h"])
    kind = "native" if zone.kind == NATIVE else "sand"
    row.by_cracks = soil["by_cracks"] if is_structured(zone) else 0.0
    row.retardation = soil[f"ammonium_retardation_{kind}"]
    row.built_in = built_in_share(
        soil["litter_built_in"], feeding.organic_matter, soil[f"organic_matter_{kind}"]
    )
    row.runoff_mix = soil["runoff_mix"]
    row.water_n = feeding.water_n_mg_l * KG_HA_PER_MG_L_MM
    row.off_paving, row.paving_rain = 1.0 - feeding.on_paving, limits["paving_rain_mm"]
    row.hold_days, row.hold_dormant = feeding.hold_days, limits["dormant_share"]
    row.hold_wet, row.water_in = limits["wet_ground_mm"], feeding.water_in_mm
    row.p_background = runoff[f"p_background_{feeding.soil_phosphorus}"]
    row.p_lift, row.p_frozen = runoff["p_lift_per_mm"], runoff["p_frozen_factor"]
    row.p_bare, row.p_bound = runoff["p_bare_factor"], runoff["p_bound_per_mm"]
    row.p_day_kept = kept_in_a_day(runoff["p_half_life_d"])
    usual_share = turf["n_least"] + turf["usual_status"] * (turf["n_enough"] - turf["n_least"])
    row.start_turf_n = turf["living_kg_ha"] * usual_share
    row.start_litter_n, row.start_mineral_n = soil["start_litter_n"], soil["start_mineral_n"]


def is_structured(zone: RootZone) -> bool:
    """Whether a root zone has cracks and worm holes: native soil but single-grained sand, which
    holds less water than any other (own estimate).
    """
    native = zone.profile.native
    return zone.kind == NATIVE and native is not None and native.field_capacity >= LEAST_STRUCTURED


def is_two_step(entry: Entry) -> bool:
    """Whether a slow fertilizer lets nothing out at first."""
    return entry["stages"] > 1.5


def _write_doses(
    out: np.ndarray,
    feeding: FeedingSpec,
    slow: Sequence[SlowPart],
    calendar_day: NDArray[np.int64],
) -> None:
    """FEED_DAY (n,) from the calendar: the doses that are due."""
    places = {(part.kind, part.rated_days): k for k, part in enumerate(slow, start=1)}
    for dose in feeding.doses:
        due = days_since(dose.day, calendar_day) == 0
        out["dosed"][due] = 1.0
        for name, amount in (
            ("urea", dose.urea_kg_ha), ("ammonium", dose.ammonium_kg_ha),
            ("nitrate", dose.nitrate_kg_ha), ("p", dose.p_kg_ha),
            *((f"slow{places[p.kind, p.rated_days]}", p.n_kg_ha) for p in dose.slow),
        ):  # fmt: skip
            out[f"dose_{name}"] += np.where(due, amount, 0.0)


class Young(NamedTuple):
    """What young turf has of established turf on calendar days, each (n,)."""

    rooted: FloatArray
    grown: FloatArray


def young_shares(spec: FieldSpec, catalog: Catalog, calendar_day: NDArray[np.int64]) -> Young:
    """Share of the roots under a cover that take up nitrogen, and of its dry matter.

    Sod has lost its roots, and leaves and crowns are whole; seedlings have roots, and are thin
    (own estimate of both forms).
    """
    whole = np.ones(calendar_day.size)
    if spec.establish is None:
        return Young(whole, whole)
    entry = catalog.get("play", f"establish_{spec.establish.kind}")
    is_seed = spec.establish.kind == SEED
    soil = catalog.get("feeding", "soil")
    start = entry["young_root_start"] if is_seed else soil["new_turf_uptake"]
    share = np.array([
        young_root_share(age, start, entry["young_rooting_days"])
        for age in days_since(spec.establish.day, calendar_day)
    ])  # fmt: skip
    return Young(whole, share) if is_seed else Young(share, whole)


class _Numbers(NamedTuple):
    """Numbers of a field from which its days of feeding are computed."""

    growth_optimum_c: float
    growth_spread_c: float
    warm_season: bool
    living: float  # dry matter of full cover (kg/ha)
    uptake: float  # of hungry turf on the best day
    clippings: float  # on the best day (kg/ha)
    turnover: float
    hydrolysis: float
    urea_q10: float
    nitrify: float
    nitrify_q10: float
    nitrify_nil_c: float
    nitrify_full_c: float
    humus: float  # a day at 35 C
    # nitrogen of the active organic matter (kg/ha), and the share of it in the surface layer
    active_n: float
    in_surface: float
    litter: float
    immobilized: float
    mineral_q10: float
    denitrify: float
    denitrify_q10: float
    heavy_rain_mm: float
    slow: tuple[_Slow, _Slow, _Slow]


class _Slow(NamedTuple):
    """Rate of a slow fertilizer (1/d) at a temperature, its Q10, and where cold stops it (C)."""

    rate: float
    reference_c: float
    q10: float
    nil_c: float
    full_c: float


NO_SLOW = _Slow(0.0, 20.0, 2.0, -2.0, 0.0)


def _numbers(
    spec: FieldSpec,
    feeding: FeedingSpec,
    slow: Sequence[SlowPart],
    field: np.record,
    catalog: Catalog,
) -> _Numbers:
    depth = float(field.surface_mm)
    density = (1.0 - float(field.sat1) / depth) * PARTICLE_DENSITY
    species, turf = species_of(spec, catalog), catalog.get("feeding", "turf")
    soil, limits = catalog.get("feeding", "soil"), catalog.get("feeding", "limits")
    speeds = [slow_speed(part, catalog) for part in slow]
    first, second, third = [*speeds, NO_SLOW, NO_SLOW, NO_SLOW][:SLOTS]
    return _Numbers(
        growth_optimum_c=float(species["growth_optimum_c"]),
        growth_spread_c=float(species["growth_spread_c"]),
        warm_season=species.words["season"] == "warm",
        living=float(turf["living_kg_ha"]),
        uptake=float(turf["uptake_per_d"]),
        clippings=float(of_species("nitrogen", species.key, catalog)["clippings_most_kg_ha_d"]),
        turnover=float(turf["turnover_per_d"]),
        hydrolysis=float(soil["urea_per_d"]),
        urea_q10=float(soil["urea_q10"]),
        nitrify=float(soil["nitrify_per_d"]),
        nitrify_q10=float(soil["nitrify_q10"]),
        nitrify_nil_c=float(soil["nitrify_nil_c"]),
        nitrify_full_c=float(soil["nitrify_full_c"]),
        humus=float(soil["mineral_rate_per_week"]) / WEEK_DAYS,
        active_n=float(soil["active_share"])
        * soil_nitrogen_kg_ha(feeding.organic_matter, depth, density, soil["n_of_organic_matter"]),
        in_surface=float(soil["humus_in_surface"]),
        litter=float(soil["litter_per_week"]) / WEEK_DAYS,
        immobilized=float(soil["immobilized_per_d"]),
        mineral_q10=float(soil["mineral_q10"]),
        denitrify=float(soil["denitrify_per_d"]),
        denitrify_q10=float(soil["denitrify_q10"]),
        heavy_rain_mm=float(limits["heavy_rain_mm"]),
        slow=(first, second, third),
    )


def slow_speed(part: SlowPart, catalog: Catalog) -> _Slow:
    """How fast a slow fertilizer is released on turf: in thatch faster than its label says."""
    entry = release_entry(part.kind, catalog)
    rate = coated_rate(part.rated_days or entry["rated_days"], entry["stages"])
    return _Slow(
        float(rate * entry["thatch_factor"]),
        *(float(entry[name]) for name in ("reference_c", "release_q10", "nil_c", "full_c")),
    )


@jitable
def _leaves(slow: _Slow, soil_c: float) -> float:
    """Share of a slow fertilizer that leaves a step on a moist day."""
    warmth = q10_factor(soil_c, slow.q10, slow.reference_c)
    return day_share(slow.rate, warmth * cold_limit(soil_c, slow.nil_c, slow.full_c))


MINERAL_C, USUAL_C = 35.0, 20.0  # where the rates of humus, and the others, hold


def feed_pass(turf: _Numbers, weather: Any, days: Any, f: int) -> None:
    """Write what weather makes of the nitrogen of a field into ``days[:, f]``, in place.

    Parameters
    ----------
    weather : WEATHER (n,).
    days : FEED_DAY (n, F), of which ``uptake`` holds the share of the roots on entry, and
        ``living`` that of the dry matter.
    """
    n = days.shape[0]
    frozen_before = 0.0
    for d in range(n):
        day, today = days[d, f], weather[d]
        soil_c = today.soil_c
        day.growth = growth_potential(
            today.tmean_c, turf.growth_optimum_c, turf.growth_spread_c, turf.warm_season
        )
        # Roots take up nitrogen in weather too cold, or too hot, for leaves to grow (own estimate).
        day.uptake = turf.uptake * day.uptake * math.sqrt(day.growth)
        day.clippings = turf.clippings * day.growth * day.living
        day.living *= turf.living
        day.hydrolysis = day_share(turf.hydrolysis, q10_factor(soil_c, turf.urea_q10, USUAL_C))
        warmth = q10_factor(soil_c, turf.nitrify_q10, USUAL_C)
        warmth *= cold_limit(soil_c, turf.nitrify_nil_c, turf.nitrify_full_c)
        day.nitrify = day_share(turf.nitrify, warmth)
        slow = q10_factor(soil_c, turf.mineral_q10, MINERAL_C)
        freed = turf.active_n * day_share(turf.humus, slow)
        day.freed1, day.freed2 = freed * turf.in_surface, freed * (1.0 - turf.in_surface)
        usual = q10_factor(soil_c, turf.mineral_q10, USUAL_C)
        day.litter = day_share(turf.litter, usual)
        day.turnover = day_share(turf.turnover, usual)
        day.immobilized = day_share(turf.immobilized, usual)
        day.leave1 = _leaves(turf.slow[0], soil_c)
        day.leave2 = _leaves(turf.slow[1], soil_c)
        day.leave3 = _leaves(turf.slow[2], soil_c)
        day.denitrify = turf.denitrify * q10_factor(soil_c, turf.denitrify_q10, USUAL_C)
        day.ammonia_factor = ammonia_warmth(soil_c)
        cold = 1.0 if (today.frozen > 0.0) | (today.snow_water_mm > 0.0) else 0.0
        day.frozen, day.frozen_today = frozen_before, cold
        frozen_before = cold
        tomorrow = weather[min(d + 1, n - 1)].rain_mm
        heavy = (today.rain_mm >= turf.heavy_rain_mm) | (tomorrow >= turf.heavy_rain_mm)
        day.heavy_rain = 1.0 if heavy else 0.0
