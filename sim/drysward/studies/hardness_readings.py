"""Readings of hardness and moisture from a CSV file, and what a line through them says."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.stats import linregress

from drysward.catalog import load_catalog
from drysward.faults import Fault, FaultyInput
from drysward.site.play import hardness_line

MOISTURE_SCALES = {"moisture (v/v)": 1.0, "moisture (%)": 0.01}
HARDNESS = "g"
MOST_MOISTURE = 0.8  # more water by volume than any mineral soil holds
MOST_G = 1000.0
NARROW = 0.08  # span of moisture under which a slope is hardly known; own estimate

FEWEST_READINGS = 8  # below this a scatter means little; own estimate


class Fit(NamedTuple):
    """A line through ``n`` readings, for moistures ``driest`` to ``wettest`` (0..1)."""

    intercept_g: float
    slope_g: float
    scatter_g: float
    n: int
    driest: float
    wettest: float
    r_squared: float


def fit_readings(path: Path) -> Fit:
    """The line through the readings of a file with columns moisture and g.

    Raises
    ------
    FaultyInput
        With every fault: file, line and column, and what is allowed.
    """
    moisture, g = read_readings(path)
    try:
        return fit_line(moisture, g)
    except ValueError as error:
        what, _, allowed = str(error).partition("; ")
        raise FaultyInput(Fault(str(path), what, allowed)) from None


def fit_line(moisture: ArrayLike, g: ArrayLike) -> Fit:
    """Least-squares line through readings (n,), with the standard deviation of the residuals.

    Parameters
    ----------
    moisture : water by volume (0..1), not all the same. g : peak deceleration.

    Raises
    ------
    ValueError
        With fewer than FEWEST_READINGS readings, or when moisture does not vary.
    """
    x, y = np.asarray(moisture, float), np.asarray(g, float)
    if x.size < FEWEST_READINGS:
        raise ValueError(f"{x.size} readings are too few; at least {FEWEST_READINGS}")
    if np.ptp(x) == 0.0:
        raise ValueError("moisture is the same in all readings; wet and dry ground")
    line = linregress(x, y)
    left = y - (line.intercept + line.slope * x)
    return Fit(
        float(line.intercept),
        float(line.slope),
        float(np.sqrt(left @ left / (x.size - 2))),
        x.size,
        float(x.min()),
        float(x.max()),
        float(line.rvalue**2),
    )


def read_readings(path: Path) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Water by volume (0..1) and peak deceleration (g) of each row of a file, each (n,).

    FaultyInput as ``fit_readings``.
    """
    try:
        text = path.read_text(encoding="utf-8-sig")
    except OSError as error:
        raise FaultyInput(Fault(str(path), f"cannot be read: {error.strerror}")) from None
    except UnicodeDecodeError:
        raise FaultyInput(Fault(str(path), "is not UTF-8 text", "save it as UTF-8")) from None
    rows = csv.reader(io.StringIO(text))
    heading = [cell.strip().lower() for cell in next(rows, [])]
    scales = [name for name in MOISTURE_SCALES if name in heading]
    faults = []
    at = f"{path} line 1"
    if len(scales) != 1 or heading.count(scales[0]) != 1:
        reason = "one column headed " + " or ".join(f"'{name}'" for name in MOISTURE_SCALES)
        faults.append(Fault(at, "does not say once what moisture is", reason))
    if heading.count(HARDNESS) != 1:
        faults.append(Fault(at, "has not one column of hardness", f"one headed '{HARDNESS}'"))
    if faults:
        raise FaultyInput(faults)
    scale = MOISTURE_SCALES[scales[0]]
    # (column, factor to the unit inside, least and most inside)
    columns = (
        (heading.index(scales[0]), scale, 0.0, MOST_MOISTURE),
        (heading.index(HARDNESS), 1.0, 0.0, MOST_G),
    )
    found: tuple[list[float], list[float]] = ([], [])
    for row in rows:
        if not any(cell.strip() for cell in row):
            continue
        for values, (column, factor, least, most) in zip(found, columns, strict=True):
            where = f"{path} line {rows.line_num} column '{heading[column]}'"
            cell = row[column].strip() if column < len(row) else ""
            allowed = f"a number from {least / factor:g} to {most / factor:g}"
            try:
                value = float(cell) * factor
            except ValueError:
                faults.append(Fault(where, f"'{cell}' is not a number", allowed))
                continue
            if not least <= value <= most:
                faults.append(Fault(where, f"{cell} is out of range", allowed))
            values.append(value)
    if faults:
        raise FaultyInput(faults)
    return np.array(found[0]), np.array(found[1])


def readings_text(fit: Fit, surface: str | None = None) -> Iterator[str]:
    """What a person reads of a fit, the setting first; ``surface`` "native" or "sand" adds the
    catalog's line.
    """
    if fit.slope_g < 0.0:
        yield (
            f"hardness = {{ intercept = {fit.intercept_g:.1f}, slope = {fit.slope_g:.1f}, "
            f"scatter = {fit.scatter_g:.1f} }}"
        )
        yield ""
        yield "Write this line into the field's table [fields.KEY.play]."
    else:
        yield "No setting: in these readings hardness does not fall with moisture."
        yield f"Slope {fit.slope_g:.1f} g; a scenario takes one below 0."
    yield (
        f"{fit.n} readings, moisture {fit.driest:.3f} to {fit.wettest:.3f} v/v; "
        f"scatter about the line {fit.scatter_g:.1f} g, r squared {fit.r_squared:.2f}."
    )
    if surface is not None:
        line = hardness_line(load_catalog().get("play", f"hardness_{surface}"))
        yield (
            f"For comparison, the catalog's estimate for {surface}: {line.intercept_g:g} "
            f"{line.slope_g:+g} x moisture, scatter {line.scatter_g:g} g."
        )
    if fit.wettest - fit.driest < NARROW:
        yield "Caution: the readings span little moisture, so the slope is hardly known."
    yield (
        "Caution: the line holds for the device, drop height and depth of moisture that it was "
        "read with, and says nothing beyond the moistures read."
    )
    yield (
        "Caution: it is an estimate. Only a measurement by the applicable test method decides "
        "whether a surface is safe."
    )
