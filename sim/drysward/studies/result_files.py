"""Results on the disk: what is written of a run, a front and a ledger, and how it is opened."""

from __future__ import annotations

import os
from collections.abc import Sequence
from functools import partial
from pathlib import Path

import xarray as xr

from drysward.faults import Fault, FaultyInput
from drysward.files import Outputs, Write, write_csv
from drysward.results import RESULT
from drysward.results.cf import from_cf
from drysward.results.digest import DIGEST, digest_of
from drysward.results.export import files_of_run, front_rows, ledger_rows
from drysward.results.summary import summarise
from drysward.scenario.model import Scenario
from drysward.studies.chosen_years import with_details
from drysward.studies.sweep import FRONT, MANIFEST

# Without these there is nothing to show.
_NEEDED = ("probability", "season_water", "days_mean")
_NEEDED_COORDS = ("field", "plan", "field_label", "plan_label")


def save(
    result: xr.Dataset,
    where: str | Path,
    scenario: Scenario | None = None,
    summary: xr.Dataset | None = None,
    units: str = "us",
    settings: str = "",
    force: bool = False,
    reads: Sequence[Path] = (),
) -> list[Path]:
    """Write a result as files; all of them or none.

    Parameters
    ----------
    result : Dataset of ``drysward.run``, ``drysward.front`` or ``drysward.ledger``.
    where : a folder, created in its parent when missing; of a ledger the CSV file itself.
    scenario : the scenario of a run: its costs and every value used go into results.nc.
    summary : Dataset of ``drysward.summarise`` of a run; made from ``result`` when None.
    units : "us" or "metric", of the CSV files; results.nc is in base units.
    settings : options of the command line that changed the scenario, kept with the result.
    force : replace files that drysward has no record of writing.
    reads : files that are never written to, by whatever name.

    Returns
    -------
    The paths written. Of a run results.nc, summary.csv, daily-odds.csv and site.csv, with play
    play.csv, with draws doubt.csv; where the summary is of a supply results.nc, supply.csv and,
    with a curve of sizes, tradeoff.csv. Of a front front.csv. Of a ledger the file named.

    Raises
    ------
    FaultyInput
        When the folder or a file cannot be written; none is then.

    Examples
    --------
    >>> scenario = drysward.shipped("demo")
    >>> result = drysward.run(scenario, daily=True)
    >>> drysward.save(result, "out", scenario)
    """
    where, outputs = Path(where), Outputs(tuple(reads), force)
    if "date" in result.dims:
        rows = partial(ledger_rows, result, units)
        return outputs.write({where: lambda part: write_csv(rows(), part)})
    if "choice" in result.dims:
        rows = partial(front_rows, result, units)
        return outputs.write({where / FRONT: lambda part: write_csv(rows(), part)})
    outputs.claim_folder(where, ())
    summary = summarise(result, scenario) if summary is None else summary
    whole = with_summary(result, summary, scenario, settings)
    files: dict[str, Write] = files_of_run(whole, summary, units)
    return outputs.write({where / name: write for name, write in files.items()})


def with_summary(
    result: xr.Dataset,
    summary: xr.Dataset,
    scenario: Scenario | None = None,
    settings: str = "",
) -> xr.Dataset:
    """A run with its summary and, of its scenario, the details of a page: what results.nc holds."""
    whole = result if scenario is None else with_details(result, scenario, settings)
    whole = whole.assign({n: v for n, v in summary.data_vars.items() if n not in whole})
    return whole.assign_attrs({**summary.attrs, **whole.attrs})


def open_any(path: str | Path) -> xr.Dataset:
    """A result, as ``drysward.save`` or a command with ``--out`` has written it, or a sweep.

    Parameters
    ----------
    path : a result folder, its results.nc, or the folder of a sweep.

    Returns
    -------
    Of a result the Dataset of ``drysward.run`` with its summary, loaded. Of a sweep all points
    that are done, by dimension ``point``, read when they are needed; the attribute ``points_done``
    counts them. Every variable has its units.

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
        # Here, since all that runs a sweep takes a second to import.
        from drysward.studies.sweep.folder import open_sweep

        return open_sweep(place)
    return _open_result(place)


def _open_result(place: Path) -> xr.Dataset:
    at = str(place)
    allowed = "a folder that --out of compare, supply or sweep wrote, or its results.nc"
    if os.path.isdir(place):
        place = place / RESULT
    if not os.path.isfile(place):
        raise FaultyInput(Fault(at, "holds no result and no sweep", allowed))
    try:
        with xr.open_dataset(place, engine="netcdf4", decode_cf=False) as raw:
            raw.load()
        # What earlier versions wrote has none.
        is_whole = raw.attrs.get(DIGEST) in (None, digest_of(raw))
        result = from_cf(xr.decode_cf(raw).load()) if is_whole else raw
    # Of a damaged file the library stumbles over whatever it meets.
    except Exception as error:
        why = " ".join(str(error).split())
        what = f"cannot be read as NetCDF; it is damaged, or no such file ({why})"
        raise FaultyInput(Fault(at, what, "write it again with --out")) from None
    if not is_whole:
        what = "is damaged: its numbers are not those that were written"
        raise FaultyInput(Fault(str(place), what, "run the command that wrote it again"))
    # The digest is the file's; it says nothing of what is made of it here.
    result.attrs.pop(DIGEST, None)
    if "drysward_version" not in result.attrs:
        raise FaultyInput(Fault(at, "is no result of drysward", allowed))
    missing = [name for name in (*_NEEDED_COORDS, *_NEEDED) if name not in result.variables]
    if missing:
        version = result.attrs["drysward_version"]
        what = f"written by drysward {version}, lacks {', '.join(missing)}"
        raise FaultyInput(Fault(at, what, "run the scenario again with --out"))
    for name in ("field", "plan"):
        if not result.sizes[name]:
            raise FaultyInput(Fault(at, f"holds no {name}", allowed))
    return result


def files_of(path: str | Path) -> tuple[Path, ...]:
    """What ``open_any`` reads there, of any kind of result."""
    place = Path(path)
    return (place, place / RESULT, place / MANIFEST, *place.glob("chunk-*.nc"))
