"""Laws of the day of one patch, its parts called as the plain functions that they are."""

from __future__ import annotations

import inspect
from functools import cache

from hypothesis import given, settings
from hypothesis import strategies as st

from drysward.compiled import tree_of
from drysward.day import delivery, patch
from drysward.physics.intake import runoff_terms

STORES = ("w1", "w2", "w3", "thatch")
SUMS = (
    "mean_depletion", "mean_deficit", "mean_crown_wetness", "mean_footprint", "mean_wilt",
    "mean_residual", "mean_caught",
)  # fmt: skip
ROUNDING = 1e-9


@cache
def names(part):
    """Names that ``part`` takes, and those that it returns."""
    value = tree_of(part).body[-1].value
    returned = [one.id for one in getattr(value, "elts", [value])]
    return list(inspect.signature(part).parameters), returned


def do(part, numbers):
    """What ``part`` makes of a patch's ``numbers`` by name; these are changed."""
    taken, returned = names(part)
    found = part(*[numbers[name] for name in taken])
    numbers.update(zip(returned, found if len(returned) > 1 else [found], strict=True))


def share(least=0.0, most=1.0):
    return st.floats(least, most)


@st.composite
def days(draw):
    """A patch in any state, on any soil, on any day."""
    n = {}
    for layer in "123":
        n[f"wp{layer}"] = draw(share(0.5, 40.0))
        n[f"fc{layer}"] = n[f"wp{layer}"] + draw(share(5.0, 80.0))
        n[f"sat{layer}"] = n[f"fc{layer}"] + draw(share(1.0, 80.0))
        n[f"drain{layer}"] = draw(share())
        n[f"inv_taw{layer}"] = 1.0 / (n[f"fc{layer}"] - n[f"wp{layer}"])
    n["dry1"] = 0.5 * n["wp1"]
    part = draw(share(0.1, 0.5))
    n["crown_fc"], n["crown_wp"], n["crown_dry"] = (part * n[k] for k in ("fc1", "wp1", "dry1"))
    n["tew"] = n["fc1"] - n["dry1"]
    n["inv_tew_less_rew"] = 1.0 / (n["tew"] * (1.0 - draw(share(0.0, 0.9))))
    n["inv_taw"] = 1.0 / (n["fc1"] - n["wp1"] + n["fc2"] - n["wp2"])
    n["retention"] = draw(share(0.0, 400.0))
    n["abstraction"] = 0.2 * n["retention"]
    n["moisture_reference"] = 0.5 * (n["fc1"] + n["fc2"])
    n["w1"] = draw(share(n["dry1"], n["sat1"]))
    n["w2"], n["w3"] = draw(share(0.0, n["sat2"])), draw(share(0.0, n["sat3"]))
    # What lies beside the crowns is never drier than air makes it: see the test of stores.
    beside = n["dry1"] - n["crown_dry"]
    most = max(n["crown_dry"], min(n["crown_fc"], n["w1"] - beside))
    n["crown_water"] = draw(share(n["crown_dry"], most))
    n["thatch_storage"] = draw(share(0.0, 10.0))
    n["thatch"] = draw(share(0.0, n["thatch_storage"]))
    n["worn"] = draw(share())
    n["green"] = draw(share()) * (1.0 - n["worn"])
    n["dormant"] = draw(share()) * (1.0 - n["worn"] - n["green"])
    n["dead"] = 1.0 - n["worn"] - n["green"] - n["dormant"]
    for name, most in (
        ("crown_dryness", 3.0), ("dormant_age", 100.0), ("liquid", 200.0), ("intake_share", 1.0),
        ("caught", 60.0), ("abstraction_slope", 2.0),
        ("percolation_limit", 200.0), ("upward_max", 4.0), ("eto", 12.0), ("kcb", 1.2),
        ("ground_cover", 1.0), ("mulch", 1.0), ("uptake_weight", 5.0), ("browning_drive", 1.5),
        ("browning_rate", 1.0), ("firing_rate", 1.0), ("summer_decline", 1.0), ("wetting", 1.0),
        ("dormant_shade", 1.0), ("worst_dryness", 3.0),
        ("crown_clock", 0.5), ("crown_refill", 1.0), ("heat_kill", 1.0), ("heat_shelter", 1.0),
        ("subsoil_least", 1.0), ("subsoil_slowing", 1.0), ("root_zone_speed", 1.0),
        ("freeze_kill", 1.0), ("recovery", 0.3), ("spread", 0.1), ("reseed", 0.1), ("awake", 1.0),
        ("p_footprint", 0.8),
        ("inv_age_slowing", 1.0), ("wilt_threshold", 1.0),
    ):  # fmt: skip
        n[name] = draw(share(0.0, most))
    n["kc_max"] = n["kcb"] + draw(share(0.05, 0.3))
    n["inv_one_less_p"] = 1.0 / (1.0 - draw(share(0.0, 0.9)))
    for name in (
        "inv_crown_wet", "inv_ramp", "inv_browning_start", "inv_firing_ks", "inv_moist_root_zone",
    ):  # fmt: skip
        n[name] = 1.0 / draw(share(0.05, 1.0))
    n["inv_rooting"] = 1.0 / (1.0 - draw(share(0.0, 0.7)))
    n["shift"] = draw(share(-0.5, 0.5))
    n["shed"] = n["caught"] * draw(share())
    n["precipitation"], n["snow_water"], n["snow_before"] = n["liquid"], 0.0, 0.0
    return n | dict.fromkeys(SUMS, 0.0)


