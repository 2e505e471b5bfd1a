"""Monthly normals of nowhere on earth: those of a new scenario until a person gives their own."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from drysward.quantities import convert
from drysward.scenario.weather_tables import NORMALS

INVENTED: Mapping[str, tuple[str, list[float]]] = {
    "rain": ("in", [3.1, 2.8, 3.5, 3.5, 3.7, 3.6, 3.9, 3.6, 3.5, 3.1, 3.0, 3.1]),
    "wet_days": ("", [10.5, 9.5, 10.5, 11.0, 11.5, 10.5, 9.5, 9.0, 8.5, 8.5, 9.0, 10.0]),
    "tmax": ("degF", [37, 41, 51, 63, 72, 81, 86, 84, 77, 65, 54, 42]),
    "tmin": ("degF", [21, 23, 31, 40, 50, 60, 64, 64, 55, 44, 35, 26]),
}
"""Unit, and months from January to December north of the equator. South of it they are half a year
later."""

# A new scenario has them in the units of its writer, rounded to a tenth.
_ROUNDING = 0.051
_BASE = {"in": "mm", "degF": "degC"}


def still_invented(climate: Mapping[str, Any]) -> list[str]:
    """Keys of [weather.climate] that are as a new scenario has them.

    ``climate`` is that of a scenario, in base units. None in a table with more normals than a new
    scenario has: its writer has gone through it.
    """
    stated = [key for key, name in NORMALS.items() if climate.get(name) is not None]
    if set(stated) != set(INVENTED):
        return []
    return [key for key in stated if _is_invented(key, climate[NORMALS[key]])]


def _is_invented(key: str, stated: Any) -> bool:
    unit, months = INVENTED[key]
    if unit:
        months = [convert(month, unit, _BASE[unit]) for month in months]
    values = np.asarray(stated, float)
    return any(
        bool(np.allclose(values, np.roll(months, turned), rtol=0.0, atol=_ROUNDING))
        for turned in (0, 6)
    )
