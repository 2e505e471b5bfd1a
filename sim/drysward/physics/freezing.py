"""Frost at the crowns, hardening in fall, and winterkill.

Crowns lie between cold air and warm ground. Leaves, thatch and snow insulate them from the air;
frozen ground insulates them from the heat below, so crowns get colder as frost goes deeper.
"""

from __future__ import annotations

import math

from drysward.compiled import equation
from drysward.physics.arithmetic import clamp, larger, smaller

SECONDS_A_DAY = 86400.0
FROZEN_SOIL_CONDUCTIVITY = 1.8  # W/m/degC, moist mineral soil; from memory
FREEZING_HEAT_MJ_M3 = 80.0  # of soil with 0.24 of water by volume (334 MJ a m3 of water)
# Of the soil that cools and warms within a day, (2 pi / day * conductivity * heat capacity)^-0.5.
NIGHT_RESISTANCE = 0.06  # m2 degC/W, frozen soil; the formula is textbook, its use our estimate
COLD_SPELL_DAYS = 3.0  # length of the mean of a cold spell; own estimate
NIGHT_H, DAY_H = 2.0, 24.0  # of crowns near the cold of the night and the mean of the day
FIRST_TOUCH_H = 0.5  # time frozen that counts as first touch; fits one published series, see below
_LOG_OF_DAY = math.log(1.0 + DAY_H / FIRST_TOUCH_H)
NEW_WINTER_SOIL_C = 12.0  # soil temperature that ends a winter; own estimate


@equation
def air_resistance(turf_insulation: float, snow_resistance: float) -> float:
    """Heat resistance between air and crowns (m2 degC/W), of turf and the snow on it."""
    return turf_insulation + snow_resistance


@equation
def ground_resistance(frost_mm: float) -> float:
    """Heat resistance between crowns and the bottom of ``frost_mm`` of frost (m2 degC/W)."""
    return 0.001 * frost_mm / FROZEN_SOIL_CONDUCTIVITY


@equation
def frost_depth_step(
    frost_mm: float,
    tmean_c: float,
    snow_water_mm: float,
    to_air: float,
    turf_insulation: float,
    ground_heat: float,
) -> float:
    """Depth of frost under turf (mm) after one day; the bottom of frost is at 0 C.

    Cold air draws heat through turf, snow and frost. The part of it not supplied by ``ground_heat``
    (W/m2) freezes soil. Warm air thaws from the top once the snow has gone.
    Source: Stefan's equation with a surface resistance (from memory); thaw is our own estimate.
    """
    lost_heat = larger(-tmean_c, 0.0) / (to_air + ground_resistance(frost_mm))
    supplied = larger(tmean_c, 0.0) / turf_insulation if snow_water_mm <= 0.0 else 0.0
    frozen_m = (lost_heat - supplied - ground_heat) * SECONDS_A_DAY / (1e6 * FREEZING_HEAT_MJ_M3)
    return larger(frost_mm + 1000.0 * frozen_m, 0.0)


@equation
def crown_mean_c(tmean_c: float, soil_c: float, frost_mm: float, to_air: float) -> float:
    """Mean temperature of crowns on a day (C), between the air and the bottom of the frost.

    On ground without frost crowns are as warm as the top soil, ``soil_c``, and not below 0.
    Source: steady flow of heat; the transition without frost is our own estimate.
    """
    below = ground_resistance(frost_mm)
    frozen = smaller(tmean_c, 0.0) * below / (to_air + below)
    return frozen if frost_mm > 0.0 else larger(soil_c, 0.0)


@equation
def crown_night_c(mean_c: float, tmean_c: float, tmin_c: float, to_air: float) -> float:
    """Lowest temperature of crowns on a day (C): the swing of the air, damped by turf and soil."""
    return mean_c + (tmin_c - tmean_c) * NIGHT_RESISTANCE / (to_air + NIGHT_RESISTANCE)


@equation
def cold_spell_step(spell_c: float, crown_c: float) -> float:
    """Mean temperature of crowns over the last days (C); recent days count most."""
    return spell_c + (crown_c - spell_c) / COLD_SPELL_DAYS


