"""Winter rest of warm-season turf: browned by frost and cold, green again with warm soil."""

from __future__ import annotations

from drysward.compiled import equation
from drysward.physics.arithmetic import clamp, smaller
from drysward.physics.crop_coefficient import soil_warmth

FADING_BELOW_C = 10.0  # soil temperature; growth stops near 13 C


@equation
def winter_rest_at_start(soil_c: float, greenup_c: float) -> float:
    """Share of leaves at winter rest before the first day; see ``winter_rest_step``."""
    return 1.0 if soil_c < greenup_c and greenup_c > 0.0 else 0.0


@equation
def winter_rest_step(
    rest: float,
    browning_left_d: float,
    tmin_c: float,
    soil_c: float,
    greenup_c: float,
    frost_c: float,
    greenup_days: float,
    browning_days: float,
) -> tuple[float, float]:
    """Share of leaves at winter rest after one day, and days of browning still to come.

    A minimum of ``frost_c`` or less browns leaves over ``browning_days``. Soil of ``greenup_c``
    greens them up over ``greenup_days``. Without a frost they fade in cold soil at a quarter of
    that rate. ``greenup_c`` of 0 means a grass that stays green. Sources: frost browning
    from memory, green-up at 18 C soil over 2 to 6 weeks from extension pages.
    """
    if greenup_c <= 0.0:
        return 0.0, 0.0
    if tmin_c <= frost_c:
        browning_left_d = browning_days
    if browning_left_d > 0.0:
        rest += 1.0 / browning_days
        browning_left_d -= 1.0
    elif soil_c >= greenup_c:
        rest -= 1.0 / greenup_days
    elif soil_c < FADING_BELOW_C:
        rest += 0.25 / greenup_days
    return clamp(rest, 0.0, 1.0), browning_left_d


@equation
def awake_share(rest: float, soil_c: float, tmean_c: float, snow_water_mm: float) -> float:
    """Share of turf warm enough to transpire, the part that shows water stress (0..1).

    Turf at winter ``rest`` does not count. The share falls as the topsoil or the day's air,
    whichever is colder, nears 0 C, and is 0 under snow. Source: own estimate of the form, as
    ``soil_warmth``.
    """
    awake = (1.0 - rest) * soil_warmth(smaller(soil_c, tmean_c))
    return 0.0 if snow_water_mm > 0.0 else awake
