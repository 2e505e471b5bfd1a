"""Feeding of the fields of a scenario as records for the day step."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from drysward.catalog import Catalog, Entry
from drysward.compiled import compiled
from drysward.day.feeding import FeedInput
from drysward.day.records import FEED_DAY, FEED_FIELD, records
from drysward.physics.ammonia import ammonia_warmth, chance_lost, most_ammonia
from drysward.physics.fertilizer import coated_rate, day_share, q10_factor
from drysward.physics.growth import growth_potential
from drysward.physics.turf_nitrogen import uptake_warmth
from drysward.scenario.model import FeedingSpec, FieldSpec, Scenario, SlowPart
from drysward.site.forcing import days_since, species_of
from drysward.site.root_zone import NATIVE, RootZone
from drysward.site.site_weather import SiteWeather

FloatArray = NDArray[np.float64]

SLOTS = 3  # slow fertilizers that a field can have beside one another
# kg/ha of soil for each mm of depth and g/cm3 of density.
SOIL_KG_HA_MM = 10_000.0
WEEK_DAYS = 7.0


def any_is_fed(scenario: Scenario) -> bool:
    """Whether any field of a scenario has a feeding plan."""
    return any(field.feeding is not None for field in scenario.fields)


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
    is_fed = any_is_fed(scenario)
    days = records(FEED_DAY, (weather.record.n_days if is_fed else 0, len(zones)))
    for f, spec in enumerate(scenario.fields):
        if spec.feeding is not None:
            slow = slow_parts(spec.feeding)
            _write_field(row[f], spec, spec.feeding, slow, zones[f], fields[f], scenario.catalog)
            _write_doses(days[:, f], spec.feeding, slow, weather.calendar_day)
            days["uptake"][:, f] = rooted(spec, scenario.catalog, weather.calendar_day)
            compiled(feed_pass, counted=False)(
                _numbers(spec, slow, scenario.catalog), weather.days, days, f
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
    turf, soil = turf_entry(spec, catalog), catalog.get("feeding", "soil")
    ammonia, runoff = catalog.get("feeding", "ammonia"), catalog.get("feeding", "phosphorus")
    limits = catalog.get("feeding", "limits")
    row.on = 1.0
    row.living, row.n_least, row.n_most = turf["living_kg_ha"], turf["n_least"], turf["n_most"]
    row.inv_n_span = 1.0 / (turf["n_enough"] - turf["n_least"])
    row.clippings_most = turf["clippings_most_kg_ha_d"]
    row.clippings_ratio = turf["clippings_n_ratio"]
    row.returned = 1.0 if feeding.clippings_returned else 0.0
    row.water_use_effect, row.lush_root_loss = turf["water_use_effect"], turf["lush_root_loss"]
    row.wear_best, row.wear_rise = turf["wear_best_status"], turf["wear_rise"]
    if not feeding.potassium_enough:
        row.wear_rise *= 1.0 + turf["short_of_potassium_wear"]
    row.usual, row.hungry_browning = turf["usual_status"], turf["hungry_browning"]
    row.hungry_below, row.lush_above = turf["hungry_below"], turf["lush_above"]
    for k, part in enumerate(slow, start=1):
        entry = release_entry(part.kind, catalog)
        row[f"two_step{k}"] = 1.0 if entry["steps"] > 1.5 else 0.0
        row[f"wetness{k}"] = entry["wetness_weight"]
    row.most_ammonia = most_ammonia(
        feeding.soil_ph, ammonia["acid_share"], ammonia["neutral_share"]
    )
    row.ammonia_buffer, row.wash_per_mm = ammonia["buffer_kg_ha"], ammonia["wash_per_mm"]
    row.ammonia_day = chance_lost(ammonia["half_life_h"])
    kind = "native" if zone.kind == NATIVE else "sand"
    row.retardation = soil[f"ammonium_retardation_{kind}"]
    row.built_in, row.runoff_mix = soil["litter_built_in"], soil["runoff_mix"]
    row.water_n = feeding.water_n_mg_l / 100.0
    row.off_paving, row.paving_rain = 1.0 - feeding.on_paving, limits["paving_rain_mm"]
    row.hold_days, row.hold_dormant = feeding.hold_days, limits["hold_dormant"]
    row.hold_wet, row.water_in = -limits["hold_wet_mm"], feeding.water_in_mm
    row.p_background = runoff[f"background_mg_l_{feeding.soil_phosphorus}"]
    for name in ("storm_share", "storm_mm", "frozen", "bare", "per_mm", "day_kept"):
        row[f"p_{name}"] = runoff[name]
    row.start_turf_n = turf["living_kg_ha"] * (
        turf["n_least"] + turf["usual_status"] * (turf["n_enough"] - turf["n_least"])
    )
    depth, density = float(field.surface_mm), zone.bulk_density
    row.start_humus_n = (
        SOIL_KG_HA_MM * depth * density * feeding.organic_matter * soil["n_of_organic_matter"]
    )
    row.start_litter_n, row.start_mineral_n = soil["start_litter_n"], soil["start_mineral_n"]


def turf_entry(spec: FieldSpec, catalog: Catalog) -> Entry:
    """What nitrogen does to the field's turf, by the season of its species."""
    return catalog.get("feeding", f"turf_{species_of(spec, catalog).words['season']}")


