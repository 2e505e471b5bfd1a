"""Play on the fields of a scenario as records for the day step."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from drysward.catalog import Catalog, Entry
from drysward.compiled import compiled
from drysward.day.records import PLAY_DAY, PLAY_FIELD, records
from drysward.day.surface import PlayInput
from drysward.faults import Fault, FaultyInput
from drysward.physics.air import days_until_harm, root_harm_rate, root_heal_rate
from drysward.physics.arithmetic import NO_LESS, larger
from drysward.physics.growth import daily_rate_to_share, growth_potential
from drysward.physics.hardness import (
    density_on_the_line,
    intercept_at_density_g,
    intercept_at_wilting_g,
)
from drysward.physics.leaf_disease import (
    dew_hours,
    dewpoint_c,
    leaf_cooling_c,
    rain_wet_hours,
    warm_night,
    wet_night_hours,
)
from drysward.physics.mud import mud_from, undrained_share
from drysward.physics.pedotransfer import PARTICLE_DENSITY
from drysward.physics.reference_et import (
    clear_sky_solar_mj_m2,
    cloud_term,
    day_of_year,
    daylight_hours,
    extraterrestrial_radiation_mj_m2,
)
from drysward.physics.syringing import syringe_left
from drysward.physics.wear import cover_left, event_rate, wear_limit, wear_rate_per_h
from drysward.scenario.model import (
    SEED,
    SKINNED,
    TIMES_OF_DAY,
    FieldSpec,
    HardnessSpec,
    PlanSpec,
    PlaySpec,
    Scenario,
)
from drysward.site.covers import Covered, cover_days
from drysward.site.forcing import days_since, species_of
from drysward.site.play_calendar import days_of_use
from drysward.site.root_zone import NATIVE, RootZone
from drysward.site.site_weather import SiteWeather

FloatArray = NDArray[np.float64]


def any_syringed(plans: Sequence[PlanSpec]) -> bool:
    """Whether any of the plans syringes any field."""
    return any(part.syringe is not None for plan in plans for part in plan.parts)


def has_play_on(field: FieldSpec, plans: tuple[PlanSpec, ...]) -> bool:
    """Whether the day step needs play on a field."""
    return (
        field.play is not None
        or field.surface == SKINNED
        or field.establish is not None
        or any_syringed(plans)
    )


def any_has_play(scenario: Scenario) -> bool:
    """Whether any field of a scenario has play."""
    return any(has_play_on(field, scenario.plans) for field in scenario.fields)


def require_play(scenario: Scenario) -> None:
    """FaultyInput when no field of the scenario has play."""
    if not any_has_play(scenario):
        allowed = "add to a field, under [fields.KEY]: play = {}"
        raise FaultyInput(Fault("fields", "no field has play", allowed))


def field_covers(spec: FieldSpec, weather: SiteWeather) -> Covered:
    """Days under the field's rain cover; snow is not covered."""
    record = weather.record
    play = spec.play or PlaySpec()
    rain = np.where(weather.days.liquid_mm >= record.rain_mm, record.rain_mm, 0.0)
    return cover_days(play.cover, play.events, record.dates, rain, record.tmax_c)


def play_input(
    scenario: Scenario,
    zones: tuple[RootZone, ...],
    fields: np.recarray,
    weather: SiteWeather,
    covered: Sequence[Covered],
) -> PlayInput:
    """PLAY_FIELD (F,) and PLAY_DAY (D, F) of a stretch; no days when no field has play.

    ``fields`` is FIELD (F,) and ``covered`` the days under cover of each field.
    """
    has_play = [has_play_on(spec, scenario.plans) for spec in scenario.fields]
    row = records(PLAY_FIELD, len(zones))
    days = records(PLAY_DAY, (weather.record.n_days if any(has_play) else 0, len(zones)))
    if not any(has_play):
        return PlayInput(row, days)
    day, latitude = day_of_year(weather.record.dates), scenario.site.latitude_deg
    nights_h = 24.0 - np.asarray(daylight_hours(latitude, day))
    clear_sky = clear_sky_solar_mj_m2(
        extraterrestrial_radiation_mj_m2(latitude, day), scenario.site.elevation_m
    )
    cloud_terms = np.asarray(cloud_term(weather.et.solar_mj_m2, clear_sky))
    for f, spec in enumerate(scenario.fields):
        if has_play[f]:
            kind = "native" if zones[f].kind == NATIVE else "sand"
            _write_field(row[f], spec, kind, zones[f], fields[f], scenario)
            _write_calendar(days[:, f], spec, scenario.catalog, weather, covered[f])
            compiled(play_pass, counted=False)(
                _numbers(spec, kind, scenario.catalog),
                weather.days,
                weather.et.vapor_pressure_kpa,
                nights_h,
                cloud_terms,
                days,
                f,
            )
    return PlayInput(row, days)


