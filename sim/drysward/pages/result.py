"""A result from its file, and its names as a page shows them."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np
import xarray as xr

from drysward.faults import Fault, FaultyInput
from drysward.studies import result_files
from drysward.studies.sweep.front import refuse_unfinished

COMPARE, SUPPLY, SWEEP, SEASON = "compare", "supply", "sweep", "season"
_OF_SWEEP = (
    "probability", "probability_se", "season_water", "area_m2", "days_below_condition_mean",
)
_NEEDED = ("probability", "season_water", "days_mean")
_OF_SEASON = ("odds", "water_needed")


def open_result(path: str | Path) -> xr.Dataset:
    """A result to show, as ``drysward.open`` opens it; of a sweep the numbers that are shown.

    The Dataset, loaded. FaultyInput as ``drysward.open``, and when no number in it is known.
    """
    return shown_of(result_files.open(path), str(path))


def shown_of(result: xr.Dataset, at: str = "result") -> xr.Dataset:
    """The result itself, or of a sweep the numbers that are shown, loaded.

    FaultyInput when none is known; ``at`` is what it calls the result.
    """
    if kind_of(result) != SWEEP:
        _refuse_unknown(at, result, _OF_SEASON if kind_of(result) == SEASON else _NEEDED)
        return result
    refuse_unfinished(result)
    swept = result[[name for name in _OF_SWEEP if name in result]].load()
    _refuse_unknown(at, swept, _OF_SWEEP[:1])
    return swept


def _refuse_unknown(at: str, result: xr.Dataset, names: Sequence[str]) -> None:
    if not has_numbers(result, names):
        wrong = f"has no number in {', '.join(names)}: nothing is known of any field and plan"
        raise FaultyInput(Fault(at, wrong, "run the command that wrote it again"))


def has_numbers(result: xr.Dataset, names: Sequence[str]) -> bool:
    """Whether any of these variables holds a number; whole numbers always do."""
    values = [result[name].values for name in names]
    numbers = [v for v in values if v.dtype.kind == "f"]
    return not numbers or any(np.isfinite(v).any() for v in numbers)


def kind_of(result: xr.Dataset) -> str:
    """Which command wrote a result."""
    if "points_done" in result.attrs:
        return SWEEP
    if "today" in result.attrs:
        return SEASON
    return SUPPLY if "time_reliability" in result else COMPARE


def keys(result: xr.Dataset, name: str) -> list[str]:
    return [str(key) for key in result[name].values]


def label(result: xr.Dataset, name: str, key: str) -> str:
    """The name of a field, plan or source, without control characters."""
    return plain(str(result[f"{name}_label"].values[keys(result, name).index(key)]))


def plain(text: str) -> str:
    """Text that XML can hold, in one line."""
    return "".join(c if c.isprintable() else " " for c in text)
