"""A result as it was kept in a file, and how its numbers and names are told."""

from __future__ import annotations

import os
from collections.abc import Sequence
from pathlib import Path

import numpy as np
import xarray as xr

from drysward.faults import Fault, FaultyInput
from drysward.results.digest import DIGEST, digest_of
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
        swept = sweep[[name for name in _OF_SWEEP if name in sweep]].load()
        _refuse_unknown(at, swept, _OF_SWEEP[:1])
        return swept
    if os.path.isdir(place):
        place = place / FILE
    if not os.path.isfile(place):
        raise FaultyInput(Fault(at, "holds no result", allowed))
    try:
        with xr.open_dataset(place, engine="netcdf4", decode_cf=False) as raw:
            raw.load()
        # What earlier versions wrote has none.
        is_whole = raw.attrs.get(DIGEST) in (None, digest_of(raw))
        result = xr.decode_cf(raw).load() if is_whole else raw
    # Of a damaged file the library stumbles over whatever it meets.
    except Exception as error:
        why = " ".join(str(error).split())
        told = f"cannot be read as NetCDF; it is damaged, or no such file ({why})"
        raise FaultyInput(Fault(at, told, "write it again with --out")) from None
    if not is_whole:
        told = "is damaged: its numbers are not those that were written"
        raise FaultyInput(Fault(str(place), told, "run the command that wrote it again"))
    # The digest is the file's; it says nothing of what is made of it here.
    result.attrs.pop(DIGEST, None)
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
    _refuse_unknown(at, result, _NEEDED)
    return result


def _refuse_unknown(at: str, result: xr.Dataset, names: Sequence[str]) -> None:
    if not has_numbers(result, names):
        told = f"has no number in {', '.join(names)}: nothing is known of any field and plan"
        raise FaultyInput(Fault(at, told, "run the command that wrote it again"))


def has_numbers(result: xr.Dataset, names: Sequence[str]) -> bool:
    """Whether a number stands anywhere in these variables; so it does in what is no fraction."""
    values = [result[name].values for name in names]
    numbers = [v for v in values if v.dtype.kind == "f"]
    return not numbers or any(np.isfinite(v).any() for v in numbers)


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