def _write_field(
    row: np.record,
    spec: FieldSpec,
    kind: str,
    zone: RootZone,
    field: np.record,
    scenario: Scenario,
) -> None:
    """PLAY_FIELD of one field, of ``kind`` "native" or "sand", from its FIELD."""
    catalog = scenario.catalog
    play = spec.play or PlaySpec()
    surface_mm = float(field.surface_mm)
    field_capacity, saturation = float(field.fc1) / surface_mm, float(field.sat1) / surface_mm
    hardness = catalog.get("play", f"hardness_{kind}")
    line = hardness_line(
        hardness,
        (1.0 - saturation) * PARTICLE_DENSITY,
        play.hardness,
        float(field.wp1) / surface_mm,
        zone.loose_density if kind == "native" else None,
    )
    wear = catalog.get("play", f"wear_{kind}")
    limits, infield = catalog.get("play", "limits"), catalog.get("play", "infield")
    disease = catalog.get("play", "leaf_disease")
    row.on = 1.0
    row.skinned = spec.surface == SKINNED
    row.inv_surface_mm = 1.0 / surface_mm
    row.hard_intercept, row.hard_slope, row.hard_floor = line[:3]
    row.hard_bare = line.bare_g
    row.hard_inv_scatter = 1.0 / line.scatter_g if line.scatter_g > 0.0 else math.inf
    row.hard_frozen = limits["frozen_g"]
    row.hard_above = play.hard_above_g or hardness["hard_above_g"]
    row.soft_below = play.soft_below_g
    if spec.surface == SKINNED and play.hard_above_g is None:
        row.hard_above, row.soft_below = math.inf, 0.0  # limits for turf do not apply
    row.air_below, row.share = play.air_filled_below, play.share
    row.inv_air_below = 1.0 / max(play.air_filled_below, NO_LESS)
    row.weed_air = limits["invader_air"]
    row.most_root_loss = catalog.get("play", "airless_roots")["most_root_loss"]
    for name in ("wear_middle_from", "wear_wet_from"):
        row[name] = wear_limit(wear[name], field_capacity, wear["wear_field_capacity"])
    mud = catalog.get("play", "mud")
    # Sand does not turn to mud.
    native = kind == "native"
    row.mud_above = mud_from(field_capacity, saturation, mud["mud_pores"]) if native else math.inf
    row.undrained_of_rain, row.undrained_of_watering[:] = undrained_at_play(mud, zone, surface_mm)
    row.least_wet_hours = disease["leaf_wet_least_h"]
    row.watering_wet_hours[:] = watering_wet_hours(disease)
    if spec.skin is not None:
        row.skin_target_mm = spec.skin.target * surface_mm
        row.skin_dust, row.mud_above = spec.skin.dust_below, spec.skin.mud_above
        row.skin_passes = spec.skin.passes
        row.skin_most_per_pass = infield["skin_most_per_pass_mm"]
    gone = catalog.get("play", "syringe")["syringe_evaporated_share"]
    row.syringe_left = syringe_left(1.0, gone)


class HardnessLine(NamedTuple):
    """Line on water by volume (0..1), its floor, what bare ground adds, and scatter; all in g."""

    intercept_g: float
    slope_g: float
    floor_g: float
    bare_g: float
    scatter_g: float


