"""A patch's day written out over columns in NumPy, beside the compiled loop, day after day.

Nothing of ``drysward.physics`` is called here: each line is what the equation says. The columns
are the patches of all fields (F, P); what the plan draws each morning is taken from the loop, and
everything from the pipe on is worked out here.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from drysward.day.records import NITROGEN, PATCH
from drysward.drive.runs import advance_all, start_runs
from drysward.scenario.model import TIMES_OF_DAY, Stage
from drysward.site.stretches import prepare

TOLERANCE = 1e-9
PATCHES = 3
FIELDS = (
    ("native_loam", "kentucky_bluegrass"),
    ("sand_over_gravel_12in", "creeping_bentgrass"),
    ("native_clay", "bermudagrass"),
    ("sand_cap_4in_over_loam", "tall_fescue"),
    ("native_thin_100mm", "perennial_ryegrass"),
)
LOSSES = ("runoff", "drainage", "leaf_evaporation", "soil_evaporation", "transpiration")
STORES = {
    "thatch": "thatch_water", "w1": "surface_water", "w2": "root_water", "w3": "subsoil_water",
}  # fmt: skip


class Columns:
    """The patches of all fields, as arrays by name, and what their day brought."""

    def __init__(self, site, run):
        self.site = site
        self.patch = {name: run.patches[name].copy() for name in PATCH.names}
        self.told = {}
        self.field = {name: site.fields[name][:, None] for name in site.fields.dtype.names}
        self.delivery = {name: site.delivery[name][:, None] for name in site.delivery.dtype.names}

    def day(self, d, plan, gross):
        """Live through day ``d`` with ``gross`` irrigation of the fields (F, 1)."""
        of_day = {name: self.site.days[d][name][:, None] for name in self.site.days.dtype.names}
        in_flight = self.site.weather.spray_loss[TIMES_OF_DAY.index(plan.time_of_day), d]
        self.told = {"irrigation": self.irrigation(gross, in_flight, plan)}
        before = self.held()
        self.water_comes(of_day)
        self.water_sinks(of_day)
        ks = self.water_leaves(of_day)
        self.turf_answers(of_day, ks)
        came = of_day["liquid"] + self.told["irrigation"][0]
        went = sum(self.told[name] for name in LOSSES)
        assert np.abs(came - went - (self.held() - before)).max() <= TOLERANCE

    def held(self):
        return sum(self.patch[name] for name in STORES)

    def irrigation(self, gross, in_flight, plan):
        """What each patch catches, and what of it runs off at once."""
        landed = gross * (1.0 - in_flight) * (1.0 - self.delivery["overspray"])
        caught = landed * self.site.catches
        fields = self.site.scenario.fields
        rate = np.array([[f.delivery.precipitation_rate_mm_h] for f in fields])
        intake = np.array([[zone.intake_mm_h] for zone in self.site.zones])
        storage = np.array([[zone.surface_storage_mm] for zone in self.site.zones])
        if plan.cycle_and_soak:  # all that soaks in from evening to morning, and then no more
            shed = np.maximum(caught - intake * plan.window_h - storage, 0.0)
        else:
            shed = np.maximum(caught - landed / rate * intake - storage, 0.0)
        return caught, shed

    def water_comes(self, day):
        """The floor of the root zone moves; rain runs off, thatch fills, the rest enters."""
        patch, field = self.patch, self.field
        moved = np.where(day["shift"] > 0.0, day["shift"] * patch["w3"], day["shift"] * patch["w2"])
        patch["w2"] = patch["w2"] + moved
        patch["w3"] = patch["w3"] - moved

        rain, retention = day["liquid"], field["retention"]
        moisture = patch["w1"] + patch["w2"]
        abstraction = field["abstraction"]
        abstraction = abstraction + day["abstraction_slope"] * (
            day["moisture_reference"] - moisture
        )
        excess = np.maximum(rain - abstraction, 0.0)
        dry = excess**2 / (excess + retention)
        room = retention + abstraction
        wet = rain - rain * room**2 / (retention**2 + room * rain)
        runoff = np.where(abstraction >= 0.0, dry, np.where(room <= 0.0, rain, wet))
        runoff = np.maximum(runoff, rain * (1.0 - day["intake_share"]))

        caught, shed = self.told["irrigation"]
        entering = rain - runoff + caught - shed
        kept = np.minimum(entering, field["thatch_storage"] - patch["thatch"])
        patch["thatch"] = patch["thatch"] + kept
        sunk = entering - kept
        patch["w1"] = patch["w1"] + sunk
        patch["crown_water"] = np.minimum(patch["crown_water"] + sunk, field["crown_fc"])
        self.told["runoff"] = runoff + shed

    def water_sinks(self, day):
        """Down from layer to layer, and back up where the bottom cannot take it."""
        patch = self.patch
        limits = {**self.field, **{k: day[k] for k in ("fc2", "sat2", "fc3", "sat3")}}
        for layer in "123":
            water, fc, sat = patch[f"w{layer}"], limits[f"fc{layer}"], limits[f"sat{layer}"]
            down = np.maximum(limits[f"drain{layer}"] * (water - fc), water - sat)
            down = np.where(water > fc, down, 0.0)
            if layer == "3":
                down = np.minimum(down, limits["percolation_limit"])
                self.told["drainage"] = down
            else:
                below = f"w{int(layer) + 1}"
                patch[below] = patch[below] + down
            patch[f"w{layer}"] = water - down
        for layer, above in (("w3", "w2"), ("w2", "w1"), ("w1", None)):
            over = np.maximum(patch[layer] - limits[layer.replace("w", "sat")], 0.0)
            patch[layer] = patch[layer] - over
            if above is None:
                self.told["runoff"] = self.told["runoff"] + over
            else:
                patch[above] = patch[above] + over

    def water_leaves(self, day):
        """Leaves dry, turf transpires, soil evaporates, the subsoil feeds; the stress of turf."""
        patch, field, told = self.patch, self.field, self.told
        most = day["kc_max"] * day["eto"]
        told["leaf_evaporation"] = np.minimum(patch["thatch"], most)
        patch["thatch"] = patch["thatch"] - told["leaf_evaporation"]
        left = most - told["leaf_evaporation"]

        crown, rest, roots = self.available(day)
        told["wetness"] = np.minimum(crown * field["inv_crown_wet"], 1.0)
        ks = np.clip((1.0 - self.felt(day)) * day["inv_one_less_p"], 0.0, 1.0)
        surface = crown + rest
        taken = np.minimum(day["kcb"] * day["eto"] * patch["green"] * ks, left)
        taken = np.minimum(taken, surface + roots)
        sought = field["uptake_weight"] * surface + roots
        part = field["uptake_weight"] * surface / np.where(sought > 0.0, sought, 1.0)
        of_surface = np.minimum(taken * part, surface)
        of_surface = np.maximum(of_surface, taken - roots)
        patch["w1"] = patch["w1"] - of_surface
        patch["w2"] = patch["w2"] - (taken - of_surface)
        of_crown = of_surface * crown / np.where(surface > 0.0, surface, 1.0)
        patch["crown_water"] = patch["crown_water"] - of_crown
        told["transpiration"] = taken
        left = left - taken

        mulch = field["mulch"] + (1.0 - field["mulch"]) * patch["worn"]
        bare = mulch * (1.0 - field["ground_cover"] * patch["green"])
        bare = bare * (1.0 - field["dormant_shade"] * (patch["dormant"] + patch["dead"]))
        dryness = field["fc1"] - patch["w1"]
        kr = np.clip((field["tew"] - dryness) * field["inv_tew_less_rew"], 0.0, 1.0)
        evaporation = kr * np.minimum(bare * most, left)
        evaporation = np.minimum(evaporation, np.maximum(patch["w1"] - field["dry1"], 0.0))
        patch["w1"] = patch["w1"] - evaporation
        least = np.minimum(patch["crown_water"], field["crown_dry"])
        patch["crown_water"] = np.maximum(patch["crown_water"] - evaporation, least)
        told["soil_evaporation"] = evaporation

        wet2 = np.clip((patch["w2"] - day["wp2"]) * day["inv_taw2"], 0.0, 1.0)
        wet3 = np.clip((patch["w3"] - day["wp3"]) * day["inv_taw3"], 0.0, 1.0)
        rise = field["upward_max"] * (1.0 - wet2) * wet3
        rise = np.minimum(rise, np.maximum(patch["w3"] - day["wp3"], 0.0))
        patch["w2"] = patch["w2"] + rise
        patch["w3"] = patch["w3"] - rise
        told["subsoil"], told["rise"] = wet3, rise
        return ks

    def turf_answers(self, day, ks):
        """Leaves footprint, wilt, brown and green; crowns dry and drink; plants die and spread."""
        patch, field, told = self.patch, self.field, self.told
        felt, wetness = self.felt(day), told["wetness"]
        told["depletion"] = 1.0 - sum(self.available(day)) * day["inv_taw"]
        for name, threshold in (("footprint", "p_footprint"), ("wilt", "wilt_threshold")):
            past = np.clip((felt - day[threshold]) * field["inv_ramp"] + 0.5, 0.0, 1.0)
            told[name] = patch["green"] * day["awake"] * past

        around = np.clip((1.0 - felt) * field["inv_moist_root_zone"], 0.0, 1.0)
        speed = 1.0 - (1.0 - field["root_zone_speed"]) * around
        below = np.maximum(told["subsoil"], field["subsoil_least"])
        speed = speed * (1.0 - field["subsoil_slowing"] * below)
        drier = patch["crown_dryness"] + day["crown_clock"] * speed * (1.0 - wetness)
        drier = np.maximum(drier - field["crown_refill"] * wetness, 0.0)
        worst = patch["worst_dryness"]
        alive = np.where(drier > worst, (1.0 + worst**4) / (1.0 + drier**4), 1.0)
        sheltered = 1.0 - field["heat_shelter"] * ks
        alive = alive * (1.0 - day["heat_kill"] * sheltered)
        alive = alive * (1.0 - day["freeze_kill"])
        patch["crown_dryness"] = drier
        patch["worst_dryness"] = np.maximum(drier, np.where(drier > 0.0, worst, 0.99 * worst))
        wetting = patch["wetting"]
        patch["wetting"] = np.maximum(0.9 * wetting, 0.5 * (wetting + wetness))

        short = np.clip(1.0 - ks * field["inv_browning_start"], 0.0, 1.0)
        fired = np.clip(1.0 - ks * field["inv_firing_ks"], 0.0, 1.0)
        rate = field["browning_rate"] * short + field["firing_rate"] * fired
        rate = day["browning_drive"] * rate + day["summer_decline"] * sheltered
        browned = patch["green"] * rate / (1.0 + rate)
        slowed = 1.0 + patch["dormant_age"] * field["inv_age_slowing"]
        greened = patch["dormant"] * day["recovery"] * ks * patch["wetting"] / slowed
        green = (patch["green"] + greened - browned) * alive
        dormant = (patch["dormant"] - greened + browned) * alive
        filled = ks * patch["wetting"] * (day["spread"] * green + day["reseed"])
        green = green + patch["dead"] * filled
        patch["green"] = np.clip(green, 0.0, 1.0 - patch["worn"])
        room = 1.0 - patch["worn"] - patch["green"]
        patch["dormant"] = np.clip(dormant, 0.0, room)
        patch["dead"] = np.maximum(room - patch["dormant"], 0.0)
        aged = patch["dormant_age"] + patch["dormant"] * (1.0 - wetness)
        patch["dormant_age"] = np.where(patch["dormant"] > 0.02, aged, 0.9 * patch["dormant_age"])

    def available(self, day):
        """Water above the wilting point: of the crown layer, the rest of the surface, the roots."""
        patch, field = self.patch, self.field
        crown = np.maximum(patch["crown_water"] - field["crown_wp"], 0.0)
        rest = patch["w1"] - patch["crown_water"] - field["wp1"] + field["crown_wp"]
        return crown, np.maximum(rest, 0.0), np.maximum(patch["w2"] - day["wp2"], 0.0)

    def felt(self, day):
        """Depletion as the roots of each patch feel it."""
        gone = 1.0 - sum(self.available(day)) * day["inv_taw"]
        return np.minimum(gone / (self.site.reaches * (1.0 - self.patch["root_loss"])), 1.0)


@pytest.fixture(scope="module")
def site(scenes):
    """Dry, hot years with hard winters on wide ranges of soil and turf, with short irrigation."""
    fields = [
        scenes.field(
            zone,
            species,
            patches=PATCHES,
            delivery=replace(scenes.delivery(0.6), overspray=0.1, precipitation_rate_mm_h=40.0),
        )
        for zone, species in FIELDS
    ]
    plans = [
        scenes.plan("none"),
        scenes.plan(
            "refill", trigger=0.6, crown_depth_mm=8.0, stages=(Stage(90.0, 60.0, crown_only=True),)
        ),
        scenes.plan(
            "fixed", depth_by_weekday=(16.0, 0.0, 0.0) * 2 + (6.0,), cycle_and_soak=False,
            stop_at_runoff=False, time_of_day="midday",
        ),
    ]  # fmt: skip
    record = scenes.hard_weather(2)
    hotter = np.where(record.tmax_c > 20.0, 10.0, 0.0)
    record = replace(record, tmax_c=record.tmax_c + hotter)
    return prepare(scenes.scenario(fields, plans, turf="continuous", rooting_varies=True), record)


def test_every_day_of_every_patch(site):
    """Under plans that go side by side, a stretch of one day after another, so that every patch can
    be seen in its evening.
    """
    plans = site.scenario.plans
    runs = start_runs([(site, plan) for plan in plans])
    twins = [Columns(site, runs.one(b)) for b in range(len(plans))]
    seen = (*PATCH.names, *LOSSES, "wilt", "footprint", "shed", "rise")
    most = [dict.fromkeys(seen, 0.0) for _ in plans]
    for d in range(site.calendar.size):
        today = replace(site, calendar=site.calendar[: d + 1], days=site.days[: d + 1], from_day=d)
        advance_all(today, runs, slice(d, d + 1))
        for b, (plan, columns) in enumerate(zip(plans, twins, strict=True)):
            columns.day(d, plan, runs.trace[b, 0].irrigation_gross[:, None])
            compare(columns, runs.patches[b], runs.trace[b, 0], (plan.rule, d))
            told = {**columns.told, **columns.patch, "shed": columns.told["irrigation"][1]}
            for name in seen:
                most[b][name] = np.maximum(most[b][name], told[name].max(axis=1))
    for plan, of_plan in zip(plans, most, strict=True):
        everything_happened(site, plan.rule, of_plan)


def compare(columns, patches, trace, when):
    """The patches in the evening (F, P), and the account of the day (F,)."""
    for name, values in columns.patch.items():
        worst = np.abs(patches[name] - values).max()
        assert worst <= TOLERANCE, (when, name, worst)
    told = {**columns.told, "irrigation_landed": columns.told["irrigation"][0]}
    for name in (*LOSSES, "irrigation_landed", "depletion", "footprint", "wilt"):
        worst = np.abs(trace[name] - told[name].mean(axis=1)).max()
        assert worst <= TOLERANCE, (when, name, worst)
    for name, called in STORES.items():
        worst = np.abs(trace[called] - columns.patch[name].mean(axis=1)).max()
        assert worst <= TOLERANCE, (when, name, worst)


def everything_happened(site, rule, most):
    """In some field at least, so that no line of the twin was idle."""
    unused = {"worn", "root_loss", "airless_days"}  # those of play
    unused |= {*NITROGEN, "at_risk", "lying_n", "held_n"}  # those of feeding
    if rule != "fixed":
        unused |= {"shed"}
    for name in most.keys() - unused:
        assert most[name].max() > 0.0, name
    assert most["dead"].max() > 0.3 or rule != "none"
    days = site.days
    assert (days.intake_share < 1.0).any()
    assert (days.snow_water > 0.0).any()
    assert (days.shift > 0.0).any()
    assert (days.shift < 0.0).any()
    assert (days.heat_kill > 0.0).any()
    assert (days.freeze_kill > 0.0).any()
