"""A result from its file, and its names as a page shows them."""

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
# Nothing can be shown without these.
_NEEDED = ("probability", "season_water", "days_mean")
_NEEDED_COORDS = ("field", "plan", "field_label", "plan_label")


def open_result(path: str | Path) -> xr.Dataset:
    """A result that ``compare --out``, ``supply --out`` or ``sweep --out`` wrote.

    Parameters
    ----------
    path : the folder, or its results.nc.

    Returns
    -------
    The Dataset, loaded. FaultyInput when there is no such file, when it is damaged, or when it
    is no result of drysward.
    """
    place = Path(path)
    at = str(place)
    allowed = "a folder that 'drysward compare --out FOLDER' wrote, or its results.nc"
    if os.path.isfile(place / MANIFEST):
        # Imported here: all that runs a sweep takes a second to load.
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
        # Files of earlier versions have no digest.
        is_whole = raw.attrs.get(DIGEST) in (None, digest_of(raw))
        result = xr.decode_cf(raw).load() if is_whole else raw
    # The library fails in many ways on a damaged file.
    except Exception as error:
        why = " ".join(str(error).split())
        wrong = f"cannot be read as NetCDF; it is damaged or of another format ({why})"
        raise FaultyInput(Fault(at, wrong, "write it again with --out")) from None
    if not is_whole:
        wrong = "is damaged: its numbers are not those that were written"
        raise FaultyInput(Fault(str(place), wrong, "run the command that wrote it again"))
    # The digest is the file's, not that of a Dataset that may change.
    result.attrs.pop(DIGEST, None)
    if "drysward_version" not in result.attrs:
        raise FaultyInput(Fault(at, "is no result of drysward", allowed))
    missing = [name for name in (*_NEEDED_COORDS, *_NEEDED) if name not in result.variables]
    if missing:
        version = result.attrs["drysward_version"]
        wrong = f"written by drysward {version}, lacks {', '.join(missing)}"
        raise FaultyInput(Fault(at, wrong, "run the scenario again with --out"))
    for name in ("field", "plan"):
        if not result.sizes[name]:
            raise FaultyInput(Fault(at, f"holds no {name}", allowed))
    _refuse_unknown(at, result, _NEEDED)
    return result


def _refuse_unknown(at: str, result: xr.Dataset, names: Sequence[str]) -> None:
    if not has_numbers(result, names):
        wrong = f"has no number in {', '.join(names)}: nothing is known of any field and plan"
        raise FaultyInput(Fault(at, wrong, "run the command that wrote it again"))


def has_numbers(result: xr.Dataset, names: Sequence[str]) -> bool:
    """Whether any of these variables holds a number; whole numbers always do."""
    values = [result[name].values for name in names]
    numbers = [v for v in values if v.dtype.kind == "f"]
    return not numbers or any(np.isfinite(v).any() for v in numbers)


def files_of_result(path: str | Path) -> tuple[Path, ...]:
    """The files that ``open_result`` and ``drysward.open`` read there, of any kind of result."""
    place = Path(path)
    return (place, place / FILE, place / MANIFEST, *place.glob("chunk-*.nc"))


def kind_of(result: xr.Dataset) -> str:
    """Which command wrote a result."""
    if "points_done" in result.attrs:
        return SWEEP
    return SUPPLY if "time_reliability" in result else COMPARE


def keys(result: xr.Dataset, name: str) -> list[str]:
    return [str(key) for key in result[name].values]


def label(result: xr.Dataset, name: str, key: str) -> str:
    """The name of a field, plan or source, without control characters."""
    return plain(str(result[f"{name}_label"].values[keys(result, name).index(key)]))


def plain(text: str) -> str:
    """Text that XML can hold, in one line."""
    return "".join(c if c.isprintable() else " " for c in text)
