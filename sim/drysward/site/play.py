"""A scenario's fields as the records that the day step reads of play."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from drysward.catalog import Catalog
from drysward.day.records import PLAY_DAY, PLAY_FIELD, records
from drysward.day.surface import PlayInput
from drysward.faults import Fault, FaultyInput
from drysward.physics.air import root_harm_rate, root_heal_rate
from drysward.physics.growth import daily_rate_to_share, growth_potential
from drysward.physics.hardness import hardness_line
from drysward.physics.leaf_disease import (
    dew_hours,
    dewpoint_c,
    rain_wet_hours,
    warm_nights,
    watering_wet_hours,
)
from drysward.physics.pedotransfer import PARTICLE_DENSITY
from drysward.physics.play import syringe_left
from drysward.physics.reference_et import day_of_year, daylight_hours
from drysward.physics.wear import cover_left, moisture_classes, wear_rate_per_h
from drysward.scenario.model import SEED, SKINNED, FieldSpec, PlanSpec, PlaySpec, Scenario
from drysward.site.covers import Covered, cover_days
from drysward.site.forcing import days_since
from drysward.site.play_calendar import days_of_use
from drysward.site.root_zone import NATIVE, RootZone
from drysward.site.site_weather import SiteWeather


def is_looked_at(field: FieldSpec, plans: tuple[PlanSpec, ...]) -> bool:
    """Whether anything of a field asks for the day step to look at play."""
    return (
        field.play is not None
        or field.surface == SKINNED
        or field.establish is not None
        or any(plan.syringe is not None for plan in plans)
    )


def require_play(scenario: Scenario) -> None:
    """FaultyInput when no field of the scenario is looked at for play."""
    if not any(is_looked_at(field, scenario.plans) for field in scenario.fields):
        allowed = "a table [fields.KEY.play], such as play = { hard_above = 100 }"
        raise FaultyInput(Fault("fields", "none asks to be looked at for play", allowed))


def field_covers(spec: FieldSpec, weather: SiteWeather) -> Covered:
    """Days under the field's rain cover; snow is left to lie."""
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
    """PLAY_FIELD (F,) and PLAY_DAY (D, F) of a stretch; no days when no field is looked at.

    ``fields`` is FIELD (F,) and ``covered`` the days under cover of each field.
    """
    looked_at = [is_looked_at(spec, scenario.plans) for spec in scenario.fields]
    about = records(PLAY_FIELD, len(zones))
    days = records(PLAY_DAY, (weather.record.n_days if any(looked_at) else 0, len(zones)))
    for f, spec in enumerate(scenario.fields):
        if looked_at[f]:
            surface_mm, saturation_mm = float(fields.surface_mm[f]), float(fields.sat1[f])
            field_capacity = float(fields.fc1[f]) / surface_mm
            density = (1.0 - saturation_mm / surface_mm) * PARTICLE_DENSITY
            kind = "native" if zones[f].kind == NATIVE else "sand"
            _write_field(about[f], spec, kind, surface_mm, field_capacity, density, scenario)
            _write_days(days[:, f], spec, kind, scenario, weather, covered[f])
    return PlayInput(about, days)


def _write_field(
    row: np.record,
    spec: FieldSpec,
    kind: str,
    surface_mm: float,
    field_capacity: float,
    density: float,
    scenario: Scenario,
) -> None:
    """PLAY_FIELD of one field, of ``kind`` "native" or "sand"; ``density`` (g/cm3) is that of
    its surface layer.
    """
    catalog = scenario.catalog
    play = spec.play or PlaySpec()
    hardness = catalog.get("play", f"hardness_{kind}")
    line = hardness_line(hardness, density, play.hardness, field_capacity)
    wear = catalog.get("play", f"wear_{kind}")
    limits, infield = catalog.get("play", "limits"), catalog.get("play", "infield")
    disease = catalog.get("play", "leaf_disease")
    row.on = 1.0
    row.skinned = spec.surface == SKINNED
    row.surface_mm, row.inv_surface_mm = surface_mm, 1.0 / surface_mm
    row.hard_intercept, row.hard_slope, row.hard_floor = line[:3]
    row.hard_bare = line.bare_g
    row.hard_inv_scatter = 1.0 / line.scatter_g if line.scatter_g > 0.0 else math.inf
    row.hard_frozen = limits["frozen_g"]
    row.hard_above = play.hard_above_g or hardness["hard_above_g"]
    row.soft_below = play.soft_below_g
    if spec.surface == SKINNED and play.hard_above_g is None:
        row.hard_above, row.soft_below = math.inf, 0.0  # what is read on turf is no limit here
    row.air_below, row.share = play.air_filled_below, play.share
    row.invader_air = limits["invader_air"]
    row.most_root_loss = catalog.get("play", "airless_roots")["most_root_loss"]
    row.wear_middle_from, row.wear_wet_from = moisture_classes(wear, field_capacity)
    # Mud is the moisture at which use wears fastest; sand has none.
    row.mud_above = row.wear_wet_from if kind == "native" else math.inf
    row.least_wet_hours = disease["leaf_wet_least_h"]
    row.watering_wet_hours[:] = watering_wet_hours(disease)
    if spec.skin is not None:
        row.skin_target_mm = spec.skin.target * surface_mm
        row.skin_dust, row.mud_above = spec.skin.dust_below, spec.skin.mud_above
        row.skin_passes = spec.skin.passes
        row.skin_most_per_pass = infield["skin_most_per_pass_mm"]
    gone = catalog.get("play", "syringe")["syringe_evaporated_share"]
    row.syringe_left = syringe_left(1.0, gone)