def release_entry(kind: str, catalog: Catalog) -> Entry:
    """The release of a slow fertilizer, by its name in a scenario."""
    return catalog.get("feeding", "release_" + kind.replace("-", "_").replace(" ", "_"))


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
        for name, amount in (
            ("urea", dose.urea_kg_ha), ("ammonium", dose.ammonium_kg_ha),
            ("nitrate", dose.nitrate_kg_ha), ("p", dose.p_kg_ha),
            *((f"slow{places[p.kind, p.rated_days]}", p.n_kg_ha) for p in dose.slow),
        ):  # fmt: skip
            out[f"dose_{name}"] += np.where(due, amount, 0.0)


def rooted(spec: FieldSpec, catalog: Catalog, calendar_day: NDArray[np.int64]) -> FloatArray:
    """Share of the roots of established turf that take up nitrogen on calendar days (n,)."""
    share = np.ones(calendar_day.size)
    if spec.establish is not None:
        days = catalog.get("play", f"establish_{spec.establish.kind}")["young_rooting_days"]
        least = catalog.get("feeding", "soil")["new_turf_uptake"]
        age = days_since(spec.establish.day, calendar_day)
        share = np.clip(least + (1.0 - least) * age / days, least, 1.0)
    return share


class _Numbers(NamedTuple):
    """Numbers of a field from which its days of feeding are computed."""

    growth_optimum_c: float
    growth_spread_c: float
    warm_season: bool
    uptake: float
    turnover: float
    hydrolysis: float
    urea_q10: float
    nitrify: float
    nitrify_q10: float
    humus: float  # a day at 35 C
    active_share: float
    litter: float
    immobilized: float
    mineral_q10: float
    denitrify: float
    denitrify_q10: float
    heavy_rain_mm: float
    # of each slow fertilizer: rate a day at its reference temperature, that temperature, Q10
    slow: tuple[tuple[float, float, float], tuple[float, float, float], tuple[float, float, float]]


NO_SLOW = (0.0, 20.0, 2.0)


