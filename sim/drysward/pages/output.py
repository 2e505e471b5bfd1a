"""A report and a picture of a result, given back or written as files."""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING

import xarray as xr
from matplotlib.figure import Figure

from drysward.files import Outputs, ending_of
from drysward.pages import gallery
from drysward.pages.result import SWEEP, kind_of, open_result, shown_of
from drysward.pages.style import save
from drysward.quantities import require_system
from drysward.results.terms import shown_in
from drysward.studies.result_files import files_of
from drysward.studies.sweep.axis_units import axes_in

if TYPE_CHECKING:
    from multiprocessing.context import BaseContext

ENDINGS = (".svg", ".png", ".pdf")


def report(
    result: xr.Dataset | str | Path,
    out: str | Path | None = None,
    units: str | None = None,
    force: bool = False,
    processes: BaseContext | None = None,
) -> str:
    """The page of a result, as HTML that stands on its own and needs no internet.

    Parameters
    ----------
    result : Dataset of ``drysward.open`` or ``drysward.run``; or a result folder, its results.nc,
        or the folder of a sweep.
    out : HTML file to write; none when None.
    units : "us" or "metric"; those of the scenario of the result when None.
    force : replace a file that drysward has no record of writing.
    processes : context that starts processes, one a core, which draw; all is drawn here when None.

    Returns
    -------
    The HTML.

    Raises
    ------
    FaultyInput
        When there is no result, when it is damaged, or when ``out`` cannot be written.

    Examples
    --------
    >>> drysward.report("out", "report.html", units="metric")
    """
    if units is not None:
        require_system(units)
    opened, outputs, units = _opened(result, units, force)
    if out is not None:
        outputs.claim(Path(out))
    # Imported here: a picture needs none of what a page says.
    from drysward.pages.page import page

    text = page(opened, units, processes, os.cpu_count() or 1)
    if out is not None:
        outputs.write({Path(out): lambda part: part.write_text(text, encoding="utf-8")})
    return text


def picture(
    result: xr.Dataset | str | Path,
    name: str,
    out: str | Path | None = None,
    units: str | None = None,
    force: bool = False,
    **choice: str,
) -> Figure:
    """One figure of a result.

    Parameters
    ----------
    result : as of ``report``.
    name : which figure, such as "plans", "stages" or "account"; a name that is not known is
        answered with those that are.
    out : file to write, .svg, .png or .pdf; none when None.
    units : "us" or "metric"; those of the scenario of the result when None.
    force : as of ``report``.
    choice : keys of what to show: ``field``, ``plan``, ``stage``, ``case``. Without any, the
        panels that stand open on the page.

    Returns
    -------
    The figure of matplotlib, its panels two in a row.

    Raises
    ------
    FaultyInput
        As ``report``, and for a name or choice that the result does not have.

    Examples
    --------
    >>> drysward.picture("out", "stages", "wilt.svg", field="stadium", stage="wilt")
    """
    if units is not None:
        require_system(units)
    ending = "" if out is None else ending_of(Path(out), ENDINGS)
    kind = gallery.named(name)
    opened, outputs, units = _opened(result, units, force)
    panels = gallery.choose(opened, kind, choice)
    if out is not None:
        outputs.claim(Path(out))
    figure = gallery.compose(opened, kind, panels, units)
    if out is not None:
        alt = " ".join(kind.alt(opened, panel, units) for panel in panels)
        outputs.write({Path(out): lambda part: save(figure, part, ending[1:], alt)})
    return figure


def _opened(
    result: xr.Dataset | str | Path, units: str | None, force: bool
) -> tuple[xr.Dataset, Outputs, str]:
    """A result to draw from, what may be written beside the files that it was read from, and the
    units to show it in.
    """
    opened, outputs = _read(result, force)
    units = units or shown_in(opened)
    return axes_in(opened, units) if kind_of(opened) == SWEEP else opened, outputs, units


def _read(result: xr.Dataset | str | Path, force: bool) -> tuple[xr.Dataset, Outputs]:
    if isinstance(result, xr.Dataset):
        if kind_of(result) != SWEEP and "probability" not in result:
            # Imported here: a result from a file needs nothing that runs or sums up.
            from drysward.results.summary import summarize
            from drysward.studies.saving import with_summary

            result = with_summary(result, summarize(result))
        return shown_of(result), Outputs((), force)
    return open_result(result), Outputs(files_of(result), force)