def hardness_line(
    entry: Entry,
    bulk_density: float | None = None,
    fitted: HardnessSpec | None = None,
    wilting_point: float | None = None,
    loose_density: float | None = None,
) -> HardnessLine:
    """The line of a surface.

    Parameters
    ----------
    entry : ``play.hardness_native`` or ``play.hardness_sand`` of the catalog.
    bulk_density : of the surface soil (g/cm3); None leaves it at that of the line.
    fitted : readings of the field itself, in place of the catalog's line and scatter.
    wilting_point : of the surface soil (0..1); None leaves it at that of the line.
    loose_density : of the same soil uncompacted (g/cm3); None takes it to be that of the line.
    """
    floor, bare = entry["hardness_floor_g"], entry["hardness_bare_g"]
    if fitted is not None:
        # A measured line has no floor above 0.
        return HardnessLine(fitted.intercept_g, fitted.slope_g, 0.0, bare, fitted.scatter_g)
    intercept, slope = entry["hardness_intercept_g"], entry["hardness_slope_g"]
    if bulk_density is not None:
        of_line = entry["hardness_reference_density"]
        compared = density_on_the_line(bulk_density, loose_density or of_line, of_line)
        intercept = intercept_at_density_g(
            intercept, entry["hardness_density_g"], compared, of_line
        )
    if wilting_point is not None:
        intercept = intercept_at_wilting_g(
            intercept, slope, wilting_point, entry["hardness_wilting_point"]
        )
    return HardnessLine(intercept, slope, floor, bare, entry["hardness_scatter_g"])


def undrained_at_play(mud: Entry, zone: RootZone, surface_mm: float) -> tuple[float, list[float]]:
    """Share of the water above field capacity that drains between play and the day's end: of rain,
    and of irrigation by time of day in the order of TIMES_OF_DAY.
    """

    def undrained(hours: float) -> float:
        drained = zone.profile.drain_share(0.0, surface_mm, hours)
        return undrained_share(drained, zone.profile.drain_share(0.0, surface_mm))

    by_time = [undrained(mud[f"play_after_{time.replace(' ', '_')}_h"]) for time in TIMES_OF_DAY]
    return undrained(mud["play_after_rain_h"]), by_time


def watering_wet_hours(disease: Entry) -> list[float]:
    """Wet hours that irrigation adds to a night, by time of day in the order of TIMES_OF_DAY."""
    return [disease[f"wet_hours_{time.replace(' ', '_')}"] for time in TIMES_OF_DAY]


def harm_days(roots: Entry) -> tuple[float, float, float, float]:
    """Days of saturation until harm shows at the temperatures of ``air.HARM_AT_C``."""
    cold, cool, warm, hot = (float(roots[f"harm_days_{t}c"]) for t in (5, 17, 25, 32))
    return cold, cool, warm, hot


def _write_calendar(
    out: np.ndarray, spec: FieldSpec, catalog: Catalog, weather: SiteWeather, covered: Covered
) -> None:
    """PLAY_DAY (n,) from the calendar: use, events, covers, new turf."""
    if spec.play is not None:
        use = days_of_use(spec.play, weather.record.dates)
        out["use_hours"], out["judged"] = use.use_hours, use.judged
        out["blackout"], out["prewet"] = use.blackout, use.prewet_mm
    out["covered"], out["kept_off"], out["labor"] = covered
    if spec.establish is not None and spec.surface != SKINNED:
        _write_new_turf(out, spec, catalog, weather)


class _Numbers(NamedTuple):
    """Numbers of a field from which its days of play are computed."""

    leaf_depression_c: float
    dew_after_sunrise_h: float
    night_above_c: float
    rain_wet_from_mm: float
    rain_wet_h: float
    harm_days: tuple[float, float, float, float]
    visible_root_loss: float
    # wear of an hour of use on dry soil, and factors on moister soil
    wear_per_h: float
    middle_factor: float
    wet_factor: float
    dormant_wear_per_h: float
    # growth: none on a skinned surface
    growth_optimum_c: float
    growth_spread_c: float
    warm_season: bool
    root_regrowth_days: float
    recovery_rate: float
    coming_up_rate: float  # of seed, while young


def _numbers(spec: FieldSpec, kind: str, catalog: Catalog) -> _Numbers:
    disease, roots = catalog.get("play", "leaf_disease"), catalog.get("play", "airless_roots")
    wear, use = catalog.get("play", f"wear_{kind}"), catalog.get("play", "use")
    species, turf = species_of(spec, catalog), catalog.get("turf_processes", "all")
    event = event_rate(wear["events_to_half_cover"], wear["wear_middle_factor"])
    grows = spec.surface != SKINNED
    seeded = spec.establish is not None and spec.establish.kind == SEED
    return _Numbers(
        leaf_depression_c=float(disease["leaf_depression_c"]),
        dew_after_sunrise_h=float(disease["dew_after_sunrise_h"]),
        night_above_c=float(disease["night_above_c"]),
        rain_wet_from_mm=float(disease["rain_wet_from_mm"]),
        rain_wet_h=float(disease["rain_wet_h"]),
        harm_days=harm_days(roots),
        visible_root_loss=float(roots["visible_root_loss"]),
        wear_per_h=wear_rate_per_h(event, use["worn_part"], use["event_hours"]),
        middle_factor=float(wear["wear_middle_factor"]),
        wet_factor=float(wear["wear_wet_factor"]),
        dormant_wear_per_h=float(use["dormant_wear_per_h"]),
        growth_optimum_c=float(species["growth_optimum_c"]),
        growth_spread_c=float(species["growth_spread_c"]),
        warm_season=species.words["season"] == "warm",
        root_regrowth_days=float(turf["root_regrowth_days"]) if grows else math.inf,
        recovery_rate=daily_rate_to_share(0.8, species["recovery_days"]) if grows else 0.0,
        coming_up_rate=daily_rate_to_share(0.9, turf["reseed_days"]) if grows and seeded else 0.0,
    )