def _numbers(spec: FieldSpec, slow: Sequence[SlowPart], catalog: Catalog) -> _Numbers:
    species, turf = species_of(spec, catalog), turf_entry(spec, catalog)
    soil, limits = catalog.get("feeding", "soil"), catalog.get("feeding", "limits")
    speeds = [slow_speed(part, catalog) for part in slow]
    first, second, third = [*speeds, NO_SLOW, NO_SLOW, NO_SLOW][:SLOTS]
    return _Numbers(
        growth_optimum_c=float(species["growth_optimum_c"]),
        growth_spread_c=float(species["growth_spread_c"]),
        warm_season=species.words["season"] == "warm",
        uptake=float(turf["uptake_per_d"]),
        turnover=float(turf["turnover_per_d"]),
        hydrolysis=float(soil["urea_per_d"]),
        urea_q10=float(soil["urea_q10"]),
        nitrify=float(soil["nitrify_per_d"]),
        nitrify_q10=float(soil["nitrify_q10"]),
        humus=float(soil["mineral_rate_per_week"]) / WEEK_DAYS,
        active_share=float(soil["active_share"]),
        litter=float(soil["litter_per_week"]) / WEEK_DAYS,
        immobilized=float(soil["immobilized_per_d"]),
        mineral_q10=float(soil["mineral_q10"]),
        denitrify=float(soil["denitrify_per_d"]),
        denitrify_q10=float(soil["denitrify_q10"]),
        heavy_rain_mm=float(limits["heavy_rain_mm"]),
        slow=(first, second, third),
    )


def slow_speed(part: SlowPart, catalog: Catalog) -> tuple[float, float, float]:
    """Rate (1/d) of a slow fertilizer at its reference temperature (C), that, and its Q10.

    On turf a coated one lies in thatch and releases faster than its label says.
    """
    entry = release_entry(part.kind, catalog)
    coated = entry["steps"] > 1.5
    rate = (
        coated_rate(part.rated_days) * entry["thatch_factor"] if coated else entry["rate_per_d"]
    )
    return float(rate), float(entry["reference_c"]), float(entry["q10"])


MINERAL_C, USUAL_C = 35.0, 20.0  # where the rates of humus, and the others, hold


def feed_pass(turf: _Numbers, weather: Any, days: Any, f: int) -> None:
    """Write what weather makes of the nitrogen of a field into ``days[:, f]``, in place.

    Parameters
    ----------
    weather : WEATHER (n,).
    days : FEED_DAY (n, F), of which ``uptake`` holds the share of the roots on entry.
    """
    n = days.shape[0]
    frozen_before = 0.0
    for d in range(n):
        day, today = days[d, f], weather[d]
        soil_c = today.soil_c
        day.growth = growth_potential(
            today.tmean_c, turf.growth_optimum_c, turf.growth_spread_c, turf.warm_season
        )
        day.uptake = day.uptake * turf.uptake * uptake_warmth(day.growth)
        day.hydrolysis = day_share(turf.hydrolysis, q10_factor(soil_c, turf.urea_q10, USUAL_C))
        day.nitrify = day_share(turf.nitrify, q10_factor(soil_c, turf.nitrify_q10, USUAL_C))
        slow = q10_factor(soil_c, turf.mineral_q10, MINERAL_C)
        day.humus = turf.active_share * day_share(turf.humus, slow)
        usual = q10_factor(soil_c, turf.mineral_q10, USUAL_C)
        day.litter = day_share(turf.litter, usual)
        day.turnover = day_share(turf.turnover, usual)
        day.immobilized = day_share(turf.immobilized, usual)
        leaves = (turf.slow[0], turf.slow[1], turf.slow[2])
        day.leave1 = day_share(leaves[0][0], q10_factor(soil_c, leaves[0][2], leaves[0][1]))
        day.leave2 = day_share(leaves[1][0], q10_factor(soil_c, leaves[1][2], leaves[1][1]))
        day.leave3 = day_share(leaves[2][0], q10_factor(soil_c, leaves[2][2], leaves[2][1]))
        day.denitrify = turf.denitrify * q10_factor(soil_c, turf.denitrify_q10, USUAL_C)
        day.ammonia_factor = ammonia_warmth(soil_c)
        cold = 1.0 if (today.frozen > 0.0) | (today.snow_water_mm > 0.0) else 0.0
        day.frozen, day.frozen_today = frozen_before, cold
        frozen_before = cold
        tomorrow = weather[min(d + 1, n - 1)].rain_mm
        heavy = (today.rain_mm >= turf.heavy_rain_mm) | (tomorrow >= turf.heavy_rain_mm)
        day.heavy_rain = 1.0 if heavy else 0.0
