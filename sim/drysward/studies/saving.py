"""What is written of a run, a front and a ledger."""

from __future__ import annotations

import re
from collections.abc import Sequence
from functools import partial
from pathlib import Path

import xarray as xr

from drysward.files import Outputs, write_csv
from drysward.quantities import require_system
from drysward.results import RESULT_FILES, SUPPLY_FILES
from drysward.results.export import files_of_run, files_of_season, front_rows, ledger_rows
from drysward.results.summary import summarize
from drysward.scenario.model import Scenario
from drysward.studies.chosen_years import with_details
from drysward.studies.season.hindcast import with_hindcast


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
    result : Dataset of ``drysward.run``, ``season``, ``front`` or ``ledger``.
    where : a folder, created in its parent when missing; of a ledger the CSV file itself.
    scenario : the scenario of a run: its costs and every value used go into results.nc.
    summary : Dataset of ``drysward.summarize`` of a run; made from ``result`` when None.
        Of a season: Dataset of ``drysward.hindcast``.
    units : "us" or "metric", of the CSV files; results.nc is in base units.
    settings : options of the command line that changed the scenario, kept with the result.
    force : replace files that drysward has no record of writing.
    reads : files that are never written to, by whatever name.

    Returns
    -------
    The paths written. Of a run results.nc, summary.csv, daily-odds.csv and site.csv, with play
    play.csv, with feeding feeding.csv, with draws doubt.csv; where the summary is of a supply
    results.nc, supply.csv and, with a curve of sizes, tradeoff.csv. Of a season results.nc,
    outlook.csv and season-water.csv.
    Of a front a file named after its cost and risk, such as front-water-wilt.csv. Of a ledger the
    file named. Files of an earlier result are replaced without a question, and removed where the
    new one has none, as long as drysward has them on record, unchanged: keep each result in a
    folder for itself.

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
    require_system(units)
    where, outputs = Path(where), Outputs(tuple(reads), force)
    if "day" in result.dims:
        rows = partial(ledger_rows, result, units)
        return outputs.write({where: lambda part: write_csv(rows(), part)})
    if "choice" in result.dims:
        rows = partial(front_rows, result, units)
        return outputs.write({where / front_file(result): lambda part: write_csv(rows(), part)})
    outputs.claim_folder(where, ())
    if "way" in result.dims:
        files = files_of_season(
            result if summary is None else with_hindcast(result, summary), units
        )
        stale = [where / name for name in (*RESULT_FILES, *SUPPLY_FILES)]
        return outputs.write({where / name: write for name, write in files.items()}, stale)
    summary = summarize(result, scenario) if summary is None else summary
    whole = with_summary(result, summary, scenario, settings)
    files = files_of_run(whole, summary, units)
    stale = [where / name for name in (*RESULT_FILES, *SUPPLY_FILES)]
    return outputs.write({where / name: write for name, write in files.items()}, stale)


def front_file(front: xr.Dataset) -> str:
    """Name of the file of a front: its cost, its risk, the field that counts alone, and the axis
    whose values each have a front.
    """
    attrs = front.attrs
    parts = ["front", attrs["cost"], attrs["risk"], "high" if attrs["high"] else "", attrs["field"]]
    parts += ["by", attrs["by"]] if attrs["by"] else []
    return "-".join(re.sub(r"\W+", "-", part).strip("-") for part in parts if part) + ".csv"


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