def play_pass(
    turf: _Numbers,
    weather: Any,
    vapor_pressure_kpa: FloatArray,
    nights_h: FloatArray,
    cloud_terms: FloatArray,
    days: Any,
    f: int,
) -> None:
    """Write the part of PLAY_DAY of a field that depends on weather into ``days[:, f]``, in place.

    Parameters
    ----------
    weather : WEATHER (n,). vapor_pressure_kpa, nights_h : (n,).
    cloud_terms : of each day (n,); 1 under a clear sky.
    days : PLAY_DAY (n, F), of which hours of use and young turf are read.
    """
    rain_before, cloud_term_before = 0.0, cloud_terms[0]
    for d in range(days.shape[0]):
        day, today = days[d, f], weather[d]
        use = day.use_hours
        day.wear_dry = 1.0 - cover_left(turf.wear_per_h, 1.0, use)
        day.wear_middle = 1.0 - cover_left(turf.wear_per_h, turf.middle_factor, use)
        day.wear_wet = 1.0 - cover_left(turf.wear_per_h, turf.wet_factor, use)
        day.wear_dormant = 1.0 - cover_left(turf.dormant_wear_per_h, 1.0, use)
        day.warm_night = warm_night(today.tmin_c, turf.night_above_c)
        day.dew_hours = dew_hours(
            today.tmax_c,
            today.tmin_c,
            dewpoint_c(vapor_pressure_kpa[d]),
            nights_h[d],
            leaf_cooling_c(turf.leaf_depression_c, cloud_term_before),
            turf.dew_after_sunrise_h,
        )
        day.wet_night_hours = wet_night_hours(nights_h[d], turf.dew_after_sunrise_h)
        cloud_term_before = cloud_terms[d]
        # The night of a day ends on its morning; rain of the day before wets its leaves.
        day.rain_wet_hours = rain_wet_hours(rain_before, turf.rain_wet_from_mm, turf.rain_wet_h)
        rain_before = today.rain_mm
        day.root_harm = root_harm_rate(
            days_until_harm(today.soil_c, turf.harm_days), turf.visible_root_loss
        )
        day.frozen, day.tmax = today.frozen, today.tmax_c
        growth = growth_potential(
            today.tmean_c, turf.growth_optimum_c, turf.growth_spread_c, turf.warm_season
        )
        day.root_heal = root_heal_rate(growth, turf.root_regrowth_days)
        # Worn ground closes as fast as browned turf regreens, from crowns left in it (own
        # estimate).
        regrowth = turf.recovery_rate * growth
        day.regrowth = larger(regrowth, turf.coming_up_rate) if day.young > 0.0 else regrowth


def _write_new_turf(
    out: np.ndarray, spec: FieldSpec, catalog: Catalog, weather: SiteWeather
) -> None:
    """Write new turf, sown or laid on its day every year: light watering, losses, establishment."""
    new = spec.establish
    assert new is not None
    entry = catalog.get("play", f"establish_{new.kind}")
    age = days_since(new.day, weather.calendar_day)
    out["sown"] = np.where(age == 0, 2.0 if new.kind == SEED else 1.0, 0.0)
    out["light"] = np.where(age < new.days, new.light_mm * new.times_a_day, 0.0)
    rooting_days = entry["young_rooting_days"]
    out["young"] = age < rooting_days
    out["young_dry_below"] = entry["young_dry_below"]
    # Plants that have rooted below the surface layer do not die with it (own estimate).
    out["young_loss"] = entry["young_loss_rate"] * np.clip(1.0 - age / rooting_days, 0.0, 1.0)
