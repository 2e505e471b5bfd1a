"""A result as it was kept in a file, and how its numbers and names are told."""

from __future__ import annotations

import os
from pathlib import Path

import xarray as xr

from drysward.faults import Fault, FaultyInput
from drysward.studies.sweep import MANIFEST

FILE = "results.nc"
COMPARE, SUPPLY, SWEEP = "compare", "supply", "sweep"
_OF_SWEEP = ("probability", "probability_se", "season_water", "area_m2")
# Without these there is nothing to show.
_NEEDED = ("probability", "season_water", "days_mean")
_NEEDED_COORDS = ("field", "plan", "field_label", "plan_label")


def open_result(path: str | Path) -> xr.Dataset:
    """A result that ``compare --out``, ``supply --out`` or ``sweep --out`` kept.

    Parameters
    ----------
    path : the folder, or its results.nc.

    Returns
    -------
    The Dataset, loaded. FaultyInput when there is no such file, when it is damaged, or when it
    is no such result.
    """
    place = Path(path)
    at = str(place)
    allowed = "a folder that 'drysward compare --out FOLDER' wrote, or its results.nc"
    if os.path.isfile(place / MANIFEST):
        # Here, since all that runs a sweep takes a second to import.
        from drysward.studies.sweep.folder import open_sweep
        from drysward.studies.sweep.front import refuse_unfinished

        sweep = open_sweep(place)
        refuse_unfinished(sweep)
        return sweep[[name for name in _OF_SWEEP if name in sweep]].load()
    if os.path.isdir(place):
        place = place / FILE
    if not os.path.isfile(place):
        raise FaultyInput(Fault(at, "holds no result", allowed))
    try:
        result = xr.load_dataset(place, engine="netcdf4")
    except (OSError, RuntimeError, ValueError, IndexError, KeyError) as error:
        why = " ".join(str(error).split())
        told = f"cannot be read as NetCDF; it is damaged, or no such file ({why})"
        raise FaultyInput(Fault(at, told, "write it again with --out")) from None
    if "drysward_version" not in result.attrs:
        raise FaultyInput(Fault(at, "is no result of drysward", allowed))
    missing = [name for name in (*_NEEDED_COORDS, *_NEEDED) if name not in result.variables]
    if missing:
        version = result.attrs["drysward_version"]
        told = f"written by drysward {version}, lacks {', '.join(missing)}"
        raise FaultyInput(Fault(at, told, "run the scenario again with --out"))
    for name in ("field", "plan"):
        if not result.sizes[name]:
            raise FaultyInput(Fault(at, f"holds no {name}", allowed))
    return result


def files_of_result(path: str | Path) -> tuple[Path, ...]:
    """What ``open_result`` and ``drysward.open`` read there, of any kind of result."""
    place = Path(path)
    return (place, place / FILE, place / MANIFEST, *place.glob("chunk-*.nc"))


def kind_of(result: xr.Dataset) -> str:
    """Which command made a result."""
    if "points_done" in result.attrs:
        return SWEEP
    return SUPPLY if "time_reliability" in result else COMPARE


def keys(result: xr.Dataset, name: str) -> list[str]:
    return [str(key) for key in result[name].values]


def label(result: xr.Dataset, name: str, key: str) -> str:
    """What a field, plan or source is called, fit for a page: no control characters."""
    return plain(str(result[f"{name}_label"].values[keys(result, name).index(key)]))


def plain(text: str) -> str:
    """Text that XML can hold, in one line."""
    return "".join(c if c.isprintable() else " " for c in text)
