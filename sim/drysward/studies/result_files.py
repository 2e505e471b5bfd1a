"""Results on the disk, opened again. Little is imported: a picture of a result runs nothing."""

from __future__ import annotations

import os
from pathlib import Path

import xarray as xr

from drysward.faults import Fault, FaultyInput
from drysward.results import RESULT
from drysward.results.cf import from_cf
from drysward.results.digest import DIGEST, digest_of
from drysward.studies.sweep import MANIFEST

# Nothing can be shown without these.
_NEEDED = ("probability", "season_water", "days_mean")
_OF_SEASON = ("odds", "water_needed")
_NEEDED_COORDS = ("field", "plan", "field_label", "plan_label")


def open(path: str | Path) -> xr.Dataset:
    """A result, as ``drysward.save`` or a command with ``--out`` has written it, or a sweep.

    Parameters
    ----------
    path : a result folder, its results.nc, or the folder of a sweep.

    Returns
    -------
    Of a result the Dataset of ``drysward.run`` with its summary, loaded. Of a sweep all points
    that are done, by dimension ``point``, read when they are needed; the attribute ``points_done``
    counts them. Every variable has its units. Of a ``result`` that was saved
    ``opened[list(result)].equals(result)`` holds; its summary and attributes of CF are added.

    Raises
    ------
    FaultyInput
        When there is no result or sweep at ``path``, or a file is damaged.

    Examples
    --------
    >>> result = drysward.open("out")
    >>> result["probability"].sel(stage="wilt").to_series()
    """
    place = Path(path)
    if os.path.isfile(place / MANIFEST):
        # Imported here: all that runs a sweep takes a second to load.
        from drysward.studies.sweep.folder import open_sweep

        return open_sweep(place)
    return _open_result(place)


def _open_result(place: Path) -> xr.Dataset:
    at = str(place)
    allowed = "a folder that --out of compare, supply or sweep wrote, or its results.nc"
    if os.path.isdir(place):
        place = place / RESULT
    if place.suffix == ".toml":
        raise FaultyInput(Fault(at, "is a scenario, not a result", allowed))
    if not os.path.isfile(place):
        raise FaultyInput(Fault(at, "holds no result and no sweep", allowed))
    try:
        with xr.open_dataset(place, engine="netcdf4", decode_cf=False) as raw:
            raw.load()
        # Files of earlier versions have no digest.
        is_whole = raw.attrs.get(DIGEST) in (None, digest_of(raw))
        result = from_cf(xr.decode_cf(raw).load()) if is_whole else raw
    # The library fails in many ways on a damaged file.
    except Exception as error:
        why = " ".join(str(error).split())
        what = f"cannot be read as NetCDF; it is damaged, or no such file ({why})"
        raise FaultyInput(Fault(at, what, "write it again with --out")) from None
    if not is_whole:
        what = "is damaged: its numbers are not those that were written"
        raise FaultyInput(Fault(str(place), what, "run the command that wrote it again"))
    # The digest is the file's, not that of a Dataset that may change.
    result.attrs.pop(DIGEST, None)
    if "drysward_version" not in result.attrs:
        raise FaultyInput(Fault(at, "is no result of drysward", allowed))
    needed = _OF_SEASON if "today" in result.attrs else _NEEDED
    missing = [name for name in (*_NEEDED_COORDS, *needed) if name not in result.variables]
    if missing:
        version = result.attrs["drysward_version"]
        what = f"written by drysward {version}, lacks {', '.join(missing)}"
        raise FaultyInput(Fault(at, what, "run the scenario again with --out"))
    for name in ("field", "plan"):
        if not result.sizes[name]:
            raise FaultyInput(Fault(at, f"holds no {name}", allowed))
    return result


def files_of(path: str | Path) -> tuple[Path, ...]:
    """What ``open`` reads there, of any kind of result."""
    place = Path(path)
    return (place, place / RESULT, place / MANIFEST, *place.glob("chunk-*.nc"))
