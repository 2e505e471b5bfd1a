"""Rows of a weather file, as read from text or NetCDF."""

from __future__ import annotations

from dataclasses import dataclass, field

from drysward.weather.file.layouts import NOWHERE, Place
from drysward.weather.file.table import RowFault, Table

MOST_BYTES = 300_000_000
"""Largest size of an unpacked weather file."""
ON_TOP = -1  # row number of a fault of the file as a whole


@dataclass(eq=False)
class Rows:
    """Rows of a file, with the faults of header and cells.

    ``filled`` counts days that the file's calendar leaves out, ``notes`` are the assumptions of the
    reader, ``public`` whether the file has a public layout, where blanks at both ends are usual.
    """

    table: Table | None
    wind_height_m: float | None
    faults: list[RowFault]
    notes: list[str] = field(default_factory=list)
    place: Place = NOWHERE
    left_out: str = ""  # key of layouts.LEFT_OUT
    public: bool = False


def lacking(table: Table) -> list[str]:
    """Note on the substitutes of FAO-56 for columns missing in the file."""
    has = set(table.values)
    instead = []
    if not has & {"vapor_pressure", "dewpoint", "rh_max", "rh_mean", "rh"}:
        instead.append("Tmin as the dew point")
    if "wind" not in has:
        instead.append("wind of 2 m/s")
    if not has & {"solar", "sunshine"}:
        instead.append("radiation from the temperature range")
    if not instead or "reference_et" in has:
        return []
    return [f"reference ET uses {', '.join(instead)}, because the file has no such column"]