@equation
def time_frozen_loss_c(hours: float, day_frozen_loss_c: float) -> float:
    """Loss of hardiness after ``hours`` at a temperature, compared with first touch (degC).

    It grows with the logarithm of time; ``day_frozen_loss_c`` is that of 24 hours. The form is
    our own estimate, fitted to Princess bermudagrass at -5.4 C: alive 89, 67, 30 and 11% after
    0, 2, 24 and 72 h (Anderson and others, Oklahoma).
    """
    return day_frozen_loss_c * math.log(1.0 + hours / FIRST_TOUCH_H) / _LOG_OF_DAY


@equation
def frozen_losses_c(day_frozen_loss_c: float) -> tuple[float, float, float]:
    """``time_frozen_loss_c`` after the coldest hours of a night, a day, and a cold spell (degC)."""
    return (
        time_frozen_loss_c(NIGHT_H, day_frozen_loss_c),
        time_frozen_loss_c(DAY_H, day_frozen_loss_c),
        time_frozen_loss_c(COLD_SPELL_DAYS * DAY_H, day_frozen_loss_c),
    )


@equation
def as_at_first_touch_c(crown_c: float, loss_c: float) -> float:
    """Temperature (C) whose first touch would harm as much as ``crown_c`` over a longer time.

    ``loss_c`` is the loss of hardiness over that time. 0 when crowns are not below 0 C. Time adds
    no more degrees than the frost itself has, so that light frost stays light (own estimate).
    """
    return larger(smaller(crown_c, 0.0) - loss_c, 2.0 * smaller(crown_c, 0.0))


@equation
def felt_cold_c(
    night_c: float,
    mean_c: float,
    spell_c: float,
    night_loss_c: float,
    day_loss_c: float,
    spell_loss_c: float,
) -> float:
    """Temperature (C, at most 0) whose first touch would harm as much as the days so far.

    The worst of the coldest hours, of the whole day, and of a spell of ``COLD_SPELL_DAYS``, each
    with its loss of ``frozen_losses_c``.
    """
    night = as_at_first_touch_c(night_c, night_loss_c)
    day = as_at_first_touch_c(mean_c, day_loss_c)
    spell = as_at_first_touch_c(spell_c, spell_loss_c)
    return smaller(night, smaller(day, spell))


@equation
def hardiness_sought(soil_c: float, from_c: float, full_c: float) -> float:
    """Hardiness (0..1) that turf approaches at soil temperature ``soil_c``: 0 above ``from_c``, 1
    below ``full_c``. Source: own estimate of the form.
    """
    return clamp((from_c - soil_c) / (from_c - full_c), 0.0, 1.0)


@equation
def hardiness_step(hardiness: float, sought: float, weeks: float, loss_days: float) -> float:
    """Hardiness (0..1) after one day: gained in full in ``weeks``, lost in ``loss_days``.

    Source: hardening over 6 to 8 weeks and its loss within days to 2 weeks above 8 C are our
    reading of several published series; the form is our own estimate.
    """
    gained = smaller(sought, hardiness + 1.0 / (7.0 * weeks))
    lost = larger(sought, hardiness - 1.0 / loss_days)
    return gained if sought > hardiness else lost


@equation
def lt50_c(hardiness: float, unhardened_c: float, hardened_c: float) -> float:
    """Temperature (C) that kills half of the plants at first touch, at a hardiness of 0..1."""
    return unhardened_c + hardiness * (hardened_c - unhardened_c)


@equation
def death_odds(felt_c: float, lt50: float, steepness: float) -> float:
    """Dead over living plants after cold of ``felt_c`` (C); 0 when it is not below 0 C.

    Log-logistic in the cold over that which kills half. Source: own estimate of the form; the
    steepness is fitted to Princess bermudagrass, see ``time_frozen_loss_c``.
    """
    return (larger(-felt_c, 0.0) / -lt50) ** steepness


@equation
def freeze_kill_share(odds: float, worst: float) -> float:
    """Share of living plants killed by frost, from odds of death beyond the winter's ``worst``.

    The survivors have survived that much before, so an equal night kills none.
    """
    return 1.0 - (1.0 + worst) / (1.0 + larger(odds, worst))


@equation
def worst_odds_step(worst: float, odds: float, soil_c: float, frost_mm: float) -> float:
    """The worst odds of death of a winter, after one more day; warm soil starts a new winter.

    Source: own estimate of the form.
    """
    new_winter = (soil_c >= NEW_WINTER_SOIL_C) & (frost_mm <= 0.0)
    return 0.0 if new_winter else larger(worst, odds)