def wetted(numbers, more_rain=0.0):
    """A patch after its water has come and sunk; what left it since is in ``numbers`` too."""
    n = {**numbers, "liquid": numbers["liquid"] + more_rain}
    for part in (patch.today, patch.move, patch.shed_rain, patch.soak_in, patch.sink):
        do(part, n)
    return n


def lived(numbers):
    n = wetted(numbers)
    for part in (patch.dry, patch.respond):
        do(part, n)
    return n


def held(n):
    return sum(n[name] for name in STORES)


@settings(max_examples=200, deadline=None)
@given(days())
def test_the_water_account_closes(before):
    n = lived(before)
    came = before["liquid"] + before["caught"]
    went = n["runoff"] + n["drainage"] + n["leaf_evaporation"]
    went += n["transpiration"] + n["soil_evaporation"]
    assert abs(came - went - (held(n) - held(before))) <= ROUNDING
    assert n["mean_residual"] <= ROUNDING


@settings(max_examples=200, deadline=None)
@given(days())
def test_no_store_runs_empty_or_over(before):
    n = lived(before)
    assert n["dry1"] - ROUNDING <= n["w1"] <= n["sat1"] + ROUNDING
    assert n["crown_dry"] - ROUNDING <= n["crown_water"] <= n["crown_fc"] + ROUNDING
    assert n["crown_water"] <= n["w1"] + ROUNDING
    # So that days begin as days end, and the states drawn are all that there can be.
    assert n["w1"] - n["crown_water"] >= n["dry1"] - n["crown_dry"] - ROUNDING
    for layer in "23":
        assert -ROUNDING <= n[f"w{layer}"] <= n[f"sat{layer}"] + ROUNDING
    assert -ROUNDING <= n["thatch"] <= n["thatch_storage"] + ROUNDING
    for name in ("runoff", "drainage", "leaf_evaporation", "transpiration", "soil_evaporation"):
        assert n[name] >= -ROUNDING, name
    into_the_air = n["leaf_evaporation"] + n["transpiration"] + n["soil_evaporation"]
    assert into_the_air <= n["kc_max"] * n["eto"] + ROUNDING


@settings(max_examples=200, deadline=None)
@given(days())
def test_covers_are_shares_of_the_patch(before):
    n = lived(before)
    for name in ("green", "dormant", "dead", "mean_footprint", "mean_wilt", "ks"):
        assert 0.0 <= n[name] <= 1.0, name
    assert abs(n["green"] + n["dormant"] + n["dead"] + n["worn"] - 1.0) <= 1e-12
    assert n["crown_dryness"] >= 0.0
    assert n["dormant_age"] >= 0.0
    assert n["worst_dryness"] >= n["crown_dryness"]
    assert 0.0 <= n["wetting"] <= 1.0
    assert n["mean_depletion"] <= 1.0


@settings(max_examples=200, deadline=None)
@given(days(), share(0.0, 100.0))
def test_more_rain_never_leaves_less_water(before, more_rain):
    """In no layer, once the water has come and sunk; and no more runs off than came."""
    less, more = wetted(before), wetted(before, more_rain)
    for name in (*STORES, "crown_water", "drainage"):
        assert more[name] >= less[name] - ROUNDING, name
    assert more["runoff"] - less["runoff"] <= more_rain + ROUNDING


@given(share(0.0, 60.0), share(0.1, 100.0), share(0.0, 100.0), share(0.0, 10.0), st.booleans())
def test_a_patch_never_sheds_more_than_it_catches(landed, rate, intake, storage, soaks):
    landed = min(landed, 8.0 * rate)  # no more than a night of eight hours puts on
    terms = runoff_terms(rate, intake, storage, 8.0, float(soaks))
    caught, shed, *totals = delivery.catch(
        landed, 0.8, 20.0, 30.0, 25.0, 40.0, *terms, 1.0, 2.0, 3.0
    )
    assert caught == 0.8 * landed
    assert 0.0 <= shed <= caught
    assert shed == 0.0 or 0.8 * rate > intake
    beyond = max(caught - shed - 15.0, 0.0)  # there is room for 15 mm
    assert totals == [1.0 + caught, 2.0 + shed, 3.0 + beyond]
