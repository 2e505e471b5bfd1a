"""The least size of a supply, and the size that suffices with confidence."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

import xarray as xr

from drysward.progress import by_step
from drysward.progress import progress as shown_progress
from drysward.scenario.model import Scenario, require_scenario
from drysward.studies.doubt.sized import (
    check_draws,
    draws_dataset,
    fitting_draws_of_sizing,
    size_draws,
    why_no_draws,
)
from drysward.studies.sizing import sizing_dataset, solve

SIZES, SIZES_IN_DRAWS = "sizes", "sizes in draws"
"""The steps of a sizing, as its progress names them."""

NO_DRAWS = "sizing_no_draws"
"""Attribute: why a sizing has no draws although the caller left their number open."""


def size(
    scenario: Scenario,
    years: tuple[int, int] | None = None,
    draws: int | None = None,
    workers: int | None = None,
    progress: bool | Callable[[str, float], None] | None = None,
) -> xr.Dataset:
    """The least pond, tank, well or allowance that [sizing] of a scenario seeks.

    Parameters
    ----------
    scenario : one with a supply and a table [sizing].
    years : first and last year to count; all complete ones when None.
    draws : draws of uncertain numbers, each with a least size; 0 for none. When None as many as
        [doubt] of the scenario says, else as many as keep the run short. They are of the text of
        the scenario: see ``drysward.draws``.
    workers : threads; as many as there are cores when None. Their number changes no result.
    progress : True shows how far it is on stderr: a bar at a terminal, else a line every ten
        seconds. A function is called with the step, "sizes" or "sizes in draws", and the share of
        it that is done. None is silent.

    Returns
    -------
    Dataset with ``sizing_size`` and its 90% limits ``sizing_low`` and ``sizing_high``,
    ``sizing_as_given``, ``sizing_failing_years`` and the years behind them, in the unit of what is
    sized (attribute ``units``: m3, m3 h-1 or m2); ``sizing_curve`` by ``point`` where [sizing] has
    an ``against``; with draws ``sizing_confidence`` (confidence,) and ``sizing_draw_least``
    (draw,). NaN where no size suffices, and attribute ``why`` of ``sizing_size`` says why; infinite
    in a draw where none does.

    Raises
    ------
    FaultyInput
        When the scenario has no supply or no [sizing], for faulty weather, or for draws that
        cannot be run.

    Examples
    --------
    >>> sizing = drysward.size(drysward.shipped("pond"), draws=0)
    >>> sizing["sizing_size"].item(), sizing["sizing_size"].units
    """
    require_scenario(scenario)
    if draws:
        check_draws(scenario, draws)
    chosen = scenario.draws if draws is None else draws
    if progress is True:
        with shown_progress() as begin:
            return size(scenario, years, draws, workers, by_step(begin))
    report = progress if callable(progress) else lambda step, done: None
    solved = solve(scenario, years, workers, partial(report, SIZES))
    out = sizing_dataset(solved)
    why = why_no_draws(scenario) if draws is None else ""
    if chosen == 0 or why:
        return out.assign_attrs({NO_DRAWS: why}) if why and chosen != 0 else out
    n = fitting_draws_of_sizing(scenario, solved.n_years) if chosen is None else chosen
    sized = size_draws(scenario, n, years, workers, partial(report, SIZES_IN_DRAWS))
    return xr.merge([out, draws_dataset(sized)], combine_attrs="no_conflicts", join="exact")