def _write_days(
    out: np.ndarray,
    spec: FieldSpec,
    kind: str,
    scenario: Scenario,
    weather: SiteWeather,
    covered: Covered,
) -> None:
    """PLAY_DAY (D,) of one field."""
    catalog, record = scenario.catalog, weather.record
    if spec.play is not None:
        use = days_of_use(spec.play, record.dates)
        out["use_hours"], out["judged"] = use.use_hours, use.judged
        out["blackout"], out["prewet"] = use.blackout, use.prewet_mm
        wear, rates = catalog.get("play", f"wear_{kind}"), catalog.get("play", "use")
        for name, times in (
            ("wear_dry", 1.0),
            ("wear_middle", wear["wear_middle_factor"]),
            ("wear_wet", wear["wear_wet_factor"]),
        ):
            rate = wear_rate_per_h(wear, rates)
            out[name] = 1.0 - cover_left(rate, times, use.use_hours)
        out["wear_dormant"] = 1.0 - cover_left(rates["dormant_wear_per_h"], 1.0, use.use_hours)
    out["covered"], out["kept_off"], out["labour"] = covered
    disease = catalog.get("play", "leaf_disease")
    out["warm_night"] = warm_nights(record.tmin_c, disease)
    daylight = np.asarray(daylight_hours(scenario.site.latitude_deg, day_of_year(record.dates)))
    dewpoint = dewpoint_c(weather.et.vapour_pressure_kpa)
    out["dew_hours"] = dew_hours(record.tmax_c, record.tmin_c, dewpoint, 24.0 - daylight, disease)
    # A night ends on the morning of its day; what fell on the day before it began wets it.
    before = np.concatenate([[0.0], record.rain_mm[:-1]])
    out["rain_wet_hours"] = rain_wet_hours(before, disease)
    out["root_harm"] = root_harm_rate(weather.days.soil_c, catalog.get("play", "airless_roots"))
    out["frozen"], out["tmax"] = weather.days.frozen, record.tmax_c
    if spec.surface == SKINNED:
        return
    species = catalog.get("species", spec.species)
    turf = catalog.get("turf_processes", "all")
    warm = species.words["season"] == "warm"
    growth = np.array(
        [
            growth_potential(t, species["growth_optimum_c"], species["growth_spread_c"], warm)
            for t in weather.days.tmean_c
        ]
    )
    out["root_heal"] = root_heal_rate(growth, turf["root_regrowth_days"])
    # Worn ground closes as browned turf greens: crowns are left in it (own estimate).
    out["regrowth"] = daily_rate_to_share(0.8, species["recovery_days"]) * growth
    if spec.establish is not None:
        _write_new_turf(out, spec, catalog, weather)


def _write_new_turf(
    out: np.ndarray, spec: FieldSpec, catalog: Catalog, weather: SiteWeather
) -> None:
    """What is sown or laid on its day every year: light watering, losses, and coming up."""
    new = spec.establish
    assert new is not None
    entry = catalog.get("play", f"establish_{new.kind}")
    age = days_since(new.day, weather.calendar_day)
    out["sown"] = np.where(age == 0, 2.0 if new.kind == SEED else 1.0, 0.0)
    out["light"] = np.where(age < new.days, new.light_mm * new.times_a_day, 0.0)
    young = age < entry["young_rooting_days"]
    out["young"] = young
    out["young_dry_below"], out["young_loss"] = entry["young_dry_below"], entry["young_loss_rate"]
    if new.kind == SEED:
        coming_up = daily_rate_to_share(0.9, catalog.get("turf_processes", "all")["reseed_days"])
        out["regrowth"] = np.where(young, np.maximum(out["regrowth"], coming_up), out["regrowth"])
