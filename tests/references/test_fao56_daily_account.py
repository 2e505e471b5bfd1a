"""FAO-56 examples 37 and 38 (Allen et al. 1998) through the day step of the program itself."""

import numpy as np
import pytest

from drysward.drive import runs as ensemble
from drysward.drive.runs import run_plan, start_patches
from drysward.scenario.model import RootZoneSpec
from drysward.site.stretches import prepare

PLAIN = {
    "turf_processes.all.basal_difference": 0.05,
    "species.kentucky_bluegrass.root_heat_loss": 0.0,
}


def bare_account(site, p, kcb):
    """Leave only what FAO-56's account has: no thatch, no separate evaporation, fixed p."""
    site.fields.thatch_storage = 0.0
    site.fields.mulch = 0.0
    site.fields.upward_max = 0.0
    site.fields.drain1 = site.fields.drain2 = site.fields.drain3 = 1.0
    site.fields.browning_rate = site.fields.firing_rate = 0.0  # an annual crop: leaves stay
    site.days.summer_decline = site.days.crown_clock = 0.0
    site.days.kcb = kcb
    site.days.kc = kcb
    site.days.kc_max = 5.0
    site.days.inv_one_less_p = 1.0 / (1.0 - p)


# Table of example 37 as printed: end depletion (mm), Ks, ETc adjusted (mm).
EXAMPLE_37 = [
    (61.0, 1.00, 6.0),
    (67.0, 1.00, 6.0),
    (72.8, 0.97, 5.8),
    (78.3, 0.91, 5.4),
    (83.4, 0.85, 5.1),
    (88.2, 0.80, 4.8),
    (92.6, 0.75, 4.5),
    (96.9, 0.70, 4.2),
    (100.8, 0.66, 3.9),
    (104.5, 0.62, 3.7),
]


def dry_down(scenes, days, compiled=True):
    zone = RootZoneSpec(
        "native_loam",
        numbers={"depth_mm": 800.0},
        measured={"field_capacity": 0.32, "wilting_point": 0.12, "saturation": 0.5},
    )
    overrides = {**PLAIN, "species.kentucky_bluegrass.root_depth_native": 800.0}
    scenario = scenes.scenario(
        [scenes.field(zone, patches=1)],
        overrides=overrides,
        start_soil_water=1.0 - 55.0 / 160.0,
        fewest_days=1,
    )
    site = prepare(scenario, scenes.record(days, et=5.0))
    bare_account(site, p=0.40, kcb=1.2)
    return run_plan(site, scenario.plans[0], slice(0, days), compiled).trace[:, 0]


def test_example_37_dry_down(scenes):
    trace = dry_down(scenes, 10)
    for day, (end, _, et) in zip(trace, EXAMPLE_37, strict=True):
        assert day.depletion * 160.0 == pytest.approx(end, abs=0.06)
        assert day.transpiration == pytest.approx(et, abs=0.06)


def test_example_37_closed_form_tail(scenes):
    """After stress starts the water left shrinks by 1 - ETc/((1-p) TAW) = 0.9375 a day."""
    trace = dry_down(scenes, 60)
    left = (1.0 - trace.depletion) * 160.0
    assert np.allclose(left[3:] / left[2:-1], 0.9375, atol=1e-9)


ETC_38 = [5.5, 6.1, 4.0, 2.9, 2.5, 2.7, 4.7, 2.8, 2.2]
# End depletion by the printed ETc, unrounded chain; the printed table rounds to whole mm.
END_38 = [5.5, 11.6, 15.6, 18.5, 21.0, 17.7, 22.4, 25.2, 27.4]
TAW_PER_M = 130.0


def example_38_site(scenes, days, et, rain, share, roots_m):
    zone = RootZoneSpec(
        "native_sandy_loam",
        numbers={"depth_mm": 1500.0},
        measured={"field_capacity": 0.23, "wilting_point": 0.10, "saturation": 0.45},
    )
    scenario = scenes.scenario(
        [scenes.field(zone, patches=1, delivery=scenes.delivery(uniformity=1.0))],
        overrides=PLAIN,
        start_soil_water=share,
        fewest_days=1,
    )
    site = prepare(scenario, scenes.record(days, rain=rain, et=et))
    bare_account(site, p=0.60, kcb=1.0)
    root = np.asarray(roots_m) * 1000.0
    surface = site.fields.fc1[0] / 0.23
    day = site.days[:, 0]
    day.fc2, day.wp2, day.sat2 = ((root - surface) * w for w in (0.23, 0.10, 0.45))
    day.fc3, day.wp3, day.sat3 = ((1500.0 - root) * w for w in (0.23, 0.10, 0.45))
    day.taw = root * 0.13
    day.inv_taw = 1.0 / day.taw
    day.inv_taw2 = 1.0 / (day.fc2 - day.wp2)
    grown = np.diff(root, prepend=root[0])
    day.shift = grown / (1500.0 - np.concatenate([root[:1], root[:-1]]))
    site.days[:, 0] = day
    return site


def test_example_38_first_nine_days(scenes, monkeypatch):
    roots = 0.30 + 0.05 * np.arange(9) / 9.0
    rain = np.zeros(9)
    rain[5] = 6.0
    site = example_38_site(scenes, 9, ETC_38, rain, 0.4, roots)
    start = scenes.plan(
        "refill", trigger=0.59, target=0.6 - 40.0 / 39.0, allow_for_uniformity=False,
        most_depth_mm=100.0,
    )  # fmt: skip

    # Below the root zone the soil is at field capacity.
    def with_wet_subsoil(prepared, columns, *others):
        patches = start_patches(prepared, columns, *others)
        patches.w3 = prepared.days[0, columns].fc3[..., None]
        return patches

    monkeypatch.setattr(ensemble, "start_patches", with_wet_subsoil)
    trace = run_plan(site, start, slice(0, 9)).trace[:, 0]
    taw = roots * TAW_PER_M
    assert trace.irrigation_landed[0] == pytest.approx(40.0, abs=0.5)
    assert (trace.irrigation_landed[1:] == 0.0).all()
    for day, available, end in zip(trace, taw, END_38, strict=True):
        assert day.depletion * available == pytest.approx(end, abs=0.3)
    # Deep percolation only on day 1: 17 mm printed (drainage before evapotranspiration).
    assert trace.depletion[0] * taw[0] == pytest.approx(5.5, abs=0.06)


def test_example_38_irrigation_on_day_ten(scenes):
    """27.4 mm used up of 45.5 is past p = 0.6: 27 mm net, and 6 mm are missing by night."""
    site = example_38_site(scenes, 1, [6.3], 0.0, 1.0 - 27.4 / 45.5, [0.35])
    plan = scenes.plan(
        "refill", trigger=0.60, target=0.0, allow_for_uniformity=False, most_depth_mm=100.0
    )
    trace = run_plan(site, plan, slice(0, 1)).trace[:, 0]
    assert trace.irrigation_landed[0] == pytest.approx(27.0, abs=0.5)
    assert trace.depletion[0] * 45.5 == pytest.approx(6.3, abs=0.06)
